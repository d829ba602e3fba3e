"""Chance in the outlook: same seed, same answer; what is not asked does not move."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outlook_cases import demo, smaller
from tierpole.errors import Stopped
from tierpole.outlook import make_outlook
from tierpole.outlook.streams import stream

NAME = st.text(min_size=1, max_size=12)
FIELD = ("flower_day", "cbd", "thc", "flower_mass", "frost_loss", "field_loss", "top_to_plant")


def small(places=("Frame",)):
    """Two lots of the demo without their certificates, whose reading takes its own chance."""
    return replace(smaller(demo(), ("1 River", "6 South bottom"), places, years=4), tests=())


@pytest.fixture(scope="module")
def outlook():
    return make_outlook(small(), draws=24, seed=3)


@given(seed=st.integers(0, 2**31), name=NAME, count=st.integers(1, 50))
def test_stream_prefix_is_stable_limits(seed, name, count):
    """Asking a stream for more numbers leaves the first ones as they were."""
    longer = stream(seed, name).standard_normal(count + 20)
    assert (stream(seed, name).standard_normal(count) == longer[:count]).all()


@given(seed=st.integers(0, 2**31), names=st.lists(NAME, min_size=2, max_size=2, unique=True))
def test_streams_of_other_names_differ_limits(seed, names):
    """Streams of two names share no number."""
    first, second = (stream(seed, name).random(8) for name in names)
    assert not (first == second).any()


def test_same_seed_same_outlook_with_certificates():
    """Also where test results move the draws by a search of their own."""
    season = smaller(demo(), ("6 South bottom",), ("Frame",), years=3)
    first, second = (make_outlook(season, draws=12, seed=3) for _ in range(2))
    assert first.identical(second)


def test_same_seed_same_outlook(outlook):
    """To the last bit, with or without a table of drying kept from before."""
    tables = {}
    again = make_outlook(small(), draws=24, seed=3, tables=tables)
    kept = make_outlook(small(), draws=24, seed=3, tables=tables)
    assert again.identical(outlook)
    assert kept.identical(outlook)
    assert len(tables) == 1


def test_other_seed_other_draws(outlook):
    other = make_outlook(small(), draws=24, seed=4)
    for name in (*FIELD, "drying_days", "paid_share"):
        assert not np.array_equal(other[name].values, outlook[name].values), name
    assert other["flower_day"].values.mean() == pytest.approx(
        outlook["flower_day"].values.mean(), abs=3
    )


def test_a_kept_table_is_used_only_for_its_own_season(outlook):
    """Prices do not change the drying table; another place, day or seed does."""
    tables = {}
    season = small()
    make_outlook(season, draws=24, seed=3, tables=tables)
    dear = season.market.model_copy(update={"price": 2 * season.market.price})
    assert make_outlook(replace(season, market=dear), draws=24, seed=3, tables=tables)[
        "drying_days"
    ].equals(outlook["drying_days"])
    assert len(tables) == 1
    roomy = season.places[0].model_copy(update={"volume": 2 * season.places[0].volume})
    others = (
        (replace(season, places=(roomy,)), 3),
        (season.as_seen_on(season.day(season.today - 1)), 3),
        (season, 4),
    )
    for count, (other, seed) in enumerate(others, start=2):
        make_outlook(other, draws=24, seed=seed, tables=tables)
        assert len(tables) == count


def test_what_is_not_asked_does_not_move(outlook):
    """Another place, price or laboratory leaves flowers, potency, mass and losses as drawn."""
    season = small(("Fan shed", "Frame"))
    market = season.market.model_copy(update={"paid_full": 0.5})
    lab = season.laboratory.model_copy(update={"uncertainty": 0.0006})
    changed = make_outlook(replace(season, market=market, laboratory=lab), draws=24, seed=3)
    for name in FIELD:
        assert changed[name].equals(outlook[name]), name
    assert (changed["drying_days"].values[:, 1] == outlook["drying_days"].values[:, 0]).all()
    assert (changed["paid_share"] <= outlook["paid_share"]).all()


def test_every_weather_season_is_drawn_equally_often(outlook):
    """24 draws of 4 seasons: 6 each; each draw dries in its own weather season."""
    counts = np.bincount(outlook["weather_row"].values)
    assert counts.tolist() == [6, 6, 6, 6]
    assert (outlook["barn_row"].values // 2 == outlook["weather_row"].values).all()
    assert np.bincount(outlook["barn_row"].values).tolist() == [3] * 8


def test_progress_rises_and_may_stop():
    """`tick` hears shares that never fall, from nothing to all; raising in it ends the work."""
    heard = []
    make_outlook(small(), draws=4, seed=1, tick=lambda step, share: heard.append((step, share)))
    shares = [share for _, share in heard]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    named = {"weather and potency", "field", "drying table", "law and money"}
    assert named <= {step for step, _ in heard}

    def stop(step, share):
        if step == "drying table":
            raise Stopped

    with pytest.raises(Stopped):
        make_outlook(small(), draws=4, seed=1, tick=stop)
