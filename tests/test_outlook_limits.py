"""Order, balance and physics of the outlook: what must hold whatever the numbers are."""

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outlook_cases import SEED, demo, july, september, smaller, whole_demo
from tierpole.barn import place_air, simulate
from tierpole.barn.geometry import place_capacity
from tierpole.barn.hanging import Hangings
from tierpole.farm import Sample, Test
from tierpole.outlook import make_outlook
from tierpole.outlook.calendar import CALENDAR
from tierpole.outlook.curing import barn_parameters, curing, outside_air, stick_weight
from tierpole.outlook.dollars import Dollars
from tierpole.outlook.field import field_draws
from tierpole.outlook.forecast import make_forecast
from tierpole.outlook.hanging import Batch, dry_hanging, hung_now
from tierpole.outlook.legal import Legal
from tierpole.outlook.sky import skies
from tierpole.units import POUND

LOTS, PLACES = ("1 River", "6 South bottom"), ("Fan shed", "Frame")


@cache
def base():
    """Two lots and two places of the demo, hung in but with no certificate yet; 4 past seasons."""
    return replace(smaller(demo(), LOTS, PLACES, years=4), tests=())


@cache
def crop():
    return grown(base())


def grown(season, draws=24):
    """What the field may do in a season."""
    return field_draws(make_forecast(season, draws, SEED), SEED)


def chances(season, sample_days=(150, 165, 180, 195)):
    return Legal(season, crop(), np.array(sample_days)).chances()


def lab(**changes):
    season = base()
    return replace(season, laboratory=season.laboratory.model_copy(update=changes))


def outlook(season, draws=24):
    return make_outlook(season, draws=draws, seed=SEED)


# --- law -----------------------------------------------------------------------------------------


@given(low=st.floats(0.0, 0.003), high=st.floats(0.0, 0.003))
@settings(max_examples=25)
def test_more_uncertainty_is_never_harder_to_pass_limits(low, high):
    """MU is an allowance: a larger one never lowers the chance at the law's test. The buyer, who
    allows none, is not moved by it.
    """
    low, high = sorted((round(low, 5), round(high, 5)))
    less, more = chances(lab(uncertainty=low)), chances(lab(uncertainty=high))
    assert (more["p_pass"] >= less["p_pass"]).all()
    assert (more["p_buyer_pass"] == less["p_buyer_pass"]).all()


def test_uncertain_laboratories_pull_chances_to_the_middle_limits():
    """A worse laboratory fails more of the good and passes more of the bad (of clones: with
    off-types a sample can be good and bad at once).
    """
    sharp, blunt = (chances(lab(between_labs=error))["p_pass"][:, 1] for error in (0.06, 0.25))
    good, bad = sharp > 0.95, sharp < 0.05
    assert good.any()
    assert bad.any()
    assert (blunt[good] <= sharp[good] + 1e-6).all()
    assert (blunt[bad] >= sharp[bad] - 1e-6).all()


def test_sampling_later_is_harder_until_thc_peaks_limits():
    """While THC rises the chance to pass falls, in every draw."""
    _, found = september()
    days = np.searchsorted(found["day"].values, found["sample_day"].values)
    thc, chance = found["thc"].values[:, :, days], found["p_pass"].values
    rises = np.diff(thc, axis=2) >= 0
    assert 0.2 < rises.mean() < 0.8
    assert (np.diff(chance, axis=2)[rises] <= 1e-6).all()


def test_a_lot_that_tested_hot_is_judged_hotter_limits():
    """A pre-test three times as hot lowers P(pass) of its lot most, and of its sister too."""
    season = smaller(demo(), ("2 Barn field", "3 Church", "6 South bottom"), ("Frame",), years=4)
    hot = season.tests[0].model_copy(update={"total_thc": 3 * season.tests[0].total_thc})
    warmer = replace(season, tests=(hot, *season.tests[1:]))
    cool, hotter = outlook(season), outlook(warmer)
    change = (hotter["p_pass"] - cool["p_pass"]).mean(("draw", "sample_day")).values
    assert change[0] < -0.1
    assert change[0] < change[1] < -0.02
    assert change[2] > change[0] + 0.1
    moved = [make_forecast(one, 24, SEED).updated.moved[0] for one in (season, warmer)]
    assert moved[1] > moved[0] + 0.3


