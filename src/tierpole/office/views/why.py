"""The way down from a number on a page: plan, outlook variable, formula, value, source.

Every page of this chain answers one "why?" and offers the next; from any number of This week it
takes four steps to the source of a value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole.charts import words
from tierpole.charts.ground import reason_words
from tierpole.office.views import kernels
from tierpole.office.views.parts import Head, NotHereError, head
from tierpole.outlook.schema import VARIABLES
from tierpole.outlook.summary import Summary, summarise
from tierpole.plan.result import Plan
from tierpole.season import Season


@dataclass(frozen=True)
class Step:
    """A number of the plan: what it is, how it comes about, what it rests on.

    That is variables of the outlook, and modules whose values it uses without one.
    """

    title: str
    how: str
    field: str
    variables: tuple[str, ...]
    values: tuple[str, ...] = ()


_OPTIMISED = (
    "The plan chooses sample days, cuts and places together, so that the mean over all seasons "
    "less a weight on the worst of them is largest."
)

STEPS: dict[str, Step] = {
    "p_pass": Step(
        "Chance to pass", "The mean, over all seasons drawn, of the chance that an official "
        "sample of that day passes given the season's truth.", "LotPlan.p_pass",
        ("p_pass", "thc", "flower_day")),
    "p_buyer_pass": Step(
        "Chance that the buyer's test passes", "The mean over all seasons of the chance that dry "
        "trimmed flower of the days it is cut tests legal without the laboratory's "
        "uncertainty.", "LotPlan.p_buyer_pass",
        ("p_buyer_pass", "thc")),
    "testing": Step("What one more test is worth", "For each of some readings that the seasons "
                    "drawn lead to expect, the lot's choices are weighed anew and the best still "
                    "open is taken, the other lots as planned. What that brings on average over "
                    "the choice planned now is its worth; certainty is the most any could be.",
                    "LotPlan.testing", ("thc", "p_pass", "value_pass", "value_fail"),
                    ("plan.testing", "potency.sampling", "potency.foresee")),
    "told": Step("What each certificate changed", "The seasons drawn as they stand with it against "
                 "those without it, by its own lot; what it counts for is its weight in the fit.",
                 "LotPlan.forecast", ("thc", "cbd", "p_pass"),
                 ("potency.diagnose", "potency.sampling")),
    "off_types": Step("Off-type plants", "The middle of the share drawn for the lot after its "
                      "tests, the tops an official sample takes, and what walks leave of them.",
                      "LotPlan.forecast", ("thc", "p_pass"), ("outlook.report", "potency.prior")),
    "thc": Step("Total THC today", "The middle and the 10–90 % band of the seasons drawn, after "
                "the tests that are in.", "Outlook thc", ("thc", "flower_day")),
    "window": Step("Days on which it may be cut", "From the laboratory's result, which four times "
                   "in five is in by then, to the last day the rulebook allows after the sample.",
                   "LotPlan.window", ("p_pass",)),
    "reason": Step("What another week would change", "The other choice is forced, everything else "
                   "is planned again, and both plans are valued over the same seasons. The pieces "
                   "add up to the dollar.", "LotPlan.reasons",
                   ("value_pass", "p_pass", "frost_loss", "field_loss", "drying_loss")),
    "cuts": Step("Sticks to cut", _OPTIMISED, "LotPlan.cuts", ("value_pass", "drying_days")),
    "sticks": Step("Sticks standing", "Plants alive over plants to a stick, less what is cut. "
                   "Where nobody has counted, nine plants in ten are taken to be alive.",
                   "LotPlan.sticks_standing", ()),
    "left": Step("Sticks that stay in the field", _OPTIMISED + " What finds neither room nor hands "
                 "in its window is left, and its loss is counted.", "LotPlan.sticks_left",
                 ("value_left", "drying_days")),
    "hours": Step("Crew hours", "Sticks times the crew's own minutes a stick, written in the "
                  "scenario; what is not written there is taken from these values.",
                  "PlannedCut.hours, CrewPlan", (), ("money.costs",)),
    "dry": Step("When it is dry", "The day by which four seasons in five are dry enough to take "
                "down, with the place as full as the plan makes it.", "PlannedCut.dry_on",
                ("drying_days",)),
    "hanging": Step("When what hangs is dry", "Simulated from its hang day, season by season, and "
                    "drawn towards its readings of air, weight and moisture.",
                    "Outlook free_day", ("free_day",), ("barn.correct", "barn.sensors")),
    "airing": Step("What a rule of airing gains", "Rules are tried over the seasons drawn, from "
                   "what hangs now as its readings correct it: value lost until it is dry, with "
                   "fuel and power. One half of the seasons chooses, the other counts the gain.",
                   "Watch.advice", ("free_day", "drying_loss", "mould_risk"),
                   ("barn.advice", "barn.correct", "barn.sensors", "barn.ensemble")),
    "room": Step("Room", "Sticks of room by the measuring tape, less what hangs on the day.",
                 "PlacePlan", ("drying_days", "free_day")),
    "worth": Step("What one more would be worth", "The season is planned again with that much "
                  "more; the difference is its worth.", "Plan.worth",
                   ("value_pass", "drying_days")),
    "frost": Step("Chance of a freeze", "The share of seasons with a night at or below that "
                  "temperature since 1 July, the field's own difference to the station added.",
                  "Outlook night_low", ("night_low", "frost_loss")),
    "money": Step("The money", "What the chosen plan earns in each season drawn, all of the "
                  "season's costs taken off.", "Plan.money",
                  ("value_pass", "value_fail", "fixed_money", "price", "paid_share")),
}  # fmt: skip


@dataclass(frozen=True)
class Onward:
    """The next step down: where it leads and what it says."""

    to: str
    name: str
    says: str


@dataclass(frozen=True)
class Row:
    """A coefficient as it stands in its table."""

    to: str
    name: str
    value: str
    mark: str
    assumed: bool
    source: str


@dataclass(frozen=True)
class Why:
    """One page of the chain."""

    head: Head
    depth: int
    title: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    onward: tuple[Onward, ...]
    sections: tuple[kernels.Section, ...] = ()
    rows: tuple[Row, ...] = ()


# --- 1: the plan --------------------------------------------------------------------------------


def why_plan(season: Season, outlook: xr.Dataset, plan: Plan, key: str, subject: str) -> Why:
    """What a number of the plan is and which variables of the outlook it rests on."""
    if key not in STEPS or subject not in _subjects(season):
        raise NotHereError(key)
    step = STEPS[key]
    shown = _FACTS.get(key)
    facts = tuple(shown(plan, subject)) if shown else ()
    lot = subject if subject in _lots(season) else ""
    return Why(
        head(season, plan), 1, f"{step.title}: {subject}", step.how,
        (*facts, ("Stands in the plan as", step.field)),
        tuple(_variable(name, lot if "lot" in outlook[name].dims else "")
              for name in step.variables),
        rows=_rows(step.values),
    )  # fmt: skip


def _subjects(season: Season) -> set[str]:
    return {"season", *_lots(season), *(place.name for place in season.places)}


def _lots(season: Season) -> set[str]:
    return {lot.name for lot in season.lots}


def _variable(name: str, subject: str) -> Onward:
    meaning = next(v.meaning for v in VARIABLES if v.name == name)
    return Onward(f"outlook/{name}/{subject}".rstrip("/"), name, meaning)


Facts = Iterator[tuple[str, str]]


def _pass_facts(plan: Plan, subject: str) -> Facts:
    lot = plan.lot(subject)
    if lot.p_pass is not None:
        yield "Passes in", words.odds(lot.p_pass)
    if lot.p_buyer_pass is not None:
        yield "A buyer's test of trimmed flower passes in", words.odds(lot.p_buyer_pass)
    if lot.sample_on is not None:
        yield "Sampled on", words.long_day(lot.sample_on)


def _window_facts(plan: Plan, subject: str) -> Facts:
    window = plan.lot(subject).window
    if window is not None:
        yield "First day", words.long_day(window[0])
        yield "Last day", words.long_day(window[1])


def _reason_facts(plan: Plan, subject: str) -> Facts:
    for reason in plan.lot(subject).reasons:
        yield (
            words.capital(reason.choice),
            f"{words.signed_dollars(reason.total)}: {reason_words(reason)}",
        )


def _cut_facts(plan: Plan, subject: str) -> Facts:
    for cut in plan.lot(subject).cuts:
        yield words.day(cut.day), f"{words.counted(cut.sticks, 'stick')} to {cut.place}"


def _left_facts(plan: Plan, _: str) -> Facts:
    for lot in plan.lots:
        if lot.sticks_left:
            yield lot.lot, words.counted(lot.sticks_left, "stick")


def _worth_facts(plan: Plan, _: str) -> Facts:
    for worth in plan.worth:
        yield words.capital(worth.what), words.dollars(worth.dollars)


def _testing_facts(plan: Plan, subject: str) -> Facts:
    testing = plan.lot(subject).testing
    if testing is not None:
        best = testing.best
        yield "Best test", f"{words.day(best.day)}, {words.counted(best.plants, 'top')}"
        yield "Worth before its fee", words.dollars(best.gain)
        yield "Its fee", words.dollars(best.fee)
        yield "To know the truth", words.dollars(testing.certainty)


def _money_facts(plan: Plan, subject: str) -> Facts:
    yield from _summary_facts(plan.money if subject == "season" else plan.lot(subject).money)


def _summary_facts(money: Summary) -> Facts:
    yield "Loses in", words.odds(money.p_loss)
    yield "Mean of the worst fifth", words.dollars(money.cvar)
    yield "Mean", words.dollars(money.mean)
    yield "8 of 10 seasons", f"{words.dollars(money.low)} to {words.dollars(money.high)}"
    yield "Seasons drawn", f"{money.n:,}"


_FACTS: dict[str, Callable[[Plan, str], Facts]] = {
    "p_pass": _pass_facts, "p_buyer_pass": _pass_facts, "window": _window_facts,
    "reason": _reason_facts, "cuts": _cut_facts, "left": _left_facts, "worth": _worth_facts,
    "money": _money_facts, "testing": _testing_facts,
}  # fmt: skip


# --- 2: the outlook -----------------------------------------------------------------------------


def why_outlook(
    season: Season, outlook: xr.Dataset, plan: Plan, name: str, subject: str = ""
) -> Why:
    """What an outlook variable means, what the draws say of it today, which formulas make it."""
    variable = next((v for v in VARIABLES if v.name == name), None)
    if variable is None or (subject and subject not in _lots(season)):
        raise NotHereError(name)
    made = kernels.MADE[name]
    facts = [("Dimensions", ", ".join(variable.dims)), ("Unit", variable.unit)]
    return Why(
        head(season, plan), 2, f"{name}: {subject}" if subject else name,
        f"{words.capital(variable.meaning)}.",
        (*facts, *_drawn(season, outlook[name], subject)),
        tuple(_formula(formula) for formula in made.formulas),
        rows=_rows(made.values),
    )  # fmt: skip


def _drawn(season: Season, array: xr.DataArray, subject: str) -> Facts:
    """Middle and band over the draws, for one lot, on the day nearest to today."""
    if array.dtype.kind not in "fiu" or array.dims[0] not in ("draw", "barn_draw"):
        return
    if subject:
        array = array.sel(lot=subject)
    for dimension in array.dims[1:]:
        if dimension in ("day", "sample_day", "cut_day"):
            array = array.sel({dimension: np.datetime64(season.on)}, method="nearest")
            yield "On", words.day(array[dimension].values.astype("datetime64[D]").item())
    summary = summarise(array.values.ravel())
    yield "Middle of the draws", f"{summary.median:.4g}"
    yield "8 of 10 draws", f"{summary.low:.4g} to {summary.high:.4g}"


def _formula(name: str) -> Onward:
    first = next(kernels.sections(name)).text.split("\n\n")[0].replace("\n", " ")
    return Onward(f"formula/{name}", name.replace(":", "."), first)


def _rows(modules: tuple[str, ...]) -> tuple[Row, ...]:
    return tuple(_row(module, row) for module in modules for row in kernels.values(module))


def _row(module: str, row: kernels.Value) -> Row:
    spread = (
        f" ({row.low:g} to {row.high:g})" if row.low is not None and row.high is not None else ""
    )
    return Row(
        f"value/{module}:{row.name}", row.name, f"{_with_unit(row)}{spread}", str(row.mark),
        row.mark.is_assumed, row.source,
    )  # fmt: skip


def _with_unit(row: kernels.Value) -> str:
    return f"{row.value:g}" if row.unit == "1" else f"{row.value:g} {row.unit}"


# --- 3: the formula -----------------------------------------------------------------------------


def why_formula(season: Season, _: xr.Dataset, plan: Plan, name: str) -> Why:
    """A formula: its words, equation and source, and the coefficients it uses."""
    if name not in {formula for made in kernels.MADE.values() for formula in made.formulas}:
        raise NotHereError(name)
    first, *rest = kernels.sections(name)
    return Why(
        head(season, plan), 3, name.replace(":", "."), first.text, (), (), tuple(rest),
        tuple(_row(module, row) for module, row in kernels.used(name)),
    )  # fmt: skip


# --- 4: the value and its source ----------------------------------------------------------------


def why_value(season: Season, __: xr.Dataset, plan: Plan, name: str) -> Why:
    """One coefficient: number, spread, how well it is known and where it comes from."""
    module, _, key = name.partition(":")
    row = kernels.value(module, key) if module in _modules() else None
    if row is None:
        raise NotHereError(name)
    facts = [("Value", _with_unit(row)), ("How well known", str(row.mark))]
    if row.low is not None and row.high is not None:
        facts.append(("Spread, 8 of 10", f"{row.low:g} to {row.high:g}"))
    if row.note:
        facts.append(("Note", row.note))
    said = "This value is assumed: " if row.mark.is_assumed else "Source: "
    return Why(head(season, plan), 4, row.name, f"{said}{row.source}.", (
        *facts, ("Stands in", f"tierpole.{module}")), ())  # fmt: skip


def _modules() -> set[str]:
    """Modules whose values a reader may ask for: those of the formulas and their priors."""
    made = kernels.MADE.values()
    known = {m for one in made for m in (*(f.split(":")[0] for f in one.formulas), *one.values)}
    told = {*kernels.TOLD, *(module for step in STEPS.values() for module in step.values)}
    return known | told
