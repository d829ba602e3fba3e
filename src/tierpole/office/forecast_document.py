"""A potency forecast as a JSON document with a published schema: shares of dry weight, dates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Literal

from pydantic import Field

from tierpole._version import __version__
from tierpole.office.document import BandDocument, Document
from tierpole.outlook.report import Fan, LotForecast
from tierpole.plan.result import Plan
from tierpole.plan.testing import Testing
from tierpole.season import Season

FORMAT = "tierpole-forecast-1"


class DayDocument(Document):
    """What a lot's tops hold on a day, as shares of dry weight."""

    day: date
    total_cbd: BandDocument
    total_thc: BandDocument
    total_thc_before_tests: BandDocument


class SampleDocument(Document):
    """Chances if the official sample is taken on a day."""

    sample_on: date
    p_pass: float
    p_buyer_pass: float


class ToldDocument(Document):
    """What a certificate changed."""

    test: int = Field(description="its place among the season's tests, from 1")
    thc_ratio: float = Field(description="total THC expected, after it over before it")
    counts: float = Field(description="1 for an ordinary certificate, less for a distrusted one")


class ReadDocument(Document):
    """What the next test would mean if it read so."""

    total_thc: float
    p_pass: list[float] = Field(description="by the days of `samples`")
    is_known: bool = Field(description="false when only a new forecast could tell")


class TestDocument(Document):
    """What one more test is worth."""

    __test__ = False

    cut_on: date
    result_on: date
    plants: int
    worth_usd: float
    fee_usd: float


class LotForecastDocument(Document):
    """The forecast of one lot."""

    lot: str
    is_reliable: bool
    verdict: str
    days: list[DayDocument]
    samples: list[SampleDocument]
    told: list[ToldDocument]
    next_test_on: date
    next_test_plants: int
    if_next_test_reads: list[ReadDocument]
    best_test: TestDocument | None
    certainty_usd: float | None = Field(description="what knowing the truth would be worth")


class ForecastDocument(Document):
    """What every lot may hold, and when it passes."""

    format: Literal["tierpole-forecast-1"] = FORMAT
    version: str = __version__
    farm: str
    season: int
    seen_on: date
    lots: list[LotForecastDocument]


def forecast_document(
    season: Season, lots: Sequence[LotForecast], plan: Plan | None = None
) -> ForecastDocument:
    """A forecast as its document; what tests are worth only beside a plan."""
    return ForecastDocument(
        farm=season.farm.name,
        season=season.year,
        seen_on=season.on,
        lots=[_lot(season, lot, plan.lot(lot.lot).testing if plan else None) for lot in lots],
    )


def _lot(season: Season, known: LotForecast, testing: Testing | None) -> LotForecastDocument:
    chances = zip(known.sample_days, known.p_pass, known.p_buyer_pass, strict=True)
    return LotForecastDocument(
        lot=known.lot,
        is_reliable=known.is_reliable,
        verdict=known.verdict,
        days=[_day(season, known, day) for day in range(season.today, len(season.days), 7)],
        samples=[SampleDocument(sample_on=day, p_pass=p, p_buyer_pass=q) for day, p, q in chances],
        told=[
            ToldDocument(test=t.row + 1, thc_ratio=math.exp(t.moved), counts=t.counts)
            for t in known.told
        ],
        next_test_on=known.next_day,
        next_test_plants=known.next_plants,
        if_next_test_reads=[
            ReadDocument(total_thc=read.thc, p_pass=read.p_pass.tolist(), is_known=read.is_enough)
            for read in known.if_read
        ],
        best_test=_test(testing) if testing else None,
        certainty_usd=testing.certainty if testing else None,
    )


def _test(testing: Testing) -> TestDocument:
    best = testing.best
    return TestDocument(
        cut_on=best.day, result_on=best.result_on, plants=best.plants, worth_usd=best.gain,
        fee_usd=best.fee,
    )  # fmt: skip


def _day(season: Season, known: LotForecast, day: int) -> DayDocument:
    return DayDocument(
        day=season.day(day),
        total_cbd=_band(known.cbd, day),
        total_thc=_band(known.thc, day),
        total_thc_before_tests=_band(known.thc_before, day),
    )


def _band(fan: Fan, day: int) -> BandDocument:
    return BandDocument(
        low=float(fan.low[day]), median=float(fan.median[day]), high=float(fan.high[day])
    )
