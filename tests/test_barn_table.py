"""The drying table, real hangings, and the draws behind them."""

import subprocess
import sys
from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest

import published_values
from barn_cases import BARN, SHED, autumn, moisture_of, plants, steady
from tierpole import moist_air
from tierpole.barn import (
    Controls,
    Hangings,
    OutsideAir,
    advance,
    draw_barn_parameters,
    dry_table,
    first_state,
    geometry,
    place_air,
    simulate,
    sky,
    targets,
)
from tierpole.barn.draws import COEFFICIENTS as DRAWS
from tierpole.errors import InputError, Stopped
from tierpole.farm import Place, PlaceKind
from tierpole.units import FOOT, POUND

LOADS = np.array([0.1, 0.5, 1.0])


def two_seasons():
    """An ordinary autumn and a damp one."""
    dry, damp = autumn(damp=0.0), autumn(damp=0.08)
    rows = ("temperature", "humidity", "wind", "sun", "sky")
    both = {row: np.concatenate([getattr(dry, row), getattr(damp, row)]) for row in rows}
    return OutsideAir(**both, pressure=98_000.0)


def table(count=8, **given):
    """A small table: two places, three hang days, three loads, every second draw in a damp year."""
    draws = draw_barn_parameters(np.random.default_rng(3), count)
    places = [BARN, replace(SHED, tiers=3, fan_flow=20.0)]
    rows = np.arange(count) % 2
    return dry_table(two_seasons(), places, draws, rows, np.array([16, 112, 208]), LOADS, **given)


def test_table_limits():
    """Its shape, and that fuller, damper and stiller never dry faster nor mould less."""
    made = table(count=16)
    assert made.drying_days.shape == (16, 2, 3, 3)
    for values in (made.drying_days, made.drying_loss, made.mould_risk):
        assert values.dtype == np.float32
        assert np.isfinite(values).all()
    assert ((made.drying_days > 1) & (made.drying_days <= 45)).all()
    assert (np.diff(made.drying_days.mean((0, 1, 2))) > 0).all()
    assert (np.diff(made.mould_risk.mean((0, 1, 2))) > 0).all()
    assert made.drying_days[1::2].mean() > made.drying_days[::2].mean()
    assert made.drying_days[:, 1].mean() < made.drying_days[:, 0].mean()
    assert ((made.drying_loss >= 0) & (made.drying_loss < 0.5)).all()
    assert ((made.mould_risk >= 0) & (made.mould_risk <= 1)).all()


def test_table_against_simulation():
    """One hanging that fills the place is a cell of the table."""
    draws, row = plants(conductance_flower=[5e-9, 9e-9]), np.array([0, 0])
    made = dry_table(autumn(), [BARN], draws, row, np.array([16]), np.array([0.5]))
    hung = Hangings.unmeasured(np.array([16]), np.array([0.5 * BARN.sticks]))
    outcome, _ = simulate(autumn(), BARN, draws, row, hung)
    for field in fields(outcome):
        cell = getattr(made, field.name)[:, 0, 0, 0]
        assert cell == pytest.approx(getattr(outcome, field.name)[:, 0], rel=1e-6)


def test_shared_air_limits():
    """Batches in one place slow each other; two halves hung together dry as one whole."""
    hours, sticks = np.array([16, 16 + 4 * 24]), np.array([400.0, 400.0])
    both, _ = simulate(autumn(), BARN, plants(), np.array([0]), Hangings.unmeasured(hours, sticks))
    alone = [
        simulate(
            autumn(), BARN, plants(), np.array([0]), Hangings.unmeasured(hours[[k]], sticks[[k]])
        )[0]
        for k in range(2)
    ]
    for batch in range(2):
        assert both.drying_days[0, batch] > alone[batch].drying_days[0, 0]
    halves = Hangings.unmeasured(hours[[0, 0]], sticks)
    whole = Hangings.unmeasured(hours[:1], sticks.sum(keepdims=True))
    parted, _ = simulate(autumn(), BARN, plants(), np.array([0]), halves)
    entire, _ = simulate(autumn(), BARN, plants(), np.array([0]), whole)
    assert parted.drying_days == pytest.approx(entire.drying_days[0, 0], rel=1e-6)


