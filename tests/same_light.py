"""The one way in which tests compare pictures."""

import numpy as np

from stacker.light.encoding import CodedLight, Picture, as_light


def assert_same_light(found: Picture, wanted: Picture, *, atol: float = 0.0) -> None:
    """Check dtype, shape and values; bit for bit unless a tolerance is given."""
    if isinstance(found, CodedLight) and isinstance(wanted, CodedLight) and atol == 0:
        np.testing.assert_array_equal(found.codes, wanted.codes)
        np.testing.assert_array_equal(found.table, wanted.table)
        return
    left, right = as_light(found), as_light(wanted)
    assert left.dtype == right.dtype == np.float32
    assert left.shape == right.shape
    if atol == 0:
        np.testing.assert_array_equal(left, right)
    else:
        np.testing.assert_allclose(left, right, rtol=0, atol=atol)
