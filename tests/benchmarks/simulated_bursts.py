"""Bursts with exactly known motion, for the benchmark of registration.

A large picture of linear light is seen by a camera that a hand turns: pure rotations through a
pinhole, hence homographies. Walkers and cars are many patches of another picture, each of which
goes its own way at its own pace: half of a frame that moved as one would be a second ground, and
nothing in the pictures could say which of the two stands still. Water is texture that is new in
every frame. Sensor noise and 8-bit JPEG follow.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.srgb import linear_to_srgb, srgb_to_linear

Light = npt.NDArray[np.float32]
Motion = npt.NDArray[np.float64]
Coordinates = npt.NDArray[np.float64]

CODE_LIGHT = srgb_to_linear(np.arange(256) / 255).astype(np.float32)
# what the drawn town has
MEAN_LIGHT = 0.3
# how much larger the picture behind the frames is, on each side
MARGIN = 0.2
FOCAL_WIDTHS = 1.2
# walkers and cars: their sides, as shares of the frame's width, and how far they go in a frame, px
MOVER_SIDES = (0.03, 0.15)
PACE_PX = (30.0, 8.0)
# where the near part of a scene begins, and over which part of the height it comes nearer
NEAR_FROM, NEAR_SOFT = 0.6, 0.1


@dataclass(frozen=True)
class Scenario:
    """What a burst is like, and the figures it should reach: median, 95th percentile, lost."""

    name: str
    frames: int = 8
    degrees: float = 1.5
    moving: float = 0.0
    water: float = 0.0
    drift_ev: float = 0.0
    exposure: float = 0.5
    full_well_e: float = 8000.0
    read_noise_e: float = 4.0
    texture: str = "town"
    odd: dict[int, str] = field(default_factory=dict)
    still: tuple[int, ...] | None = None  # frames at which a tripod was touched
    wanted: tuple[float, float, float] | None = None
    lens: float = 0.0
    shutter_px: float = 0.0
    depth_px: float = 0.0  # how far the near part of the scene goes its own way


def noise_texture(size: tuple[int, int], rng: np.random.Generator, slope: float = 1.0) -> Light:
    """Return noise whose amplitude falls as 1 / frequency^slope, mean 0, deviation 1, (H, W)."""
    width, height = size
    fy = np.fft.fftfreq(height)[:, None]
    fx = np.fft.rfftfreq(width)[None, :]
    radius = np.maximum(np.hypot(fx, fy), 2 / width)
    spectrum = np.fft.rfft2(rng.standard_normal((height, width))) / radius**slope
    grain = np.fft.irfft2(spectrum, (height, width))
    return ((grain - grain.mean()) / grain.std()).astype(np.float32)


def town(size: tuple[int, int], rng: np.random.Generator) -> Light:
    """Return sky, house fronts with windows and a ground of stones, (H, W, 3)."""
    width, height = size
    grain = noise_texture(size, rng)
    light = np.empty((height, width, 3), np.float32)
    light[:] = np.array([0.35, 0.5, 0.75]) * (1 + 0.05 * noise_texture(size, rng, 1.6)[..., None])
    horizon = int(0.45 * height)
    left = 0
    while left < width:
        wide = int(rng.uniform(0.04, 0.12) * width)
        top = horizon - int(rng.uniform(0.02, 0.38) * height)
        wall = rng.uniform(0.05, 0.6, 3) * rng.uniform(0.4, 1.0)
        light[top : int(0.7 * height), left : left + wide] = wall
        for y in range(top + 12, int(0.66 * height), int(rng.uniform(28, 60))):
            for x in range(left + 8, left + wide - 20, int(rng.uniform(24, 48))):
                light[y : y + int(rng.uniform(14, 24)), x : x + int(rng.uniform(9, 16))] = (
                    wall * rng.uniform(0.1, 2.0)
                )
        left += wide
    light[int(0.68 * height) :] = (0.25, 0.22, 0.2)
    for _ in range(400):
        x, y = rng.uniform(0, width), rng.uniform(0.68 * height, height)
        axes = rng.uniform(4, 25, 2)
        colour = rng.uniform(0.05, 0.6) * np.array([1.0, 0.95, 0.9])
        cv2.ellipse(
            light, ((x, y), (float(axes[0]), float(axes[1])), float(rng.uniform(0, 180))),
            tuple(colour.tolist()), -1,
        )  # fmt: skip
    ground = np.zeros((height, 1), np.float32)
    ground[horizon:] = 1.0
    light *= np.exp((0.05 + 0.17 * ground) * grain)[..., None]
    return np.clip(light, 0.004, 1.5)


def plain(size: tuple[int, int], rng: np.random.Generator) -> Light:
    """Return a picture of little texture: soft sky, a few faint shapes, (H, W, 3)."""
    width, height = size
    light = np.full((height, width, 3), 0.35, np.float32)
    light *= np.exp(0.3 * noise_texture(size, rng, 1.8))[..., None]
    for _ in range(40):
        x, y = rng.uniform(0, width), rng.uniform(0, height)
        a, b = rng.uniform(20, 160, 2)
        shade = float(rng.uniform(0.8, 1.25) * 0.35)
        cv2.ellipse(light, ((x, y), (a, b), rng.uniform(0, 180)), (shade,) * 3, -1)
    return light


def photograph(path: Path, size: tuple[int, int]) -> Light:
    """Return the middle of a still picture, enlarged or reduced to ``size``, as linear light.

    It is exposed like the drawn ones, so that noise means the same.
    """
    codes = cv2.imread(str(path), cv2.IMREAD_COLOR)
    height, width = codes.shape[:2]
    scale = max(size[0] / width, size[1] / height)
    across, down = round(size[0] / scale), round(size[1] / scale)
    left, top = (width - across) // 2, (height - down) // 2
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    fitted = cv2.resize(codes[top : top + down, left : left + across], size, interpolation=method)
    light = CODE_LIGHT[cv2.cvtColor(fitted, cv2.COLOR_BGR2RGB)]
    return np.clip(light * np.float32(MEAN_LIGHT / light.mean()), 0.004, 1.5)


def hand(scenario: Scenario, size: tuple[int, int], rng: np.random.Generator) -> list[Motion]:
    """Return where each frame looked: matrices from frame to the first frame."""
    width, height = size
    f = FOCAL_WIDTHS * width
    camera = np.array([[f, 0, (width - 1) / 2], [0, f, (height - 1) / 2], [0, 0, 1.0]])
    angles = np.zeros(3)
    motions = []
    for number in range(scenario.frames):
        if scenario.still is not None:
            if number in scenario.still:
                angles = rng.uniform(-1, 1, 3) * np.deg2rad(0.15)
        elif number:
            walk = rng.standard_normal(3) * np.deg2rad(scenario.degrees) * 0.4
            angles = np.clip(
                0.8 * angles + walk, *(np.deg2rad(scenario.degrees) * np.array([-1, 1]))
            )
        turn, _ = cv2.Rodrigues(angles)
        motion = camera @ turn @ np.linalg.inv(camera)
        motions.append(motion / motion[2, 2])
    return motions


@dataclass(frozen=True)
class View:
    """How one frame sees the picture: lens, shutter and hand, in that order."""

    motion: Motion  # to the first frame, through a perfect lens
    size: tuple[int, int]
    lens: float = 0.0
    sway: tuple[float, float, float] = (0.0, 0.0, 0.0)
    near: tuple[float, float] = (0.0, 0.0)

    def places(self, x: Coordinates, y: Coordinates) -> tuple[Coordinates, Coordinates]:
        """Return where the frame's pixels look, as pixels of a perfect first frame."""
        width, height = self.size
        u, v = x - width / 2, y - height / 2
        stretch = self.lens * (u**2 + v**2) / (width / 2) ** 2
        across, down, phase = self.sway
        # the hand swings while the rows are read
        swing = np.sin(2 * np.pi * (0.8 * y / height + phase))
        x, y = x + u * stretch + across * swing, y + v * stretch + down * swing
        m = self.motion
        z = m[2, 0] * x + m[2, 1] * y + m[2, 2]
        x, y = (
            (m[0, 0] * x + m[0, 1] * y + m[0, 2]) / z,
            (m[1, 0] * x + m[1, 1] * y + m[1, 2]) / z,
        )
        # the ground comes nearer from the horizon on
        share = np.clip((y / height - NEAR_FROM) / NEAR_SOFT, 0, 1)
        return x + self.near[0] * share, y + self.near[1] * share


