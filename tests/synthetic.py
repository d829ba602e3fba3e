"""A small invented season with an outlook and a plan that hang together, for tests of the faces.

Curves are simple closed forms, not the project's kernels: tests of charts, views and pages need
numbers that look like a season and obey the schema, and need them at once.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache

import numpy as np
import xarray as xr

from tierpole.farm import (
    Costs,
    Crew,
    CrewHours,
    Cut,
    Farm,
    Field,
    Flowering,
    Hanging,
    Laboratory,
    Lot,
    Market,
    Place,
    PlaceKind,
    Reading,
    Response,
    Sample,
    Sampler,
    Stock,
    Test,
    TestKind,
    Variety,
    Weekday,
)
from tierpole.outlook.report import Fan, IfRead, LotForecast, Told
from tierpole.outlook.schema import VARIABLES, attributes, validate
from tierpole.outlook.summary import Summary, summarise
from tierpole.plan.result import (
    Comparison,
    CrewPlan,
    LotPlan,
    LotState,
    PlacePlan,
    Plan,
    PlannedCut,
    Reason,
    Round,
    Worth,
)
from tierpole.plan.testing import Testing, TestWorth
from tierpole.season import DAYS, Season
from tierpole.weather.record import DailyRecord, Station

YEAR = 2026
ON = date(YEAR, 9, 2)
DRAWS, SEASONS, BARN_DRAWS = 80, 20, 40
LOADS = (0.1, 0.5, 1.0)
ACRE, POUND, FOOT, FAHRENHEIT = 4046.8564224, 0.45359237, 0.3048, 1 / 1.8


def _record(first: int, until: int, last: date | None = None) -> DailyRecord:
    days = np.arange(f"{first}-04-01", f"{until}-12-31", dtype="datetime64[D]")
    if last is not None:
        days = days[days < np.datetime64(last)]
    april = (days.astype("datetime64[Y]").astype("datetime64[M]") + 3).astype("datetime64[D]")
    wave = np.sin(((days - april).astype(int) - 15) / 245 * np.pi)
    station = Station("SYN0000001", "Invented ridge", 38.9, -83.9, 270.0)
    return DailyRecord(
        station, days, 2 + 16 * wave, 14 + 17 * wave, np.where(np.arange(len(days)) % 4, 0.0, 6.0),
        np.zeros(len(days), bool), provenance="invented",
    )  # fmt: skip


def _lot(name: str, field: str, variety: str, acres: float, plants: int, **extra: object) -> Lot:
    return Lot.model_validate({
        "name": name, "field": field, "variety": variety, "area": acres * ACRE,
        "set_on": date(YEAR, 6, 4), "plants_set": plants, "plants_per_stick": 3,
        "plant_yield": 0.86 * POUND, **extra,
    })  # fmt: skip


def _place(
    name: str, kind: PlaceKind, tiers: int, runs: int, feet: float, **extra: object
) -> Place:
    return Place.model_validate({
        "name": name, "kind": kind, "tiers": tiers, "runs": runs, "run_length": feet * FOOT,
        "stick_spacing": 1.5 * FOOT, "volume": 1000.0, **extra,
    })  # fmt: skip


@cache
def season() -> Season:
    """Four lots and three places on Wednesday 2 September: one lot passed and partly hung."""
    variety = {"is_invented": True, "cbd_plateau": 0.09, "cbd_to_thc": 26.0}
    return Season(
        year=YEAR,
        on=ON,
        farm=Farm(
            name="Sample Fork",
            jurisdiction="ohio",
            latitude=38.9,
            longitude=-83.9,
            is_invented=True,
        ),
        fields=(
            Field(name="Home"),
            Field(name="South bottom", night_offset=-3 * FAHRENHEIT),
            Field(name="Hollow", night_offset=-2 * FAHRENHEIT),
        ),
        varieties=(
            Variety(name="Quickset", response=Response.DAY_NEUTRAL, **variety),
            Variety(name="Ridge Early", critical_day_length=14.9, **variety),
            Variety(name="Longbend", critical_day_length=14.6, **variety),
            Variety(name="Hollow Late", critical_day_length=14.1),
        ),
        lots=(
            _lot(
                "1 River", "Home", "Quickset", 1.6, 5120,
                stock=Stock.SEED, plants_per_stick=5, plants_counted=4600,
            ),
            _lot("2 Barn field", "Home", "Ridge Early", 2.5, 4355),
            _lot("6 South bottom", "South bottom", "Longbend", 1.8, 3136, note="Reads hot."),
            _lot("7 Hollow", "Hollow", "Hollow Late", 1.8, 3136),
        ),
        places=(
            _place(
                "Home barn", PlaceKind.BARN, 3, 10, 64,
                free_from=date(YEAR, 10, 5), occupied_by="tobacco",
            ),
            _place("Fan shed", PlaceKind.SHED, 2, 6, 60, air_changes_day=0.01),
            _place("Frame", PlaceKind.FRAME, 1, 7, 96, keep_out=28),
        ),
        crew=Crew(
            wage=18 / 3600,
            hours=(CrewHours(starting=date(YEAR, 8, 15), hours=12 * 3600.0),
                   CrewHours(starting=date(YEAR, 9, 14), hours=24 * 3600.0)),
            workdays=tuple(Weekday)[:6], sticks_owned=3600, haul_limit=400,
        ),
        market=Market(price=1.4 * 100 / POUND, remediated_price=0.4 / POUND),
        costs=Costs(plant=1.25, inputs=900 / ACRE, field_labour=23 * 3600.0),
        sampler=Sampler(),
        laboratory=Laboratory(),
        past_weather=_record(1979, 1990),
        this_weather=_record(YEAR, YEAR, ON),
        stand_in_year=1996,
        tests=(
            Test(lot="1 River", kind=TestKind.OFFICIAL, sampled_on=date(YEAR, 8, 17),
                 reported_on=date(YEAR, 8, 22), plants=2, total_cbd=0.0372, total_thc=0.00142,
                 uncertainty=0.0004),
            Test(lot="6 South bottom", kind=TestKind.PRETEST, sampled_on=date(YEAR, 8, 28),
                 reported_on=date(YEAR, 9, 1), plants=5, total_cbd=0.021, total_thc=0.0009),
        ),
        samples=(Sample(lot="1 River", requested_on=date(YEAR, 8, 10),
                        sampled_on=date(YEAR, 8, 17)),),
        cuts=(Cut(lot="1 River", cut_on=date(YEAR, 8, 26), sticks=200),
              Cut(lot="1 River", cut_on=date(YEAR, 8, 31), sticks=180)),
        hangings=(
            Hanging(lot="1 River", place="Frame", hung_on=date(YEAR, 8, 26), sticks=200),
            Hanging(lot="1 River", place="Fan shed", hung_on=date(YEAR, 8, 31), sticks=180),
        ),
        readings=(Reading(place="Frame", lot="1 River", hung_on=date(YEAR, 8, 26),
                          read_on=date(YEAR, 9, 1), moisture_flower=0.31),),
        flowering=(Flowering(lot="2 Barn field", seen_on=date(YEAR, 8, 9), in_flower=14,
                             looked_at=40),),
        source="invented for tests",
    )  # fmt: skip


FLOWER = (107.0, 129.0, 141.0, 156.0)  # median day index of flowering, lot by lot
PEAK = (0.0025, 0.0031, 0.0041, 0.0032)  # THC at its peak


@cache
def outlook() -> xr.Dataset:
    """80 draws of the season above; every variable of the schema, checked by its validator."""
    rng = np.random.default_rng(7)
    a, lots, places = season(), len(FLOWER), 3
    days = np.arange(DAYS)
    sample = np.array([d for d in range(a.today + 5, 215) if a.day(d).weekday() < 5])
    cut = np.arange(a.today, 235)
    flower = np.asarray(FLOWER) + rng.normal(0, 3, (DRAWS, lots))
    tau = days - flower[..., None]
    size = rng.lognormal(0, 0.1, (DRAWS, lots, 1))
    thc = np.asarray(PEAK)[:, None] * size / (1 + np.exp(-(tau - 28) / 7))
    cbd = 0.09 * rng.lognormal(0, 0.08, (DRAWS, lots, 1)) / (1 + np.exp(-(tau - 28) / 8))
    mass = 0.4 / (1 + np.exp(-(tau - 30) / 8)) * rng.lognormal(0, 0.2, (DRAWS, lots, 1))
    lost = np.clip(0.009 * np.maximum(tau - 30, 0), 0, 0.9)
    low, rain = _weather(rng)
    frost = np.minimum.accumulate(low[rng.integers(0, SEASONS, DRAWS)], axis=1)[:, None, :]
    frost_loss = np.clip((-2 - frost) / 6, 0, 0.9) * np.ones((1, lots, 1))
    at_sample = thc[:, :, sample]
    p_pass = 1 / (1 + np.exp((at_sample - 0.0034) / 0.0003))
    worth = _worth(cbd, mass * (1 - lost) * (1 - frost_loss), cut)
    barn = _drying(rng, cut)
    arrays = {
        "weather_row": np.arange(DRAWS) % SEASONS, "barn_row": np.arange(DRAWS) % BARN_DRAWS,
        "night_low": low, "rain": rain, "flower_day": flower, "cbd": cbd, "thc": thc,
        "top_to_plant": np.full((DRAWS, lots), 1.35), "p_pass": p_pass,
        "p_buyer_pass": p_pass * 0.95, "p_over_one": np.zeros_like(p_pass),
        "flower_mass": mass, "frost_loss": frost_loss, "field_loss": lost, **barn,
        "value_pass": worth, "value_fail": np.full(p_pass.shape, 0.4),
        "fail_path": np.full((lots, len(sample)), "strip the flower"),
        "value_left": np.full((DRAWS, lots), -0.2), "sample_fee": np.full(lots, 250.0),
        "fixed_money": rng.normal(-34_000, 4_000, DRAWS),
        "price": np.full(DRAWS, 1.4 * 100 / POUND), "paid_share": np.full(DRAWS, 0.9),
        "free_day": np.array([162.0, 164.0]) + rng.normal(0, 1.5, (DRAWS, 2)),
    }  # fmt: skip
    coordinates = {
        "lot": [lot.name for lot in a.lots], "place": [p.name for p in a.places], "day": a.days,
        "sample_day": a.days[sample], "cut_day": a.days[cut], "load": list(LOADS),
    }  # fmt: skip
    assert places == len(a.places)
    dataset = xr.Dataset(
        {v.name: (v.dims, arrays[v.name], attributes(v.name)) for v in VARIABLES}, coordinates,
        {"seed": 1},
    )  # fmt: skip
    validate(dataset)
    return dataset


def _weather(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    mean = 17 - 0.0016 * (np.arange(DAYS) - 105.0) ** 2
    low = mean + rng.normal(0, 3, (SEASONS, DAYS)) + rng.normal(0, 1, (SEASONS, 1))
    return low, np.where(rng.random((SEASONS, DAYS)) < 0.28, rng.gamma(1, 8, (SEASONS, DAYS)), 0.0)


def _worth(cbd: np.ndarray, mass: np.ndarray, cut: np.ndarray) -> np.ndarray:
    dollars = 3 * mass[:, :, cut] * cbd[:, :, cut] / 1.35 * 100 * 1.26 / POUND - 6.0
    return dollars[..., None] * np.array([0.93, 1.0, 0.97])


def _drying(rng: np.random.Generator, cut: np.ndarray) -> dict[str, np.ndarray]:
    base = np.array([15.0, 7.0, 10.0])[:, None, None] * (1 + 0.004 * (cut - cut[0]))[:, None]
    filled = base * (0.7 + 0.5 * np.asarray(LOADS))
    days = filled * rng.lognormal(0, 0.2, (BARN_DRAWS, 1, 1, 1))
    mould = np.clip((days - 12) / 30, 0, 1)
    return {"drying_days": days, "drying_loss": 0.02 + 0.2 * mould, "mould_risk": mould}


def _money(mean: float, spread: float, seed: int) -> Summary:
    return summarise(np.random.default_rng(seed).normal(mean, spread, DRAWS))


def _cuts(lot: str, place: str, first: date, sticks: tuple[int, ...], dry: int) -> list[PlannedCut]:
    days = [first + timedelta(days=k) for k in range(len(sticks))]
    return [
        PlannedCut(lot, place, day, n, n * 0.095, day + timedelta(days=dry))
        for day, n in zip(days, sticks, strict=True)
    ]


@cache
def lot_forecast(lot: str) -> LotForecast:
    """What is known of a lot: its own curves, higher before its test, and five readings."""
    a, o = season(), outlook()
    days = tuple(d.astype("datetime64[D]").item() for d in o.sample_day.values)
    p_pass = o.p_pass.sel(lot=lot).mean("draw").values
    cbd, thc = (
        Fan.of(o[name].sel(lot=lot).transpose("draw", "day").values) for name in ("cbd", "thc")
    )
    higher = Fan(1.3 * thc.low, 1.3 * thc.median, 1.3 * thc.high)
    reads = np.linspace(0.0008, 0.0024, 5)
    chances = [p_pass ** (read / 0.0016) for read in reads]
    if_read = [
        IfRead(float(read), chance, number < 4)
        for number, (read, chance) in enumerate(zip(reads, chances, strict=True))
    ]
    told = tuple(Told(n, -0.26, 0.9) for n, test in enumerate(a.tests) if test.lot == lot)
    return LotForecast(
        lot, days, p_pass, 0.95 * p_pass, 0.2 * (1 - p_pass), cbd, thc, cbd, higher, told, True,
        "This forecast is reliable, because groups of chains agree.", ON, 5,
        tuple(if_read), None,
    )  # fmt: skip


def testing(gain: float, sample: date) -> Testing:
    """Three tests of a lot; the middle one is worth most."""
    days = [sample - timedelta(days=d) for d in (14, 11, 8)]
    tests = [
        TestWorth(day, day + timedelta(days=4), 5, gain * share, 75.0)
        for day, share in zip(days, (0.6, 1.0, 0.3), strict=True)
    ]
    return Testing(tuple(tests), tests[1], 3 * gain)


def plan() -> Plan:
    """A plan for the season above: three samples to call, cuts into all three places."""
    a = season()
    p_pass = outlook().p_pass.mean("draw")

    def chance(lot: str, on: date) -> float:
        return float(p_pass.sel(lot=lot, sample_day=np.datetime64(on)))

    def growing(lot: str, sample: date, left: int, cuts: list[PlannedCut], money: float) -> LotPlan:
        known = lot_forecast(lot)
        p = chance(lot, sample)
        window = (sample + timedelta(days=5), sample + timedelta(days=30))
        return LotPlan(
            lot, LotState.GROWING, a.sticks_standing(a.lots[a.lot_index(lot)]),
            sample - timedelta(days=5), sample, window, p, 0.95 * p, tuple(cuts), left,
            _money(money, 2500, 3), "strip the flower",
            (
                Reason("a week earlier", (("CBD", -700.0), ("pass risk", 310.0), ("room", -32.0))),
                Reason("a week later", (
                    ("CBD", 460.0), ("pass risk", -890.0), ("frost", -120.0), ("labour", 15.0))),
            ),
            known, testing(money / 80, sample),
        )  # fmt: skip

    lots = (
        LotPlan(
            "1 River", LotState.PASSED, 540.0, None, date(YEAR, 8, 17),
            (date(YEAR, 8, 22), date(YEAR, 9, 16)), 1.0, 0.98,
            tuple(_cuts("1 River", "Fan shed", date(YEAR, 9, 3), (90, 90), 7)
                  + _cuts("1 River", "Frame", date(YEAR, 9, 8), (120, 120, 120), 10)),
            0, _money(5200, 900, 1), "none",
        ),
        growing("2 Barn field", date(YEAR, 9, 8), 46,
                _cuts("2 Barn field", "Frame", date(YEAR, 9, 21), (150, 160, 90), 11)
                + _cuts("2 Barn field", "Home barn", date(YEAR, 10, 5), (250, 250, 240, 120), 16),
                11_400),
        growing("6 South bottom", date(YEAR, 9, 18), 0,
                _cuts("6 South bottom", "Fan shed", date(YEAR, 9, 24), (230, 240), 8)
                + _cuts("6 South bottom", "Fan shed", date(YEAR, 10, 6), (235, 236), 9), 9_300),
        growing("7 Hollow", date(YEAR, 10, 1), 0,
                _cuts("7 Hollow", "Frame", date(YEAR, 10, 14), (235, 185), 13)
                + _cuts("7 Hollow", "Fan shed", date(YEAR, 10, 16), (235,), 9)
                + _cuts("7 Hollow", "Home barn", date(YEAR, 10, 17), (286,), 18), 6_100),
    )  # fmt: skip
    draws = np.random.default_rng(5).normal(6_500, 21_000, DRAWS)
    return Plan(
        made_for=ON, lots=lots, places=_place_plans(lots), crew=_crew_plan(lots),
        money=summarise(draws), draws=draws, bound=7_000.0, gap=0.004,
        rounds=(Round(1, 7_400.0, 6_300.0, 2.0), Round(2, 6_700.0, 6_500.0, 0.0)),
        worth=(Worth("ten more stick places from 21 Sep", 96.0),
               Worth("one more crew hour in the week of 5 Oct", 14.0)),
        rules_of_thumb=(
            Comparison("sample 35 days after flowering", _money(1_900, 23_000, 8), 3_050.0, 3_870.0,
                       0.31),
            Comparison("sample when a pre-test reads 0.20 %", _money(3_200, 22_000, 9), 3_240.0,
                       3_870.0, 0.22)),
        broken_rules=(),
        notes=("46 sticks of 2 Barn field find no room before its window ends on 8 October.",),
    )  # fmt: skip


def _days() -> np.ndarray:
    return season().days[season().today : season().today + 80]


def _place_plans(lots: tuple[LotPlan, ...]) -> tuple[PlacePlan, ...]:
    a, days = season(), _days()
    rooms = {"Home barn": 1260, "Fan shed": 480, "Frame": 420}
    already = {"Fan shed": (180, 10), "Frame": (200, 7)}
    plans = []
    for place in a.places:
        change, down = np.zeros(81), np.zeros(80)
        for sticks, ready in [already[place.name]] if place.name in already else []:
            change[0] += sticks
            change[ready] -= sticks
            down[ready] += sticks
        for cut in (c for lot in lots for c in lot.cuts if c.place == place.name):
            hung, dry = ((d - ON).days for d in (cut.day, cut.dry_on))
            change[hung] += cut.sticks
            change[dry] -= cut.sticks
            down[dry] += cut.sticks
        free = np.datetime64(place.free_from or a.first_day)
        room = np.where(days < free, 0, rooms[place.name])
        plans.append(PlacePlan(place.name, days, change.cumsum()[:80], room, down))
    return tuple(plans)


def _crew_plan(lots: tuple[LotPlan, ...]) -> CrewPlan:
    days = _days()
    cut, down = np.zeros(80), np.zeros(80)
    for planned in (c for lot in lots for c in lot.cuts):
        cut[(planned.day - ON).days] += planned.hours
        down[(planned.dry_on - ON).days] += planned.sticks * 0.8 / 60
    sunday = np.array([season().day(season().today + k).weekday() == 6 for k in range(80)])
    full = np.where(days < np.datetime64(f"{YEAR}-09-14"), 12.0, 24.0)
    return CrewPlan(days, cut, down, np.zeros(80), np.where(sunday, 0.0, full))
