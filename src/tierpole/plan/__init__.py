"""The plan: what to sample, cut, hang and take down, on which day, why, and at what risk."""

from tierpole.plan.make import make_plan
from tierpole.plan.result import Plan
from tierpole.plan.risk import Risk
from tierpole.plan.solve import Stop

__all__ = ["Plan", "Risk", "Stop", "make_plan"]
