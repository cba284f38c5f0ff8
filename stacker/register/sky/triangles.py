"""Triangles of neighbouring stars, alike in two frames however far the sky has turned.

Source: E. J. Groth, "A pattern-matching algorithm for two-dimensional coordinate lists", AJ 91
(1986), doi:10.1086/114099: triangles are compared by the ratios of their sides.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from stacker.register.sky.points import Float64Array
from stacker.register.sky.stars import IntArray

# triangles join a star with two of so many neighbours among the brighter ones
NEIGHBOURS = 6
# sides shorter than this say little against the error of a place; px
SHORTEST_PX = 12.0
# ratios of sides may differ by so much: lens and perspective stretch a pattern unevenly
ALIKE = 0.012
# a side may become longer or shorter by so much
SCALE = 0.12
# likenesses handed on, the best first
MOST_ALIKE = 300


def alike_triangles(points: Float64Array, others: Float64Array) -> tuple[IntArray, IntArray]:
    """Return corners of triangles that look alike, the most alike first, each (T, 3) of numbers
    into ``points`` (N, 2) and ``others`` (M, 2), corner by corner."""
    one, one_shape, one_size = _triangles(points)
    two, two_shape, two_size = _triangles(others)
    if len(one) == 0 or len(two) == 0:
        return np.zeros((0, 3), np.intp), np.zeros((0, 3), np.intp)
    apart = np.abs(one_shape[:, None] - two_shape[None]).max(axis=2)
    scale = np.abs(np.log(one_size[:, None] / two_size[None]))
    alike = (apart < ALIKE) & (scale < SCALE)
    first, second = np.nonzero(alike)
    # large triangles are the surer for the same likeness
    order = np.argsort(apart[first, second] / np.sqrt(one_size[first]), kind="stable")
    order = order[:MOST_ALIKE]
    return one[first[order]], two[second[order]]


def _triangles(points: Float64Array) -> tuple[IntArray, Float64Array, Float64Array]:
    """Return corners (T, 3), shapes (T, 3) and longest sides (T,) of triangles.

    Corners come in a fixed order: opposite to the longest, the middle, the shortest side. A
    shape is two ratios of sides and the sense in which the corners follow each other.
    """
    count = len(points)
    none = np.zeros((0, 3), np.intp), np.zeros((0, 3)), np.zeros(0)
    if count < 3:
        return none
    distance = np.linalg.norm(points[:, None] - points[None], axis=2)
    near = np.argsort(distance, axis=1, kind="stable")[:, 1 : NEIGHBOURS + 1]
    pairs = np.array(list(combinations(range(near.shape[1]), 2)), np.intp)
    if len(pairs) == 0:
        return none
    corners = np.concatenate(
        [np.repeat(np.arange(count), len(pairs))[:, None], near[:, pairs].reshape(-1, 2)], axis=1
    )
    corners = np.unique(np.sort(corners, axis=1), axis=0)
    opposite = np.stack(
        [distance[corners[:, (k + 1) % 3], corners[:, (k + 2) % 3]] for k in range(3)], axis=1
    )
    order = np.argsort(-opposite, axis=1, kind="stable")
    corners = np.take_along_axis(corners, order, axis=1)
    sides = np.take_along_axis(opposite, order, axis=1)
    large = sides[:, 2] > SHORTEST_PX
    corners, sides = corners[large], sides[large]
    a, b, c = (points[corners[:, k]] for k in range(3))
    sense = np.sign((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    shape = np.stack([sides[:, 1] / sides[:, 0], sides[:, 2] / sides[:, 0], sense], axis=1)
    return corners, shape, sides[:, 0]