# --- field ---------------------------------------------------------------------------------------


def test_curves_limits():
    """THC never falls before its peak nor rises after; CBD, mass and losses never fall."""
    _, found = september()
    thc = found["thc"].values
    peak = thc.argmax(axis=2)[..., None]
    steps, day = np.diff(thc, axis=2), np.arange(thc.shape[2] - 1)
    assert (steps[day < peak] >= 0).all()
    assert (steps[day >= peak] <= 0).all()
    for name in ("cbd", "flower_mass", "frost_loss", "field_loss"):
        assert (np.diff(found[name].values, axis=2) >= -1e-7).all(), name
    unborn = np.arange(thc.shape[2]) < found["flower_day"].values[..., None]
    assert (thc[unborn] == 0).all()
    assert (found["frost_loss"].values[unborn] == 0).all()


def test_a_hollow_freezes_first_limits():
    """Every degree colder at night only adds to frost, and to nothing else."""
    season = base()
    losses = []
    for offset in (0.0, -1.0, -3.0):
        fields = tuple(f.model_copy(update={"night_offset": offset}) for f in season.fields)
        cold = grown(replace(season, fields=fields))
        losses.append(cold.frost_loss)
        assert (cold.thc == crop().thc).all()
    assert (losses[1] >= losses[0]).all()
    assert (losses[2] >= losses[1]).all()
    october = [each[:, 1, base().index(date(2026, 10, 20))].mean() for each in losses]
    assert october[2] > 1.5 * october[0] > 0


def test_nothing_in_flower_yet_makes_the_lot_later_limits():
    """No plant of forty in flower: the lot is later, and so is its sister, by less."""
    season = smaller(demo(), ("5 Ridge", "6 South bottom"), ("Frame",), years=4)
    none = season.flowering[0].model_copy(update={"in_flower": 0})
    without = replace(season, flowering=(), tests=())
    days = [
        grown(one).flower_day.mean(axis=0) for one in (without, replace(without, flowering=(none,)))
    ]
    own, sister = days[1] - days[0]
    assert own > sister > 0.5
    spread = grown(without).flower_day.std(axis=0)
    seen = grown(season).flower_day.std(axis=0)
    assert (seen < spread).all()


def test_a_count_leaves_room_for_the_eye_that_made_it():
    """Forty plants would fix the day to half a day; the eye errs by two, so the draws keep that."""
    season = smaller(demo(), ("5 Ridge",), ("Frame",), years=4)
    seen = replace(season, tests=())
    assert seen.flowering[0].looked_at == 40
    days = grown(seen, 200).flower_day
    assert 1.2 < days.std() < 2.4


# --- barn ----------------------------------------------------------------------------------------


def test_a_fuller_place_dries_slower_limits():
    """Mean days and mould rise with the load in every place and month.

    Late in fall a fuller place cools itself so far that mould may gain a hair less.
    """
    _, found = september()
    assert (found["drying_days"].mean("barn_draw").diff("load") > 0).all()
    moulds = found["mould_risk"].mean("barn_draw").diff("load")
    assert (moulds > -0.01).all()
    assert (moulds > 0).mean() > 0.95
    each = np.diff(found["drying_days"].values, axis=3)
    assert (each >= -0.05).mean() > 0.99
    months = found["drying_days"].mean(("barn_draw", "place", "load")).values
    assert months[-20:].mean() > months[:20].mean(), "November dries slower than September"


