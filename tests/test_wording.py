"""How times and amounts are said."""

from datetime import datetime

import pytest

from stacker.wording import clock_time, spoken, spoken_gap, spoken_share, spoken_size


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (spoken(1 / 8000), "1/8000 s"),
        (spoken(3600), "1 h"),
        (spoken(3 * 3600 + 600), "3 h 10 min"),
        (spoken_gap(0.2), "0.2 s"),
        (spoken_gap(0), "0 s"),
        (spoken_gap(0.0035), "1/286 s"),
        (spoken_gap(90), "1 min 30 s"),
        (spoken_size(208_333), "208 kB"),
        (spoken_size(25e6), "25 MB"),
        (spoken_size(3.71e9), "3.71 GB"),
        (spoken_size(1e12), "1 TB"),
        (spoken_share(0.18), "18 %"),
        (spoken_share(0.004), "0.4 %"),
        (spoken_share(1e-9), "less than 0.1 %"),
        (spoken_share(0), "0 %"),
        (clock_time(datetime(2026, 1, 1, 18, 4, 31)), "18:05"),
        (clock_time(datetime(2026, 1, 1, 23, 59, 45)), "00:00"),
    ],
)
def test_words(said, words):
    assert said == words
