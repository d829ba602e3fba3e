"""What a thermometer and a scale tell of a place: alarm, advice for tonight, what was not believed.

Heat is spoken of only where a listed, vented heater is written down, and then never without its
cautions; loads on rails only where somebody said what a rail may bear.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import xarray as xr

from tierpole import charts
from tierpole.barn import room
from tierpole.barn.advice import COEFFICIENTS as AIRING
from tierpole.barn.advice import Hours, Rule
from tierpole.barn.sensors import Finding, Trouble
from tierpole.barn.storage import COEFFICIENTS as STORE
from tierpole.barn.storage import keeps
from tierpole.charts import Chart, words
from tierpole.charts.watch import said_hour
from tierpole.farm import Place
from tierpole.office.views.parts import Number, Phrase
from tierpole.outlook.curing import CURING, stick_weight
from tierpole.outlook.stowing import Elevation, elevation
from tierpole.outlook.watch import Alarm, HangingWatch, Watch, watch
from tierpole.season import Season
from tierpole.units import System, show

BRITTLE = 0.25  # chance of shatter at which a page speaks up
NEVER_ALONE = (
    "Never leave a burning heater alone, and keep it clear of everything dry. What its maker, your "
    "insurer and the fire code say goes before anything said here."
)

# what is said of airing and alarm, by vents and by fans; the crew reads it in its language
AIRINGS = {
    "never": ("Keep the vents shut", "Keep the fans off"),
    "always": ("Leave the vents open day and night", "Run the fans day and night"),
    "always, if dry": (
        "Open the vents while it is at most {most} % damp outside, by day or night, else shut them",
        "Run the fans while it is at most {most} % damp outside, by day or night, else stop them",
    ),
    "by day": (
        "Open the vents from {opened} to {closed} h and shut them for the night",
        "Run the fans from {opened} to {closed} h and stop them for the night",
    ),
    "by day, if dry": (
        (
            "Open the vents from {opened} to {closed} h while it is at most {most} % damp outside, "
            "else shut them"
        ),
        (
            "Run the fans from {opened} to {closed} h while it is at most {most} % damp outside, "
            "else stop them"
        ),
    ),
}
FANS = ("run the fans by day", "run the fans day and night")
HEATER = (
    "burn the heater at night while it is above {damp} % outside, vents ajar, with somebody "
    "beside it"
)
ALARMS = {
    "passed": "The chance of mould on {lot} has passed 10 % already: look at it today, thickest "
    "flowers first.",
    "shut": "The chance of mould on {lot} passes 10 % in {hours} if vents and fans stay shut.",
    "left": "The chance of mould on {lot} passes 10 % in {hours} if vents and fans stay as they "
    "are.",
}
HOURS = ("{hours} hour", "{hours} hours")
CREW_TEXTS = (
    *(text for pair in AIRINGS.values() for text in pair), *FANS, HEATER, NEVER_ALONE,
    *ALARMS.values(), *HOURS,
)  # fmt: skip


@dataclass(frozen=True)
class BarnNow:
    """A place by its readings: what to do tonight and why, and its air, moisture and mould."""

    alarm: str
    advice: tuple[Phrase, ...]
    windows: tuple[str, ...]
    findings: tuple[str, ...]
    air: Chart
    moisture: Chart
    mould: Chart


def barn_now(
    season: Season, outlook: xr.Dataset, name: str, system: System = "us"
) -> BarnNow | None:
    """What is known of a place now; None where nothing hangs."""
    found = watch(season, outlook, name)
    if found is None:
        return None
    return BarnNow(
        alarm=alarm_words(found.alarm),
        advice=tuple(_advice(found)),
        windows=tuple(_windows(season, found)),
        findings=tuple(_finding(season, found, one, system) for one in found.findings),
        air=charts.air_inside(season, found),
        moisture=charts.moistures(season, found),
        mould=charts.mould_by_hour(season, found),
    )


def alarm_words(alarm: Alarm | None, t: Callable[[str], str] = str) -> str:
    """What is said of mould that is near; empty when none is. `t` says it in a language."""
    if alarm is None:
        return ""
    if alarm.hours == 0:
        return t(ALARMS["passed"]).format(lot=alarm.lot)
    said = ALARMS["shut" if alarm.is_shut else "left"]
    hours = t(HOURS[alarm.hours != 1]).format(hours=alarm.hours)
    return t(said).format(lot=alarm.lot, hours=hours)


# --- tonight --------------------------------------------------------------------------------------


def _advice(found: Watch) -> Iterator[Phrase]:
    advice, why = found.advice, f"plan/airing/{found.place.name}"
    rule = advice.rule if advice.is_worth_it else advice.simple
    yield (f"{rule_words(rule, found.has_vents)}.",)
    if advice.is_worth_it:
        gain = Number(words.dollars(advice.gain), why, True)
        spent = f", after {words.dollars(advice.energy)} of fuel and power" if advice.energy else ""
        simple = rule_words(advice.simple, found.has_vents)
        yield (
            "Over the days until it is dry that gains about ", gain, spent,
            f" over the best simple rule ({words.small(simple)}).",
        )  # fmt: skip
    else:
        yield (
            "No rule tried gains more over this simple one than chance would: ",
            Number(words.dollars(max(advice.gain, 0.0)), why, True), " on what hangs here, worth ",
            Number(words.dollars(found.at_stake), why), ".",
        )  # fmt: skip
    if abs(found.over_now) >= 1:
        more = "gains" if found.over_now > 0 else "loses"
        yield (f"Against leaving things as they are it {more} ",
               Number(words.dollars(abs(found.over_now)), why, True), ".")  # fmt: skip
    yield (_thinning(found),)
    if rule.heat_above < 1:
        yield (NEVER_ALONE,)


def rule_words(rule: Rule, has_vents: bool = True, t: Callable[[str], str] = str) -> str:
    """A rule of airing as it is said at the barn door; `t` says it in a language."""
    if rule.vents is Hours.NEVER:
        key = "never"
    elif rule.vents is Hours.ALWAYS:
        key = "always" if rule.most >= 1 else "always, if dry"
    else:
        key = "by day" if rule.most >= 1 else "by day, if dry"
    said = t(AIRINGS[key][0 if has_vents else 1]).format(
        opened=f"{AIRING['opened']:.0f}", closed=f"{AIRING['closed']:.0f}",
        most=f"{100 * rule.most:.0f}",
    )  # fmt: skip
    if rule.fans is not Hours.NEVER:
        said += f"; {t(FANS[rule.fans is not Hours.BY_DAY])}"
    if rule.heat_above < 1:
        said += f"; {t(HEATER).format(damp=f'{100 * rule.heat_above:.0f}')}"
    return said


def _thinning(found: Watch) -> str:
    thin = found.thinned
    less, sooner = thin.mould[0] - thin.mould[1], thin.days[0] - thin.days[1]
    third = "A third of the sticks hung elsewhere"
    if less < 0.02 and sooner < 1:
        return f"{third} would change little: the place is not too full."
    return (
        f"{third} would bring mould from {words.short_odds(thin.mould[0])} to "
        f"{words.odds(thin.mould[1])} and have the rest dry {max(sooner, 0):.0f} days sooner."
    )


def _windows(season: Season, found: Watch) -> Iterator[str]:
    """When each hanging may be stripped in the days ahead."""
    for one in found.hangings:
        ahead = [w for w in one.windows if w.last_hour >= found.now_hour]
        spans = [
            f"{said_hour(season, w.first_hour)} to {(w.last_hour + 1) % 24:02d}:00" for w in ahead
        ]
        if spans:
            yield f"{one.hanging.lot} is likely in case, to strip: {'; '.join(spans[:4])}."
        yield _bagged(one)
        if one.brittle >= BRITTLE:
            yield (
                f"In the days ahead {one.hanging.lot} gets so dry that it shatters in "
                f"{words.odds(one.brittle)}: strip it in its damp hours."
            )


def _bagged(one: HangingWatch) -> str:
    """What would become of a bag filled now."""
    low, middle, high = np.quantile(one.bagged, (0.1, 0.5, 0.9))
    least, most = STORE["activity_least"], STORE["activity_most"]
    if keeps(middle):
        verdict = "which keeps"
    else:
        verdict = "too damp to keep" if middle > most else "so dry that it shatters"
    return (
        f"Bagged now, with a little stem, {one.hanging.lot} would settle at a water activity of "
        f"{low:.2f} to {high:.2f}: {verdict} (store {least:.2f} to {most:.2f})."
    )


# --- what was not believed ------------------------------------------------------------------------


def _finding(season: Season, found: Watch, one: Finding, system: System) -> str:
    first, last = said_hour(season, one.first_hour), said_hour(season, one.last_hour + 1)
    span = f"from {first} to {last}"
    if one.trouble is Trouble.GAP:
        return f"The logger says nothing {span}; the forecast runs on without it."
    if one.trouble is Trouble.STUCK:
        return f"The {one.what} did not move {span}: the sensor is stuck, and was left out."
    if one.trouble is Trouble.HEATER:
        read, likely = (words.temperature(x, system) for x in (one.value, one.likely))
        return f"It was {read} {span} where the heater should have kept {likely}: is it failing?"
    what, read, likely = _said_reading(found, one, system)
    if one.trouble in (Trouble.KILOGRAMS, Trouble.POUNDS):
        typed, meant = ("pounds", "kilograms")
        if one.trouble is Trouble.POUNDS:
            typed, meant = meant, typed
        return (
            f"{what} weighed {read} a stick on {first}, where {likely} were foretold: {meant} "
            f"typed as {typed}? It was taken as {meant}."
        )
    done = "it was left out"
    if one.what.startswith("batch") and one.likely < 1:  # a moisture: no stick is so light
        done = "the forecast starts anew from it"
    return f"{what} read {read} at {first}, where {likely} was foretold; {done}."


def _said_reading(found: Watch, one: Finding, system: System) -> tuple[str, str, str]:
    """What was read, its value and the forecast's, in words."""
    if one.what == "temperature":
        return ("The thermometer", words.temperature(one.value, system),
                words.temperature(one.likely, system))  # fmt: skip
    if one.what == "humidity":
        return "The humidity gauge", f"{100 * one.value:.0f} %", f"{100 * one.likely:.0f} %"
    number = int(one.what.removeprefix("batch "))
    lot = found.lots[number]
    if one.likely < 1:
        return lot, f"{100 * one.value:.0f} %", f"{100 * one.likely:.0f} %"
    return lot, show(one.value, "a mass", system, 3), show(one.likely, "a mass", system, 3)