def test_one_batch_alone_against_the_table():
    """Half a place hung at once and re-simulated is a cell of the table, whatever made it."""
    season = replace(base(), hangings=(), readings=(), cuts=())
    found = outlook(season)
    day = season.index(date(2026, 9, 21))
    column = int(np.flatnonzero(found["cut_day"].values == season.days[day])[0])
    room = place_capacity(season.places[0])
    dried = dry_hanging(season, found, [Batch(place=0, day=day, load=0.5 * room)])
    for name in ("drying_days", "drying_loss", "mould_risk"):
        cell = found[name].values[:, 0, column, 1]
        assert getattr(dried, name)[:, 0] == pytest.approx(cell, rel=1e-5, abs=1e-6), name
    assert (dried.barn_row == found["barn_row"].values).all()


def test_what_hangs_slows_what_is_hung_beside_it_limits():
    """A batch dries slower in a place where another hangs wet, in the other place as before."""
    season, found = unread(base()), outlook(base())
    today = season.today
    alone = dry_hanging(replace(season, hangings=()), found, [Batch(0, today, 150.0)])
    beside = dry_hanging(season, found, [Batch(0, today, 150.0)])
    assert (beside.drying_days >= alone.drying_days - 0.05).all()
    assert beside.drying_days.mean() > alone.drying_days.mean() + 0.1


def test_sticks_already_up_against_the_barn_itself():
    """Hung at 14:00 with the weight of their lot, never read: as when the barn is told by hand.

    200 sticks of five plants of 0.34 lb, each reckoned against a stick that sells 1.176 kg.
    """
    season = unread(base())
    found, sky = outlook(season), skies(season, 24, SEED)
    parameters, season_row = barn_parameters(sky, SEED)
    hung = Hangings(
        hang_hour=np.array([24 * season.index(date(2026, 8, 26)) + 14]),
        sticks=np.array([200 * 5 * 0.34 * POUND / 1.176]),
        reading_hour=np.array([-1]),
        reading=np.array([0.0]),
    )
    air, frame = outside_air(season, sky), place_air(season.places[1])
    outcome, _ = simulate(air, frame, parameters, season_row, hung)
    days = outcome.drying_days[found["barn_row"].values, 0]
    free = season.index(date(2026, 8, 26)) + days
    # what would have been dry before today was left hanging, and so is free no sooner
    later = free > season.today + 1
    assert later.mean() > 0.5
    assert found["free_day"].values[later, 0] == pytest.approx(free[later], abs=1e-4)


def unread(season):
    """The season without anything that was read or set in its places."""
    return replace(season, readings=(), air_readings=(), stick_weights=(), airings=())


def test_a_wetter_reading_frees_the_place_later_limits():
    """A reading moves only its own hanging's place; the wetter it is, the later it is dry."""
    season = base()
    reading = season.readings[0]
    free = []
    for moisture in (0.20, 0.31, 0.55):
        wet = reading.model_copy(update={"moisture_flower": moisture})
        free.append(outlook(replace(season, readings=(wet,)))["free_day"].values)
    first, second, third = (each[:, 0] for each in free)
    assert (first <= second + 1e-6).all()
    assert (second <= third + 1e-6).all()
    assert third.mean() > first.mean() + 1
    assert (free[0][:, 1] == free[2][:, 1]).all()
    assert (np.concatenate(free) >= season.index(date(2026, 8, 26))).all()


# --- pounds and dollars --------------------------------------------------------------------------


def parts(season):
    sky, field = skies(base(), 24, SEED), crop()
    legal = Legal(season, field, np.array([150, 165]))
    return sky, Dollars.of(season, field, legal, SEED)


