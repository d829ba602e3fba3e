"""What one more test of one's own is worth before the official sample, in dollars.

A test pays only if what it may read would change what is done. For each reading that the draws
lead to expect, the lot's choices are weighed anew, and the best of those still open when the
result is in is taken; what that brings on average over the choice planned now is the worth of the
test (expected value of sample information). The other lots keep to the plan, so it is a lower
bound: moving them too could only add.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from tierpole.compliance import LotState
from tierpole.evidence import Mark, Table, Value
from tierpole.money import value_of_perfect_information, value_of_sample_information
from tierpole.outlook.forecast import Forecast, planned_test
from tierpole.outlook.report import REPORT
from tierpole.outlook.streams import stream
from tierpole.plan.alternatives import Choices, choices_of
from tierpole.plan.harvest import Harvest
from tierpole.plan.problem import NO_SAMPLE, Schedule
from tierpole.potency.foresee import Reading, predict_test, reading_weights
from tierpole.rulebook import rulebook_on

TESTING = Table(
    "A test of one's own",
    (
        Value("readings", 200.0, "readings", Mark.INFERENCE, "our choice: readings looked at"),
        Value("every", 2.0, "d", Mark.INFERENCE, "our choice: days between the tests looked at"),
        Value(
            "tells", 5.0, "USD", Mark.INFERENCE,
            "our choice: more plants are cut only for more than this",
        ),
    ),
)  # fmt: skip
PLANTS = (1, 3, 5, 10, 20, 30)


@dataclass(frozen=True)
class TestWorth:
    """What a test of a lot on a day, from so many plants, is worth before and after its fee."""

    __test__ = False  # not a test class, whatever its name says

    day: date
    result_on: date
    plants: int
    gain: float
    fee: float

    @property
    def net(self) -> float:
        """Dollars over its fee; negative when the test does not pay."""
        return self.gain - self.fee


@dataclass(frozen=True)
class Testing:
    """Tests of one lot by day with the usual number of plants, and the best of all.

    `certainty` is what it would be worth to know the lot's truth: no test can be worth more.
    """

    __test__ = False

    by_day: tuple[TestWorth, ...]
    best: TestWorth
    certainty: float


def worth_of_tests(
    harvest: Harvest, schedule: Schedule, forecast: Forecast, lot: int
) -> Testing | None:
    """What tests of a lot are worth; None where none can change anything any more."""
    if harvest.status[lot].state is not LotState.GROWING:
        return None
    bench = _Bench(harvest, choices_of(harvest.problem, schedule, lot), forecast, lot)
    usual = int(REPORT["plants"])
    by_day = tuple(bench.worth(day, usual) for day in bench.days())
    if not by_day:
        return None
    best = max(by_day, key=lambda each: each.gain)
    dollars = bench.choices.dollars
    even = np.full(dollars.shape[1], 1.0 / dollars.shape[1])
    certainty = value_of_perfect_information(dollars, even)
    return Testing(by_day, bench.fewest_plants(best.day), certainty)


@dataclass(frozen=True)
class _Bench:
    """One lot with its choices, for asking about tests of it."""

    harvest: Harvest
    choices: Choices
    forecast: Forecast
    lot: int

    def days(self) -> Iterator[date]:
        """Days from flowering to the best sample day on which a result could still be acted on."""
        season, best = self.harvest.season, self.choices.dollars.mean(axis=1).argmax()
        last = self._sampled_on[best] or season.on
        flowers = season.day(int(np.median(self.forecast.flower_day[:, self.lot])))
        day = max(season.on, flowers + timedelta(days=1))
        while day <= last and self._open(self._result_on(day))[:-1].any():
            yield day
            day += timedelta(days=int(TESTING["every"]))

    def worth(self, day: date, plants: int) -> TestWorth:
        """What a test on a day from so many plants is worth."""
        season, result_on = self.harvest.season, self._result_on(day)
        planned = planned_test(self.forecast, self.lot, day, plants)
        rng = stream(season.index(day), f"test of lot {self.lot} from {plants} plants")
        every = max(1, len(self.forecast.flower_day) // int(TESTING["readings"]))
        read = predict_test(self.forecast.updated, planned, rng)
        some = Reading(read.cbd[::every], read.thc[::every])
        weight = reading_weights(self.forecast.updated, planned, some)
        joint = weight.T / len(weight)
        gain = value_of_sample_information(self.choices.dollars, joint, self._open(result_on))
        return TestWorth(day, result_on, plants, gain, season.costs.potency_test)

    def fewest_plants(self, day: date) -> TestWorth:
        """The test with the fewest plants that brings nearly all that many would."""
        found = [self.worth(day, plants) for plants in PLANTS]
        most = max(each.gain for each in found)
        return next(each for each in found if each.gain >= most - TESTING["tells"])

    def _result_on(self, day: date) -> date:
        return day + timedelta(days=math.ceil(self.harvest.season.laboratory.pretest_delay))

    def _open(self, known_on: date) -> np.ndarray:
        """Which choices [choice] can still be taken once a result is known: a call comes first."""
        book = rulebook_on(self.harvest.season.farm.jurisdiction, known_on)
        lead = math.ceil(max(self.harvest.season.sampler.lead, book.request_lead_days.value))
        first = known_on + timedelta(days=lead)
        is_none = self.choices.option == NO_SAMPLE
        return is_none | np.array([day is not None and day >= first for day in self._sampled_on])

    @property
    def _sampled_on(self) -> list[date | None]:
        """The sample day of each choice; None for no sample."""
        return [self.harvest.sample_days[o] if o > 0 else None for o in self.choices.option]
