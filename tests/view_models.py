"""View models of the synthetic season, and every number in them that answers a why."""

from __future__ import annotations

from functools import cache

import synthetic
from tierpole.office import views
from tierpole.office.views import Number

SEASON, OUTLOOK, PLAN = synthetic.season(), synthetic.outlook(), synthetic.plan()
PAGES = {
    "week": ("us",),
    "season": ("us",),
    "lot": ("6 South bottom", "us"),
    "place": ("Frame", "us"),
    "crew_week": ("en",),
    "crew_day": (PLAN.cuts[0].day, "es", "us"),
    "crew_place": ("Frame", "es", "us"),
    "rules": (),
    "papers": (),
    "why_plan": ("p_pass", "6 South bottom"),
    "why_outlook": ("p_pass", "6 South bottom"),
    "why_formula": ("compliance.chance:p_pass",),
    "why_value": ("compliance.chance:trimming",),
}


@cache
def _planned(name, *args):
    return views.VIEWS[name](SEASON, OUTLOOK, PLAN, *args)


def view_of(name, *args, plan=None):
    """A view of the synthetic plan, or of one changed by a test."""
    if plan is None:
        return _planned(name, *args)
    return views.VIEWS[name](SEASON, OUTLOOK, plan, *args)


def week_of(plan=None, system="us"):
    return view_of("week", system, plan=plan)


def numbers_in(value):
    """Every number that answers "why?" anywhere in a view model."""
    if isinstance(value, Number):
        yield value
    elif isinstance(value, tuple | list):
        for part in value:
            yield from numbers_in(part)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from numbers_in(getattr(value, name))
