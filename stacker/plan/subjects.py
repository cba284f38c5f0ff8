"""What each subject wants where nothing else is said. One table."""

from __future__ import annotations

from dataclasses import dataclass

from stacker.subjects import SUBJECT_TITLES, check_subject


@dataclass(frozen=True, kw_only=True)
class Guide:
    """What is assumed for a subject.

    Parameters
    ----------
    name : what is typed after ``--for``.
    reads_well : how long the shutter should seem to be open.
    options : of ``stacker expose``, for the burst that comes home.
    focal_mm, aperture, iso : of lens and camera.
    ev : of the light at ISO 100.
    frame_shutter_s : of each frame; what the light asks for if None.
    open_s, elapsed_s, frames : how long in all, by open time, time on site or count; one of them,
        or none where contrast decides.
    gap_s, interval_s : between frames, or from start to start where that is set.
    why : the reason for the count of frames.
    flow_m_s, texture_m : of water or clouds.
    distance_m, speed_m_s : of what crosses the view.
    jpeg, clip : whether the frames may as well be JPEGs, or are those of a clip.
    picks : how many frames of the burst make the picture; all if None.
    blend, true_floor : what ``stacker expose --for`` makes of them, for the noise it will have.
    """

    name: str
    reads_well: str
    options: str
    focal_mm: float
    aperture: float
    iso: float
    ev: float
    frame_shutter_s: float | None = None
    open_s: float | None = None
    elapsed_s: float | None = None
    frames: int | None = None
    gap_s: float = 0.2
    interval_s: float | None = None
    why: str = ""
    flow_m_s: float | None = None
    texture_m: float | None = None
    distance_m: float | None = None
    speed_m_s: float | None = None
    jpeg: bool = False
    clip: bool = False
    picks: int | None = None
    blend: str = "mean"
    true_floor: bool = False

    @property
    def title(self) -> str:
        """The subject in words."""
        return SUBJECT_TITLES[self.name]


SUBJECTS = {
    guide.name: guide
    for guide in (
        Guide(
            name="water", reads_well="0.5 to 30 s",
            options="--for water -o water.tif",
            focal_mm=35, aperture=11, iso=100, ev=10, flow_m_s=1.0, texture_m=0.2,
            jpeg=True,
            why="as many as it takes until a tenth of the water's texture is left",
        ),
        Guide(
            name="clouds", reads_well="30 s to 10 min",
            options="--for clouds -o clouds.tif",
            focal_mm=24, aperture=11, iso=100, ev=12, elapsed_s=180, interval_s=2,
            flow_m_s=10.0, texture_m=60.0, distance_m=1500,
            jpeg=True,
            why="three minutes draw clouds out without making them a flat grey",
        ),
        Guide(
            name="traffic", reads_well="5 to 60 s",
            options="--for traffic -o trails.tif", blend="lighten", true_floor=True,
            focal_mm=35, aperture=11, iso=100, ev=5, open_s=60,
            distance_m=40, speed_m_s=50 / 3.6,
            why="a minute has several cars in it, and frames to choose from",
        ),
        Guide(
            name="star-trails", reads_well="10 min to hours",
            options="--for star-trails -o star-trails.tif", blend="lighten", true_floor=True,
            focal_mm=20, aperture=2.8, iso=800, ev=-7, frame_shutter_s=30, elapsed_s=3600,
            why="an hour turns the sky by 15 degrees",
        ),
        Guide(
            name="stars", reads_well="one frame, many times",
            options="--for stars -o stars.tif",
            focal_mm=20, aperture=2.8, iso=3200, ev=-7, frames=20,
            why="together they have less than a quarter of one's noise",
        ),
        Guide(
            name="fireworks", reads_well="2 to 8 s a frame",
            options="--for fireworks -o fireworks.tif", blend="lighten",
            focal_mm=35, aperture=11, iso=100, ev=5, frame_shutter_s=4, elapsed_s=900,
            picks=4,
            why="the whole show, to choose a few bursts from",
        ),
        Guide(
            name="dusk", reads_well="one moment, or two mixed",
            options="--for dusk -o dusk.tif",
            focal_mm=24, aperture=8, iso=100, ev=5, elapsed_s=2400, interval_s=15,
            picks=8,
            why="the balance of sky and lamps, and some minutes on either side, to choose from",
        ),
        Guide(
            name="light-painting", reads_well="as long as it takes",
            options="--for light-painting -o painting.tif", blend="lighten",
            focal_mm=24, aperture=8, iso=200, ev=2, frame_shutter_s=10, frames=12,
            why="a pass with the lamp in each, so that a bad one can be left out",
        ),
        Guide(
            name="crowd", reads_well="20 to 60 frames over minutes",
            options="--for crowd -o empty.tif", blend="median",
            focal_mm=24, aperture=8, iso=100, ev=13, frames=30, interval_s=20,
            jpeg=True,
            why="walkers vanish where they are in fewer than half of the frames",
        ),
        Guide(
            name="pan",
            reads_well="1/8 to 1/60 s",
            options="--for pan --box X,Y,W,H -o pan.tif",
            focal_mm=70, aperture=11, iso=100, ev=13, frame_shutter_s=1 / 60, open_s=1 / 15,
            gap_s=0.0, distance_m=20, speed_m_s=40 / 3.6,
            clip=True,
            why="1/15 s in all streaks the world behind",
        ),
        Guide(
            name="ghosts", reads_well="a few poses",
            options="--for ghosts -o ghosts.tif",
            focal_mm=35, aperture=8, iso=100, ev=12, frames=5, interval_s=10,
            jpeg=True,
            why="a frame for each pose",
        ),
        Guide(
            name="many-of-one", reads_well="one frame a pose",
            options="--for many-of-one -o many.tif", blend="poses",
            focal_mm=35, aperture=8, iso=100, ev=12, frames=5, interval_s=10,
            jpeg=True,
            why="a frame for each pose, and in most of them each spot is free",
        ),
    )
}  # fmt: skip


def find_subject(name: str) -> Guide:
    """Return what is assumed for a subject.

    Raises
    ------
    OptionError
        There is none of that name; the sentence names those that exist, and the nearest.
    """
    check_subject(name)
    return SUBJECTS[name]