def test_never_dry_limits():
    """What is hung too late or in air too damp to dry counts as the longest hang there is."""
    damp = OutsideAir(np.full((1, 60 * 24), 10.0), np.full((1, 60 * 24), 0.9))
    late = np.array([0, 59 * 24, 61 * 24])
    made = dry_table(damp, [BARN], plants(), np.array([0]), late, np.array([0.1]))
    assert (made.drying_days == 45).all()
    assert made.wet_days[0, 0, :, 0] == pytest.approx([45, 1, 0])


def test_table_progress_limits():
    """Progress rises to all of it; a tick that raises stops the work."""
    told = []
    table(tick=told.append)
    assert told == sorted(told)
    assert told[-1] == 1

    def stop(share):
        raise Stopped

    with pytest.raises(Stopped):
        table(tick=stop)


def test_table_repeats():
    """Same seed, same table, however the threads ran."""
    first, second = table(), table()
    assert (first.drying_days == second.drying_days).all()
    assert (first.mould_risk == second.mould_risk).all()


def test_trace_limits():
    """Traces cover the hangings, hold only what can be, and are blank before and after a batch."""
    hung = Hangings.unmeasured(np.array([40, 160]), np.array([300.0, 300.0]))
    outcome, trace = simulate(
        two_seasons(), BARN, plants(exponent=[2.2, 2.4]), np.array([0, 1]), hung
    )
    flower = moisture_of(trace, "flower")
    assert trace.first_hour == 40
    assert flower.shape == (2, 2, trace.temperature.shape[2])
    assert trace.moisture.shape == (2, 2, 3, 3, flower.shape[2])
    assert np.isnan(flower[:, 1, :120]).all()
    assert not np.isnan(flower[:, 1, 120]).any()
    for draw in range(2):
        up = np.isfinite(flower[draw, 0])
        days = outcome.drying_days[draw, 0]
        assert days <= up.sum() / 24 <= days + 1
        inside = trace.humidity[draw][:, up]
        assert ((inside > 0.2) & (inside < 1.06)).all()  # a hair of fog under a cold roof
        assert outcome.wet_days[draw, 0] <= days
        last = np.flatnonzero(up)[-1]
        chance = trace.mould_chance[draw, 0, :, last]
        assert outcome.mould_risk[draw, 0] == pytest.approx(chance.mean(), rel=1e-5)
    dry = (300 * 0.84) * (3.5 - trace.moisture[:, 0, :, 0, 40])
    assert (dry > 0).all()


def test_houseburn_against_practice():
    """Three warm days above 80 % are told of; the same days cold, or drier, are not."""
    told = {}
    for name, weather in {
        "damp": (22.0, 0.92), "cold": (8.0, 0.92), "dry": (22.0, 0.55),
    }.items():  # fmt: skip
        hung = Hangings.unmeasured(np.array([16]), np.array([800.0]))
        outcome, _ = simulate(steady(*weather, wind=1.0), BARN, plants(), np.array([0]), hung)
        told[name] = float(outcome.houseburn[0, 0])
    assert told == {"damp": 1.0, "cold": 0.0, "dry": 0.0}


def test_tiers_limits():
    """Sticks all in one tier dry there; mould is told of each tier, worst where it is dampest."""
    hung = Hangings.unmeasured(np.array([16]), np.array([300.0]))
    low = replace(hung, tier_share=np.array([[1.0, 0.0, 0.0]]))
    season = (two_seasons(), BARN, plants(), np.array([1]))
    spread, trace = simulate(*season, hung)
    packed, _ = simulate(*season, low)
    assert packed.drying_days[0, 0] > spread.drying_days[0, 0]
    end = np.flatnonzero(np.isfinite(trace.mould_chance[0, 0, 0]))[-1]
    wet = np.nanmean(trace.humidity[0, :, :end], axis=1)
    assert trace.mould_chance[0, 0, :, end].argmax() == wet.argmax()
    assert np.ptp(trace.mould_chance[0, 0, :, end]) > 0