def test_pounds_are_kept_limits():
    """Sticks times pounds a stick is plants times pounds a plant; a dry stick weighs less."""
    season = base()
    _, dollars = parts(season)
    for number, lot in enumerate(season.lots):
        stick = dollars.stick_mass(number, np.array([274]))[:, 0]
        plant = crop().mass[:, number, 274] / (1 - season.market.moisture)
        plants = season.sticks_total(lot) * lot.plants_per_stick
        assert season.sticks_total(lot) * stick == pytest.approx(plants * plant, rel=1e-6)
        assert np.median(plant) == pytest.approx(lot.plant_yield, rel=0.35)
    drier = season.market.model_copy(update={"moisture": 0.0})
    bone_dry = parts(replace(season, market=drier))[1].stick_mass(0, np.array([274]))
    assert bone_dry == pytest.approx(0.9 * dollars.stick_mass(0, np.array([274])), rel=1e-6)


def test_dollars_are_linear_in_sticks_limits():
    """Two halves hung together bring what the whole brings; no hanging brings nothing."""
    season = base()
    whole = season.hangings[0]
    halves = tuple(whole.model_copy(update={"sticks": 100}) for _ in range(2))
    worth = [
        money_of(replace(season, hangings=hangings, readings=(), air_readings=(), stick_weights=()))
        for hangings in ((whole,), halves, ())
    ]
    assert worth[1] == pytest.approx(worth[0], rel=1e-5)
    assert (worth[2] == 0).all()
    assert np.abs(worth[0]).mean() > 100


def money_of(season):
    """What is hung brings [draw]."""
    sky, dollars = parts(season)
    drying = curing(season, sky, np.array([160, 170]), SEED, None, lambda step, share: None)
    return hung_now(season, drying, dollars, SEED).dollars


def test_value_of_a_stick_falls_with_every_loss_limits():
    """More drying loss, a lower price or a buyer who tests: never worth more, once stripping, which
    can cost more than a poor stick brings, costs next to nothing.
    """
    season = replace(base(), crew=base().crew.model_copy(update={"strip": 100.0}))
    _, dollars = parts(season)
    days, none = np.array([165, 180]), np.zeros((24, 2, 2))
    best = dollars.stick_pieces(1, days, none).total
    worse = [dollars.stick_pieces(1, days, none + 0.2).total]
    for changes in ({"price": 0.5 * season.market.price}, {"buyer_retests": True}):
        market = season.market.model_copy(update=changes)
        worse.append(parts(replace(season, market=market))[1].stick_pieces(1, days, none).total)
    for each in worse:
        assert (each <= best + 1e-3).all()
        assert each.mean() < best.mean() - 0.05


def test_fixed_money_against_hand_sum():
    """Nothing hung: plants, inputs, field work, tests, overhead and their interest, to the cent.

    2 lots, 3.4 acres: 5,120 seedlings at $0.60 and 3,136 plants at $1.25, 5 % spare; $900 and 23 h
    at $18 an acre; 4 potency tests at $75, 2 panels at $300, 1 official sample at $250; $3,700;
    8 % for 7 months. The 380 sticks cut and never hung took 2.5 minutes each.
    """
    season = replace(base(), hangings=(), readings=())
    plants = (5120 * 0.60 + 3136 * 1.25) * 1.05
    field = 3.4 * (900 + 23 * 18)
    outlay = plants + field + 4 * 75 + 2 * 300 + 250 + 3700
    expected = -outlay * (1 + 0.08 * 7 / 12) - 380 * 2.5 / 60 * 18
    assert outlook(season, 4)["fixed_money"].values == pytest.approx(expected, abs=0.005)


