"""Where the light of a place comes from at moments between two frames.

What flows is carried along its way to the moment and laid down there, so that things that move
over a still ground are found between the places where the two frames show them.

Source: Niklaus and Liu, "Softmax splatting for video frame interpolation", CVPR 2020,
doi:10.1109/CVPR42600.2020.00548 (laying down by weight, the nearer thing prevailing).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.flow.motion import PairFlow, grid, look_at
from stacker.bridge.flow.steady import Flow
from stacker.bridge.flow.tones import Tone
from stacker.register.scene.grey import working_factor

# ways are laid down on a net of at most this many knots: flow is smooth, and laying down is dear
KNOTS = 200_000
# what moves lies before what stands still: weight of a cell for each cell of way, and without
STILL_WEIGHT = 0.03
# knots that go no further than this, in knots, stand still
STILL_WAY = 0.02
# weight of a way that is not sure
UNSURE_WEIGHT = 0.03
# below this weight nothing was laid down
EMPTY = 1e-6
# the way bends as the flow does, where it bends by no more than this share of its length
MOST_BEND = 0.35
# smooths the bend, in knots
BEND_KNOTS = 2.0


@dataclass(frozen=True, eq=False)
class Moment:
    """Where light comes from at one moment.

    Parameters
    ----------
    ways : float32 (h, w, 4): from a knot to its place in the earlier frame (x, y) and to that in
        the later one, in knots.
    of_earlier : float32 (h, w): the share of the earlier frame in the light, 0 to 1.
    in_both : float32 (h, w): how far what is here is seen in both frames, 0 to 1.
    """

    ways: npt.NDArray[np.float32]
    of_earlier: Tone
    in_both: Tone


def on_knots(flow: PairFlow) -> PairFlow:
    """Return the flow of cells as that of the knots of a net, whole numbers of cells apart."""
    height, width = flow.sure_forward.shape
    apart = working_factor((width, height), KNOTS)
    if apart == 1:
        return flow
    h, w = height // apart, width // apart

    def reduced(values: Flow | Tone) -> Flow | Tone:
        cells = values[: h * apart, : w * apart]
        return np.asarray(cv2.resize(cells, (w, h), interpolation=cv2.INTER_AREA), np.float32)

    return PairFlow(
        reduced(flow.forward) / np.float32(apart),
        reduced(flow.backward) / np.float32(apart),
        reduced(flow.sure_forward),
        reduced(flow.sure_backward),
    )


def moments(flow: PairFlow, times: npt.NDArray[np.float64]) -> list[Moment]:
    """Return where light comes from at ``times``, 0 in the earlier frame, 1 in the later.

    ``flow`` is that of the knots.
    """
    from_earlier = _Ways(flow.forward, flow.sure_forward)
    from_later = _Ways(flow.backward, flow.sure_backward)
    return [_moment(from_earlier, from_later, float(time)) for time in times]


def _moment(from_earlier: _Ways, from_later: _Ways, time: float) -> Moment:
    one = from_earlier.laid_down(time)
    # ways from the later frame run back in time
    other = from_later.laid_down(1 - time)
    weight = one[0] + other[0]
    ways = np.empty((*weight.shape, 4), np.float32)
    for axis in (0, 1):
        ways[..., axis] = one[1 + axis] + other[3 + axis]
        ways[..., 2 + axis] = one[3 + axis] + other[1 + axis]
    in_earlier, in_later = one[0] + other[5], one[5] + other[0]
    empty = weight < EMPTY
    weight[empty] = 1
    ways /= weight[..., None]
    ways[empty] = 0
    before, after = (1 - time) * in_earlier, time * in_later
    share = np.where(empty, 1 - time, before / np.maximum(before + after, EMPTY * EMPTY))
    both = np.where(empty, 0, np.minimum(in_earlier, in_later) / weight)
    return Moment(ways, share.astype(np.float32), both.astype(np.float32))


class _Ways:
    """The ways of one frame's knots to the other frame."""

    def __init__(self, flow: Flow, sure: Tone) -> None:
        places = grid(*sure.shape)
        bend = _bend(flow, places)
        # with a rim for what leaves the picture
        self.rim = sure.shape[0] + 2, sure.shape[1] + 2
        length = np.hypot(flow[..., 0], flow[..., 1])
        weight = (UNSURE_WEIGHT + sure) * (STILL_WEIGHT + length)
        planes = [weight, weight * sure]
        for way in (flow, bend):
            planes += [weight * way[..., axis] for axis in (0, 1)]
        # what stands still lies where it is at every moment: only the rest is laid down anew
        moving = np.flatnonzero(length > STILL_WAY)
        still = np.stack(planes).reshape(len(planes), -1)
        self.carried = still[:, moving]
        still[:, moving] = 0
        self.still = np.zeros((len(planes), *self.rim), np.float32)
        self.still[:, 1:-1, 1:-1] = still.reshape(len(planes), *sure.shape)
        self.laid = np.empty_like(self.still)
        # x and y of the place, the way and its bend
        self.course = [
            np.ascontiguousarray(values.reshape(-1, 2)[moving].T) for values in (places, flow, bend)
        ]

    def laid_down(self, time: float) -> npt.NDArray[np.float32]:
        """Return sums at each knot, float32 (6, h, w).

        They are the weight, the way to the own frame times the weight (x, y), that to the other
        one, and the weight of what is seen in the other one.
        """
        height, width = self.rim
        bent = np.float32(0.5 * (time**2 - time))
        place, flow, bend = self.course
        target = place + np.float32(time) * flow
        target += bent * bend
        # each to the nearest knot: ways change little from one to the next, and what falls between
        # is spread by the blur. Beyond the edge a rim of knots takes what leaves the picture.
        target += np.float32(1.5)
        x = np.clip(target[0], 0, width - 1).astype(np.int64)
        knot = np.clip(target[1], 0, height - 1).astype(np.int64)
        knot *= width
        knot += x
        np.copyto(self.laid, self.still)
        total = np.empty((len(self.laid), height - 2, width - 2), np.float32)
        for laid, values, plane in zip(self.laid, self.carried, total, strict=True):
            np.add.at(laid.reshape(-1), knot, values)
            plane[:] = cv2.GaussianBlur(laid, (3, 3), 0)[1:-1, 1:-1]
        seen, sums, bends = total[1].copy(), total[2:4].copy(), total[4:].copy()
        gone = np.float32(time) * sums
        gone += bent * bends
        np.negative(gone, out=total[1:3])
        np.subtract(sums, gone, out=total[3:5])
        total[5] = seen
        return total


def _bend(flow: Flow, places: Flow) -> Flow:
    """Return by how much the way of each knot changes from one period to the next, (h, w, 2).

    Where the flow is steady, the way of a knot before and after is that of its neighbours up and
    down the stream. A thing that moves by itself has none; its way is straight.
    """
    bend = 0.5 * (look_at(flow, places + flow) - look_at(flow, places - flow))
    size = np.hypot(bend[..., 0], bend[..., 1])
    length = np.hypot(flow[..., 0], flow[..., 1]) + np.float32(1e-6)
    keep = np.clip(2 - size / (MOST_BEND * length), 0, 1)
    return np.asarray(cv2.GaussianBlur(bend * keep[..., None], (0, 0), BEND_KNOTS), np.float32)
