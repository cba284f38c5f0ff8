"""One table says how options become settings."""

from dataclasses import fields

import pytest
import typer

from stacker.cli.app import app
from stacker.cli.choices import _SETTINGS
from stacker.engine import Settings

# chosen by --for, --doubt-map, --save-masks and --pass-pages
NO_OPTION = {"subject", "doubts", "masks", "find_passes"}


def options_of(name):
    """Return the options of a command by their names in it."""
    command = typer.main.get_command(app).commands[name]
    return {option.name: option for option in command.params}


def test_every_setting_has_an_option():
    assert {setting for setting, _ in _SETTINGS.values()} == {
        field.name for field in fields(Settings)
    } - NO_OPTION
    assert set(_SETTINGS) <= set(options_of("expose"))


@pytest.mark.parametrize("name", ["expose", "ladder", "film"])
def test_what_is_not_typed_is_what_help_promises(name):
    """Settings are made of what was typed alone: defaults must agree."""
    for option, given in options_of(name).items():
        if option in _SETTINGS:
            setting, make = _SETTINGS[option]
            if given.default not in (None, [], ()):
                assert make(given.default) == getattr(Settings(), setting), option
