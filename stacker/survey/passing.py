"""What passes through a burst and is not its subject: veils, lamps from aside, small visitors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stacker.survey.movers import Movers, RootArray
from stacker.survey.soft_light import Lit, Veil, block_side, blocks_of, find_lit, find_veil
from stacker.survey.subject import NIGHT
from stacker.survey.visitors import Visitor, find_visitors

# subjects that change the light in parts of the picture by themselves, and those that change all
OWN_LIGHT = ("traffic", "fireworks", "light-painting", "dusk", "pan")
CHANGING = ("dusk", "pan")


@dataclass(frozen=True)
class Passing:
    """What passes.

    Parameters
    ----------
    veil : clouds or smoke.
    lit : frames of which a part is lit, by night.
    visitors : small things in the air, by day.
    """

    veil: Veil | None = None
    lit: tuple[Lit, ...] = ()
    visitors: tuple[Visitor, ...] = ()

    def but(self, subject: str) -> Passing:
        """Return what is left where the subject explains some of it."""
        left = self
        if subject in OWN_LIGHT:
            left = replace(left, lit=(), visitors=())
        return replace(left, veil=None) if subject in CHANGING else left


def find_passing(
    frames: Iterable[tuple[int, RootArray]],
    indices: Sequence[int],
    movers: Movers,
    usual: RootArray,
) -> Passing:
    """Return what passes in frames held to one view.

    Parameters
    ----------
    frames : index of each frame and the root of its light, float32 (h, w), evened; in order of
        time. They are asked for once, one after the other.
    indices : the same indices.
    movers : what moves in the burst.
    usual : float32 (h, w), the median of frames of the burst.
    """
    blocks, rough = [], []

    def one_by_one() -> Iterator[tuple[int, RootArray]]:
        for index, root in frames:
            middle, unlike = blocks_of(root, usual)
            blocks.append(middle)
            rough.append(unlike)
            yield index, root

    visitors = find_visitors(one_by_one(), movers)
    every = np.stack(blocks)
    block_px = movers.scale * block_side(movers.still.shape)
    veil = find_veil(every, np.stack(rough), indices, block_px, movers.noise)
    known = np.isfinite(movers.still)
    if not known.any() or float(np.median(movers.still[known])) ** 2 >= NIGHT:
        return Passing(veil=veil, visitors=visitors)
    aside = None if veil is None else veil.blocks
    return Passing(veil=veil, lit=find_lit(every, indices, block_px, aside=aside))