# --- room -----------------------------------------------------------------------------------------


def elevation_of(season: Season, name: str) -> tuple[Elevation, Chart]:
    """The side of a place, each hanging with its latest moisture."""
    found = elevation(season, name)
    says = [_latest(season, number, found) for number in range(len(found.hangings))]
    return found, charts.elevation_chart(season, found, says)


def _latest(season: Season, number: int, found: Elevation) -> str:
    hanging = found.hangings[number]
    own = (hanging.place, hanging.lot, hanging.hung_on)
    read = [r for r in season.readings if (r.place, r.lot, r.hung_on) == own]
    if not read:
        return words.short_day(hanging.hung_on)
    return f"{100 * max(read, key=lambda r: r.read_on).moisture_flower:.0f} %"


def room_notes(
    season: Season, outlook: xr.Dataset, found: Elevation, system: System
) -> Iterator[str]:
    """What blocks what, in which order to fill and empty, what rails bear, what was cleaned."""
    place = found.place
    yield from _order(season, outlook, found)
    yield _acres(season, found, system)
    yield from _rails(season, place, system)
    yield from _too_heavy(season, system)
    yield from _fillings(season, outlook, place)
    yield from _cleaned(season, place)


def _order(season: Season, outlook: xr.Dataset, found: Elevation) -> Iterator[str]:
    now = list(season.hanging_now())
    free = outlook["free_day"].values
    ready = [float(np.median(free[:, now.index(hanging)])) for hanging in found.hangings]
    has_aisle = found.place.aisle_runs > 0
    for one in room.blocked(found.stowed, ready, has_aisle):
        yield f"{one.by} hangs in the way of {one.lot}, which is dry first: no run is kept free."
    if len(found.hangings) > 1:
        rows = room.order_to_empty(found.stowed, ready)
        lots = list(dict.fromkeys(found.hangings[row].lot for row in rows))
        if len(lots) > 1:
            yield f"Take down in this order: {words.listed(lots)}."
    yield room.FILLING


