"""A file is placed whole or not at all, and a source is never written over."""

from __future__ import annotations

import errno
import os
import resource
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from stacker.errors import OutputError
from stacker.finish import check_place, check_target, place_file
from stacker.finish.place import OutputFile
from stacker.light.encoding import Picture

from .pictures import HEIGHT, WIDTH, coded, save

OLD = b"what was there before"


def broken_off(error: BaseException) -> Iterator[Picture]:
    yield coded(height=HEIGHT // 2)
    raise error


def code_of(target: Path, **options: object) -> str:
    """Return the code with which a target is refused."""
    with pytest.raises(OutputError) as caught:
        check_target(target, **options)  # type: ignore[arg-type]
    assert str(caught.value).count("\n") == 0
    return caught.value.code


@pytest.mark.parametrize("suffix", [".tif", ".png", ".jpg"])
@pytest.mark.parametrize("error", [RuntimeError("no"), KeyboardInterrupt(), OSError(errno.EIO, "")])
@pytest.mark.parametrize("there", [False, True])
def test_break_leaves_everything_as_it_was(
    tmp_path: Path, suffix: str, error: BaseException, there: bool
) -> None:
    target = tmp_path / f"out{suffix}"
    if there:
        target.write_bytes(OLD)
    with pytest.raises(type(error)) as caught:
        save(target, coded(), bands=broken_off(error), overwrite=there)
    assert caught.value is error
    assert [p.read_bytes() for p in tmp_path.iterdir()] == ([OLD] if there else [])


def test_reader_sees_the_old_file_until_the_end(tmp_path: Path) -> None:
    target = tmp_path / "out.tif"
    target.write_bytes(OLD)
    with place_file(target, overwrite=True) as file:
        file.write(b"new")
        assert target.read_bytes() == OLD
        hidden = [p for p in tmp_path.iterdir() if p != target]
        assert hidden == [file.temporary]
        assert hidden[0].name.startswith(".")
    assert target.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [target]


def test_new_file_has_the_usual_rights(tmp_path: Path) -> None:
    (tmp_path / "usual").touch()
    with place_file(tmp_path / "out.tif"):
        pass
    assert (tmp_path / "out.tif").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_replaced_file_keeps_its_rights(tmp_path: Path) -> None:
    target = tmp_path / "out.tif"
    target.write_bytes(OLD)
    target.chmod(0o640)
    with place_file(target, overwrite=True):
        pass
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_existing_file_needs_overwrite(tmp_path: Path) -> None:
    target = tmp_path / "out.tif"
    target.write_bytes(OLD)
    with pytest.raises(OutputError) as caught:
        save(target, coded())
    assert caught.value.code == "output-exists"
    assert "--overwrite" in caught.value.remedy
    assert target.read_bytes() == OLD
    save(target, coded(), overwrite=True)
    assert target.read_bytes() != OLD


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
def test_file_that_appeared_meanwhile_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(os, "link", refuse)
    target = tmp_path / "out.tif"
    with pytest.raises(OutputError) as caught, place_file(target) as file:
        file.write(b"new")
        target.write_bytes(OLD)
    assert caught.value.code == "output-exists"
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [OLD]


def refuse(*_: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


def test_disk_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", refuse)
    with place_file(tmp_path / "out.tif") as file:
        file.write(b"new")
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"new"]


def test_held_place_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", refuse)
    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError) as caught, place_file(tmp_path / "out.tif") as file:
        file.write(b"new")
    assert caught.value.code == "output-not-writable"
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("overwrite", [False, True])
def test_source_is_never_the_target(tmp_path: Path, overwrite: bool) -> None:
    source = tmp_path / "frame.tif"
    source.write_bytes(OLD)
    (tmp_path / "folder").mkdir()
    (tmp_path / "soft.tif").symlink_to(source)
    os.link(source, tmp_path / "hard.tif")
    (tmp_path / "other").symlink_to(tmp_path)
    spellings = [
        source,
        tmp_path / "folder" / ".." / "frame.tif",
        tmp_path / "soft.tif",
        tmp_path / "hard.tif",
        tmp_path / "other" / "frame.tif",
    ]
    for target in spellings:
        options = {"overwrite": overwrite, "sources": [tmp_path / "else.tif", source]}
        assert code_of(target, **options) == "output-is-source"
        assert code_of(source, overwrite=overwrite, sources=[target]) == "output-is-source"
        with pytest.raises(OutputError), place_file(target, **options):  # type: ignore[arg-type]
            pass
    assert source.read_bytes() == OLD


