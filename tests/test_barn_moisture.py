"""Isotherm, moisture bases and mass balances."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tierpole.barn import isotherm, targets

FOLDER = Path(__file__).parent / "published"
ISOTHERM = tomllib.loads((FOLDER / "isotherm.toml").read_text("utf-8"))
DRYING = tomllib.loads((FOLDER / "drying.toml").read_text("utf-8"))


@pytest.mark.parametrize("temperature", ["10", "25", "40"])
def test_equilibrium_moisture_against_worked_table(temperature):
    """Percent wet basis at eleven humidities."""
    table = ISOTHERM["working"]
    moisture = isotherm.equilibrium_moisture(float(temperature), table["humidity"])
    percent = 100 * targets.wet_basis(moisture)
    assert percent == pytest.approx(table["moisture"][temperature], abs=table["tolerance"])


def test_equilibrium_moisture_against_lemon_balm():
    """A leafy herb measured at 25 °C: leaf within a twentieth, stem within our range of stems."""
    balm = ISOTHERM["lemon_balm"]
    leaf = isotherm.equilibrium_moisture(balm["temperature"], balm["humidity"])
    assert leaf == pytest.approx(balm["leaf"], rel=0.05)
    stems = [
        isotherm.equilibrium_moisture(balm["temperature"], balm["humidity"], scale)
        for scale in (0.80, 0.95)
    ]
    assert stems[0] < balm["stem"] < stems[1]


def test_equilibrium_moisture_against_corn_stover():
    """A stalk holds less than leaf at the wet end, and our driest stem is about as dry."""
    stover = ISOTHERM["corn_stover"]
    leaf = isotherm.equilibrium_moisture(30.0, stover["humidity"])
    driest = isotherm.equilibrium_moisture(30.0, stover["humidity"], 0.80)
    assert leaf > 1.2 * stover["most"]
    assert driest == pytest.approx(stover["most"], rel=0.06)


def test_storage_activity_against_astm_and_trade():
    """The standard's water activity and the trade's moisture name the same flower."""
    storage = ISOTHERM["storage"]
    moisture = targets.wet_basis(isotherm.equilibrium_moisture(20.0, storage["activity"]))
    assert moisture == pytest.approx(storage["moisture"], abs=storage["tolerance"])


@given(st.floats(0, 45), st.floats(0.05, 0.95), st.floats(0.7, 1.3), st.floats(1.7, 2.9))
def test_water_activity_limits(temperature, humidity, scale, exponent):
    """Activity undoes equilibrium; warm material holds less; wet material is free water."""
    moisture = isotherm.equilibrium_moisture(temperature, humidity, scale, exponent)
    activity = isotherm.water_activity(moisture, temperature, scale, exponent)
    assert activity == pytest.approx(humidity, rel=1e-9)
    assert isotherm.water_activity(moisture, temperature + 5, scale, exponent) > activity
    level = isotherm.isotherm_level(temperature, scale)
    assert isotherm.water_activity(level, temperature, scale, exponent) == pytest.approx(0.5)
    assert isotherm.activity_of_fill(moisture / level, exponent) == pytest.approx(humidity)
    assert 0.99 < isotherm.water_activity(3.5, temperature, scale, exponent) < 1


@pytest.mark.parametrize("row", DRYING["balance"]["rows"], ids=lambda r: f"{r['fresh']}")
def test_mass_balance_against_worked_rows(row):
    """Pounds of water for each pound of dry matter and of what is sold."""
    fresh, final = targets.dry_basis(row["fresh"]), targets.dry_basis(row["final"])
    assert fresh == pytest.approx(row["dry_fresh"], abs=5e-5)
    assert final == pytest.approx(row["dry_final"], abs=5e-5)
    assert fresh - final == pytest.approx(row["per_dry"], abs=5e-4)
    assert (1 + fresh) / (1 + final) == pytest.approx(row["ratio"], abs=5e-4)


def test_water_of_a_ton_against_extension():
    """A ton of crop at 70 % holds about 168 gallons."""
    told = DRYING["extension"]
    dry_matter = told["pounds"] * (1 - told["moisture"])
    gallons = dry_matter * targets.dry_basis(told["moisture"]) / told["pounds_per_gallon"]
    assert gallons == pytest.approx(told["gallons"], abs=0.5)


def test_mixed_moisture_against_worked_bag():
    """A tenth of wet stem brings a bag of dry flower above what keeps."""
    bag = DRYING["bag"]
    mixed = targets.mixed_moisture(bag["mass"], bag["moisture"])
    assert mixed == pytest.approx(bag["mixed"], abs=5e-4)
    dry_mass = np.array(bag["mass"]) * (1 - np.array(bag["moisture"]))
    again = targets.mixed_moisture_dry(dry_mass, targets.dry_basis(bag["moisture"]))
    assert targets.wet_basis(again) == pytest.approx(mixed, rel=1e-12)


@given(st.floats(0.0, 0.95))
def test_moisture_basis_limits(wet):
    """Going to the dry basis and back changes nothing."""
    assert targets.wet_basis(targets.dry_basis(wet)) == pytest.approx(wet, abs=1e-12)


def test_in_case_limits():
    """Pliable from 12 to 15 %: too wet, right, and brittle again; windows are what lies between."""
    wet = np.array([[0.30, 0.14, 0.13, 0.10, 0.125], [0.30, 0.16, 0.13, 0.11, 0.13]])
    chance = targets.in_case_chance(targets.dry_basis(wet))
    assert chance == pytest.approx([0, 0.5, 1, 0, 1])
    assert targets.in_case_windows(chance) == [(1, 3), (4, 5)]
    assert targets.in_case_windows(chance, least=0.9) == [(2, 3), (4, 5)]
    assert targets.in_case_windows(np.zeros(4)) == []
    assert targets.in_case_chance(np.full((3, 2), np.nan)) == pytest.approx([0, 0])