def _acres(season: Season, found: Elevation, system: System) -> str:
    """What land fills the place: lots differ in plants to the acre and to the stick."""
    lots, sticks = season.lots, int(found.room.sum())
    areas = [
        float(room.acres_of(sticks, lot.plants_per_stick, season.sticks_total(lot) *
                            lot.plants_per_stick / lot.area))
        for lot in lots
    ]  # fmt: skip
    fewest, most = (one(sticks * lot.plants_per_stick for lot in lots) for one in (min, max))
    plants = f"{fewest:,}" if fewest == most else f"{fewest:,} to {most:,}"
    low, high = (words.area(area, system) for area in (min(areas), max(areas)))
    land = low if low == high else f"{low.split()[0]} to {high}, by lot"
    return f"Full, it holds {plants} plants: those of {land}."


def _rails(season: Season, place: Place, system: System) -> Iterator[str]:
    """Load against the limit somebody entered; silence about safety without one."""
    heaviest = max((stick_weight(lot) for lot in season.lots), default=1.0)
    stick = room.geometry.COEFFICIENTS["stick_weight"] * heaviest
    share = room.rail_share(place, stick * room.COEFFICIENTS["wet_load"])
    if share is None or place.rail_limit is None:
        yield "No limit was entered for its rails, so nothing here says that a load is safe."
        return
    limit = show(place.rail_limit, "a load a length", system, 3)
    over = " Hang them wider apart, or fewer plants to a stick." if float(share) > 1 else ""
    yield (
        f"Sticks as heavy as the heaviest lot's, wet, put {100 * float(share):.0f} % of the "
        f"{limit} entered on a rail.{over}"
    )


