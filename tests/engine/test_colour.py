"""The whole way of bursts in odd colour spaces, and of results in another than the burst's."""

import numpy as np
import pytest
import tifffile
from PIL import Image

import stacker
from stacker.light.convert import conversion
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, REC2020, SRGB
from tests.made_profiles import table_profile

# numbers of a profile have 16 bits behind the point, codes of the tables 16
ROUNDED = 2e-4


def write_burst(folder, profiles, *, seed=0):
    """Write frames of noise in these profiles without loss, and return their pixels."""
    folder.mkdir()
    rng = np.random.default_rng(seed)
    frames = []
    for number, icc in enumerate(profiles):
        frames.append(rng.integers(0, 256, (30, 40, 3), dtype=np.uint8))
        Image.fromarray(frames[-1]).save(folder / f"{number}.png", icc_profile=icc)
    return frames


def light_in(target, source, codes):
    return source.curve.to_light(codes / 255) @ np.array(conversion(source, target)).T


def test_a_burst_of_two_spaces_adds_up_in_the_first(tmp_path):
    frames = write_burst(tmp_path / "b", [None, DISPLAY_P3.icc, None, ADOBE_RGB.icc])
    spaces = [SRGB, DISPLAY_P3, SRGB, ADOBE_RGB]
    light = np.array([light_in(SRGB, s, f) for s, f in zip(spaces, frames, strict=True)])
    burst = stacker.open_burst(tmp_path / "b")
    made = stacker.expose_several(burst, blends=["mean", "lighten", "darken", "median"])
    for name, wanted in (
        ("mean", light.mean(0)),
        ("lighten", light.max(0)),
        ("darken", light.min(0)),
        ("median", np.median(light, 0)),
    ):
        np.testing.assert_allclose(made[name].light, wanted, atol=ROUNDED)
    report = made["mean"].report
    assert report["colour_space"] == "sRGB" and report["stored"] == "float32"
    assert report["converted"] == {"Display P3": 1, "Adobe RGB (1998)": 1}
    told = stacker.save(made["darken"], tmp_path / "out.tif")["warnings"]
    assert any("lies outside sRGB and was clipped" in words for words in told)


@pytest.mark.parametrize("workers", [1, 3])
def test_bands_and_workers_do_not_show_in_converted_light(tmp_path, workers, monkeypatch):
    from stacker.engine import expose, memory

    write_burst(tmp_path / "b", [DISPLAY_P3.icc, table_profile(), ADOBE_RGB.icc] * 3)
    burst = stacker.open_burst(tmp_path / "b")
    whole = stacker.expose(burst, workers=1).light

    def in_bands(*args, **options):
        plan = memory.plan_passes(*args, **options)
        return memory.PassPlan((range(17), range(17, 30)), plan.workers, plan.peak_bytes)

    monkeypatch.setattr(expose, "plan_passes", in_bands)
    np.testing.assert_array_equal(stacker.expose(burst, workers=workers).light, whole)


def test_tables_are_converted_and_told(tmp_path):
    frames = write_burst(tmp_path / "b", [table_profile()] * 2)
    shot = stacker.expose(stacker.open_burst(tmp_path / "b"), blend="lighten")
    wanted = np.max([light_in(REC2020, ADOBE_RGB, frame) for frame in frames], axis=0)
    np.testing.assert_allclose(shot.light, wanted, atol=ROUNDED)
    report = stacker.save(shot, tmp_path / "out.tif")
    assert report["colour_space"] == "Rec. 2020"
    assert report["converted"] == {"Scanner of the harbour office": 2}
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        assert file.pages[0].tags[34675].value == REC2020.icc


class TestSpace:
    def test_changes_the_codes_and_the_profile(self, tmp_path):
        (frame,) = write_burst(tmp_path / "b", [DISPLAY_P3.icc])
        shot = stacker.expose(stacker.open_burst(tmp_path / "b"))
        report = stacker.save(shot, tmp_path / "out.tif", space="adobe-rgb")
        assert report["colour_space"] == "Adobe RGB (1998)"
        assert report["settings"]["space"] == "adobe-rgb" and report["converted"] == {}
        with tifffile.TiffFile(tmp_path / "out.tif") as file:
            assert file.pages[0].tags[34675].value == ADOBE_RGB.icc
            light = ADOBE_RGB.curve.to_light(file.asarray() / 65535)
        wanted = np.clip(light_in(ADOBE_RGB, DISPLAY_P3, frame), 0, 1)
        np.testing.assert_allclose(light, wanted, atol=ROUNDED)

    @pytest.mark.parametrize("suffix", ["tif", "png", "jpg"])
    @pytest.mark.parametrize("blend", ["mean", "lighten"])
    def test_asking_for_the_bursts_own_changes_not_one_byte(self, tmp_path, suffix, blend):
        write_burst(tmp_path / "b", [DISPLAY_P3.icc] * 3)
        shot = stacker.expose(stacker.open_burst(tmp_path / "b"), blend=blend)
        for name, space in (("a", None), ("b", "display-p3")):
            stacker.save(shot, tmp_path / f"{name}.{suffix}", space=space)
        one, two = ((tmp_path / f"{name}.{suffix}").read_bytes() for name in "ab")
        assert one == two

    def test_there_and_back_is_the_same_picture(self, tmp_path):
        """Rec. 2020 holds all of Display P3 but for a hair, so nothing of weight is clipped."""
        (frame,) = write_burst(tmp_path / "b", [DISPLAY_P3.icc])
        shot = stacker.expose(stacker.open_burst(tmp_path / "b"))
        stacker.save(shot, tmp_path / "wide.tif", space="rec2020")
        back = stacker.expose(stacker.open_burst(tmp_path / "wide.tif"))
        stacker.save(back, tmp_path / "back.tif", space="display-p3")
        codes = tifffile.imread(tmp_path / "back.tif") / 257
        # where a channel is near black its step is small beside what Rec. 2020 cut from the hair
        bright = frame.min(axis=2) > 40
        np.testing.assert_allclose(codes[bright], frame[bright], atol=0.1)
