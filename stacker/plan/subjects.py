"""What each subject wants where nothing else is said. One table."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from stacker.errors import OptionError


@dataclass(frozen=True, kw_only=True)
class Guide:
    """What is assumed for a subject.

    Parameters
    ----------
    name : what is typed after ``--for``.
    title : in words.
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
    """

    name: str
    title: str
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


SUBJECTS = {
    guide.name: guide
    for guide in (
        Guide(
            name="water", title="Silky water", reads_well="0.5 to 30 s",
            options="--blend mean -o water.tif",
            focal_mm=35, aperture=11, iso=100, ev=10, flow_m_s=1.0, texture_m=0.2,
            jpeg=True,
            why="as many as it takes until a tenth of the water's texture is left",
        ),
        Guide(
            name="clouds", title="Drawn-out clouds", reads_well="30 s to 10 min",
            options="--blend mean -o clouds.tif",
            focal_mm=24, aperture=11, iso=100, ev=12, elapsed_s=180, interval_s=2,
            flow_m_s=10.0, texture_m=60.0, distance_m=1500,
            jpeg=True,
            why="three minutes draw clouds out without making them a flat grey",
        ),
        Guide(
            name="traffic", title="Light trails of traffic", reads_well="5 to 60 s",
            options="--blend lighten -o trails.tif",
            focal_mm=35, aperture=11, iso=100, ev=5, open_s=60,
            distance_m=40, speed_m_s=50 / 3.6,
            why="a minute has several cars in it, and frames to choose from",
        ),
        Guide(
            name="star-trails", title="Star trails", reads_well="10 min to hours",
            options="--blend lighten --floor true -o star-trails.tif",
            focal_mm=20, aperture=2.8, iso=800, ev=-7, frame_shutter_s=30, elapsed_s=3600,
            why="an hour turns the sky by 15 degrees",
        ),
        Guide(
            name="stars", title="Stars as points", reads_well="one frame, many times",
            options="--hold sky --blend mean -o stars.tif",
            focal_mm=20, aperture=2.8, iso=3200, ev=-7, frames=20,
            why="together they have less than a quarter of one's noise",
        ),
        Guide(
            name="fireworks", title="Fireworks", reads_well="2 to 8 s a frame",
            options="--blend lighten -o fireworks.tif",
            focal_mm=35, aperture=11, iso=100, ev=5, frame_shutter_s=4, elapsed_s=900,
            picks=4,
            why="the whole show, to choose a few bursts from",
        ),
        Guide(
            name="dusk", title="Buildings at dusk", reads_well="one moment, or two mixed",
            options="--blend mean -o dusk.tif",
            focal_mm=24, aperture=8, iso=100, ev=5, elapsed_s=2400, interval_s=15,
            picks=8,
            why="the balance of sky and lamps, and some minutes on either side, to choose from",
        ),
        Guide(
            name="light-painting", title="Light painting", reads_well="as long as it takes",
            options="--blend lighten -o painting.tif",
            focal_mm=24, aperture=8, iso=200, ev=2, frame_shutter_s=10, frames=12,
            why="a pass with the lamp in each, so that a bad one can be left out",
        ),
        Guide(
            name="crowd", title="An empty square", reads_well="20 to 60 frames over minutes",
            options="--blend median -o empty.tif",
            focal_mm=24, aperture=8, iso=100, ev=13, frames=30, interval_s=20,
            jpeg=True,
            why="walkers vanish where they are in fewer than half of the frames",
        ),
        Guide(
            name="pan", title="A moving subject, the world streaked",
            reads_well="1/8 to 1/60 s",
            options="--hold subject --box X,Y,W,H --blend mean -o pan.tif",
            focal_mm=70, aperture=11, iso=100, ev=13, frame_shutter_s=1 / 60, open_s=1 / 15,
            gap_s=0.0, distance_m=20, speed_m_s=40 / 3.6,
            clip=True,
            why="1/15 s in all streaks the world behind",
        ),
        Guide(
            name="ghosts", title="One person many times", reads_well="a few poses",
            options="--blend mean -o ghosts.tif",
            focal_mm=35, aperture=8, iso=100, ev=12, frames=5, interval_s=10,
            jpeg=True,
            why="a frame for each pose",
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
    if name in SUBJECTS:
        return SUBJECTS[name]
    near = difflib.get_close_matches(name.lower(), SUBJECTS, n=1, cutoff=0.6)
    guess = f"did you mean {near[0]}? There" if near else "there"
    raise OptionError(
        f"--for {name}",
        "no such subject",
        remedy=f"{guess} are {', '.join(SUBJECTS)}",
        code="option-choice",
    )
