"""The camera: lens blur, an unsteady hand, noise of light and of the sensor, and codes.

All of it happens in linear light, in the order of a real camera: the hand moves the picture, the
lens blurs it, the sensor counts electrons, clips, and the file encodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.srgb import linear_to_srgb

Matrix = npt.NDArray[np.float64]

# Electrons of a full pixel at ISO 100, and the noise of reading one pixel.
FULL_WELL_E = 48_000.0
READ_NOISE_E = 3.0
# Steps of light told apart before encoding to 8 bits: a twentieth of a code in the shadows.
LIGHT_STEPS = 65_536
# The hand swings back to where it aimed; 0.85 keeps the walk slow and within bounds.
HAND_MEMORY = 0.85
# Turn of the hand in radians for each pixel of its shift on a picture of 1000 px.
HAND_TURN = 0.15 / 1000
# The hand never goes beyond this many times its typical shift.
HAND_REACH = 4.0


@dataclass(frozen=True)
class Camera:
    """A camera's figures. ``clock`` is the local time at which the first frame opens, HH:MM:SS."""

    iso: int
    f_number: float
    focal_mm: float
    clock: str
    blur_sigma_px: float = 0.5
    read_noise_e: float = READ_NOISE_E

    @property
    def full_well_e(self) -> float:
        """Electrons that make white at this ISO."""
        return FULL_WELL_E * 100 / self.iso

    def through_lens(self, light: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """Return ``light`` (H, W, 3) blurred by the lens; the border is continued, not darkened."""
        if self.blur_sigma_px <= 0:
            return light
        sigma = self.blur_sigma_px
        seen = cv2.GaussianBlur(light, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
        return np.asarray(seen, np.float32)

    def noise_variance(self, light: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return the variance of a recorded value at this mean light, light squared.

        Shot noise has the variance of its mean count; read noise is the same everywhere:
        ``light / full_well + (read / full_well)**2``. It holds away from black and white.
        """
        mean = np.asarray(light, dtype=np.float64)
        return mean / self.full_well_e + (self.read_noise_e / self.full_well_e) ** 2

    def expose(
        self, light: npt.NDArray[np.float32], rng: np.random.Generator
    ) -> npt.NDArray[np.float32]:
        """Return what the sensor records of ``light`` (H, W, 3): noisy and clipped to [0, 1].

        The count of photons is drawn as a normal value of the right variance, which a Poisson
        count is from some twenty electrons up.
        """
        variance = np.maximum(light, 0) * np.float32(1 / self.full_well_e)
        variance += np.float32((self.read_noise_e / self.full_well_e) ** 2)
        noise = rng.standard_normal(light.shape, dtype=np.float32)
        noise *= np.sqrt(variance, out=variance)
        noise += light
        return np.clip(noise, 0, 1, out=noise)


def hand_motion(frames: int, tremor_px: float, rng: np.random.Generator) -> list[Matrix]:
    """Return where an unsteady hand put each frame: matrices from frame to first frame, 3x3.

    A slow random walk drawn back to its aim, about ``tremor_px`` pixels wide (standard deviation),
    with a tiny turn about the first pixel. The first frame is where the truth is: its matrix is
    the identity. Within one exposure the hand is still.
    """
    place = np.zeros(3)
    motion = []
    for number in range(frames):
        if number:
            kick = rng.standard_normal(3) * np.sqrt(1 - HAND_MEMORY**2)
            place = np.clip(HAND_MEMORY * place + kick, -HAND_REACH, HAND_REACH)
        shift_x, shift_y = place[:2] * tremor_px
        turn = place[2] * tremor_px * HAND_TURN
        cosine, sine = np.cos(turn), np.sin(turn)
        motion.append(np.array([[cosine, -sine, shift_x], [sine, cosine, shift_y], [0, 0, 1.0]]))
    return motion


def tremor_margin(size: tuple[int, int], tremor_px: float) -> int:
    """Return the pixels to draw beyond each border so that a moved frame shows none."""
    if tremor_px == 0:
        return 0
    turned = max(size) * HAND_TURN * tremor_px
    return int(np.ceil(HAND_REACH * (tremor_px + turned))) + 4


def move(light: npt.NDArray[np.float32], motion: Matrix, margin: int) -> npt.NDArray[np.float32]:
    """Return the frame that a hand at ``motion`` sees of a picture with ``margin``.

    ``motion`` takes the frame's pixels to those of the picture inside its margin.
    """
    height, width = (side - 2 * margin for side in light.shape[:2])
    if np.array_equal(motion, np.eye(3)):
        return np.ascontiguousarray(light[margin : margin + height, margin : margin + width])
    inset = np.array([[1, 0, margin], [0, 1, margin], [0, 0, 1.0]])
    row, column = np.mgrid[0:height, 0:width].astype(np.float64)
    matrix = inset @ motion
    x = matrix[0, 0] * column + matrix[0, 1] * row + matrix[0, 2]
    y = matrix[1, 0] * column + matrix[1, 1] * row + matrix[1, 2]
    return _between_pixels(light, x, y)


def _between_pixels(
    light: npt.NDArray[np.float32], x: Matrix, y: Matrix
) -> npt.NDArray[np.float32]:
    """Return ``light`` at the places ``x``, ``y`` (H, W) by cubic interpolation.

    The library's own cubic rounds places to 1/32 pixel, too coarse for a recorded motion.

    Source: R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE
    Trans. ASSP 29 (1981), doi:10.1109/TASSP.1981.1163711, with a = -1/2.
    """
    left, top = np.floor(x).astype(np.float32), np.floor(y).astype(np.float32)
    across, down = _keys_weights(x - left), _keys_weights(y - top)
    total = np.zeros((*x.shape, 3), np.float32)
    for j in range(4):
        for i in range(4):
            tap = cv2.remap(
                light, left + np.float32(i - 1), top + np.float32(j - 1), cv2.INTER_NEAREST,
                borderMode=cv2.BORDER_REPLICATE,
            )  # fmt: skip
            total += (across[i] * down[j])[..., None] * tap
    # A cubic may undershoot beside a lamp; light is never negative.
    return np.maximum(total, 0, out=total)


def _keys_weights(fraction: Matrix) -> npt.NDArray[np.float32]:
    """Return the weights of the four pixels about a place, (4, H, W), from its fraction."""
    f = fraction.astype(np.float32)
    return np.stack(
        [
            ((2 - f) * f - 1) * f / 2,
            ((3 * f - 5) * f * f + 2) / 2,
            ((4 - 3 * f) * f + 1) * f / 2,
            (f - 1) * f * f / 2,
        ]
    )


@cache
def _byte_table() -> npt.NDArray[np.uint8]:
    light = np.arange(LIGHT_STEPS) / (LIGHT_STEPS - 1)
    return np.rint(linear_to_srgb(light) * 255).astype(np.uint8)


def to_bytes(light: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8]:
    """Return 8-bit sRGB codes of linear light in [0, 1], same shape."""
    step = (light * np.float32(LIGHT_STEPS - 1) + np.float32(0.5)).astype(np.uint16)
    return _byte_table()[step]


def to_words(light: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    """Return 16-bit sRGB codes of linear light in [0, 1], same shape."""
    return np.rint(linear_to_srgb(light) * 65_535).astype(np.uint16)
