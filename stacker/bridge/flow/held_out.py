"""Where the burst itself shows that its motion can be followed: frames held out are predicted.

The flow between two frames is judged by how well they agree where it takes them; but a flow can
always be found that makes two pictures of spray, lamps or blurred waves agree. A frame between two
others, which had no part in it, tells. Where what is carried to its moment is no nearer to it than
the mean of the two, nothing is to be gained. It is asked at twice the period, so what passes is
sure to hold at the period itself.

Source: Stone, "Cross-validatory choice and assessment of statistical predictions", Journal of the
Royal Statistical Society B 36 (1974), doi:10.1111/j.2517-6161.1974.tb00994.x.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from stacker.bridge.flow.guard import carried, ways_of_cells
from stacker.bridge.flow.motion import pair_flow
from stacker.bridge.flow.passage import moments, on_knots
from stacker.bridge.flow.steady import Flow
from stacker.bridge.flow.tones import Noise, Tone

# errors are compared over so many cells: a few of a texture's own spots tell nothing
WINDOW_CELLS = 20.0
# share of the mean's error (variances) up to which a prediction counts in full, and from which on
# not at all
FULL_ERROR, NO_ERROR = 0.92, 1.05
# the mean lacks what fell in the gaps alone, and errs by the square of their share; carried light
# stands for the whole period. So the shorter the gaps, the better predictions have to be: by so
# many times that square, and never worse than the second figure. Where a steady flow of a cell
# and more is known, that speaks for them too: there the third figure is the bound. For all, lamps
# that flicker would lose 0.9 dB by it, without it boiling water 2 dB
OF_GAP, MOST_OF_GAP, MOST_OF_STEADY = 3.0, 0.9, 1.15
# share of a prediction's departure from the mean that is alike in all triples: motion departs each
# time in another way, still structure that is dragged along always in the same. Full trust up to
# the first, none from the second on, over so many cells
FULL_ALIKE, NO_ALIKE = 0.15, 0.35
ALIKE_CELLS = 3.0
# noise in both errors, as a share of a frame's: a mean of two against a third, and interpolated
NOISE_OF_MEAN, NOISE_OF_CARRIED = 1.5, 1.2
# errors have to stand out of the noise by this share of it
LEAST_ERROR = 0.3
# a cell moves where its tone varies over the burst by more than noise does (variances), and in
# full from the second figure; over so many cells
LEAST_SPREAD, FULL_SPREAD = 1.6, 3.0
SPREAD_CELLS = 1.0
# the rim of what moves varies less than what lies about it: share of the deviation over so many
# cells from which on a cell counts, and counts in full
ABOUT_CELLS = 6.0
LEAST_OF_ABOUT, FULL_OF_ABOUT = 0.35, 0.7
# so many cells within the border of what moves ground shows through, which does not flow; beyond
# them trust rises over some more (a Gaussian's deviation)
RIM_CELLS, RIM_SOFT_CELLS = 2, 1.0


def proven(
    triples: Sequence[tuple[Tone, Tone, Tone]],
    steady: Flow,
    sure: Tone,
    noise: Noise,
    spread: float,
    gap_share: float,
) -> Tone:
    """Return where predictions of the middle frames beat the mean of their neighbours.

    Parameters
    ----------
    triples : tones of three frames in a row, all float32 (h, w); at least one.
    steady : float32 (h, w, 2), the steady flow of one period.
    sure : float32 (h, w), 0 to 1: how far to believe it.
    noise : of one tone.
    spread : of the texture, as ``pair_flow`` takes it.
    gap_share : of the period in which the shutter is closed, 0 to 1.

    Returns
    -------
    trust : float32 (h, w), 0 to 1.
    """
    shape = triples[0][0].shape
    of_mean, of_carried, grain = (np.zeros(shape, np.float32) for _ in range(3))
    departed, square = (np.zeros(shape, np.float32) for _ in range(2))
    for earlier, held_out, later in triples:
        flow = pair_flow(earlier, later, steady * np.float32(2), spread)
        (moment,) = moments(on_knots(flow), np.array([0.5]))
        size = shape[1], shape[0]
        one, other = carried(earlier, later, ways_of_cells(moment, size))
        predicted = other + cv2.resize(moment.of_earlier, size) * (one - other)
        of_carried += (predicted - held_out) ** 2
        mean = np.float32(0.5) * (earlier + later)
        of_mean += (mean - held_out) ** 2
        departed += predicted - mean
        square += (predicted - mean) ** 2
        grain += noise.at(held_out)
    of_mean, of_carried, grain = (_about(values) for values in (of_mean, of_carried, grain))
    of_carried = np.maximum(of_carried - np.float32(NOISE_OF_CARRIED) * grain, 0)
    of_mean -= np.float32(NOISE_OF_MEAN) * grain
    share = of_carried / np.maximum(of_mean, np.float32(1e-12))
    known = sure * np.minimum(np.hypot(steady[..., 0], steady[..., 1]), 1)
    most = MOST_OF_GAP + np.float32(MOST_OF_STEADY - MOST_OF_GAP) * known
    share = share / np.minimum(most, np.float32(OF_GAP * gap_share**2))
    trust = np.clip((NO_ERROR - share) / (NO_ERROR - FULL_ERROR), 0, 1)
    trust *= _at_random(departed, square, len(triples))
    return np.where(of_mean > np.float32(LEAST_ERROR) * grain, trust, 0).astype(np.float32)


def _at_random(total: Tone, square: Tone, count: int) -> Tone:
    """Return 1 where values differ from time to time, down to 0 where they are ever alike.

    Parameters
    ----------
    total, square : float32 (h, w), the sums of ``count`` values and of their squares.
    """
    if count < 2:
        return np.ones_like(total)
    # the square of their mean, without what chance puts there: 0 on average for values of random
    # sign. Shares are smoothed, not squares: at a rim those of what moves beside it would prevail.
    share = (total**2 / np.maximum(square, np.float32(1e-12)) - 1) / np.float32(count - 1)
    smooth = np.asarray(cv2.GaussianBlur(share, (0, 0), ALIKE_CELLS), np.float32)
    trust = np.clip((NO_ALIKE - smooth) / (NO_ALIKE - FULL_ALIKE), 0, 1)
    return np.asarray(trust, np.float32)


def moving(tones: Sequence[Tone], noise: Noise) -> Tone:
    """Return where tones, float32 (h, w), vary by more than noise, float32 (h, w), 0 to 1.

    The rim of what moves is left out.
    """
    mean: Tone = np.asarray(np.mean(tones, axis=0, dtype=np.float32))
    variance = np.zeros_like(mean)
    for tone in tones:
        variance += (tone - mean) ** 2
    variance /= max(1, len(tones) - 1)
    grain = noise.at(mean)
    ratio = cv2.GaussianBlur(variance / grain, (0, 0), SPREAD_CELLS)
    trust = np.clip((ratio - LEAST_SPREAD) / (FULL_SPREAD - LEAST_SPREAD), 0, 1)
    excess = np.maximum(variance - grain, 0)
    here = cv2.GaussianBlur(excess, (0, 0), SPREAD_CELLS)
    about = cv2.GaussianBlur(excess, (0, 0), ABOUT_CELLS)
    cover = np.sqrt(here / np.maximum(about, np.float32(1e-12)))
    trust *= np.clip((cover - LEAST_OF_ABOUT) / (FULL_OF_ABOUT - LEAST_OF_ABOUT), 0, 1)
    return _without_rim(np.asarray(trust, np.float32))


def _without_rim(trust: Tone) -> Tone:
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * RIM_CELLS + 1, 2 * RIM_CELLS + 1))
    within = cv2.erode(trust, disc)
    # never beyond where there was trust before
    soft = cv2.GaussianBlur(within, (0, 0), RIM_SOFT_CELLS)
    return np.asarray(np.minimum(soft, trust), np.float32)


def _about(values: Tone) -> Tone:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), WINDOW_CELLS), np.float32)
