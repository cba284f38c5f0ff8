"""Before the shot: exposure arithmetic, stars, water, storage, twilight, cautions. No pictures.

The room is also the function: ``stacker.plan("water", focal_mm=24)`` returns a ``Plan``.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from stacker.plan.cautions import cautions_for
from stacker.plan.facts import Facts
from stacker.plan.make import make_plan, plan_of
from stacker.plan.plan import Plan
from stacker.plan.subjects import SUBJECTS

__all__ = ["SUBJECTS", "Facts", "Plan", "cautions_for", "make_plan", "plan_of"]


class _Room(ModuleType):
    """A module that can be called.

    Python puts a subpackage into its package under its name as soon as anything of it is imported,
    over whatever stood there: a function ``stacker.plan`` would be gone at the first import of
    ``stacker.plan.stars``. So the module itself answers the call; Python's data model allows a
    module another class ("Customizing module attribute access").
    """

    def __call__(self, subject: str, **known: Any) -> Plan:
        return make_plan(subject, **known)


sys.modules[__name__].__class__ = _Room