def test_draws_against_stated_spread():
    """Medians, means and spreads of a large set are those of the table they come from."""
    draws = draw_barn_parameters(np.random.default_rng(1), 20_000)
    stick = geometry.COEFFICIENTS["stick_weight"]
    parts = ("flower", "leaf", "stem")
    mass = np.stack([getattr(draws, f"mass_{part}") for part in parts])
    wet = (mass * (1 + np.stack([getattr(draws, f"moisture_{part}") for part in parts]))).sum(0)
    assert np.median(draws.conductance_flower) == pytest.approx(7e-9, rel=0.01)
    assert np.std(np.log(draws.conductance_stem)) == pytest.approx(np.log(1.7), rel=0.02)
    logs = np.log([draws.conductance_flower, draws.conductance_stem])
    assert np.corrcoef(logs)[0, 1] == pytest.approx(0.5, abs=0.02)
    assert draws.exposed.mean() == pytest.approx(0.65, abs=0.005)
    assert draws.exposed.std() == pytest.approx(0.12, rel=0.02)
    assert draws.cannabinoid_loss.mean() == pytest.approx(0.02, rel=0.02)
    assert (draws.mould_start > 0).mean() == pytest.approx(0.3, abs=0.005)
    assert draws.mould_start.max() == pytest.approx(0.5, abs=0.01)
    assert np.median(wet) == pytest.approx(stick, rel=0.01)
    assert (mass / mass.sum(0)).mean(1) == pytest.approx([0.40, 0.22, 0.38], abs=0.005)
    assert draws.vents.min() >= 0.25
    assert draws.shelter.mean() == pytest.approx(0.6, abs=0.005)
    assert np.median(draws.leaks) == pytest.approx((0.005 * 0.03) ** 0.5, rel=0.02)
    assert np.quantile(draws.loop, [0, 1]) == pytest.approx([0.005, 0.015], abs=1e-4)
    assert draws.ageing.mean() == pytest.approx(85e3, rel=0.002)
    assert np.median(draws.decarboxylation) == pytest.approx(2e-4 * 10**0.5, rel=0.02)


def test_plant_moisture_against_extension():
    """Whole plants 71-78 % water when cut, and a fifth to four fifths of a stick's weight to dry.

    Extension reports 70 % for the crop and 75-80 % for flower; an 18 lb stick gives up about
    12.6 lb on its way to 12 %.
    """
    draws = draw_barn_parameters(np.random.default_rng(2), 4000)
    dry = draws.mass_flower + draws.mass_leaf + draws.mass_stem
    water = sum(
        getattr(draws, f"mass_{part}") * getattr(draws, f"moisture_{part}")
        for part in ("flower", "leaf", "stem")
    )
    whole = water / (water + dry)
    assert np.quantile(whole, [0.05, 0.95]) == pytest.approx([0.715, 0.775], abs=0.01)
    left = dry * targets.dry_basis(0.12)
    assert np.median(water - left) / POUND == pytest.approx(12.6, rel=0.03)


def test_draws_repeat():
    """Same seed, same draws; rows can be taken."""
    first = draw_barn_parameters(np.random.default_rng(5), 12)
    again = draw_barn_parameters(np.random.default_rng(5), 12)
    for field in fields(first):
        assert (getattr(first, field.name) == getattr(again, field.name)).all()
    taken = first.take(np.array([3, 3, 0]))
    assert len(taken) == 3
    assert taken.exponent.tolist() == first.exponent[[3, 3, 0]].tolist()
    assert DRAWS.assumed() == tuple(DRAWS)  # a page shows every one of them as assumed


