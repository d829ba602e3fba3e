"""What a season teaches: against normal theory, and the file it is kept in."""

import tomllib
from dataclasses import fields, replace

import numpy as np
import pytest

import potency_truth as truth
from tierpole import potency
from tierpole.errors import InputError
from tierpole.potency import learn
from tierpole.potency.draws import PARAMETERS
from tierpole.potency.prior import COEFFICIENTS as PRIOR

FAIR = potency.Effort(chains=128, groups=4, warm_sweeps=8, kept_sweeps=16, most_rounds=1)
PLAN = tuple(truth.Planned(lot, tau) for lot in range(3) for tau in (21.0, 28.0, 35.0, 42.0))
BASE = potency.PotencyPrior()


def closed(seed=1):
    farm = truth.draw_farm(np.random.default_rng(seed), (0, 0, 1), PLAN)
    rng = np.random.default_rng(seed + 1)
    return potency.update(farm.draws, farm.flower_day, farm.tests, rng, effort=FAIR).posterior


def shifted(posterior, parameter, mean, sd):
    """The posterior with a variety's coordinate given a law by hand."""
    state, held = posterior.pool
    variety = state.variety.copy()
    standard = np.random.default_rng(2).standard_normal(variety.shape[-1])
    standard = (standard - standard.mean()) / standard.std()
    variety[0, PARAMETERS.index(parameter)] = mean + sd * standard
    return replace(posterior, pool=type(posterior.pool)(state._replace(variety=variety), held))


def test_level_against_normal_theory():
    """Plateau: variety, site and season have variances V and E; what is learnt of their sum is
    shared out by V/(V + E)."""
    lasting = BASE.cbd_plateau_sd**2 + BASE.site_plateau_sd**2
    season = BASE.season_plateau_sd**2
    mean, sd = 0.8, 0.3  # in standard deviations of the sum
    after = learn.next_prior(shifted(closed(), "log_plateau", mean, sd), 0, BASE)
    total = np.sqrt(lasting + season)
    # regression of what lasts on the sum, and its law given the sum
    slope = lasting / (lasting + season)
    exact_mean = np.log(BASE.cbd_plateau) + slope * mean * total
    exact_sd = np.sqrt(slope**2 * (sd * total) ** 2 + lasting * season / (lasting + season))
    assert np.log(after.cbd_plateau) == pytest.approx(exact_mean)
    assert after.cbd_plateau_sd == pytest.approx(exact_sd)
    assert after.site_plateau_sd == 0.0
    assert after.season_plateau_sd == BASE.season_plateau_sd


def test_shape_against_normal_theory():
    """The peak day's spread holds the next season's share anew, however much was learnt."""
    season = PRIOR["season_shape_share"] * PRIOR["peak_day_sd"] ** 2
    after = learn.next_prior(shifted(closed(), "peak_day", -1.0, 1e-9), 0, BASE)
    slope = 1 - season / BASE.peak_day_sd**2
    assert after.peak_day == pytest.approx(BASE.peak_day - slope * BASE.peak_day_sd)
    exact = np.sqrt(slope * season + season)
    assert after.peak_day_sd == pytest.approx(exact)
    assert np.sqrt(season) < after.peak_day_sd < BASE.peak_day_sd


def test_nothing_learnt_limits():
    """Where a season taught nothing of a parameter its prior stays; of an untested variety, all."""
    posterior = closed()
    after = learn.next_prior(shifted(posterior, "log_rate", 0.0, 1.0), 0, BASE)
    assert after.rate == pytest.approx(BASE.rate)
    assert after.rate_sd == pytest.approx(BASE.rate_sd)
    assert learn.next_prior(posterior, 7, BASE) is BASE


def test_seasons_simulated():
    """Season by season the level comes nearer to its truth, but never nearer than a season's own
    spread allows."""
    truth_level, prior, found = np.log(0.115), BASE, []
    posterior, rng = closed(), np.random.default_rng(3)
    start = np.log(BASE.cbd_plateau)
    for _ in range(12):
        total = np.sqrt(
            prior.cbd_plateau_sd**2 + prior.site_plateau_sd**2 + prior.season_plateau_sd**2
        )
        this_season = truth_level + rng.normal(0.0, prior.season_plateau_sd)
        mean = (this_season - np.log(prior.cbd_plateau)) / total
        prior = learn.next_prior(shifted(posterior, "log_plateau", mean, 0.05), 0, prior)
        found.append((np.log(prior.cbd_plateau), prior.cbd_plateau_sd))
    assert abs(found[-1][0] - truth_level) < 0.4 * abs(start - truth_level)
    spreads = [sd for _, sd in found]
    assert (np.diff(spreads) < 0.0).all()
    assert spreads[-1] == pytest.approx(BASE.season_plateau_sd / np.sqrt(12), rel=0.15)


