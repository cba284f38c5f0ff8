"""Bursts in which a subject moves before a background that moves otherwise, with the truth.

Subject and background are drawn twice as fine as the frames and soft, so that moving them errs by
thousandths of a pixel. Sensor noise and 8-bit JPEG follow, as in ``simulated_bursts``.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.benchmarks.simulated_bursts import Light, Motion, Scenario, noise_texture, record, town

DAY = Scenario("day")
DUSK = Scenario("dusk", exposure=0.3, full_well_e=2000.0)
# a signal-to-noise ratio of about 3 in the mid tones
NIGHT = Scenario("night", exposure=0.2, full_well_e=150.0, read_noise_e=2.0)


@dataclass(frozen=True)
class Ride:
    """What a burst is like.

    ``subject_px`` width and height; ``step_px`` how far the subject goes between two frames, and
    ``sway_px`` by how much that changes at random; ``pan_px`` how far the background goes.
    ``scale`` and ``turn_deg`` of the subject in the last frame against the first. ``poles``
    stand before it, that wide; ``hidden`` frames show it not at all, ``away`` ones are those in
    which it is far outside. ``room`` is the box over the subject's own width and height.
    """

    name: str
    frames: int = 12
    subject_px: tuple[int, int] = (120, 72)
    step_px: tuple[float, float] = (0.0, 0.0)
    sway_px: float = 2.0
    pan_px: float = 40.0
    scale: float = 1.0
    turn_deg: float = 0.0
    light: Scenario = DAY
    drift_ev: float = 0.0
    pole_px: int = 0
    hidden: tuple[int, ...] = ()
    away: tuple[int, ...] = ()
    blurred: tuple[int, ...] = ()
    room: float = 1.15
    start: tuple[float, float] = (0.5, 0.55)


@dataclass
class SimulatedRide:
    """Frames as linear light, the box in the first, true motions, and where the subject is."""

    ride: Ride
    frames: list[Light]
    box: tuple[float, float, float, float]
    to_reference: list[Motion]  # to frame 0
    points: npt.NDArray[np.float64]  # on the subject, in frame 0

    def without_subject(self) -> set[int]:
        """Return the frames that show the subject blurred, less than half of it, or not at all."""
        height, width = self.frames[0].shape[:2]
        odd = {*self.ride.hidden, *self.ride.away, *self.ride.blurred}
        for number, motion in enumerate(self.to_reference):
            x, y = (np.linalg.inv(motion) @ np.append(self.points.mean(axis=0), 1))[:2]
            if not (0 <= x < width and 0 <= y < height):
                odd.add(number)
        return odd


def simulate_ride(ride: Ride, size: tuple[int, int], seed: int) -> SimulatedRide:
    """Return the burst of a ride; the same seed gives the same burst."""
    rng = np.random.default_rng(seed)
    width, height = size
    backdrop = _fine(town((2 * width, height + 200), rng))
    look, cover = _subject(ride, rng)
    middle = np.array([ride.start[0] * width, ride.start[1] * height])
    poses = _poses(ride, middle, rng)
    frames = []
    for number, pose in enumerate(poses):
        pan = (100.3 + ride.pan_px * number, 60.0 + 3 * np.sin(number))
        scene = _shifted(backdrop, pan, size)
        if number not in ride.hidden:
            scene = _painted(scene, look, cover, pose, number in ride.blurred)
        if ride.pole_px:
            scene = _poles(scene, ride, middle[0], number)
        ramp = 2 * number / max(1, ride.frames - 1) - 1
        gain = 2.0 ** (ride.drift_ev * ramp * np.array([1.0, 0.9, 1.15]))
        frames.append(record(scene, ride.light, gain, rng))
    motions = [poses[0] @ np.linalg.inv(pose) for pose in poses]
    w, h = (ride.room * side for side in ride.subject_px)
    box = (round(middle[0] - w / 2), round(middle[1] - h / 2), round(w), round(h))
    return SimulatedRide(ride, frames, box, motions, _places(ride, poses[0]))


def _fine(picture: Light) -> Light:
    """Return a picture at twice the size, soft enough to be moved by linear interpolation."""
    size = (2 * picture.shape[1], 2 * picture.shape[0])
    large = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
    return np.maximum(cv2.GaussianBlur(large, (0, 0), 1.3), 0)


def _subject(ride: Ride, rng: np.random.Generator) -> tuple[Light, Light]:
    """Return a car-like thing, and how much it covers, both twice as fine as the frames."""
    width, height = ride.subject_px
    canvas = (width + 16, height + 16)
    look = np.full((canvas[1], canvas[0], 3), 0.3, np.float32) * rng.uniform(0.5, 1.5, 3)
    grain = noise_texture(canvas, rng)
    look = look.astype(np.float32) * np.exp(0.15 * grain)[..., None]
    for _ in range(14):
        x, y = rng.uniform(0.15, 0.85, 2) * canvas
        w, h = rng.uniform(0.06, 0.25, 2) * canvas
        colour = tuple(float(v) for v in rng.uniform(0.02, 0.9, 3))
        cv2.rectangle(look, (int(x), int(y)), (int(x + w), int(y + h)), colour, -1)
    cover = np.zeros((canvas[1], canvas[0]), np.float32)
    axes = (width / 2, height / 2)
    x, y = np.meshgrid(np.arange(canvas[0]), np.arange(canvas[1]))
    # a rounded box: between an ellipse and a rectangle
    u, v = (x - (canvas[0] - 1) / 2) / axes[0], (y - (canvas[1] - 1) / 2) / axes[1]
    cover[(np.abs(u) ** 4 + np.abs(v) ** 4) < 1] = 1
    fine = _fine(np.dstack([look, cover]))
    return np.ascontiguousarray(fine[..., :3]), np.ascontiguousarray(fine[..., 3])


def _poses(ride: Ride, middle: npt.NDArray[np.float64], rng: np.random.Generator) -> list[Motion]:
    """Return where the subject is in each frame: from pixels about its middle to the frame's."""
    poses = []
    sway = np.zeros(2)
    for number in range(ride.frames):
        share = number / max(1, ride.frames - 1)
        if number:
            sway = 0.7 * sway + ride.sway_px * rng.standard_normal(2)
        x, y = middle + np.array(ride.step_px) * number + sway
        if number in ride.away:
            x += 1e5
        angle, scale = np.deg2rad(ride.turn_deg) * share, ride.scale**share
        c, s = scale * np.cos(angle), scale * np.sin(angle)
        poses.append(np.array([[c, -s, x], [s, c, y], [0, 0, 1.0]]))
    return poses