def _too_heavy(season: Season, system: System) -> Iterator[str]:
    """Lots one plant of which is more than a stick should carry."""
    stick = room.geometry.COEFFICIENTS["stick_weight"]
    weights = {lot.name: stick * stick_weight(lot) / lot.plants_per_stick for lot in season.lots}
    heavy = [name for name, weight in weights.items() if room.geometry.needs_sectioning(weight)]
    if heavy:
        most = show(max(weights[name] for name in heavy), "a mass", system, 2)
        yield (
            f"One plant of {words.listed(heavy, 'or')} weighs about {most} green, more than a "
            "stick should carry: break such plants into branches before they are hung."
        )


def _fillings(season: Season, outlook: xr.Dataset, place: Place) -> Iterator[str]:
    """How often the place can be filled until the last day anything is hung."""
    cut_days = outlook["cut_day"].values
    if not cut_days.size:
        return
    first = season.index(cut_days[0].astype("datetime64[D]").item())
    load = CURING["usual_load"]
    days = outlook["drying_days"].sel(place=place.name).sel(load=load, method="nearest")
    table = np.asarray(days.transpose("barn_draw", "cut_day").values, dtype=float)
    opening = season.index(place.free_from) if place.free_from else season.today
    start = max(opening, season.today) - first
    ready = room.filling_days(max(start, 0), table, cut_days.size - 1)
    counts = np.isfinite(ready).sum(axis=1)
    if counts.size and counts.max():
        most = int(np.quantile(counts, 0.9)), int(np.quantile(counts, 0.1))
        said = f"{most[1]}" if most[0] == most[1] else f"{most[1]} to {most[0]}"
        times = "time" if said == "1" else "times"
        yield f"Filled anew whenever it is empty, it can be hung {said} {times} more this season."


def _cleaned(season: Season, place: Place) -> Iterator[str]:
    """Whether dust and residues of what hung before were removed."""
    done = [c for c in season.clean_downs if c.place == place.name]
    if done:
        last = max(done, key=lambda c: c.cleaned_on)
        missing = [
            what for what, is_done in (("dust", last.dust_removed), ("residues",
            last.residues_removed)) if not is_done
        ]  # fmt: skip
        left = f", but {words.listed(missing)} were left" if missing else ": dust and residues gone"
        yield f"Cleaned on {words.day(last.cleaned_on)} after {last.after}{left}."
    elif place.occupied_by is not None:
        yield (
            f"{words.capital(place.occupied_by)} hangs here before hemp: clear dust and leaf, wash "
            "off sprays and nicotine, and write the clean-down into the records."
        )