def learnt(name="Longbend", **prior):
    return learn.Learnt(name, replace(BASE, site_plateau_sd=0.0, **prior), (2025,), 9)


def test_pool_against_normal_theory():
    """Two farms' levels, each with its site: the variety's mean by generalised least squares."""
    site, own = BASE.site_plateau_sd**2, BASE.cbd_plateau_sd**2
    errors = np.array([0.05, 0.08]) ** 2  # what each farm's tests leave unsure of its own level
    means = np.log([0.105, 0.082])
    farms = []
    for mean, error in zip(means, errors, strict=True):
        start = own + site
        sd = 1 / np.sqrt(1 / start + 1 / error)
        middle = sd**2 * (np.log(BASE.cbd_plateau) / start + mean / error)
        farms.append(learnt(cbd_plateau=float(np.exp(middle)), cbd_plateau_sd=float(sd)))
    both = learn.pool(BASE, farms)
    # design: each farm's estimate = variety + site + error, the variety N(prior, own)
    cover = np.diag(errors + site)
    precision = 1 / own + np.linalg.inv(cover).sum()
    exact = (np.log(BASE.cbd_plateau) / own + (means / np.diag(cover)).sum()) / precision
    assert np.log(both.prior.cbd_plateau) == pytest.approx(exact, abs=1e-9)
    assert both.prior.cbd_plateau_sd == pytest.approx(1 / np.sqrt(precision))
    assert both.prior.site_plateau_sd == BASE.site_plateau_sd
    assert (both.farms, both.tests, both.seasons) == (2, 18, (2025,))


def test_pool_limits():
    """A farm that learnt nothing adds nothing, and the order of farms does not matter."""
    knows = learnt(cbd_to_thc=22.0, cbd_to_thc_sd=0.06)
    idle = learn.Learnt("Longbend", BASE, (2024,), 0)
    alone, both, turned = (
        learn.pool(BASE, farms).prior for farms in ([knows], [knows, idle], [idle, knows])
    )
    assert both.cbd_to_thc == pytest.approx(alone.cbd_to_thc, rel=1e-6)
    for field in fields(both):
        assert getattr(both, field.name) == pytest.approx(getattr(turned, field.name))
    assert alone.cbd_to_thc == pytest.approx(22.0)
    assert alone.cbd_to_thc_sd == pytest.approx(0.06)


def test_learn_limits():
    """Seasons and tests add up; the name stays."""
    posterior = closed()
    first = learn.learn(posterior, 0, "Longbend", BASE, 2025)
    second = learn.learn(posterior, 0, "Longbend", first, 2026)
    assert (first.variety, first.seasons, first.tests) == ("Longbend", (2025,), 8)
    assert (second.seasons, second.tests) == ((2025, 2026), 16)
    assert second.prior.cbd_to_thc_sd < first.prior.cbd_to_thc_sd < BASE.cbd_to_thc_sd


def test_file_limits():
    """What is written is read back the same, to the four digits a person cares to read."""
    table = learn.as_table(learn.learn(closed(), 0, "Longbend", BASE, 2025))
    assert table["prior"]["peak_day"].endswith(" days")
    assert table["prior"]["cbd_plateau"].endswith(" %")
    again = learn.from_table(table, "longbend.toml")
    assert learn.as_table(again) == table


def test_file_faults_limits():
    """Every fault of a file is named, with what would have been right."""
    text = """
        variety = ""
        seasons = ["2025"]
        tests = 9
        farms = -1
        [prior]
        cbd_plateau = 0.09
        peak_day = "58 days"
        cbd_to_thc = 0
        colour = "green"
    """
    table = tomllib.loads(text)
    for field in fields(BASE):
        if field.name not in table["prior"] and field.name != "rate":
            table["prior"][field.name] = learn.as_table(learnt())["prior"][field.name]
    with pytest.raises(InputError) as caught:
        learn.from_table(table, "longbend.toml")
    assert str(caught.value).splitlines() == [
        "longbend.toml: 7 problems",
        "  prior: cbd_plateau must be a share with its unit in quotes, above 0, got 0.09.",
        "  prior: cbd_to_thc must be a number, above 0, got 0.",
        "  prior: rate must be a number, above 0, it is missing.",
        f"  prior: colour must be one of {', '.join(f.name for f in fields(BASE))}, got 'green'.",
        "  the file: variety must be the name of a variety, got ''.",
        "  the file: seasons must be a list of years such as [2026], got a list of 1 entry.",
        "  the file: farms must be a whole number, got -1.",
    ]