def test_relative_spelling_of_a_source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("frame.tif").write_bytes(OLD)
    assert code_of(tmp_path / "frame.tif", sources=[Path("frame.tif")]) == "output-is-source"
    with place_file(Path("out.tif"), sources=[Path("frame.tif")]) as file:
        file.write(b"new")
    assert Path("out.tif").read_bytes() == b"new"


def test_overwriting_through_a_link_keeps_the_link(tmp_path: Path) -> None:
    (tmp_path / "real.tif").write_bytes(OLD)
    link = tmp_path / "link.tif"
    link.symlink_to("real.tif")
    assert code_of(link) == "output-exists"
    with place_file(link, overwrite=True) as file:
        file.write(b"new")
    assert link.is_symlink()
    assert (tmp_path / "real.tif").read_bytes() == b"new"


def test_link_to_nowhere_is_something(tmp_path: Path) -> None:
    (tmp_path / "link.tif").symlink_to("gone.tif")
    assert code_of(tmp_path / "link.tif") == "output-exists"


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "folder.tif").mkdir()
    (tmp_path / "file").touch()
    os.mkfifo(tmp_path / "pipe.tif")
    assert code_of(tmp_path / "none" / "out.tif") == "output-no-folder"
    assert code_of(tmp_path / "file" / "out.tif") == "output-no-folder"
    assert code_of(tmp_path / "folder.tif", overwrite=True) == "output-not-writable"
    assert code_of(tmp_path / "pipe.tif", overwrite=True) == "output-not-writable"
    assert code_of(tmp_path / ("n" * 300 + ".tif")) == "output-not-writable"


def test_long_names_are_no_trouble(tmp_path: Path) -> None:
    target = tmp_path / ("ö" * 120 + ".tif")
    with place_file(target) as file:
        file.write(b"new")
    assert list(tmp_path.iterdir()) == [target]


def test_read_only_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # the administrator may write everywhere, so the system's answer is put into its mouth
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert code_of(tmp_path / "out.tif") == "output-not-writable"


@pytest.mark.parametrize("name", ["out", "out.bmp", "out.tif.gz", ".tif"])
def test_unknown_suffix(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError) as caught:
        check_target(tmp_path / name)
    assert caught.value.code == "output-suffix"
    for suffix in (".tif", ".tiff", ".png", ".jpg", ".jpeg"):
        assert suffix in caught.value.remedy


def test_other_files_than_pictures_are_placed_too(tmp_path: Path) -> None:
    report = tmp_path / "report.json"
    check_place(report)
    with place_file(report) as file:
        file.write(b"{}")
    with pytest.raises(OutputError) as caught:
        check_place(report)
    assert caught.value.code == "output-exists"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no full device")
def test_full_disk_is_told(tmp_path: Path) -> None:
    device = os.open("/dev/full", os.O_WRONLY)
    file = OutputFile(tmp_path / "out.tif", tmp_path / "hidden", device)
    with pytest.raises(OutputError) as caught:
        file.write(b"new")
    file.discard()
    assert caught.value.code == "output-disk-full"
    assert isinstance(caught.value.__cause__, OSError)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "output-disk-full"),
        (errno.EDQUOT, "output-disk-full"),
        (errno.EIO, "output-device"),
        (errno.EROFS, "output-not-writable"),
        (errno.ENOTSUP, "output-failed"),
    ],
)
def test_trouble_at_the_end_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, code: str
) -> None:
    def fail(_: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", fail)
    target = tmp_path / "out.tif"
    target.write_bytes(OLD)
    with pytest.raises(OutputError) as caught:
        save(target, coded(), overwrite=True)
    assert caught.value.code == code
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [OLD]


@pytest.mark.parametrize("suffix", [".tif", ".png", ".jpg"])
def test_size_limit_of_the_system(tmp_path: Path, suffix: str) -> None:
    """A true failure in the middle of writing: the system cuts the file off."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (WIDTH * HEIGHT, before[1]))
    try:
        with pytest.raises(OutputError) as caught:
            save(tmp_path / f"out{suffix}", coded(65535))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert caught.value.code == "output-too-large"
    assert not list(tmp_path.iterdir())


def test_an_interrupt_the_moment_the_file_is_made_leaves_nothing(tmp_path, monkeypatch):
    def interrupted(*_args, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("stacker.finish.place.os.fdopen", interrupted)
    with pytest.raises(KeyboardInterrupt), place_file(tmp_path / "a.tif"):
        pass
    assert list(tmp_path.iterdir()) == []