def farm_place(kind):
    return place_air(
        Place(
            name="Barn", kind=kind, tiers=3, runs=10, run_length=64 * FOOT,
            stick_spacing=1.5 * FOOT, volume=56_000 * FOOT**3,
        )
    )  # fmt: skip


def september():
    """Mean September of the Ohio valley as two numbers a day: 13 to 24 °C, 52 to 92 %."""
    hour = np.arange(60 * 24)
    daily = np.cos(2 * np.pi * (hour - 15) / 24)[None]
    sun = np.tile(sky.clearness(13.0, 24.0) * sky.sun_above(38.5, np.array([258])), 60)[None]
    return OutsideAir(
        18.5 + 5.5 * daily, 0.72 - 0.20 * daily, float(moist_air.station_pressure(250.0)),
        sun=sun, sky=np.full(sun.shape, 45.0),
    )  # fmt: skip


def test_kinds_of_place_against_practice():
    """Half-full places in a September: natural 2-4 weeks, frame alike, fans less, blown 5-9 days.

    Trade and extension texts tell of 7-14 days for whole plants hung in good air and of 10-14 in
    barns; burley growers hang a barn for four weeks and more.
    """
    draws = draw_barn_parameters(np.random.default_rng(11), 60)
    air = [
        farm_place(kind)
        for kind in (PlaceKind.BARN, PlaceKind.FRAME, PlaceKind.SHED, PlaceKind.ROOM)
    ]
    made = dry_table(
        september(), air, draws, np.zeros(60, dtype=int), np.array([16]), np.array([0.5])
    )
    barn, frame, shed, room = np.median(made.drying_days[:, :, 0, 0], axis=0)
    assert 13 < barn < 28
    assert room < shed < barn
    assert frame < barn * 1.25  # film cools to the sky by night
    assert 5 < room < 9.5


@pytest.mark.parametrize("hours", [24, 7])
def test_advance_against_simulation(hours):
    """A place led on a span at a time, vents and all as usual, is the place simulated at once."""
    draws, rows = plants(conductance_flower=[5e-9, 9e-9]), np.array([0, 1])
    hung = Hangings.unmeasured(np.array([16, 88]), np.array([330.0, 200.0]))
    season = (two_seasons(), BARN, draws, rows, hung)
    outcome, whole = simulate(*season)
    state, usual, parts = first_state(*season, 16), BARN.usual(), []
    for start in range(16, 16 + 30 * hours, hours):
        of_day = np.arange(start, start + hours) % 24
        controls = Controls(usual.vents[of_day], usual.fans[of_day], usual.heat[of_day])
        state, trace = advance(*season, state, controls, takes_down=True)
        assert (state.hour, trace.first_hour) == (start + hours, start)
        parts.append(trace)
    for name in ("temperature", "humidity", "moisture", "mould_chance", "evaporated", "flow"):
        joined = np.concatenate([getattr(part, name) for part in parts], axis=-1)
        expected = getattr(whole, name)[..., : joined.shape[-1]]
        assert joined == pytest.approx(expected, rel=1e-5, abs=1e-6, nan_ok=True), name
    done = (state.stage == 2).all()
    if done:
        assert state.record[:, :, 0] / 24 == pytest.approx(outcome.drying_days, rel=1e-6)
    assert state.take(np.array([1, 1])).stage.shape == (2, 2)


