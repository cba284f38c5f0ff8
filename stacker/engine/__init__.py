"""Runs the way of the data: settings, memory, workers, passes over the files, the report."""

from stacker.engine.balance import BalanceChoice
from stacker.engine.choosing import settings_for
from stacker.engine.expose_regions import expose_burst
from stacker.engine.film import FilmChoice, film_burst
from stacker.engine.ladder import Ladder, Rung, ladder_burst
from stacker.engine.memory import parse_size
from stacker.engine.progress import Progress, Silent
from stacker.engine.region import Region
from stacker.engine.report_file import write_report
from stacker.engine.rung_for import ladder_settings
from stacker.engine.save import save, save_report
from stacker.engine.save_masks import check_masks, save_masks
from stacker.engine.settings import Settings
from stacker.engine.sheet import save_rungs, save_sheet
from stacker.engine.shot import Shot

__all__ = [
    "BalanceChoice",
    "FilmChoice",
    "Ladder",
    "Progress",
    "Region",
    "Rung",
    "Settings",
    "Shot",
    "Silent",
    "check_masks",
    "expose_burst",
    "film_burst",
    "ladder_burst",
    "ladder_settings",
    "parse_size",
    "save",
    "save_masks",
    "save_report",
    "save_rungs",
    "save_sheet",
    "settings_for",
    "write_report",
]
