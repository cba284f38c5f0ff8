"""The shape of the code: who may import whom, what is public, what every list promises."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import stacker

PACKAGE = Path(stacker.__file__).parent
# a folder or module of the package, and what of the package it may import besides itself
MAY_IMPORT = {
    "version": set(),
    "errors": set(),
    # how times and amounts are said, wherever that is
    "wording": set(),
    # the names of the subjects, which plans and exposures share
    "subjects": {"errors"},
    "light": {"errors"},
    "burst": {"errors", "light"},
    "register": {"errors", "light"},
    "blend": {"errors", "light"},
    "bridge": {"errors", "light", "register"},
    "finish": {"errors", "light"},
    "masks": {"light"},
    "plan": {"errors", "light", "subjects", "wording"},
    "scenes": {"errors", "light"},
    # the page of a report says times as plans and commands do
    "survey": {"errors", "light", "register", "wording"},
    # a ladder proposes the rung that suits by what is measured in it
    "engine": {
        "errors",
        "light",
        "burst",
        "register",
        "blend",
        "bridge",
        "finish",
        "masks",
        "subjects",
        "survey",
        "version",
    },
    "demo": {"errors", "burst", "engine", "scenes", "survey"},
    # the page says what a person wants and shows what comes of it
    "page": {
        "errors",
        "version",
        "light",
        "blend",
        "burst",
        "engine",
        "finish",
        "subjects",
        "survey",
        "demo",
        "wording",
    },
    "cli": {
        "errors",
        "version",
        "blend",
        "burst",
        "engine",
        "finish",
        "plan",
        "scenes",
        "subjects",
        "survey",
        "demo",
        "page",
        "wording",
    },
    "__init__": {"errors", "version", "light", "burst", "engine", "plan", "scenes", "survey"},
    "__main__": {"cli"},
}
VAGUE_NAMES = {"utils", "util", "helpers", "helper", "common", "core", "misc"}
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    """Return the folder of the package, or the module at its top, that a file belongs to."""
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    """Return the rooms of the package that a file imports, at its top or within functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] + [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "stacker" and len(parts) > 1:
                found.add(parts[1])
    return found


def test_every_room_has_its_rule():
    assert {room(path) for path in MODULES} == set(MAY_IMPORT)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    here = room(path)
    assert imports_of(path) - {here} <= MAY_IMPORT[here]


def test_the_line_is_drawn_without_circles():
    done: set[str] = set()
    left = dict(MAY_IMPORT)
    while left:
        free = [name for name, needs in left.items() if needs <= done]
        assert free, f"a circle among {sorted(left)}"
        for name in free:
            done.add(name)
            del left[name]


def test_names_say_something():
    assert not {path.stem for path in MODULES} & VAGUE_NAMES


def test_modules_stay_readable():
    long = {
        str(path): count for path in MODULES if (count := len(path.read_text().split("\n"))) > 400
    }
    assert not long


def test_every_exported_name_exists():
    for name in stacker.__all__:
        assert getattr(stacker, name) is not None
    assert set(stacker._HOMES) <= set(stacker.__all__)
    for room_name in ("burst", "register", "blend", "engine", "finish", "plan", "scenes", "survey"):
        module = importlib.import_module(f"stacker.{room_name}")
        for name in module.__all__:
            assert getattr(module, name) is not None


def test_public_things_are_documented():
    for path in MODULES:
        tree = ast.parse(path.read_text())
        assert ast.get_docstring(tree), path
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path}: {node.name}"


def test_importing_the_package_is_quick():
    """No heavy module comes in with the package or its burst reading."""
    code = (
        "import sys, stacker; stacker.Settings; stacker.open_burst; "
        "print(sorted({'av', 'imagecodecs', 'imageio', 'PIL', 'pillow_heif', "
        "'rawpy', 'tifffile'} & set(sys.modules)))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert result.stdout.strip() == "[]", result.stderr


def test_the_benchmark_runs():
    script = Path(__file__).parent / "benchmarks" / "speed.py"
    result = subprocess.run(
        [sys.executable, script, "--small", "--rounds", "1"], capture_output=True, text=True
    )
    assert result.returncode == 0, result.stderr
    for word in ("decode only", "lighten", "median", "1920 x 1080"):
        assert word in result.stdout


def test_the_benchmark_of_subjects_runs():
    result = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.subject_pictures", "--small"],
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
    )
    assert result.returncode == 0, result.stderr
    assert result.stdout.splitlines()[1].startswith("crowd")


def test_the_benchmark_of_registration_runs():
    result = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.registration", "--small"],
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
    )
    assert result.returncode == 0, result.stderr
    for word in ("day, static", "night, static", "tripod, day"):
        assert word in result.stdout


def test_the_benchmark_of_moving_textures_runs():
    result = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.moving_textures", "--small"],
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
    )
    assert result.returncode == 0, result.stderr
    assert "| carousel 1 |" in result.stdout
