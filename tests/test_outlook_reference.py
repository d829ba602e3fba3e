"""The outlook against a plain loop that shares no kernel with it, draw by draw.

Four lots of the demo farm in July, when only weather is known. Values kept in 32 bits agree to
1e-5 of themselves, drying days to half a hundredth.
"""

from datetime import date

import numpy as np
import pytest

import reference_outlook as reference
from outlook_cases import SEED, demo, drawn, july, smaller
from tierpole.outlook import make_outlook
from tierpole.outlook.curing import LOADS, outside_air
from tierpole.units import ACRE

DRAWS, LOTS = range(6), range(4)
LIMIT, PASSING = 0.003, 0.0034  # the law's limit, and with the farm's laboratory's 0.04 %
PRECISION = (0.04, 0.12)


def plain(drawing, draw, lot, flowered=None):
    """Reference course of one draw of one lot: flower day, CBD, THC, mass and losses by day."""
    season = drawing.season
    one = drawing.of(draw, lot)
    noun = season.lots[lot]
    if flowered is None:
        flowered = reference.flower_day(one, season.farm.latitude, season.index(noun.set_on))
    cbd, thc = reference.potency(one, flowered)
    spells = reference.wet_spells(reference.sky(one))
    offset = season.field_of(noun).night_offset
    frost, other = reference.field_losses(one, flowered, spells, offset)
    return {
        "flower_day": flowered, "cbd": cbd, "thc": thc, "frost_loss": frost, "field_loss": other,
        "flower_mass": reference.plant_mass(one, flowered),
    }  # fmt: skip


def day_of(season, outlook, dim, column):
    """A day of a dimension as its index on the season axis."""
    return season.index(outlook[dim].values[column].astype("M8[D]").item())


@pytest.fixture(scope="module")
def courses():
    drawing = july()[2]
    return {(d, lot): plain(drawing, d, lot) for d in DRAWS for lot in LOTS}


def same(outlook, name, courses, **tolerance):
    for (draw, lot), course in courses.items():
        fast = outlook[name].values[draw, lot]
        assert fast == pytest.approx(np.array(course[name]), **tolerance), (draw, lot)


def test_weather_against_plain_loop():
    """Every hour's temperature and humidity, and which hours are wet, of two seasons."""
    sky = july()[2].sky
    for draw in (0, 1):
        row = sky.row[draw]
        warm, humidity, _ = np.array(reference.sky(july()[2].of(draw, 0))).T
        assert sky.hourly.temperature[row] == pytest.approx(warm, abs=1e-9)
        # psychrolib takes ice from the triple point at 0.01 °C on, the package from 0 °C
        assert sky.hourly.humidity[row] == pytest.approx(humidity, rel=2e-4)


def test_flowering_against_plain_loop(courses):
    """Flower initiation of every draw and lot, by adding up one day after the other."""
    same(july()[1], "flower_day", courses, abs=1e-9)
    spread = [course["flower_day"] for course in courses.values()]
    assert max(spread) - min(spread) > 30, "early and late lots are both among them"


def test_potency_against_plain_loop(courses):
    """Total CBD and THC of every draw, lot and day."""
    same(july()[1], "cbd", courses, rel=1e-5)
    same(july()[1], "thc", courses, rel=1e-5, abs=1e-9)


def test_biomass_and_losses_against_plain_loop(courses):
    """Mass, frost and all other losses; rot is integrated in steps where the fast path solves."""
    same(july()[1], "flower_mass", courses, rel=1e-5)
    same(july()[1], "frost_loss", courses, abs=1e-5)
    same(july()[1], "field_loss", courses, abs=1e-5)
    assert max(course["field_loss"][-1] for course in courses.values()) > 0.1


def test_p_pass_against_plain_loop(courses):
    """Chances at the official test and the buyer's, off-types counted one by one."""
    season, outlook, drawing = july()
    seen = []
    for (draw, lot), course in courses.items():
        one, noun = drawing.of(draw, lot), season.lots[lot]
        plants = reference.plants_cut(noun.area / ACRE, noun.plants_set)
        for column in range(0, outlook.sizes["sample_day"], 9):
            thc = course["thc"][day_of(season, outlook, "sample_day", column)]
            at = outlook.isel(draw=draw, lot=lot, sample_day=column)
            expected = reference.chance_at_most(PASSING, thc, one, plants, PRECISION)
            over = 1 - reference.chance_at_most(0.01, thc, one, plants, PRECISION)
            buyer = reference.p_buyer(LIMIT, thc, one, PRECISION)
            assert float(at["p_pass"]) == pytest.approx(expected, abs=1e-5)
            assert float(at["p_over_one"]) == pytest.approx(over, abs=1e-5)
            assert float(at["p_buyer_pass"]) == pytest.approx(buyer, abs=1e-5)
            seen.append(expected)
    assert min(seen) < 0.5 < max(seen)


