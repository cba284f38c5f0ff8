"""Regions: each is, under its mask, the exposure that its settings make of the whole picture."""

import cv2
import numpy as np
import pytest

import stacker
from stacker.engine import Region, Settings, expose_burst
from stacker.engine.expose import FramePass
from stacker.errors import OptionError
from tests.bursts import write_jpegs
from tests.same_light import assert_same_light

SIZE = (48, 32)


@pytest.fixture
def folder(tmp_path):
    write_jpegs(tmp_path / "burst", 9, size=SIZE)
    return tmp_path / "burst"


def saved(path, gray):
    cv2.imwrite(str(path), gray)
    return str(path)


@pytest.fixture
def right_half(tmp_path):
    gray = np.zeros(SIZE[::-1], np.uint8)
    gray[:, 24:] = 255
    return saved(tmp_path / "right=half.png", gray)


def counted_passes(monkeypatch):
    """Return a list that grows with each pass over the files."""
    passes = []
    run = FramePass.run
    monkeypatch.setattr(FramePass, "run", lambda self, n: passes.append(1) or run(self, n))
    return passes


SAID = [
    {"blend": "lighten"},
    {"blend": "median", "first": 3, "last": 7},
    {"without": (1, 2)},
    {"shutter_s": 1.5},
    {"hold": "still", "blend": "lighten", "floor": "true"},
]


@pytest.mark.parametrize("said", SAID)
def test_a_region_is_what_its_settings_make_of_the_whole(folder, right_half, said):
    burst = stacker.open_burst(folder)
    region = Region(mask=right_half, feather_px=0, **said)
    mixed = stacker.expose(burst, regions=(region,))
    own = dict(said)
    alone = stacker.expose(burst, blend=own.pop("blend", "mean"), **own)
    plain = stacker.expose(burst)
    assert_same_light(mixed.light[:, :24], plain.light[:, :24])
    assert_same_light(mixed.light[:, 24:], alone.light[:, 24:])


def test_soft_edges_are_kept_and_hard_ones_feathered(folder, tmp_path, right_half):
    burst = stacker.open_burst(folder)
    ramp = np.linspace(0, 65535, SIZE[0]).astype(np.uint16)
    soft = saved(tmp_path / "soft.png", np.repeat(ramp[None], SIZE[1], 0))
    plain, bright = stacker.expose(burst).light, stacker.expose(burst, blend="lighten").light
    mixed = stacker.expose(burst, regions=(Region(mask=soft, blend="lighten"),)).light
    share = (ramp / 65535)[None, :, None]
    # one rounding of float32
    np.testing.assert_allclose(mixed, plain + share * (bright - plain), rtol=1e-6, atol=1e-7)
    hard = stacker.expose(burst, regions=(Region(mask=right_half, blend="lighten"),)).light
    beside = (hard - plain)[:, 23] / (bright - plain)[:, 23]
    assert 0.1 < np.nanmedian(beside) < 0.5


def test_later_regions_lie_over_earlier_ones(folder, tmp_path, right_half):
    top = np.zeros(SIZE[::-1], np.uint8)
    top[:16] = 255
    burst = stacker.open_burst(folder)
    regions = (
        Region(mask=right_half, blend="lighten", feather_px=0),
        Region(mask=saved(tmp_path / "top.png", top), blend="darken", feather_px=0),
    )
    mixed = stacker.expose(burst, regions=regions).light
    assert_same_light(mixed[:16], stacker.expose(burst, blend="darken").light[:16])
    assert_same_light(mixed[16:, 24:], stacker.expose(burst, blend="lighten").light[16:, 24:])


def test_regions_of_the_same_frames_share_a_pass(folder, tmp_path, right_half, monkeypatch):
    burst = stacker.open_burst(folder)
    passes = counted_passes(monkeypatch)
    alike = tuple(Region(mask=right_half, blend=name) for name in ("lighten", "median"))
    stacker.expose(burst, regions=alike)
    assert len(passes) == 1
    stacker.expose(burst, regions=(Region(mask=right_half, first=3), *alike))
    assert len(passes) == 3


def test_several_blends_each_with_the_same_region(folder, right_half):
    burst = stacker.open_burst(folder)
    region = Region(mask=right_half, last=4, feather_px=0)
    shots = expose_burst(burst, Settings(blends=("mean", "lighten"), regions=(region,)))
    for name, shot in shots.items():
        whole, part = stacker.expose(burst, blend=name), stacker.expose(burst, blend=name, last=4)
        assert_same_light(shot.light[:, :24], whole.light[:, :24])
        assert_same_light(shot.light[:, 24:], part.light[:, 24:])


def test_the_report_says_what_was_done_where(folder, right_half, tmp_path):
    burst = stacker.open_burst(folder)
    region = {"mask": right_half, "blend": "lighten", "first": 3}
    shot = stacker.expose(burst, regions=(region,))
    (told,) = shot.report["regions"]
    assert told["said"] == f"{right_half}=blend lighten, first 3"
    assert told["frames_used"] == 7
    assert told["share"] == pytest.approx(0.5, abs=0.001)
    assert shot.report["frames_used"] == 9
    # the settings make the same picture again
    again = stacker.expose(burst, regions=shot.report["settings"]["regions"])
    assert_same_light(again.light, shot.light)
    stacker.save(shot, tmp_path / "mixed.png")
    with pytest.raises(stacker.OutputError):
        # a mask is a source, and never written over
        stacker.save(shot, right_half, overwrite=True)


REFUSED = {
    "region-mask": {"mask": "nothing.png"},
    "region-mask-size": np.full((9, 9), 255, np.uint8),
    "region-mask-empty": np.zeros(SIZE[::-1], np.uint8),
    "region-mask-kind": np.random.default_rng(0).integers(0, 255, (32, 48, 3), np.uint8),
    "option-blend": {"blend": "glow"},
    "option-choice": {"hold": "tight"},
    "option-span": {"last": 99},
    "option-value": {"feather_px": -1.0},
    "option-region": {"colour": "blue"},
}


@pytest.mark.parametrize("code", REFUSED)
def test_what_is_no_region_is_refused_in_a_sentence(folder, tmp_path, right_half, code):
    given = REFUSED[code]
    if isinstance(given, np.ndarray):
        given = {"mask": saved(tmp_path / "bad.png", given)}
    with pytest.raises(OptionError) as found:
        stacker.expose(stacker.open_burst(folder), regions=({"mask": right_half, **given},))
    assert found.value.code == code
    assert found.value.where.startswith("--region")
    assert found.value.remedy


def test_gray_saved_as_colours_is_a_mask(folder, tmp_path, right_half):
    gray = cv2.imread(right_half, cv2.IMREAD_UNCHANGED)
    rgba = np.dstack([gray, gray, gray, np.full_like(gray, 255)])
    burst = stacker.open_burst(folder)
    one, other = (
        stacker.expose(burst, regions=(Region(mask=mask, blend="lighten"),)).light
        for mask in (right_half, saved(tmp_path / "rgba.png", rgba))
    )
    assert_same_light(one, other)
