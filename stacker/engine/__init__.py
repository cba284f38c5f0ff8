"""Runs the way of the data: settings, memory, workers, passes over the files, the report."""

from stacker.engine.balance import BalanceChoice
from stacker.engine.expose import expose_burst
from stacker.engine.memory import parse_size
from stacker.engine.progress import Progress, Silent
from stacker.engine.report_file import write_report
from stacker.engine.save import save
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot

__all__ = [
    "BalanceChoice",
    "Progress",
    "Settings",
    "Shot",
    "Silent",
    "expose_burst",
    "parse_size",
    "save",
    "write_report",
]
