"""Seasons to draw from, and this season joined from what was seen, foretold and past."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from tierpole.errors import InputError
from tierpole.weather import DAYS, Forecast, forecast_skill, season_pool, splice
from weather_data import DEMO, FRONT_ROYAL, raw, record

YEAR = 2028
FIRST = np.datetime64(f"{YEAR}-04-01")


@pytest.fixture(scope="module")
def pool():
    return season_pool(record(DEMO))


def observed(days, year=1990):
    """The first days of a past season, as if this year's."""
    return record(DEMO).only_year(year).redated(YEAR).until((FIRST + days).item())


def forecast(pool, start, days=10, warmer=6.0, **extra):
    """A forecast of steady warmth, made on the morning of its first day."""
    dates = FIRST + start + np.arange(days)
    at = datetime.fromisoformat(f"{dates[0]}T06:00")
    base = np.arange(start, start + days)
    return Forecast(
        issued_at=at,
        dates=dates,
        t_min=pool.t_min[:, base].mean(axis=0) + warmer,
        t_max=pool.t_max[:, base].mean(axis=0) + warmer,
        rain=np.full(days, 99.0),
        **extra,
    )


def test_pool_holds_every_whole_season(pool):
    """56 seasons, each on 1 April to 31 December, leap years dated like the others."""
    assert len(pool) == 56
    assert pool.t_min.shape == (56, DAYS)
    whole = record(DEMO)
    for month_day, index in (("04-01", 0), ("08-10", 131), ("12-31", 274)):
        for year in (1951, 1952):
            at = np.searchsorted(whole.dates, np.datetime64(f"{year}-{month_day}"))
            assert pool.t_max[pool.years == year, index] == whole.t_max[at]
    assert "56 seasons of 1948-2003" in repr(pool)


def test_pool_leaves_out_thin_and_named_seasons():
    """Filled days do not count as complete; a named year is gone; nothing left is said plainly."""
    whole = record(FRONT_ROYAL)
    strict, loose = season_pool(whole, 0.99), season_pool(whole, 0.8)
    assert set(strict.years) < set(loose.years)
    assert (strict.complete >= 0.99).all()
    assert 2005 not in season_pool(whole, leave_out=(2005,)).years
    assert 2005 not in season_pool(whole.without_year(2005)).years
    with pytest.raises(InputError, match="at least one April-December season with 95%"):
        season_pool(whole.only_year(1800))
    with pytest.raises(ValueError, match="fill the gaps"):
        season_pool(raw(DEMO))


def test_before_the_season_the_rows_are_the_past_years(pool):
    season = splice(pool, YEAR, None, None, np.random.default_rng(1))
    assert (season.t_min == pool.t_min).all()
    assert set(season.origin) == {"past"}
    assert np.isfinite(season.dew_point).all()


def test_observed_days_are_the_same_in_every_row(pool):
    """150 days seen: equal in all rows, then each past year's own remainder."""
    seen = observed(150)
    season = splice(pool, YEAR, seen, None, np.random.default_rng(1))
    for name in ("t_min", "t_max", "rain"):
        np.testing.assert_array_equal(getattr(season, name)[:, :150], [getattr(seen, name)] * 56)
        np.testing.assert_array_equal(getattr(season, name)[:, 150:], getattr(pool, name)[:, 150:])
    assert (season.origin[:150] == "observed").all()
    assert (season.origin[150:] == "past").all()


def test_an_unseen_day_takes_the_past_years(pool):
    seen = observed(150)
    holed = replace(seen, t_min=np.where(np.arange(150) == 70, np.nan, seen.t_min))
    season = splice(pool, YEAR, holed, None, np.random.default_rng(1))
    assert season.origin[70] == "past"
    assert (season.t_max[:, 70] == pool.t_max[:, 70]).all()


