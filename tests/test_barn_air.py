"""The air of a place against worked balances and against its own conservation laws."""

import tomllib
from pathlib import Path

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

import published_values
from tierpole import moist_air
from tierpole.barn import air, places
from tierpole.barn.sky import wind_usual
from tierpole.farm import Place, PlaceKind
from tierpole.units import FOOT, POUND

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "drying.toml").read_text("utf-8"))
SEA_LEVEL = 101_325.0

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(
    "row", PUBLISHED["barn_air"]["rows"], ids=lambda r: f"{r['outside']}-{r['flow']}"
)
def test_barn_air_against_worked_balances(row):
    """A tonne of wet flower: air inside and pounds evaporated, six cases."""
    table = PUBLISHED["barn_air"]
    wet = table["mass"] * table["conductance"]
    inside = air.barn_air(
        *row["outside"], table["pressure"], row["flow"], row["heat"], 0.0, wet, wet
    )
    within = table["tolerance"]
    assert inside.temperature == pytest.approx(row["temperature"], rel=within)
    assert inside.humidity == pytest.approx(row["humidity"], rel=within)
    assert inside.evaporation * 3600 == pytest.approx(row["evaporation"], rel=within)


@pytest.mark.parametrize("row", PUBLISHED["drying_power"]["rows"], ids=lambda r: f"{r['leaving']}")
def test_drying_power_against_worked_rows(row):
    """What 1000 cfm can carry off when it leaves at a humidity, along the wet bulb."""
    table = PUBLISHED["drying_power"]
    t, rh = table["temperature"], table["humidity"]
    inside = _at_humidity(t, rh, table["flow"], row["leaving"])
    pounds = inside.evaporation * 86_400 / POUND
    assert pounds == pytest.approx(row["pounds"], rel=0.01)
    wet_bulb, leaving = (
        psychrolib.GetTWetBulbFromRelHum(float(warm), float(damp), SEA_LEVEL)
        for warm, damp in ((t, rh), (inside.temperature, inside.humidity))
    )
    # plants give up water at the air's temperature, not at the wet bulb: a hair of heat more
    assert leaving == pytest.approx(wet_bulb, abs=0.1)


def _at_humidity(t, rh, flow, leaving):
    """Inside air of that humidity, by the amount of wet plants it takes."""
    wet = np.geomspace(1e-8, 1e-2, 4000)
    inside = air.barn_air(t, rh, SEA_LEVEL, flow, 0.0, 0.0, wet, wet)
    row = int(np.argmin(np.abs(inside.humidity - leaving)))
    return air.BarnAir(inside.temperature[row], inside.humidity[row], inside.evaporation[row])


