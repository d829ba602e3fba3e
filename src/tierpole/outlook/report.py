"""What a forecast says of each lot: before and after its tests, how far to trust it, what if."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from tierpole.evidence import Mark, Table, Value
from tierpole.outlook.forecast import Forecast, planned_test
from tierpole.outlook.legal import Legal, plants_cut
from tierpole.outlook.summary import BAND, bands
from tierpole.potency import Effort, PotencyDraws, curves
from tierpole.potency.design import Rogueing, rogueing, share_over, share_shown, share_tolerated
from tierpole.potency.diagnose import Diagnosis, diagnose
from tierpole.potency.foresee import what_if
from tierpole.potency.leave_out import without
from tierpole.rulebook import rulebook_on
from tierpole.season import DAYS

Array = np.ndarray

REPORT = Table(
    "What the next test may read",
    (
        Value("plants", 5.0, "plants", Mark.PRACTICE, "tops in a grower's own composite"),
        Value(
            "readings", 9.0, "readings", Mark.INFERENCE,
            "our choice: as many as a person can tell apart",
        ),
        Value(
            "left_out", 12.0, "tests", Mark.INFERENCE,
            "our choice: the newest tests, one a lot, that the forecast is made without again",
        ),
        Value("walks", 2.0, "walks", Mark.INFERENCE, "our choice: walks through a lot from seed"),
        Value(
            "seen", 0.7, "share", Mark.INFERENCE,
            "of off-type plants, found in one walk; nobody has counted it", low=0.4, high=0.95,
        ),
        Value("shown", 0.95, "chance", Mark.PRACTICE, "that a sample holds what it should show"),
        Value(
            "outside", 0.02, "share", Mark.INFERENCE,
            "our choice: readings as far out as one in fifty are asked about",
        ),
    ),
)  # fmt: skip
LIGHT = Effort(chains=128, groups=4, warm_sweeps=6, kept_sweeps=10, most_rounds=1)
STEP = 0.0001  # share of dry weight, how finely certificates print total THC

NO_TEST = (
    "No certificate is in yet: this is what variety, weather and walks through the lots say, no "
    "more."
)


@dataclass(frozen=True, eq=False)
class Fan:
    """The 10-90 % band and the median of a quantity, [day] each."""

    low: Array
    median: Array
    high: Array

    @classmethod
    def of(cls, draws: Array) -> Fan:
        """The fan of [draw, day] values."""
        low, median, high = bands(draws, (BAND[0], 0.5, BAND[1]))
        return cls(low, median, high)


@dataclass(frozen=True)
class Told:
    """What a certificate changed: the log THC of its lot on its day, and what it counts for.

    `row` is its place among the season's tests; `counts` is 1 for an ordinary one. For the latest
    of a lot `p_pass_without` [sample_day] is the chance to pass had it not been taken.
    """

    row: int
    moved: float
    counts: float
    p_pass_without: Array | None = None


@dataclass(frozen=True, eq=False)
class IfRead:
    """Chance to pass [sample_day] if the next test reads `thc`; `is_enough` as in `what_if`."""

    thc: float
    p_pass: Array
    is_enough: bool


@dataclass(frozen=True, eq=False)
class OffTypes:
    """Off-type plants of a lot from seed: their THC over a true plant's, tops of a sample.

    `shown` is the least share of them that such a sample holds at least one of in 19 of 20 cases;
    `tolerated` [sample_day] is the share of them with which the mean of all tops just passes;
    `walked` is what pulling them buys, `seen` the share that one walk finds.
    """

    multiple: float
    plants: int
    shown: float
    tolerated: Array
    walked: Rogueing
    seen: float


@dataclass(frozen=True, eq=False)
class LotForecast:
    """What is known of one lot's potency; `next_day` and `next_plants` are of the next test.

    `plants_over` is the share of its single plants that are over the limit, whatever their mean.
    """

    lot: str
    sample_days: tuple[date, ...]
    p_pass: Array  # [sample_day]
    p_buyer_pass: Array  # [sample_day]
    plants_over: Array  # [sample_day]
    cbd: Fan
    thc: Fan
    cbd_before: Fan
    thc_before: Fan
    told: tuple[Told, ...]
    is_reliable: bool
    verdict: str
    next_day: date
    next_plants: int
    if_read: tuple[IfRead, ...]
    off_types: OffTypes | None


def report(
    forecast: Forecast, sample_days: Array, chances: Mapping[str, Array] | None = None
) -> tuple[LotForecast, ...]:
    """Every lot's forecast, with chances on the given days [sample_day], day indices.

    `chances` are `Legal.chances` on those days where they are at hand.
    """
    legal = Legal(forecast.season, forecast, sample_days)
    return tuple(_Lots(forecast, sample_days, chances or legal.chances()).all())


@dataclass(frozen=True, eq=False)
class Held:
    """Potency as the law looks at it, from flower days [draw, lot] and what shapes the curves."""

    flower_day: Array
    potency: PotencyDraws

    @property
    def thc(self) -> Array:
        """Total THC [draw, lot, day]."""
        return curves(self.potency, self.flower_day, np.arange(DAYS, dtype=float))[1]


@dataclass(frozen=True, eq=False)
class _Lots:
    forecast: Forecast
    sample_days: Array
    chances: Mapping[str, Array]

    def all(self) -> list[LotForecast]:
        """The forecasts of the lots, in their order."""
        after, before = (self.forecast.cbd, self.forecast.thc), self.forecast.curves_before()
        diagnosis = self._diagnosis()
        return [
            self._lot(lot, [Fan.of(draws[:, lot]) for draws in (*after, *before)], diagnosis)
            for lot in range(len(self.forecast.season.lots))
        ]

    def _lot(self, lot: int, fans: Sequence[Fan], diagnosis: Diagnosis | None) -> LotForecast:
        season = self.forecast.season
        own = _of_lot(diagnosis, lot) if diagnosis else None
        plants = int(REPORT["plants"])
        return LotForecast(
            lot=season.lots[lot].name,
            sample_days=tuple(season.day(day) for day in self.sample_days),
            p_pass=self.chances["p_pass"][:, lot].mean(axis=0),
            p_buyer_pass=self.chances["p_buyer_pass"][:, lot].mean(axis=0),
            plants_over=self._plants_over(lot),
            cbd=fans[0],
            thc=fans[1],
            cbd_before=fans[2],
            thc_before=fans[3],
            told=self._told(lot, diagnosis),
            is_reliable=own is None or own.is_reliable,
            verdict=own.verdict if own else NO_TEST,
            next_day=self._next_day(lot),
            next_plants=plants,
            if_read=self._if_read(lot, plants),
            off_types=self._off_types(lot, fans[1]),
        )

    def _diagnosis(self) -> Diagnosis | None:
        posterior, season = self.forecast.updated.posterior, self.forecast.season
        if posterior is None:
            return None
        lots, varieties = season.lots, season.varieties
        return diagnose(posterior, [lot.name for lot in lots], [v.name for v in varieties])

    @cached_property
    def left_out(self) -> dict[int, Array]:
        """Chances to pass [sample_day] without the latest test of each lot, by test."""
        forecast, posterior = self.forecast, self.forecast.updated.posterior
        if posterior is None:
            return {}
        tests = posterior.problem.tests
        latest = {
            test.lot: number
            for number, test in sorted(enumerate(tests), key=lambda pair: pair[1].day)
        }
        newest = sorted(latest.values(), key=lambda number: -tests[number].day)
        found = {}
        for number in newest[: int(REPORT["left_out"])]:
            rng = np.random.default_rng(number)
            left = without(
                posterior, number, forecast.before, forecast.flower_day_before, rng, LIGHT
            )
            held = Held(left.flower_day, left.draws)
            chances = Legal(forecast.season, held, self.sample_days).chances()["p_pass"]
            found[number] = chances[:, tests[number].lot].mean(axis=0)
        return found

    def _told(self, lot: int, diagnosis: Diagnosis | None) -> tuple[Told, ...]:
        """What each certificate of a lot changed; those that say nothing are left out."""
        if diagnosis is None:
            return ()
        tests = self.forecast.tests
        telling = [number for number, test in enumerate(tests) if test.says_something]
        rows, moved = self.forecast.test_rows, self.forecast.updated.moved
        return tuple(
            Told(rows[number], float(moved[number]), float(counts), self.left_out.get(place))
            for place, (number, counts) in enumerate(zip(telling, diagnosis.weight, strict=True))
            if tests[number].lot == lot
        )

    def _plants_over(self, lot: int) -> Array:
        """Share of single true-to-type plants over the limit [sample_day], a mean of the draws."""
        season = self.forecast.season
        limit = float(rulebook_on(season.farm.jurisdiction, season.on).limit.value)
        thc = np.maximum(self.forecast.thc[:, lot][:, self.sample_days], STEP)
        return share_over(thc, self.forecast.potency.plant_cv[:, lot, None], limit).mean(axis=0)

    def _off_types(self, lot: int, thc: Fan) -> OffTypes | None:
        """What off-type plants may do, by the middle of the draws; None where there are none."""
        potency, season = self.forecast.potency, self.forecast.season
        share = float(np.median(potency.off_type_share[:, lot]))
        if share == 0.0:
            return None
        multiple = float(np.median(potency.off_type_multiple[:, lot]))
        plants = plants_cut(season, lot)
        book = rulebook_on(season.farm.jurisdiction, season.on)
        limit = float(book.limit.value) + season.laboratory.uncertainty
        holds = thc.median[self.sample_days]
        walks, seen, last = int(REPORT["walks"]), REPORT["seen"], float(holds[-1])
        return OffTypes(
            multiple=multiple,
            plants=plants,
            shown=float(share_shown(plants, REPORT["shown"])),
            tolerated=share_tolerated(holds, multiple * holds, limit),
            walked=rogueing(last, multiple * last, share, seen, plants, walks),
            seen=seen,
        )

    def _next_day(self, lot: int) -> date:
        """Today, or the first day on which half the draws have flowered for a week."""
        season = self.forecast.season
        flowers = int(np.median(self.forecast.flower_day[:, lot])) + 7
        return season.day(min(max(season.today, flowers), DAYS - 1))

    def _if_read(self, lot: int, plants: int) -> tuple[IfRead, ...]:
        """Chances to pass for each of the readings that the next test may bring."""
        planned = planned_test(self.forecast, lot, self._next_day(lot), plants)
        passes = self.chances["p_pass"][:, lot]
        found = []
        for thc in self._readings(lot, int(planned.day)):
            answer = what_if(self.forecast.updated, replace(planned, thc=thc))
            found.append(IfRead(thc, answer.weight @ passes, answer.is_enough))
        return tuple(found)

    def _readings(self, lot: int, day: int) -> list[float]:
        """Readings in even, round steps over what the lot may hold on a day."""
        thc = self.forecast.thc[:, lot, day]
        edges = np.quantile(thc, (REPORT["outside"], 1.0 - REPORT["outside"]))
        low, high = np.round(edges / STEP).astype(int)
        step = max(1, int(np.ceil((high - low) / (REPORT["readings"] - 1))))
        return [STEP * whole for whole in range(max(low, 1), high + step, step)]


def _of_lot(diagnosis: Diagnosis, lot: int) -> Diagnosis:
    """What of a diagnosis bears on one lot."""
    return replace(diagnosis, findings=tuple(f for f in diagnosis.findings if f.lot in (None, lot)))