def test_forecast_error_grows_and_its_mean_relaxes(pool):
    """Spread widens from near nothing to the pool's, the mean slides from told to usual."""
    told = forecast(pool, 150)
    season = splice(pool, YEAR, observed(150), told, np.random.default_rng(1))
    days = np.arange(150, 160)
    spread = season.t_min[:, days].std(axis=0) / pool.t_min[:, days].std(axis=0)
    skill = forecast_skill(told.lead)
    np.testing.assert_allclose(spread, np.sqrt(1 - skill**2), rtol=1e-6)
    assert (np.diff(spread) > 0).all()
    warmer = season.t_min[:, days].mean(axis=0) - pool.t_min[:, days].mean(axis=0)
    # the usual value is smooth, the pool's mean is not: a degree apart at most
    np.testing.assert_allclose(warmer, 6 * skill, atol=1.0)
    assert (season.origin[days] == "forecast").all()
    assert (season.t_max >= season.t_min).all()
    assert (season.t_min[:, 160:] == pool.t_min[:, 160:]).all()


def test_a_perfect_and_a_useless_forecast():
    """Skill is highest on the day of issue, falls with lead and ends at nothing."""
    skill = forecast_skill(np.arange(0, 30))
    assert skill[0] > 0.95
    assert (np.diff(skill) <= 0).all()
    assert (skill[14:] == 0).all()


def test_forecast_rain_is_followed_by_fewer_rows_with_lead(pool):
    told = forecast(pool, 150)
    season = splice(pool, YEAR, observed(150), told, np.random.default_rng(1))
    follows = season.rain[:, 150:160] == 99
    share = follows.mean(axis=0)
    np.testing.assert_allclose(share, forecast_skill(told.lead), atol=0.15)
    # once a row has left the forecast it does not come back to it
    assert (np.diff(follows.astype(int), axis=1) <= 0).all()


def test_an_old_forecast_counts_for_less(pool):
    """The same days told five days earlier: wider, and days already seen are left alone."""
    told = forecast(pool, 150)
    old = replace(told, issued_at=datetime.fromisoformat(f"{FIRST + 145}T06:00"))
    spread = [
        splice(pool, YEAR, observed(152), each, np.random.default_rng(1))
        .t_min[:, 152:160]
        .std(axis=0)
        for each in (told, old)
    ]
    assert (spread[1] > spread[0]).all()
    season = splice(pool, YEAR, observed(152), told, np.random.default_rng(1))
    assert (season.origin[150:152] == "observed").all()


def test_dew_point_follows_its_source(pool):
    """As far from the minimum as was recorded or told, in rows that follow; else estimated."""
    told = forecast(pool, 150)
    told = replace(told, dew_point=told.t_min - 4)
    seen = observed(150)
    seen = replace(seen, dew_point=np.where(np.arange(150) < 100, seen.t_min - 1, np.nan))
    season = splice(pool, YEAR, seen, told, np.random.default_rng(1))
    spread = season.dew_point - season.t_min
    follows = season.rain[:, 150:160] == 99
    np.testing.assert_allclose(spread[:, 150:160][follows], -4)
    np.testing.assert_allclose(spread[:, :100], -1)
    for estimated in (spread[:, 100:150], spread[:, 160:], spread[:, 150:160][~follows]):
        assert estimated.std() > 1.8
        assert abs(estimated.mean()) < 1.5


def test_a_pool_with_dew_points_keeps_them(pool):
    recorded = replace(pool, dew_point=pool.t_min - 2)
    season = splice(recorded, YEAR, None, None, np.random.default_rng(1))
    np.testing.assert_allclose(season.dew_point, pool.t_min - 2)


def test_nothing_later_leaks_in(pool):
    """Other days after today, the same season."""
    seen = observed(150)
    longer = observed(200)
    one, other = (
        splice(pool, YEAR, part.until((FIRST + 150).item()), None, np.random.default_rng(1))
        for part in (seen, longer)
    )
    np.testing.assert_array_equal(one.t_min, other.t_min)


def test_same_seed_same_season(pool):
    told = forecast(pool, 150)
    one, same, other = (
        splice(pool, YEAR, None, told, np.random.default_rng(seed)).rain for seed in (5, 5, 6)
    )
    np.testing.assert_array_equal(one, same)
    assert (one != other).any()