state = st.tuples(
    st.floats(-5, 35), st.floats(0.2, 1.0), st.floats(0.05, 30), st.floats(0, 6e4),
    st.floats(0, 4000), st.floats(1e-8, 5e-5), st.floats(0.2, 1.0),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(state)
def test_barn_air_limits(values):
    """Water and heat balances close to 1e-6 of what moves, whatever comes in."""
    t, rh, flow_volume, heat, walls, dry, activity = values
    heat = min(heat, 60 * 1200 * flow_volume)  # no place is heated by more than 60 K
    inside = air.barn_air(t, rh, SEA_LEVEL, flow_volume, heat, walls, dry * activity, dry)
    ratio_out = moist_air.humidity_ratio(t, rh, SEA_LEVEL)
    ratio_in = moist_air.humidity_ratio(inside.temperature, inside.humidity, SEA_LEVEL)
    flow = flow_volume / moist_air.specific_volume(t, ratio_out, SEA_LEVEL)
    assert flow * (ratio_in - ratio_out) == pytest.approx(inside.evaporation, abs=1e-6 * flow)
    saturation = moist_air.saturation_pressure(inside.temperature)
    given_off = air.evaporation_rate(dry * activity, dry, saturation, inside.humidity * saturation)
    assert given_off == pytest.approx(inside.evaporation, abs=1e-6 * flow)
    carried = moist_air.enthalpy(t, ratio_out) - moist_air.enthalpy(inside.temperature, ratio_in)
    left = (
        flow * carried
        + inside.evaporation * 4186 * inside.temperature
        + heat
        + walls * (t - inside.temperature)
    )
    assert left == pytest.approx(0, abs=1e-6 * flow * 2.5e6)


def test_barn_air_order_limits():
    """More air, drier air or more heat, more drying; saturated air without heat, none."""
    wet = 7e-6
    flows = air.barn_air(18.0, 0.7, SEA_LEVEL, [0.5, 2.0, 8.0], 0.0, 0.0, wet, wet)
    damper = air.barn_air(18.0, [0.5, 0.7, 0.9, 1.0], SEA_LEVEL, 3.0, 0.0, 0.0, wet, wet)
    heated = air.barn_air(12.0, 0.95, SEA_LEVEL, 3.0, [0.0, 1e4, 4e4], 0.0, wet, wet)
    assert (np.diff(flows.evaporation) > 0).all()
    assert (np.diff(damper.evaporation) < 0).all()
    assert damper.evaporation[-1] == pytest.approx(0, abs=1e-9)
    assert (np.diff(heated.evaporation) > 0).all()


def test_inside_temperature_limits():
    """Water that evaporates cools, heat warms, walls pull back towards outside."""
    ratio = moist_air.humidity_ratio(20.0, 0.6, SEA_LEVEL)
    outside = (5.0, ratio, 20.0)  # flow, humidity ratio, temperature
    assert air.inside_temperature(0.0, *outside, 0.0, 500.0) == pytest.approx(20.0, abs=1e-9)
    # 5 kg/s of air with its vapour holds about 5 kJ a degree
    assert air.inside_temperature(0.0, *outside, 10_200.0, 0.0) == pytest.approx(22.0, abs=0.02)
    cooled = [air.inside_temperature(0.005, *outside, 0.0, walls) for walls in (0.0, 5000.0)]
    assert cooled[0] < cooled[1] < 20
    # and as much as the latent heat of the steam tables says
    steam = [PropsSI("H", "T", cooled[0] + 273.15, "Q", dry, "Water") for dry in (1, 0)]
    drop = 0.005 * (steam[0] - steam[1]) / (5 * 1022)
    assert 20 - cooled[0] == pytest.approx(drop, rel=0.02)


VENTILATION = published_values.load("ventilation")


def test_wind_flow_against_handbook():
    """ASHRAE Fundamentals ch. 16: 0.55 of 10 m2 in 2 m/s."""
    row = VENTILATION["wind"]
    flow = air.wind_flow(row["coefficient"], row["area"], row["speed"])
    assert flow == pytest.approx(row["flow"])


@pytest.mark.parametrize("row", VENTILATION["stack"]["rows"], ids=lambda r: str(r["discharge"]))
def test_stack_flow_against_handbook(row):
    """ASHRAE Fundamentals ch. 16: 4 m2 at 3 m, 5 K warmer; as much down when 5 K colder."""
    table = VENTILATION["stack"]
    opening = (table["area"], table["height"])
    up = air.stack_flow(*opening, table["inside"], table["outside"], row["discharge"])
    down = air.stack_flow(*opening, table["outside"], table["inside"], row["discharge"])
    assert up == pytest.approx(row["flow"], abs=6e-4)
    assert down == pytest.approx(-up)
    scale = air.stack_scale(*opening, row["discharge"])
    assert scale * np.sqrt(5 / 298.15) == pytest.approx(up)


def test_stack_reverses_against_worked_cooling():
    """Air that wet plants have cooled is heavier than the warmer, drier air outside: it sinks."""
    (t_out, rh_out, virtual_out), (t_in, rh_in, virtual_in) = (
        VENTILATION["virtual"][key] for key in ("before", "after")
    )
    ratios = [
        moist_air.humidity_ratio(t, rh, SEA_LEVEL) for t, rh in ((t_out, rh_out), (t_in, rh_in))
    ]
    outside = moist_air.virtual_temperature(t_out, ratios[0])
    inside = moist_air.virtual_temperature(t_in, ratios[1])
    assert outside == pytest.approx(virtual_out, abs=0.1)
    assert inside == pytest.approx(virtual_in, abs=0.1)
    assert air.stack_flow(4.0, 3.0, inside, outside) < -1


def test_leak_and_combined_flow_against_handbook():
    """Sherman & Grimsrud's worked leak, and wind with stack in quadrature."""
    row, both = VENTILATION["leak"], VENTILATION["combined"]
    leak = air.leak_flow(row["area"], row["difference"], row["speed"])
    assert leak == pytest.approx(row["flow"], abs=1e-4)
    assert air.combined_flow(*both["flows"]) == pytest.approx(both["flow"], abs=1e-3)


def farm_place(kind, **given):
    """A place of 1,260 sticks in 56,000 cubic feet."""
    return Place(
        name="Barn", kind=kind, tiers=3, runs=10, run_length=64 * FOOT, stick_spacing=1.5 * FOOT,
        volume=56_000 * FOOT**3, **given,
    )  # fmt: skip


def test_place_air_limits():
    """A kind's usual openings stand in only where the farm gives none of its own."""
    usual = places.place_air(farm_place(PlaceKind.BARN))
    own = places.place_air(
        farm_place(PlaceKind.BARN, vent_area=30.0, fan_flow=2.0, heater=4e3, opens=9, shuts=17)
    )
    assert usual.sticks == own.sticks == 1260
    assert usual.tiers == 3
    assert (own.vent_area, own.fan_flow, own.heater) == (15.0, 2.0, 4e3)
    assert (own.usual().vents.sum(), usual.usual().vents.sum()) == (8, 10)
    assert own.fan_power == pytest.approx(2 * 141)
    # a 64 x 40 ft barn of 1,450 m3 has 611 m2 of walls and roof
    assert places.wall_conductance(1450.0, 1.0) == pytest.approx(611, rel=0.02)
    # a quarter to a third of 190 m2 of side walls, half of it inlets
    assert 190 / 8 < usual.vent_area * (1450 / usual.volume) ** (2 / 3) < 190 / 6
    rooms = {kind: places.place_air(farm_place(kind)) for kind in PlaceKind}
    assert rooms[PlaceKind.ROOM].fan_speed > rooms[PlaceKind.SHED].fan_speed > 0
    assert rooms[PlaceKind.BARN].fan_flow == rooms[PlaceKind.BARN].heater == 0


def test_measured_air_changes_limits():
    """Air changes a farm has measured come out again in the usual wind, shut and open."""
    day, night = 20 / 3600, 2 / 3600
    measured = farm_place(
        PlaceKind.BARN, air_changes_day=day, air_changes_night=night, heat_gain_day=8e3
    )
    barn = places.place_air(measured)
    by_day, by_night = (
        wind_usual(200, 24)[:, hours].mean() for hours in (slice(8, 18), slice(2, 5))
    )
    assert barn.vent_area * 0.425 * 0.6 * by_day == pytest.approx(day * barn.volume, rel=0.05)
    cracks = barn.leaks * barn.wall_area * np.sqrt(0.005 * 0.03)
    assert air.leak_flow(cracks, 0.0, by_night) == pytest.approx(night * barn.volume, rel=0.1)
    assert barn.sun * barn.roof * 350 == pytest.approx(8e3)
    shed = places.place_air(
        farm_place(PlaceKind.SHED, air_changes_day=day, air_changes_night=night)
    )
    assert shed.fan_flow == pytest.approx(day * shed.volume)
    assert shed.fans_by_night == pytest.approx(0.1)