def render(picture: Light, view: View) -> Light:
    """Return what a camera sees of ``picture``, exact to thousandths of a pixel.

    The picture is twice as fine as the frames and soft, so that interpolation errs little.
    """
    width, height = view.size
    margin = (np.array(picture.shape[1::-1]) / 2 - view.size) / 2
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    x, y = view.places(x, y)
    return cv2.remap(
        picture,
        (2 * (x + margin[0])).astype(np.float32),
        (2 * (y + margin[1])).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )


def record(
    light: Light, scenario: Scenario, gain: npt.ArrayLike, rng: np.random.Generator
) -> Light:
    """Return the light that comes back from a noisy 8-bit JPEG of ``light``."""
    seen = light * (np.asarray(gain, np.float32) * np.float32(scenario.exposure))
    full = scenario.full_well_e
    variance = np.maximum(seen, 0) / full + (scenario.read_noise_e / full) ** 2
    seen = seen + rng.standard_normal(seen.shape, dtype=np.float32) * np.sqrt(variance)
    # bright enough codes: dark scenes are developed brighter, as a camera at high ISO does
    codes = np.rint(linear_to_srgb(np.clip(seen, 0, 1)) * 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 94])
    return CODE_LIGHT[cv2.imdecode(data, cv2.IMREAD_COLOR)]