def test_controls_limits():
    """Vents, fans and heat each do what they say; each draw may have its own; nothing is stored."""
    place = replace(BARN, fan_flow=6.0, fan_speed=0.3, heater=2e4)
    season = (two_seasons(), place, plants(exposed=[0.8, 0.8]), np.array([0, 0]))
    hung = Hangings.unmeasured(np.array([16]), np.array([500.0]))
    start = first_state(*season, hung, 16)
    still, on, off = np.zeros((2, 48)), np.ones((2, 48)), np.zeros((2, 48))
    before = start.moisture.copy()

    def after(vents, fans, heat):
        state, trace = advance(*season, hung, start, Controls(vents, fans, heat))
        return state.moisture[:, 0, :, 0].mean(1), trace

    shut, idle = after(still, off, off)
    for controls in ((on, off, off), (still, on, off), (still, off, on)):
        assert (after(*controls)[0] < shut - 0.01).all()
    assert (idle.heat == 0).all()
    assert (idle.fan_energy == 0).all()
    _, run = after(still, on, on)
    assert run.heat == pytest.approx(2e4 * 3600)
    assert run.fan_energy == pytest.approx(place.fan_power * 3600)
    mixed, _ = after(np.stack([on[0], off[0]]), off, off)
    assert mixed[0] < mixed[1] - 0.01
    assert (start.moisture == before).all()
    # a heater that failed after a night is less heat from then on
    failing = on.copy()
    failing[:, 12:] = 0.0
    part, trace = after(still, off, failing)
    assert (part > after(still, off, on)[0]).all()
    assert trace.heat.sum(1) == pytest.approx(12 * 2e4 * 3600)


def test_import_is_light():
    """The compiler is loaded when something dries, not before."""
    code = "import sys; from tierpole.barn import dry_table; assert 'numba' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True, env={"PYTHONPATH": ":".join(sys.path)})


def champaign():
    """Six real autumns from 1 September, 80 days: hours measured near Champaign, 2003-2008."""
    folder = published_values.FOLDER.parent / "data" / "weather"
    hours = pd.read_csv(folder / "champaign_2003_2008.csv.gz", parse_dates=["time_cst"])
    years = [hours[hours.time_cst >= f"{year}-09-01"].head(80 * 24) for year in range(2003, 2009)]
    made = {name: np.stack([y[name].to_numpy() for y in years]) for name in ("temp_c", "rh_frac")}
    days = made["temp_c"].reshape(6, 80, 24)
    clear = np.repeat(sky.clearness(days.min(2), days.max(2)), 24, axis=1)
    return OutsideAir(
        made["temp_c"], made["rh_frac"], float(moist_air.station_pressure(213.0)),
        sun=clear * sky.sun_above(40.05, 244 + np.arange(80)),
        sky=sky.sky_loss(made["temp_c"], clear),
    )  # fmt: skip


def test_real_autumns_against_practice():
    """Six measured autumns: ten days to three weeks in a full natural barn, 4-11 days in blown air.

    Trade and extension tell of 7-14 days for whole plants in good air; damp years take longer.
    """
    air, draws, rows = champaign(), plants(exposed=[0.65] * 6), np.arange(6)
    hung = Hangings.unmeasured(np.array([24 * 7 + 14]), np.array([1260.0]))
    days = {}
    for kind in (PlaceKind.BARN, PlaceKind.ROOM):
        outcome, trace = simulate(air, farm_place(kind), draws, rows, hung)
        days[kind] = outcome.drying_days[:, 0]
        up = np.isfinite(trace.moisture[:, 0, 0, 0])
        assert np.isfinite(trace.temperature[:, 0][up]).all()
    barn, room = days[PlaceKind.BARN], days[PlaceKind.ROOM]
    assert 9 < barn.min() < barn.max() < 21
    assert 4 < room.min() < room.max() < 11
    assert (room < barn).all()
    # the damper the three weeks outside, the longer they take
    damp = air.humidity[:, 24 * 7 : 24 * 28].mean(1)
    assert np.corrcoef(damp, barn)[0, 1] > 0.4


def test_a_missing_night_is_named():
    """Hours that nobody measured are told of by season and hour, not dried through."""
    air = two_seasons()
    air.humidity[1, 200:212] = np.nan
    hung = Hangings.unmeasured(np.array([16]), np.array([300.0]))
    with pytest.raises(
        InputError, match=r"season 2: humidity must be known .* '12 hours missing from hour 200"
    ):
        simulate(air, BARN, plants(), np.array([0]), hung)