def test_what_was_hung_under_a_pass_keeps_its_worth():
    """The window's end, a new sample, even a later fail do not touch what was cut before."""
    season = smaller(whole_demo(), LOTS, PLACES, years=4)
    lot = season.lots[0].name
    late = replace(season, on=date(2026, 9, 20))  # the window ended on the sixteenth
    again = Sample(lot=lot, requested_on=date(2026, 9, 18), sampled_on=date(2026, 9, 21))
    hot = Test(lot=lot, kind="official", sampled_on=date(2026, 9, 21),
               reported_on=date(2026, 9, 25), plants=2, total_thc=0.008)  # fmt: skip
    legal = Legal(late, crop(), np.array([170]))
    cut = season.hangings[0].hung_on
    assert (legal.p_sellable(0, cut) == 1).all()
    failed = replace(late, samples=(*season.samples, again), tests=(*season.tests, hot))
    legal = Legal(failed, crop(), np.array([170]))
    assert (legal.p_sellable(0, cut) == 1).all()
    assert (legal.p_sellable(0, date(2026, 9, 22)) == 0).all()


def test_what_was_cut_without_a_pass_is_worth_what_its_sample_may_say():
    """Pending: the chance of the sample; failed or never sampled: nothing, and its work is lost."""
    season = pending = base()
    legal = Legal(pending, crop(), np.array([138]))
    expected = legal.p_pass(crop().thc[:, :, [138]].astype(float), legal.book(138))[:, 0, 0]
    assert legal.p_sellable(0, date(2026, 8, 26)) == pytest.approx(expected)
    assert (expected > 0).all()
    unsampled = replace(pending, samples=())
    assert (Legal(unsampled, crop(), np.array([138])).p_sellable(0, season.on) == 0).all()
    work = (2.5 + 0.9 + 2.3 + 0.8) / 60 * 18
    assert money_of(unsampled) == pytest.approx(-380 * (work + 2 / 523 * 18), rel=1e-4)


# --- days ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "first", "last"),
    [
        (date(2026, 9, 2), date(2026, 9, 2), date(2026, 11, 16)),
        (date(2026, 11, 16), date(2026, 11, 16), date(2026, 11, 16)),
        (date(2026, 12, 5), date(2026, 12, 5), date(2026, 12, 5)),
    ],
)
def test_days_left_to_cut_limits(on, first, last):
    """From today to 16 November; when that is over, today alone: never a day gone by."""
    found = outlook(replace(base(), on=on), 4)
    days = found["cut_day"].values.astype("M8[D]").astype(object)
    assert (days[0], days[-1]) == (first, last)
    assert last >= on


def test_before_the_season_days_start_with_the_first_ripe_lot():
    """Seen in January: cutting opens two weeks after the earliest lot is likely to flower."""
    season, found, _ = july()
    first = season.index(found["cut_day"].values[0].astype("M8[D]").item())
    earliest = np.quantile(found["flower_day"].values, 0.02, axis=0).min()
    assert first == int(earliest + CALENDAR["first_sample"])


def test_sample_days_are_the_samplers_own():
    """Working days from the lead on; days of samples already taken or agreed stand first."""
    season = base()
    agreed = Sample(lot=LOTS[1], requested_on=season.on, sampled_on=date(2026, 9, 12))
    official = demo().tests[0].model_copy(update={"sampled_on": date(2026, 8, 11)})
    season = replace(season, samples=(*season.samples, agreed), tests=(official,))
    days = [d.astype("M8[D]").item() for d in outlook(season, 4)["sample_day"].values]
    assert days[:3] == [date(2026, 8, 11), date(2026, 8, 17), date(2026, 9, 7)]
    assert date(2026, 9, 12) in days, "a Saturday, but agreed"
    visits = [day for day in days if day > season.on and day != date(2026, 9, 12)]
    assert {day.weekday() for day in visits} == {0, 1, 2, 3, 4}
    assert (visits[0] - season.on).days == 5
    assert days == sorted(set(days))


def test_sticks_weigh_in_the_barn_what_they_sell_limits():
    """A stick of five small plants loads a place less than one of three big ones."""
    season = demo()
    small, big = stick_weight(season.lots[0]), stick_weight(season.lots[1])
    assert small / big == pytest.approx(5 * 0.34 / (3 * 0.86))
    assert big == pytest.approx(1.0, abs=0.01)
