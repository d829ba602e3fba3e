"""CBD and THC curves against published statements and tables worked elsewhere."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

import published_values
from tierpole import potency

PUBLISHED = published_values.load("potency")


def baox_thc(days):
    worked = PUBLISHED["baox_worked"]
    steepest = worked["steepest_day"] / worked["peak_day"]
    return potency.thc_course(
        np.asarray(days), worked["thc_peak"], worked["peak_day"], steepest, 0.008
    )


def day_of_passing(peak, limit=0.3):
    crossing = PUBLISHED["crossing"]
    peak_day = crossing["peak_day"]
    steepest = crossing["steepest_day"] / peak_day

    def above(day):
        return float(potency.thc_course(np.array(day), peak, peak_day, steepest, 0.008)) - limit

    return brentq(above, 0.0, peak_day)


def test_day_of_passing_against_linder_2022():
    """BaOx passes 0.3 % total THC 50 days after initiation."""
    baox = PUBLISHED["baox"]
    assert day_of_passing(PUBLISHED["baox_worked"]["thc_peak"], baox["limit"]) == pytest.approx(
        baox["day"], abs=0.1
    )


def test_thc_against_worked_values():
    """Total THC on six days up to the peak."""
    worked = PUBLISHED["baox_worked"]
    assert baox_thc(worked["thc_days"]) == pytest.approx(worked["thc"], abs=6e-5)


def test_cbd_against_worked_values():
    """Total CBD on five days."""
    worked = PUBLISHED["baox_worked"]
    cbd = potency.cbd_course(
        np.array(worked["cbd_days"]), worked["cbd_plateau"], worked["rate"], worked["midpoint"]
    )
    assert cbd == pytest.approx(worked["cbd"], abs=6e-4)


def test_crossings_against_worked_values():
    """A tenth more THC at the peak brings the limit forward by days, not hours."""
    crossing = PUBLISHED["crossing"]
    days = [day_of_passing(peak) for peak in crossing["thc_peak"]]
    assert days == pytest.approx(crossing["day"], abs=0.06)
    season = np.arange(0.0, 120.0)
    peak_day = crossing["peak_day"]
    steepest = crossing["steepest_day"] / peak_day
    assert potency.thc_course(season, crossing["never"], peak_day, steepest, 0.008).max() <= 0.3


def test_peak_time_against_yang_2020():
    """THC peaks six to seven weeks after anthesis."""
    low, high = PUBLISHED["peak_time"]["days"]
    assert low <= potency.PotencyPrior().peak_day <= high


def test_legal_cbd_against_arithmetic():
    """At the limit, the ratio alone says how much CBD a lot may have."""
    ratio = PUBLISHED["ratio"]
    for thc, cbd in zip(ratio["thc"], ratio["cbd"], strict=True):
        assert potency.thc_peak(cbd, ratio["cbd_to_thc"]) == pytest.approx(thc)


def test_cbd_and_thc_together_against_florida_trials():
    """Through the weeks of a season CBD and THC correlate as closely as reported."""
    worked = PUBLISHED["baox_worked"]
    weeks = np.arange(14.0, 85.0, 7.0)
    cbd = potency.cbd_course(weeks, worked["cbd_plateau"], worked["rate"], worked["midpoint"])
    low, high = PUBLISHED["ratio_even"]["r2"]
    assert low <= np.corrcoef(cbd, baox_thc(weeks))[0, 1] ** 2 <= high


@given(
    peak_day=st.floats(30.0, 90.0),
    steepest=st.floats(0.35, 0.62),
    fall=st.floats(0.0, 0.05),
    start=st.floats(0.0, 1.0),
    step=st.floats(0.0, 1.0),
)
def test_thc_limits(peak_day, steepest, fall, start, step):
    """Before its peak THC does not fall, after it does not rise, never above the peak."""

    def thc(day):
        return float(potency.thc_course(np.array(day), 0.004, peak_day, steepest, fall))

    later = min(start + step, 1.0)
    assert thc(start * peak_day) <= thc(later * peak_day) * (1 + 1e-9) + 1e-15
    assert thc((1 + later) * peak_day) <= thc((1 + start) * peak_day) * (1 + 1e-9)
    assert thc(peak_day) == pytest.approx(0.004)
    assert thc(-start * 10) == 0.0


@given(st.floats(10.0, 60.0), st.floats(0.0, 30.0))
def test_cbd_limits(day, step):
    """CBD never declines and stays below its plateau."""
    earlier, later = potency.cbd_course(np.array([day, day + step]), 0.09, 0.13, 26.0)
    assert earlier <= later < 0.09
