"""Did the camera stand still? Asked of frames as they lie, without looking for their motion.

``register_frames`` comes to the same answer where parts of the picture pin the camera down
(``pinned``); this is a third of the work, and none where the answer is no.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from stacker.light.encoding import LightArray
from stacker.register.geometry import Points, identity
from stacker.register.scene.align import full_places, quiet_noise
from stacker.register.scene.grey import LUMINANCE, grey_of
from stacker.register.scene.pair import prepare
from stacker.register.scene.pinned import TOLERANCE_PX, Stays, pinned, share_of, stays_of
from stacker.register.scene.settle import STAYED

# frames of a burst that are asked first: those of a hand differ from the first on
FIRST_ASKED = 3


def standing_places(
    source: Callable[[int], LightArray],
    count: int,
    *,
    weights: tuple[float, float, float] = LUMINANCE,
    workers: int = 1,
    on_frame: Callable[[], None] | None = None,
) -> Points | None:
    """Return what pins all of some frames to where the middle one of them looked.

    Places (P, 2) in pixels of the copy; None where the camera did not stand still.

    Parameters
    ----------
    source, weights, workers : as in ``register_frames``.
    count : how many frames there are; 2 or more.
    on_frame : called, in the calling thread, for each frame that was looked at.

    Notes
    -----
    None also where nothing pins the camera down, as in a noisy night or under clouds alone:
    then ``register_frames`` can tell.
    """
    middle = count // 2
    held = prepare(grey_of(source(middle), weights))
    if not held.has_texture:
        return None

    def look(number: int) -> Stays:
        grey = grey_of(source(number), weights)
        noise = quiet_noise(held.tiles[0], grey, identity(), TOLERANCE_PX)
        return stays_of(held.tiles[0], grey, noise)

    others = [number for number in (0, count - 1, *range(1, count - 1)) if number != middle]
    others = list(dict.fromkeys(others))
    seen: list[Stays] = []
    pins = None
    with ThreadPoolExecutor(workers) as pool:
        for asked in (others[: FIRST_ASKED - 1], others[FIRST_ASKED - 1 :]):
            for stays in pool.map(look, asked):
                seen.append(stays)
                if on_frame:
                    on_frame()
            pins = pinned(seen)
            if pins is None or any(share_of(stays, pins) <= STAYED for stays in seen):
                return None
    return None if pins is None else full_places(held.tiles[0])[pins]
