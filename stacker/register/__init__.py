"""Where each frame looked: motion models, estimation, the verdict on a frame, and warping.

Numbers only: no files, no blending. Frames come in as reduced light and motions leave for the full
size; ``Warp`` puts a frame where the reference looked.
"""

from stacker.register.drift import is_even_drift
from stacker.register.local import LocalCorrection
from stacker.register.motion import (
    BurstMotion,
    FrameMotion,
    UnfitReferenceError,
    is_reference_bumped,
    without_bumped,
)
from stacker.register.scene.burst import register_frames
from stacker.register.scene.grey import working_factor
from stacker.register.scene.still import standing_places
from stacker.register.scene.verdict import ODD_LIGHT
from stacker.register.scene.watch import Watch
from stacker.register.sky import register_sky, sky_factor
from stacker.register.subject import register_subject, subject_factor
from stacker.register.warp import BAND_ROWS, MOST_OVERSHOOT, Warp, warp_light

__all__ = [
    "BAND_ROWS",
    "MOST_OVERSHOOT",
    "ODD_LIGHT",
    "BurstMotion",
    "FrameMotion",
    "LocalCorrection",
    "UnfitReferenceError",
    "Warp",
    "Watch",
    "is_even_drift",
    "is_reference_bumped",
    "register_frames",
    "register_sky",
    "register_subject",
    "sky_factor",
    "standing_places",
    "subject_factor",
    "warp_light",
    "without_bumped",
    "working_factor",
]
