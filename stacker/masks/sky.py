"""Finding the sky of a burst: what turns with the stars or changes with the light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stacker.masks.edges import fine_edges, long_edges, without_points
from stacker.masks.evidence import Evidence, evidence_of
from stacker.masks.outline import settled_outline, standing_on, whole_ground
from stacker.masks.roots import BoolArray, Float32Array, Roots
from stacker.masks.skyline import IntArray, skyline

# frames and pixels a side that tell anything
LEAST_FRAMES, LEAST_SIDE_PX = 5, 200
# A skyline is sure where the line lies on a clear edge over most of its length, ...
CLEAR_EDGE, MOST_OF_LINE = 2.0, 0.75
# ... where evidence is so many times as frequent above it as below, ...
TIMES_ABOVE = 6.0
# ... and where the picture has some of both.
LEAST_SHARE = 0.02


@dataclass(frozen=True, eq=False)
class FoundSky:
    """What was found.

    Parameters
    ----------
    ground : bool (h, w), what is not sky; None where no skyline is sure.
    why : why not, as a clause; empty where there is one.
    by : what told the sky, in words.
    """

    ground: BoolArray | None
    why: str = ""
    by: str = ""


def find_sky(roots: Roots) -> FoundSky:
    """Return which part of the picture is ground, if that is certain.

    Notes
    -----
    Stars that pass, or light that changes, tell where sky is; the still picture's edges tell where
    it ends. Far hills in haze are told by the length of their edge alone. What hangs into the
    picture from above counts as sky. Wrong where the sky's reflection lies right below it.
    """
    height, width = roots.codes.shape[1:3]
    if roots.count < LEAST_FRAMES or min(height, width) < LEAST_SIDE_PX:
        return FoundSky(None, "there are too few frames or pixels to tell")
    evidence = evidence_of(roots)
    if evidence is None:
        return FoundSky(None, "nothing in the upper part turns as stars do or changes its light")
    # Stars that hardly move are edges in the one, what is left of the noise in the other.
    pictures = (roots.still, without_points(roots.still))
    edges = np.minimum(*(long_edges(each, evidence.sure) for each in pictures))
    line = skyline(edges, evidence)
    below = np.arange(height)[:, np.newaxis] >= line
    why = _doubt(edges, evidence, line, below)
    if why:
        return FoundSky(None, why)
    fine = np.minimum(*(fine_edges(each, evidence.sure) for each in pictures))
    ground = standing_on(below, fine)
    ground = whole_ground(settled_outline(roots.still, ground))
    return FoundSky(ground, by=evidence.by)


def _doubt(edges: Float32Array, evidence: Evidence, line: IntArray, below: BoolArray) -> str:
    """Return why a line is no sure skyline, as a clause; empty if it is."""
    share = float(below.mean())
    if not LEAST_SHARE < share < 1 - LEAST_SHARE:
        return "all of the picture looks like " + ("ground" if share > 0.5 else "sky")
    height, width = edges.shape
    rows = np.clip(line, 0, height - 1)
    if np.mean(edges[rows, np.arange(width)] > CLEAR_EDGE) < MOST_OF_LINE:
        return "no clear line parts what is above from what is below"
    above = float(evidence.seen[~below].mean())
    if above < TIMES_ABOVE * float(evidence.seen[below].mean()):
        return "what is below changes as what is above does"
    return ""
