"""The draws in dollars: a stick that passed, a stick that failed, a stick left, and the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tierpole.compliance import (
    FailDollars,
    FailValue,
    fail_paths,
    p_biomass_pass,
    p_pass_again,
    p_sold_pass,
)
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Stock
from tierpole.money import (
    Sales,
    StickValue,
    draw_sales,
    fail_work,
    flat_revenue,
    interest_operating,
    mass_sold,
    stick_work,
    value_per_stick,
)
from tierpole.outlook.field import FieldDraws
from tierpole.outlook.legal import Legal
from tierpole.outlook.streams import stream
from tierpole.season import DAYS, Season
from tierpole.units import ACRE

Array = np.ndarray

DOLLARS = Table(
    "Season money",
    (
        Value(
            "months_to_harvest", 3.0, "months", Mark.INFERENCE,
            "plants, inputs and field work are paid from May to August",
            note="time from the outlay to harvest, on which interest runs",
        ),
    ),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Dollars:
    """Prices the draws of a season; `sales` is the market of each draw."""

    season: Season
    field: FieldDraws
    legal: Legal
    sales: Sales

    @classmethod
    def of(cls, season: Season, field: FieldDraws, legal: Legal, seed: int) -> Dollars:
        """With the market drawn from its own stream."""
        draws = field.flower_day.shape[0]
        return cls(season, field, legal, draw_sales(stream(seed, "market"), draws, season.market))

    def stick_mass(self, number: int, days: Array) -> Array:
        """Biomass of a stick at the selling moisture, before losses [draw, day], kg."""
        lot = self.season.lots[number]
        dry = self.field.mass[:, number][:, days] * lot.plants_per_stick
        return dry / (1.0 - self.season.market.moisture)

    def content_sold(self, number: int, days: Array) -> Array:
        """Total CBD of what is sold [draw, day], share of dry weight."""
        return self.field.cbd[:, number][:, days] / self.field.potency.top_to_plant[:, number, None]

    def field_loss(self, number: int, days: Array) -> Array:
        """Share lost in the field by each day [draw, day], all causes."""
        frost = self.field.frost_loss[:, number][:, days]
        return 1.0 - (1.0 - frost) * (1.0 - self.field.other_loss[:, number][:, days])

    def stick_pieces(self, number: int, days: Array, drying_loss: Array) -> StickValue:
        """Dollars of a passed stick, piece by piece, each [draw, day, place] or less.

        `drying_loss` is [draw, day, place].
        """
        whole, lost = self.stick_mass(number, days), self.field_loss(number, days)
        sold = mass_sold(whole[:, :, None], lost[:, :, None], drying_loss)
        season = self.season
        content = self.content_sold(number, days)[:, :, None]
        pieces = value_per_stick(
            sold, content, self.sales, season.market, season.crew, season.costs
        )
        if not season.market.buyer_retests:
            return pieces
        return self._after_retest(pieces, number, days, sold)

    def _after_retest(
        self, pieces: StickValue, number: int, days: Array, sold: Array
    ) -> StickValue:
        """The buyer pays only the low flat price for what fails his own test."""
        book = self.legal.book(int(days[0]))
        thc = self.field.thc[:, number : number + 1, days].astype(float)
        sample = self.legal.of_lot(number)
        to_sold = self.field.potency.top_to_plant[:, number, None, None]
        accepts = p_sold_pass(thc, sample, book, to_sold)[:, 0, :, None]
        refused = flat_revenue(sold, self.season.market.remediated_price)
        refused = refused * self.sales.paid_share[:, None, None]
        return replace(pieces, revenue=accepts * pieces.revenue + (1 - accepts) * refused)

    def passed(self, cut_days: Array, drying_loss: Array) -> Array:
        """`value_pass` [draw, lot, cut_day, place], float32."""
        draws, lots = self.field.flower_day.shape
        value = np.empty((draws, lots, *drying_loss.shape[1:]), np.float32)
        for number in range(lots):
            value[:, number] = self.stick_pieces(number, cut_days, drying_loss).total
        return value

    def failed(self, sample_days: Array, cut_days: Array, value_pass: Array) -> FailValue:
        """`value_fail` [draw, lot, sample_day], by the path with the best mean given a fail.

        A further test is a new sample: its result, a new call and a new result later.
        """
        thc = self.field.thc[:, :, sample_days].astype(float)
        book = self.legal.book(self.season.today)
        uncertainty = self.season.laboratory.uncertainty
        sample = self.legal.composite
        to_flower = self.field.potency.top_to_flower[:, :, None]
        sampler = self.season.sampler
        second = sample_days + math.ceil(sampler.result_delay_late + sampler.lead)
        later = np.minimum(second + math.ceil(sampler.result_delay_late), DAYS - 1)
        thc_second = self.field.thc[:, :, np.minimum(second, DAYS - 1)].astype(float)
        return fail_paths(
            p_fail=1.0 - self.legal.p_pass(thc, book),
            p_again=p_pass_again(thc, thc_second, uncertainty, sample, book),
            p_biomass=p_biomass_pass(thc, uncertainty, sample, book, to_flower),
            dollars=self._fail_dollars(later, _late_value(later, cut_days, value_pass)),
            book=book,
        )

    def _fail_dollars(self, later: Array, value_pass_late: Array) -> FailDollars:
        season = self.season
        ways, work = fail_work(season.crew.wage), stick_work(season.crew)
        harvest = work.cut + work.haul + work.hang + work.take_down
        sticks = np.array([max(season.sticks_standing(lot), 1.0) for lot in season.lots])
        test = (season.costs.potency_test / sticks)[None, :, None]
        mass = np.stack(
            [
                self.stick_mass(number, later) * (1.0 - self.field_loss(number, later))
                for number in range(sticks.size)
            ],
            axis=1,
        )
        paid = self.sales.paid_share[:, None, None]
        return FailDollars(
            pass_after_all=value_pass_late,
            biomass=flat_revenue(mass, season.market.remediated_price) * paid,
            kept=0.0,
            retest=test,
            strip=ways.strip,
            shred=ways.shred + harvest,
            biomass_test=test,
            destroy=ways.destroy,
        )

    def left(self) -> Array:
        """`value_left` [draw, lot]: mowing down what was never cut."""
        clearing = fail_work(self.season.crew.wage).destroy
        return np.full(self.field.flower_day.shape, -clearing, np.float32)

    def hung_in_vain(self) -> float:
        """A hung stick that may not be sold: its work is spent, and it is destroyed."""
        work = stick_work(self.season.crew)
        spent = work.cut + work.haul + work.hang + work.take_down
        return -spent - fail_work(self.season.crew.wage).destroy

    def fixed(self, hung: Array) -> Array:
        """`fixed_money` [draw]: what is spent already, and what everything hung so far brings.

        Sticks that were cut but never hung have cost their work and bring nothing.
        """
        season = self.season
        cut = sum(c.sticks for c in season.cuts) - sum(h.sticks for h in season.hangings)
        return hung - sum(before_harvest(season).values()) - cut * stick_work(season.crew).cut


def before_harvest(season: Season) -> dict[str, float]:
    """Dollars spent before the first stick is cut, by what they are spent on.

    Of official samples only those taken or agreed are among them; any other is the plan's choice.
    """
    costs = season.costs
    seedling = costs.plant if costs.seedling is None else costs.seedling
    price = {Stock.CLONE: costs.plant, Stock.SEED: seedling}
    plants = sum(lot.plants_set * price[lot.stock] for lot in season.lots)
    acres = sum(lot.area for lot in season.lots) / ACRE
    samples = sum(len(season.sampled_days(lot)) for lot in season.lots)
    outlay = {
        "plants": plants * (1 + costs.spare_plants),
        "inputs": acres * ACRE * costs.inputs,
        "field work": acres * costs.field_labour * season.crew.wage,
        "tests": len(season.lots) * costs.potency_tests_per_lot * costs.potency_test
        + costs.full_panels * costs.full_panel
        + samples * costs.official_sample,
        "licence, fuel, land": costs.overhead,
    }
    months = costs.months_to_sale + DOLLARS["months_to_harvest"]
    interest = float(interest_operating(sum(outlay.values()), costs.interest, months))
    return {**outlay, "interest": interest}


def _late_value(later: Array, cut_days: Array, value_pass: Array) -> Array:
    """A passed stick's worth [draw, lot, sample_day] after a further test, in the best place.

    Nothing once the last day to cut is over.
    """
    best = value_pass.mean(axis=0).argmax(axis=2)  # [lot, cut_day]
    at_best = np.take_along_axis(value_pass, best[None, :, :, None], axis=3)[..., 0]
    place = np.clip(later - cut_days[0], 0, cut_days.size - 1)
    return np.where(later <= cut_days[-1], at_best[:, :, place], 0.0)
