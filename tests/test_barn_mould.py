"""Mould models against their published factors and worked runs."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

import published_values
from tierpole.barn import losses, mould

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "mould.toml").read_text("utf-8"))


def test_critical_humidity_against_hukka_and_viitanen():
    """From 88 % near freezing to 80 % in warmth."""
    table = PUBLISHED["critical"]
    assert mould.critical_humidity(table["temperature"]) == pytest.approx(
        table["humidity"], abs=5e-5
    )


@pytest.mark.parametrize(
    "row",
    PUBLISHED["index"]["rows"],
    ids=lambda r: f"{r['temperature']}C-{r['humidity']}-{r['material']}",
)
def test_growth_index_against_worked_runs(row):
    """Unchanging air: start time, index on six days, hours to index 1 and 3, and the end."""
    material = mould.sensitivity(row["material"])
    t, rh = row["temperature"], row["humidity"]
    assert mould.start_time(t, rh) == pytest.approx(row["start"], abs=6e-3)
    assert mould.index_limit(t, rh, material) == pytest.approx(row["most"], abs=6e-4)
    days = PUBLISHED["index"]["days"]
    index = mould.growth_index(np.full(45 * 24, t), np.full(45 * 24, rh), material)
    assert index[np.array(days) * 24 - 1] == pytest.approx(row["index"], abs=6e-5)
    for level, hours in zip((1, 3), row["hours"], strict=True):
        reached = np.flatnonzero(index >= level)
        assert (reached[0] + 1 if reached.size else 0) == hours


def test_index_and_dose_against_worked_cycle():
    """Damp nights and dry days: what the days give back, in both models."""
    cycle = PUBLISHED["cycle"]
    parts = (cycle["damp"], cycle["dry"])
    t = np.tile(np.concatenate([np.full(p["hours"], p["temperature"]) for p in parts]), 30)
    rh = np.tile(np.concatenate([np.full(p["hours"], p["humidity"]) for p in parts]), 30)
    index = mould.growth_index(t, rh)
    assert index[np.array(cycle["days"]) * 24 - 1] == pytest.approx(cycle["index"], abs=6e-5)
    dose = mould.dose(t, rh)
    assert dose[23::24] == pytest.approx(cycle["dose_a_day"] * np.arange(1, 31), rel=1e-4)


def test_decline_against_worked_run():
    """Growth, then the three stages of decline in dry air."""
    run = PUBLISHED["decline"]
    rh = np.where(np.arange(672) < 336, 0.95, 0.60)
    rates = mould.decline_rate([0.0, 5.0, 6.0, 23.0, 24.0, 500.0])
    assert rates == pytest.approx([-0.00133, -0.00133, 0, 0, -0.000667, -0.000667])
    index = mould.growth_index(np.full(672, 20.0), rh)
    assert index[np.array(run["hours"]) - 1] == pytest.approx(run["index"], abs=3e-5)


def test_growth_against_first_publication():
    """The class "very sensitive" stands for pine sapwood: index 1 after t_m, 3 after t_v.

    Hukka & Viitanen 1999, eqs 2 to 6: without slowing the index rises by 1 until t_m, and by 2 in
    the rest of t_v, the time until growth is seen.
    """
    hukka = PUBLISHED["first_publication"]
    for t in (15.0, 20.0, 25.0):
        start, visible = (
            7 * np.exp(row[0] * np.log(t) + row[1] * np.log(97.0) + row[2])
            for row in (hukka["start"], hukka["visible"])
        )
        assert mould.start_time(t, 0.97) == pytest.approx(start)
        for index, pace in ((0.2, 1 / start), (1.5, 2 / (visible - start))):
            slowing = 1 - np.exp(2.3 * (index - mould.index_limit(t, 0.97)))
            assert mould.growth_rate(index, t, 0.97) == pytest.approx(pace * slowing, rel=0.15)


def test_dose_factors_against_thelandersson_and_isaksson():
    """Factors of humidity and temperature, and how the rate goes on below 75 %."""
    table = PUBLISHED["dose"]
    damp = mould.dose_humidity_factor(table["humidity"])
    warm = mould.dose_temperature_factor(table["temperature"])
    assert damp == pytest.approx(table["humidity_factor"], abs=6e-5)
    assert warm == pytest.approx(table["temperature_factor"], abs=6e-5)
    assert mould.dose_rate(20.0, [0.40, 0.60, 0.66, 0.75]) == pytest.approx(
        [-0.5, -0.5, -0.28, 0.05]
    )
    assert mould.dose_dry_rate(0.75) == pytest.approx(mould.dose_humidity_factor(0.75), abs=0.01)
    assert mould.dose_rate(-2.0, 0.95) == -0.5


def test_isopleth_against_zeng():
    """The humidity below which nothing grows, and its order by speed."""
    table = PUBLISHED["isopleth"]
    assert mould.isopleth(table["temperature"]) == pytest.approx(table["humidity"], abs=6e-4)
    speeds = [float(mould.isopleth(20.0, s)) for s in ("limit", "0.1", "0.5", "1", "2", "3", "4")]
    assert speeds == sorted(speeds)


def test_isopleth_against_storage_fungi():
    """Aspergillus starts where the isopleth does in warm air; only dry-loving ones stand below."""
    low, high = PUBLISHED["fungi"]["first"]
    assert low < mould.isopleth(25.0) < high


def test_flower_dose_limits():
    """Nothing grows below the isopleth, however the wood model counts; above it both agree."""
    t, rh = np.meshgrid(np.linspace(-5, 35, 41), np.linspace(0.3, 1.0, 71))
    rate = mould.dose_rate_flower(t, rh)
    below = rh < mould.isopleth(t)
    assert (rate[below] <= 0).all()
    assert rate[~below] == pytest.approx(mould.dose_rate(t, rh)[~below])
    assert mould.dose_rate(5.0, 0.85) > 0 >= mould.dose_rate_flower(5.0, 0.85)


def test_growth_limits():
    """No growth in frost, heat or dry air; the index ends at its limit; damper is never slower."""
    assert mould.growth_rate(0.5, [-1.0, 55.0, 20.0], [0.97, 0.97, 0.70]) == pytest.approx(
        [0, 0, 0]
    )
    long = mould.growth_index(np.full(400 * 24, 20.0), np.full(400 * 24, 0.90), speed=4.0)
    assert long[-1] == pytest.approx(mould.index_limit(20.0, 0.90), abs=0.01)
    assert (np.diff(mould.growth_rate(0.5, 18.0, np.linspace(0.5, 1.0, 60))) >= 0).all()


def test_mould_chance_limits():
    """No dose and no growth, no mould; half the plants at both marks; rising in both."""
    chance = losses.mould_chance(
        [0.0, losses.visible_dose(5.0), 100.0, 0.0], 5.0, [0.0, 3.0, 6.0, 6.0]
    )
    assert chance[:2] == pytest.approx([0.0, 0.5])
    assert chance[2] > 0.97
    assert 0.45 < chance[3] < 0.5


def test_value_share_lost_limits():
    """Losses stay between none and all and never add up to more than what is there."""
    assert losses.value_share_lost(0.0, 0.0, 0.0) == 0
    grid = np.meshgrid(np.linspace(0, 1, 5), np.linspace(0, 0.2, 5), np.linspace(0, 0.1, 5))
    lost = losses.value_share_lost(*grid)
    assert (lost >= np.maximum(grid[1], grid[2]) - 1e-12).all()
    assert (lost <= 1).all()
    # an ordinary hang loses what was told of it; twice as long nearly twice as much
    assert losses.cannabinoid_share_lost(14.0, 0.02) == pytest.approx(0.02)
    assert losses.cannabinoid_share_lost(28.0, 0.02) == pytest.approx(0.0396)
    assert losses.shatter_share_lost([0.12, 0.09, 0.07]) == pytest.approx([0, 0, 0.012])


def test_ageing_pace_against_arrhenius():
    """85 kJ/mol against 20 °C, at five temperatures, as worked by hand."""
    row = published_values.load("ventilation")["decarboxylation"]
    for temperature, factor in row["rows"]:
        assert losses.ageing_pace(temperature, row["activation"]) == pytest.approx(factor, rel=0.03)
    # a fortnight at 20 °C leaves nearly all acids; a month at 40 °C takes up to half of them
    assert losses.decarboxylated_share(14.0, [2e-4, 2e-3]) == pytest.approx(
        [0.0028, 0.0276], rel=0.01
    )
    warm = 30 * losses.ageing_pace(40.0, 85e3)
    assert 0.3 < losses.decarboxylated_share(warm, 2e-3) < 0.5
    assert losses.decarboxylated_share(0.0, 2e-3) == 0
