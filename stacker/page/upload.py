"""Frames that are dropped on the page: a new burst in the output folder."""

from __future__ import annotations

import shutil
from pathlib import Path

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request

from stacker.burst.readers.registry import kind_of_suffix
from stacker.finish import place_file
from stacker.page.answers import PageError
from stacker.page.folder import DROPPED, OWN, Served

MOST_FILES = 2000
PIECE_BYTES = 1 << 20


async def form_of(request: Request) -> FormData:
    """Return the files that were sent.

    Raises
    ------
    PageError
        They were not sent as files are.
    """
    kind = request.headers.get("content-type", "")
    if not kind.startswith("multipart/form-data"):
        raise _refusal("no files were sent")
    try:
        return await request.form(max_files=MOST_FILES, max_fields=10)
    except Exception as error:
        from starlette.exceptions import HTTPException

        if not isinstance(error, HTTPException):
            raise
        raise _refusal(f"the files cannot be taken in ({error.detail})") from error


def keep_files(served: Served, form: FormData) -> str:
    """Return the place of a new burst, having put the files into a folder of their own.

    Whole or not at all.

    Raises
    ------
    StackerError
        There is none among them, or they cannot be written.
    """
    files = [each for _, each in form.multi_items() if isinstance(each, UploadFile)]
    names = [_name_of(each) for each in files]
    if not files:
        raise _refusal("there is no file among what was dropped")
    if len(set(names)) != len(names):
        raise _refusal("two files have one name")
    above = served.output / DROPPED
    if above.is_symlink():
        raise _refusal(f"{DROPPED} is a link; what is dropped is not put elsewhere")
    above.mkdir(exist_ok=True)
    folder = _new_folder(above, Path(names[0]).stem)
    try:
        for name, each in zip(names, files, strict=True):
            with place_file(folder / name) as file:
                while piece := each.file.read(PIECE_BYTES):
                    file.write(piece)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return f"{OWN}{DROPPED}/{folder.name}"


def _name_of(file: UploadFile) -> str:
    """Return the plain name of a file that is a picture or a clip by its name."""
    name = Path((file.filename or "").replace("\\", "/")).name
    plain = name and name.isprintable() and not name.startswith(".")
    if not plain or kind_of_suffix(Path(name)) is None:
        raise _refusal(f"{ascii(name)[1:60]} is no picture and no clip by its name")
    return name


def _new_folder(above: Path, stem: str) -> Path:
    """Return a new folder named after the first file."""
    number = 1
    while True:
        folder = above / (stem if number == 1 else f"{stem}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            number += 1
            continue
        return folder


def _refusal(why: str) -> PageError:
    return PageError(
        "what was dropped",
        why,
        remedy="drop JPEG, TIFF, PNG or raw files, or a clip",
        code="upload",
    )