@pytest.fixture(scope="module")
def dried():
    """Days, loss and mould of a few hangings: [(barn draw, place, cut day column, load column)]."""
    season, outlook, drawing = july()
    air = outside_air(season, drawing.sky)
    cells = {}
    for barn_draw, place, column in ((0, 0, 40), (3, 1, 60), (4, 0, 75), (5, 1, 95)):
        draw = int(np.flatnonzero(drawing.sky.row == barn_draw // 2)[0])
        row = barn_draw // 2
        hours = [
            (warm, humidity, wind, sun, sky)
            for (warm, humidity, _), wind, sun, sky in zip(
                reference.sky(drawing.of(draw, 0)), air.wind[row], air.sun[row], air.sky[row],
                strict=True,
            )
        ]  # fmt: skip
        day = day_of(season, outlook, "cut_day", column)
        for load in (1, 2):
            cells[barn_draw, place, column, load] = reference.drying(
                hours, air.pressure, drawing.place(place), drawing.plant(barn_draw), 24 * day + 14,
                LOADS[load],
            )  # fmt: skip
    return cells


def test_drying_against_plain_loop(dried):
    """Days to dry, loss and mould of whole places hung on one day, hour by hour in small steps."""
    table = july()[1]
    for cell, (days, lost, risk) in dried.items():
        assert table["drying_days"].values[cell] == pytest.approx(days, rel=5e-3, abs=0.02), cell
        assert table["drying_loss"].values[cell] == pytest.approx(lost, abs=5e-3), cell
        assert table["mould_risk"].values[cell] == pytest.approx(risk, abs=2e-2), cell
    days = [each[0] for each in dried.values()]
    assert max(days) > 1.5 * min(days)


def test_value_of_a_passed_stick_against_plain_loop(courses, dried):
    """Dollars of a stick from the plain courses and the plain drying, at the usual fill."""
    season, outlook, drawing = july()
    checked = 0
    for barn_draw, place, column, load in dried:
        if load == 2:
            continue
        half, full = (dried[barn_draw, place, column, each][1] for each in (1, 2))
        lost = 0.4 * half + 0.6 * full  # at a fill of 0.8
        day = day_of(season, outlook, "cut_day", column)
        for draw in np.flatnonzero(outlook["barn_row"].values == barn_draw):
            for lot in LOTS:
                one, course = drawing.of(draw, lot), courses[draw, lot]
                field = 1 - (1 - course["frost_loss"][day]) * (1 - course["field_loss"][day])
                expected = reference.stick_passed(
                    one, season, season.lots[lot], course["flower_mass"][day],
                    course["cbd"][day] / one.top_to_plant, field, lost,
                )  # fmt: skip
                value = float(outlook["value_pass"].values[draw, lot, column, place])
                assert value == pytest.approx(expected, rel=5e-3, abs=0.01)
                checked += 1
    assert checked >= 8


WAYS = {
    "ask for a further test": "retest",
    "shred the whole plant and test it again": "shred",
    "destroy the flower, keep the rest": "strip",
    "destroy the lot": "destroy",
}


def fails(one, course, noun, sampled, passed_late):
    """What the ways out of a fail rest on; the second sample is taken on day 11, a late result
    (day 6) and the sampler's lead (day 5) after the first, its result is in on day 17.
    """
    plants = reference.plants_cut(noun.area / ACRE, noun.plants_set)
    now, then = course["thc"][sampled], course["thc"][sampled + 11]
    late = sampled + 17
    kept = (1 - course["frost_loss"][late]) * (1 - course["field_loss"][late])
    return reference.Failed(
        p_fail=1 - reference.chance_at_most(PASSING, now, one, plants, PRECISION),
        p_again=reference.chance_at_most(PASSING, then, one, plants, PRECISION),
        p_biomass=reference.p_biomass(PASSING, now, one, PRECISION),
        passed_late=passed_late,
        mass_late=course["flower_mass"][late] * noun.plants_per_stick / 0.9 * kept,
    )


def test_value_of_a_failed_stick_against_plain_loop(courses):
    """The best way out of a fail over all draws, each way priced by hand."""
    season, outlook, drawing = july()
    first, last = (day_of(season, outlook, "cut_day", end) for end in (0, -1))
    value_pass = outlook["value_pass"].values.astype(float)
    for lot, column in ((lot, column) for lot in LOTS for column in (4, 16, 28, 40, 52, 64, 70)):
        noun, sampled = season.lots[lot], day_of(season, outlook, "sample_day", column)
        worth = np.zeros(len(DRAWS))  # of a stick that passes the second test, in the best place
        if sampled + 17 <= last:
            on_the_day = value_pass[:, lot, sampled + 17 - first]
            worth = on_the_day[:, on_the_day.mean(axis=0).argmax()]
        ones = [drawing.of(draw, lot) for draw in DRAWS]
        failed = [
            fails(one, courses[draw, lot], noun, sampled, worth[draw])
            for draw, one in zip(DRAWS, ones, strict=True)
        ]
        way, dollars = reference.stick_failed(ones, season, failed, season.sticks_standing(noun))
        at = outlook.isel(lot=lot, sample_day=column)
        assert WAYS[str(at["fail_path"].values)] == way
        assert at["value_fail"].values == pytest.approx(np.array(dollars), rel=1e-4, abs=1e-4)


def test_observed_season_against_plain_loop():
    """In September, after tests and sightings, curves and chances follow from the moved draws."""
    season = smaller(demo(date(2026, 9, 2)), ("2 Barn field", "8 Seed strip"), ("Frame",), years=3)
    outlook, drawing = make_outlook(season, draws=4, seed=SEED), drawn(season, 4)
    for draw in range(4):
        for lot in range(2):
            flowered = float(outlook["flower_day"].values[draw, lot])
            course = plain(drawing, draw, lot, flowered)
            for name in ("cbd", "thc", "flower_mass", "frost_loss", "field_loss"):
                fast = outlook[name].values[draw, lot]
                assert fast == pytest.approx(np.array(course[name]), rel=1e-5, abs=1e-5), name