def _places(ride: Ride, pose: Motion) -> npt.NDArray[np.float64]:
    half = np.array(ride.subject_px) / 2 * 0.8
    across, down = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9))
    points = np.stack([across.ravel() * half[0], down.ravel() * half[1]], axis=1)
    return points @ pose[:2, :2].T + pose[:2, 2]


def _shifted(fine: Light, corner: tuple[float, float], size: tuple[int, int]) -> Light:
    """Return the part of the backdrop that the camera sees."""
    x, y = np.meshgrid(np.arange(size[0], dtype=np.float32), np.arange(size[1], dtype=np.float32))
    fx, fy = (2 * (x + np.float32(corner[0]))), (2 * (y + np.float32(corner[1])))
    return cv2.remap(fine, fx, fy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def _painted(scene: Light, look: Light, cover: Light, pose: Motion, blurred: bool) -> Light:
    """Return the scene with the subject before it."""
    height, width = scene.shape[:2]
    if not (-500 < pose[0, 2] < width + 500):
        return scene
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    back = np.linalg.inv(pose)
    u = back[0, 0] * x + back[0, 1] * y + back[0, 2]
    v = back[1, 0] * x + back[1, 1] * y + back[1, 2]
    # the centre of the fine picture of even size lies between pixels; places grow twofold
    fx = (2 * u + (look.shape[1] - 1) / 2).astype(np.float32)
    fy = (2 * v + (look.shape[0] - 1) / 2).astype(np.float32)
    seen = cv2.remap(look, fx, fy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    share = cv2.remap(cover, fx, fy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    painted = scene + (seen - scene) * share[..., None]
    if blurred:
        kernel = np.full((1, 19), 1 / 19, np.float32)
        painted = cv2.filter2D(painted, -1, kernel)
    return painted


def _poles(scene: Light, ride: Ride, middle: float, number: int) -> Light:
    """Return the scene with poles before it, which pass faster than the background.

    In the first frame they stand at either side of the subject's middle.
    """
    height, width = scene.shape[:2]
    out = scene.copy()
    apart = 5 * ride.pole_px
    first = middle + (apart - ride.pole_px) / 2 - 1.37 * ride.pan_px * number
    for pole in range(int(-first // apart), int((width - first) // apart) + 1):
        left = round(first + pole * apart)
        low, high = max(left, 0), min(left + ride.pole_px, width)
        if high > low:
            # no two poles are alike
            rng = np.random.default_rng(1000 + pole)
            look = rng.uniform(0.05, 0.3, (height, ride.pole_px, 3))
            out[:, low:high] = look[:, low - left : high - left]
    return out
