"""The command line that makes what is on the screen."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from stacker.engine.settings_file import Chosen

# settings whose options have other names than theirs
OPTIONS = {
    "blends": "blend",
    "shutter_s": "shutter",
    "ramp_in_s": "ramp-in",
    "ramp_out_s": "ramp-out",
    "tail_s": "tail",
    "darks": "dark",
    "flats": "flat",
    "biases": "bias",
    "interval_s": "interval",
    "frame_shutter_s": "frame-shutter",
    "passes": "pass",
}
# options without a value, and those that are told by their opposite
FLAGS = ("shoulder", "keep_location", "half", "strict")
EACH_BY_ITSELF = ("darks", "flats", "biases")
PLANES = {"keep": "--keep-planes", "out": "--no-planes"}
# what is no choice about the picture
UNSAID = ("doubts", "masks", "find_passes", "workers", "memory")


def command_for(burst: Path, output: Path, chosen: Chosen) -> str:
    """Return the command that makes the picture ``output``, to be pasted into a shell.

    Parameters
    ----------
    burst, output : as they are to be typed.
    """
    words = ["stacker", "expose", _path(burst)]
    if chosen.subject is not None:
        words += ["--for", chosen.subject]
    words += _said(chosen.said)
    words += ["-o", _path(output)]
    return " ".join(shlex.quote(word) for word in words)


def _said(said: Mapping[str, Any]) -> list[str]:
    words: list[str] = []
    for name, value in said.items():
        option = f"--{OPTIONS.get(name, name.replace('_', '-'))}"
        if value is None or name in UNSAID:
            continue
        if name == "regions":
            words += [word for each in value for word in ("--region", _region(each))]
        elif name == "bridge":
            words.append("--bridge" if value else "--no-bridge")
        elif name == "planes":
            words.append(PLANES.get(value, ""))
        elif name == "passes":
            words += [word for each in value for word in (option, str(each))]
        elif name in FLAGS:
            words += [option] if value else []
        elif name in EACH_BY_ITSELF:
            words += [word for each in value for word in (option, _path(Path(each)))]
        elif name == "without":
            words += [option, spans(value)] if value else []
        else:
            text = _text(value)
            # a value that begins with a dash would be taken for an option
            words += [f"{option}={text}"] if text.startswith("-") else [option, text]
    return words


def _region(said: Mapping[str, Any]) -> str:
    """Return a region as it is typed: its mask, and what is done differently there."""
    phrases = []
    for name, value in said.items():
        if name == "mask" or value is None:
            continue
        if name == "bridge":
            phrases.append("bridge" if value else "no-bridge")
        elif name in ("without", "gains"):
            phrases.append(f"{name} {' '.join(_text(number) for number in value)}")
        else:
            phrases.append(f"{name.removesuffix('_px').removesuffix('_s')} {_text(value)}")
    return f"{said.get('mask')}={', '.join(phrases)}"


def spans(numbers: tuple[int, ...]) -> str:
    """Return numbers as a list with spans, such as ``13,17-19``."""
    parts: list[list[int]] = []
    for number in sorted(set(numbers)):
        if parts and parts[-1][-1] + 1 == number:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ",".join(f"{p[0]}-{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts)


def _text(value: object) -> str:
    if isinstance(value, tuple):
        return ",".join(_text(each) for each in value)
    # the shortest text that is that very number
    return repr(value) if isinstance(value, float) else str(value)


def _path(path: Path) -> str:
    """Return a path that is no option whatever its name."""
    text = str(path)
    return f"./{text}" if text.startswith("-") else text
