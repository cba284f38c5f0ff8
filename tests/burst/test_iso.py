"""The sensitivity that Exif tells."""

import pytest

from stacker.burst.exif import read_exif
from tests.bursts import START, exif_block


@pytest.mark.parametrize(
    ("tags", "iso"),
    [
        ({"_8827": 800}, 800),
        ({}, None),
        ({"_8827": 0}, None),
        # two bytes hold no more: the number stands in a tag of four
        ({"_8827": 65535, "_8833": 102400}, 102400),
        ({"_8827": 65535, "_8832": 204800}, 204800),
        ({"_8827": 65535}, 65535),
        ({"_8832": 400}, 400),
    ],
)
def test_iso(tags, iso):
    assert read_exif(exif_block(START, 0.5, **tags).tobytes()).iso == iso
