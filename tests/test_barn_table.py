"""The drying table, real hangings, and the draws behind them."""

import subprocess
import sys
from dataclasses import fields, replace

import numpy as np
import pytest

from barn_cases import BARN, autumn, plants
from tierpole import moist_air
from tierpole.barn import (
    Hangings,
    OutsideAir,
    draw_barn_parameters,
    dry_table,
    geometry,
    place_air,
    simulate,
    targets,
)
from tierpole.barn.draws import COEFFICIENTS as DRAWS
from tierpole.errors import Stopped
from tierpole.farm import Place, PlaceKind
from tierpole.units import FOOT, POUND

LOADS = np.array([0.1, 0.5, 1.0])


def two_seasons():
    """An ordinary autumn and a damp one."""
    dry, damp = autumn(damp=0.0), autumn(damp=0.08)
    return OutsideAir(
        np.concatenate([dry.temperature, damp.temperature]),
        np.concatenate([dry.humidity, damp.humidity]),
        98_000.0,
    )


def table(count=8, **given):
    """A small table: two places, three hang days, three loads, every second draw in a damp year."""
    draws = draw_barn_parameters(np.random.default_rng(3), count)
    places = [BARN, replace(BARN, draught=2.0, wind=0.2, air_changes_night=20 / 3600)]
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
    assert trace.first_hour == 40
    assert trace.moisture_flower.shape == (2, 2, trace.temperature.shape[1])
    assert np.isnan(trace.moisture_flower[:, 1, :120]).all()
    assert not np.isnan(trace.moisture_flower[:, 1, 120]).any()
    for draw in range(2):
        up = np.isfinite(trace.moisture_flower[draw, 0])
        days = outcome.drying_days[draw, 0]
        assert days <= up.sum() / 24 <= days + 1
        inside = trace.humidity[draw, up]
        assert ((inside > 0.2) & (inside < 1.02)).all()
        assert outcome.wet_days[draw, 0] <= days


def test_draws_against_stated_spread():
    """Medians, means and spreads of a large set are those of the table they come from."""
    draws = draw_barn_parameters(np.random.default_rng(1), 20_000)
    stick = geometry.COEFFICIENTS["stick_weight"]
    wet = draws.mass_flower * (1 + draws.moisture_flower) + draws.mass_stem * (
        1 + draws.moisture_stem
    )
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
    stem = draws.mass_stem / (draws.mass_stem + draws.mass_flower)
    assert stem.mean() == pytest.approx(0.38, abs=0.005)


def test_plant_moisture_against_extension():
    """Whole plants 71-78 % water when cut, and a fifth to four fifths of a stick's weight to dry.

    Extension reports 70 % for the crop and 75-80 % for flower; an 18 lb stick gives up about
    12.6 lb on its way to 12 %.
    """
    draws = draw_barn_parameters(np.random.default_rng(2), 4000)
    dry = draws.mass_flower + draws.mass_stem
    water = draws.mass_flower * draws.moisture_flower + draws.mass_stem * draws.moisture_stem
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
    daily = np.cos(2 * np.pi * (hour - 15) / 24)
    shape = (1, hour.size)
    temperature = (18.5 + 5.5 * daily).reshape(shape)
    return OutsideAir(
        temperature, (0.72 - 0.20 * daily).reshape(shape), moist_air.station_pressure(250.0)
    )


def test_kinds_of_place_against_practice():
    """Half-full places in a September: natural 10-20 days, frame less, fans less, blown air 5-10.

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
    assert 10 < barn < 20
    assert room < shed < barn
    assert frame < barn
    assert 4 < room < 10


def test_import_is_light():
    """The compiler is loaded when something dries, not before."""
    code = "import sys; from tierpole.barn import dry_table; assert 'numba' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True, env={"PYTHONPATH": ":".join(sys.path)})
