"""Clips are whole or not at all, and say what they are."""

from fractions import Fraction

import av
import numpy as np
import pytest

from stacker.errors import OptionError, OutputError
from stacker.finish.clip import clip_size, frame_rate, place_clip
from stacker.light.space import SRGB

SIZE = (64, 48)


def write(target, count=5, **options):
    with place_clip(target, size=SIZE, fps=Fraction(24), space=SRGB, **options) as clip:
        for number in range(count):
            clip.add(np.full((48, 64, 3), 0.1 * number, np.float32))


@pytest.mark.parametrize("name", ["a.mp4", "a.mov"])
def test_a_clip_says_what_it_is(tmp_path, name):
    write(tmp_path / name)
    with av.open(str(tmp_path / name)) as clip:
        stream = clip.streams.video[0]
        context = stream.codec_context
        assert stream.frames == 5
        assert stream.average_rate == 24
        assert (context.width, context.height, context.pix_fmt) == (64, 48, "yuv420p")
        tags = (context.color_primaries, context.color_trc, context.colorspace, context.color_range)
        assert tags == (1, 1, 1, 1)
        assert len(list(clip.decode(stream))) == 5
    whole = (tmp_path / name).read_bytes()
    # it can play while it is loaded
    assert whole.find(b"moov") < whole.find(b"mdat")
    assert list(tmp_path.iterdir()) == [tmp_path / name]


def test_nothing_is_left_of_a_clip_that_failed(tmp_path):
    with (
        pytest.raises(KeyboardInterrupt),
        place_clip(tmp_path / "a.mp4", size=SIZE, fps=Fraction(24), space=SRGB) as clip,
    ):
        clip.add(np.zeros((48, 64, 3), np.float32))
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_when_told(tmp_path):
    target = tmp_path / "a.mp4"
    target.write_text("precious")
    with pytest.raises(OutputError, match="exists already"):
        write(target)
    assert target.read_text() == "precious"
    with pytest.raises(OutputError, match="source"):
        write(target, overwrite=True, sources={target})
    write(target, overwrite=True)
    assert target.stat().st_size > 500


def test_rates_are_those_that_clips_can_hold():
    assert frame_rate(23.976) == Fraction(24000, 1001)
    assert frame_rate(30000 / 1001) == Fraction(30000, 1001)
    for fps in (0, -24, 1000, float("nan"), float("inf")):
        with pytest.raises(OptionError, match="no frame rate"):
            frame_rate(fps)


def test_sizes_are_even():
    assert clip_size((721, 481), None, usual=1920) == (720, 480)
    assert clip_size((6000, 4000), None, usual=1920) == (1920, 1280)
    assert clip_size((720, 480), 500, usual=1920) == (500, 332)
    for width in (501, 800, 8):
        with pytest.raises(OptionError, match="even and between 16 and 720"):
            clip_size((720, 480), width, usual=1920)