@dataclass
class SimulatedBurst:
    """Frames as linear light (H, W, 3) after JPEG, true motions, and what stands still."""

    scenario: Scenario
    frames: list[Light]
    views: list[View]
    static: npt.NDArray[np.bool_]  # in frame 0, where no mover and no water ever is

    @property
    def to_reference(self) -> list[Motion]:
        """The motions to frame 0, through a perfect lens and shutter."""
        return [view.motion for view in self.views]

    def true_places(self, number: int, points: npt.ArrayLike) -> Coordinates:
        """Return where points (N, 2) of a frame lie in frame 0, as frame 0 saw it."""
        start = np.asarray(points, dtype=np.float64)
        looked_at = np.stack(self.views[number].places(*start.T), axis=1)
        place = looked_at.copy()
        for _ in range(30):
            place += looked_at - np.stack(self.views[0].places(*place.T), axis=1)
        return place


def simulate(
    scenario: Scenario,
    size: tuple[int, int],
    seed: int,
    stills: list[Path] | None = None,
    *,
    noise: bool = True,
) -> SimulatedBurst:
    """Return the burst of a scenario; the same seed gives the same burst.

    ``noise=False`` leaves noise and coding out.
    """
    rng = np.random.default_rng(seed)
    width, height = size
    fine = (int(2 * (1 + 2 * MARGIN) * width), int(2 * (1 + 2 * MARGIN) * height))
    drawers = {"town": town, "plain": plain}
    if stills and scenario.texture == "town":
        half = fine[0] // 2, fine[1] // 2
        picture, other = (
            _softly_enlarged(photograph(stills[(seed + further) % len(stills)], half), fine)
            for further in (0, 1)
        )
    else:
        picture = drawers[scenario.texture]((fine[0] // 2, fine[1] // 2), rng)
        picture = _softly_enlarged(picture, fine)
        other = picture
    # turned about, so that even where there is one still only, movers show something else
    movers = _Movers(picture.shape, other[::-1, ::-1], scenario, size, rng)
    frames, views = [], []
    for number, motion in enumerate(hand(scenario, size, rng)):
        across, down = rng.uniform(-1, 1, 2) * scenario.shutter_px * (number > 0)
        sway = (float(across), float(down), float(rng.uniform(0, 1)))
        near = tuple(rng.uniform(-1, 1, 2) * scenario.depth_px * (number > 0))
        views.append(View(motion, size, scenario.lens, sway, near))
        light = render(movers.paint(picture, number), views[-1])
        light = _spoil(light, scenario.odd.get(number), picture, size, rng)
        ramp = 2 * number / max(1, scenario.frames - 1) - 1
        gain = 2.0 ** (scenario.drift_ev * ramp * np.array([1.0, 0.9, 1.15]))
        if noise:
            frames.append(record(light, scenario, gain, rng))
        else:
            frames.append(light * np.asarray(gain * scenario.exposure, np.float32))
    return SimulatedBurst(scenario, frames, views, movers.static(size))


def _softly_enlarged(picture: Light, size: tuple[int, int]) -> Light:
    """Return a picture at twice its size, soft enough to be interpolated linearly."""
    fine = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
    return np.maximum(cv2.GaussianBlur(fine, (0, 0), 1.3), 0)


def _spoil(
    light: Light, how: str | None, picture: Light, size: tuple[int, int], rng: np.random.Generator
) -> Light:
    """Return a frame as something went wrong with it."""
    if how == "black":
        return light * 0.0005
    if how == "flash":
        return light * 0.3 + 2.0
    if how == "covered":
        return np.full_like(light, 0.05) * np.exp(0.1 * noise_texture(size, rng, 2.0))[..., None]
    if how == "blur":
        length = 25
        kernel = cv2.warpAffine(
            np.diag(np.ones(length)).astype(np.float32), np.eye(2, 3), (length, length)
        )
        return cv2.filter2D(light, -1, kernel / kernel.sum())
    if how == "focus":
        return cv2.GaussianBlur(light, (0, 0), 5)
    if how == "elsewhere":
        other = picture[: light.shape[0], -light.shape[1] :]
        return cv2.flip(np.ascontiguousarray(other), 1)
    return light


class _Movers:
    """Patches that go their own way, and water."""

    def __init__(
        self,
        shape: tuple[int, ...],
        other: Light,
        scenario: Scenario,
        size: tuple[int, int],
        rng: np.random.Generator,
    ) -> None:
        self.scenario, self.rng = scenario, rng
        self.shape = shape
        self.other = np.ascontiguousarray(other)
        self.patches: list[tuple[int, int, int, int]] = []
        self.water_top: int | None = None
        if scenario.water:
            # the frame covers the middle of the picture
            inner = shape[0] / (1 + 2 * MARGIN)
            self.water_top = int(shape[0] / 2 + inner / 2 - scenario.water * inner)
        self.frames = scenario.frames
        covered = np.zeros(shape[:2], bool)
        height, width = covered.shape
        # the picture is twice as fine as the frames
        unit = 2 * size[0]
        while scenario.moving and covered.mean() < scenario.moving:
            w, h = (int(v) for v in rng.uniform(*MOVER_SIDES, 2) * unit)
            x, y = int(rng.uniform(0, width - w)), int(rng.uniform(0, height - h))
            self.patches.append((x, y, w, h))
            covered[y : y + h, x : x + w] = True
        self.paths = self._wander(rng)
        self.cover = np.zeros(shape[:2], bool)
        for number in range(self.frames):
            for x, y, w, h in self._places(number):
                self.cover[y : y + h, x : x + w] = True
        if self.water_top is not None:
            self.cover[self.water_top :] = True

    def _wander(self, rng: np.random.Generator) -> npt.NDArray[np.float64]:
        """Return how far each patch is from where it began, (frames, patches, 2)."""
        count = len(self.patches)
        pace = 2 * np.array(PACE_PX)
        usual = rng.uniform(-1, 1, (count, 2)) * pace
        # nobody walks evenly, nor does a car
        steps = usual * rng.uniform(0.5, 1.5, (self.frames, count, 1))
        steps += rng.uniform(-0.3, 0.3, (self.frames, count, 2)) * pace[1]
        return np.asarray(np.cumsum(steps, axis=0) - steps[0])

    def _places(self, number: int) -> list[tuple[int, int, int, int]]:
        height, width = self.shape[:2]
        return [
            (int(x + dx) % (width - w), int(y + dy) % (height - h), w, h)
            for (x, y, w, h), (dx, dy) in zip(self.patches, self.paths[number], strict=True)
        ]

    def paint(self, picture: Light, number: int) -> Light:
        if not self.patches and self.water_top is None:
            return picture
        scene = picture.copy()
        for (x, y, w, h), (x0, y0, *_) in zip(self._places(number), self._places(0), strict=True):
            scene[y : y + h, x : x + w] = self.other[y0 : y0 + h, x0 : x0 + w]
        if self.water_top is not None:
            rows = self.shape[0] - self.water_top
            waves = noise_texture((self.shape[1] // 4, rows // 4 + 1), self.rng, 1.0)
            waves = cv2.resize(waves, (self.shape[1], rows), interpolation=cv2.INTER_CUBIC)
            scene[self.water_top :] = (
                np.array([0.12, 0.18, 0.22], np.float32) * np.exp(0.4 * waves)[..., None]
            )
        return scene

    def static(self, size: tuple[int, int]) -> npt.NDArray[np.bool_]:
        """Return where frame 0 never saw anything move, bool (H, W)."""
        cover = np.repeat(self.cover[..., None], 3, axis=2).astype(np.float32)
        return render(cover, View(np.eye(3), size))[..., 0] < 0.01
