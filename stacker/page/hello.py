"""What the page is told first: the bursts there are, and the words that can be chosen."""

from __future__ import annotations

from dataclasses import asdict, is_dataclass
from typing import Any, get_args

from stacker.blend import BLENDS
from stacker.engine.settings import Hold
from stacker.engine.settings_file import EXPOSING
from stacker.engine.subjects import PRESETS
from stacker.page.folder import Served
from stacker.page.guard import UPLOAD_BYTES
from stacker.subjects import SUBJECT_TITLES
from stacker.version import PROGRAM

HOLD_WORDS = {
    "still": "frames as they lie",
    "scene": "the scene, where the camera moved",
    "sky": "the stars",
    "subject": "what is in the box",
}
# the dial of the page in whole stops as the trade has them, then minutes
SHUTTERS = (
    *((1 / below, f"1/{below}") for below in (500, 250, 125, 60, 30, 15, 8, 4, 2)),
    *((float(s), f"{s} s") for s in (1, 2, 4, 8, 15, 30)),
    *((60.0 * m, f"{m} min") for m in (1, 2, 4, 8, 15, 30, 60)),
)


def _plain(value: object) -> Any:
    """Return what a subject chooses, ready for JSON; a record as the table of what it says."""
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {name: _plain(said) for name, said in asdict(value).items() if said is not None}
    return value


def hello_of(served: Served) -> dict[str, Any]:
    """Return the first answer, ready for JSON."""
    return {
        "program": PROGRAM,
        "folder": served.root.name or str(served.root),
        "bursts": [
            {"id": each.place, "name": each.name, "frames": each.frames} for each in served.bursts()
        ],
        "recent": served.recent,
        "output": str(served.output),
        # whether parts of a picture can be made in their own way
        "regions": "regions" in EXPOSING,
        "limits": {"upload_bytes": UPLOAD_BYTES},
        "blends": [{"name": name, "words": blend.summary} for name, blend in BLENDS.items()],
        "subjects": [
            {
                "name": name,
                "words": f"{SUBJECT_TITLES[name]}: {preset.summary}",
                "chooses": {each.option: _plain(each.value) for each in preset.choices},
                "why": {each.option: each.why for each in preset.choices},
            }
            for name, preset in PRESETS.items()
        ],
        "holds": [{"name": name, "words": HOLD_WORDS[name]} for name in get_args(Hold)],
        "shutters": [{"seconds": seconds, "label": label} for seconds, label in SHUTTERS],
    }
