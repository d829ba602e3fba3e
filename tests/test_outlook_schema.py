"""What an outlook holds, and that the validator finds what is not right."""

from dataclasses import replace

import numpy as np
import pytest

from outlook_cases import demo, september, smaller
from tierpole.outlook import make_outlook
from tierpole.outlook.schema import DIMENSIONS, VARIABLES, attributes, validate

NAMES = [variable.name for variable in VARIABLES]
NUMBERS = [variable for variable in VARIABLES if np.isfinite([variable.lowest]).all()]


def problems(outlook):
    with pytest.raises(ValueError, match=r"^outlook: ") as caught:
        validate(outlook)
    return str(caught.value).removeprefix("outlook: ").split("; ")


def test_outlook_holds_what_the_table_says():
    """Every variable with its dimensions, unit and meaning; named days, lots and places."""
    season, outlook = september()
    validate(outlook)
    assert set(outlook.data_vars) == set(NAMES)
    for variable in VARIABLES:
        array = outlook[variable.name]
        assert array.dims == variable.dims
        assert array.attrs == attributes(variable.name)
        assert set(array.dims) <= set(DIMENSIONS)
    assert outlook.sizes["draw"] == 48
    assert outlook["lot"].values.tolist() == [lot.name for lot in season.lots]
    assert outlook["place"].values.tolist() == [place.name for place in season.places]
    assert (outlook["day"].values.astype("M8[D]") == season.days).all()
    assert (outlook.attrs["farm"], outlook.attrs["on"]) == ("Tanner Fork", "2026-09-02")


def test_sums_of_shares_and_chances_limits():
    """Chances and shares are within 0..1 of themselves, not by the validator's slack."""
    _, outlook = september()
    for name in ("p_pass", "p_buyer_pass", "p_over_one", "drying_loss", "mould_risk"):
        values = outlook[name].values
        assert values.min() >= 0, name
        assert values.max() <= 1, name
    # above 1.0 % is above the limit as well
    assert (outlook["p_over_one"] + outlook["p_pass"]).max() <= 1 + 1e-6


@pytest.mark.parametrize("name", NAMES)
def test_a_missing_variable_is_found(name):
    assert problems(september()[1].drop_vars(name)) == [f"{name} is missing"]


@pytest.mark.parametrize("name", [v.name for v in VARIABLES if len(v.dims) > 1])
def test_a_turned_variable_is_found(name):
    outlook = september()[1]
    turned = outlook.assign({name: outlook[name].transpose()})
    assert problems(turned)[0].startswith(f"{name} has dimensions")


@pytest.mark.parametrize("variable", NUMBERS, ids=lambda v: v.name)
def test_an_impossible_value_is_found(variable):
    """Just beyond the range, and no number at all."""
    outlook = september()[1].copy(deep=True)
    flat = outlook[variable.name].astype(float)
    flat.values.ravel()[-1] = variable.lowest - 0.1
    found = problems(outlook.assign({variable.name: flat}))
    assert found == [f"{variable.name} leaves {variable.lowest:g}..{variable.highest:g}"]
    flat.values.ravel()[-1] = np.nan
    assert problems(outlook.assign({variable.name: flat})) == [
        f"{variable.name} has 1 values that are no number"
    ]


def test_a_stranger_and_two_faults_are_both_found():
    outlook = september()[1].assign(colour=("lot", np.zeros(8))).drop_vars("thc")
    assert problems(outlook) == ["thc is missing", "colour is not in the schema"]


def test_the_widest_farm_allowed_makes_a_valid_outlook():
    """Every spread a farm may state at its largest: nothing overflows, nothing leaves its range."""
    season = smaller(demo(), ("6 South bottom", "8 Seed strip"), ("Frame",), years=3)
    variety = {
        "critical_day_length_sd": 1.0, "cbd_plateau": 0.30, "cbd_plateau_sd": 1.0,
        "cbd_to_thc": 1.0, "cbd_to_thc_sd": 1.0, "peak_day": 20.0, "peak_day_sd": 20.0,
    }  # fmt: skip
    wide = replace(
        season,
        varieties=tuple(v.model_copy(update=variety) for v in season.varieties),
        lots=tuple(
            lot.model_copy(update={"plant_yield": 3.6, "plant_yield_sd": 1.0})
            for lot in season.lots
        ),
        market=season.market.model_copy(update={"price_sd": 2.0, "paid_full": 0.0}),
        flowering=(),
        tests=(),
    )
    found = make_outlook(wide, draws=300, seed=1)
    assert found["p_pass"].values.min() < 0.01
    assert found["flower_mass"].values.max() > 5
