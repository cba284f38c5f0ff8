"""Room on the card and charge in the battery."""

from __future__ import annotations

import math
from dataclasses import dataclass

# losslessly packed 14-bit raw, and a JPEG of the best quality
RAW_BYTES_PER_PIXEL = 1.3
JPEG_BYTES_PER_PIXEL = 0.45
# a clip of good quality, 100 megabits per second
CLIP_BYTES_S = 12.5e6
# makers count 300 to 700 frames with finder and screen in between; a burst wakes neither
BATTERY_FRAMES = 1000
BATTERY_S = 3 * 3600.0
# a battery near freezing gives about half
COLD = 0.5
# what many cameras keep up with for as long as it takes, and the frames a buffer swallows
WRITES_BYTES_S = 80e6
BUFFER_FRAMES = 20


@dataclass(frozen=True)
class Storage:
    """What a burst asks of card and battery.

    Parameters
    ----------
    frame_bytes, card_bytes : of one frame and of all.
    cards : how many of the given size; None if none was given.
    bytes_s : what the camera has to write, on average.
    battery_changes : in the middle of the burst.
    """

    frame_bytes: float
    card_bytes: float
    cards: int | None
    bytes_s: float
    battery_changes: int

    @property
    def outruns_camera(self) -> bool:
        """Whether many cameras would slow down before the burst is over."""
        frames = self.card_bytes / self.frame_bytes
        return self.bytes_s > WRITES_BYTES_S and frames > BUFFER_FRAMES


def storage(
    frames: int,
    interval_s: float,
    elapsed_s: float,
    *,
    frame_bytes: float,
    one_card_bytes: float | None = None,
    battery_s: float = BATTERY_S,
    battery_frames: float = BATTERY_FRAMES,
    cold: bool = False,
) -> Storage:
    """Return what a burst asks of card and battery; ``battery_s`` is how long a charge lasts."""
    share = COLD if cold else 1.0
    charges = max(frames / (battery_frames * share), elapsed_s / (battery_s * share))
    total = frames * frame_bytes
    return Storage(
        frame_bytes=frame_bytes,
        card_bytes=total,
        cards=None if one_card_bytes is None else math.ceil(total / one_card_bytes),
        bytes_s=frame_bytes / interval_s,
        battery_changes=max(0, math.ceil(charges - 1e-9) - 1),
    )
