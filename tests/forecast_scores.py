"""How good a forecast was, farm by farm with a known truth, beside simpler ways to guess.

Each farm has four lots of two varieties, three certificates a lot, and official samples on later
days that nobody has seen. What is scored is the chance that such a sample passes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

import potency_truth as truth
from tierpole import potency
from tierpole.compliance.chance import Composite, p_printed_at_most
from tierpole.farm import Stock
from tierpole.potency import diagnose
from tierpole.potency.diagnose import Diagnosis

VARIETY = (0, 0, 1, 1)
PLANTS = 3
LATER = (36.0, 41.0, 46.0, 51.0, 56.0)  # days after the usual flower day of official samples
JUDGED = 46.0  # day on which bands of THC are judged
PASSING = 0.0034  # the limit of 0.3 % and an allowance of 0.04 %
SPREAD, TAIL = 0.136, 5.0  # error of a composite of three clones and another laboratory
CROSSING = 50.0  # days after flower initiation at which BaOx passes 0.3 % (Linder et al. 2022)
QUANTITIES = ("total THC", "total CBD", "flower day")
BASELINES = ("last test carried forward", "straight line", "fixed ratio", "fixed crossing day")

KNOWN = tuple(
    truth.Planned(lot, tau, PLANTS, name)
    for lot in range(len(VARIETY))
    for tau, name in ((20.0, "north"), (27.0, "north"), (34.0, "south"))
)
OFFICIAL = tuple(
    truth.Planned(lot, tau, PLANTS, "state") for lot in range(len(VARIETY)) for tau in LATER
)


@dataclass(frozen=True)
class Score:
    """What a forecast said of a farm, and what was true; arrays [lot] or [lot, later day].

    `rank` [quantity, lot] of the truth among the draws, `miss` of the mean log of THC and the
    `width` of its 90 % band are of one judged day; `guess` [baseline, lot, day] is by the simpler
    ways, the last of them 0 or 1.
    """

    rank: np.ndarray
    miss: np.ndarray
    width: np.ndarray
    p_pass: np.ndarray
    p_before: np.ndarray
    guess: np.ndarray
    passed: np.ndarray
    diagnosis: Diagnosis


def score(
    seed: int,
    effort: potency.Effort,
    stock: Stock = Stock.CLONE,
    alternative: truth.Alternative = truth.AS_THE_MODEL,
    assumed: potency.PotencyPrior = truth.USUAL,
) -> Score:
    """One farm, drawn, forecast and judged."""
    rng = np.random.default_rng([seed, 77])
    farm = truth.draw_farm(
        rng, VARIETY, KNOWN, stock, alternative=alternative, later=OFFICIAL, assumed=assumed
    )
    after = potency.update(farm.draws, farm.flower_day, farm.tests, rng, effort=effort)
    assert after.posterior is not None
    lots = [f"lot {number}" for number in range(len(VARIETY))]
    drawn, true = _judged(farm, after)
    log_thc = np.log(drawn[0])
    band = np.quantile(log_thc, [0.05, 0.95], axis=0)
    passed = np.array([test.thc <= PASSING for test in farm.later if test.thc is not None])
    before = after._replace(draws=farm.draws, flower_day=farm.flower_day)
    return Score(
        rank=(drawn < true[:, None]).mean(axis=1),
        miss=log_thc.mean(axis=0) - np.log(true[0]),
        width=band[1] - band[0],
        p_pass=chances(farm, after),
        p_before=chances(farm, before),
        guess=guesses(farm),
        passed=passed.reshape(len(VARIETY), len(LATER)),
        diagnosis=diagnose.diagnose(after.posterior, lots, ("first", "second")),
    )


def _judged(farm: truth.Farm, after: potency.Updated) -> tuple[np.ndarray, np.ndarray]:
    """Draws [quantity, draw, lot] on the judged day, and the truth [quantity, lot]."""
    days = np.array([farm.usual_day(lot, JUDGED) for lot in range(len(VARIETY))])
    curves, since = after.draws.curves, days - after.flower_day
    true = [
        (lot.thc(day), lot.cbd(day), lot.flower_day)
        for lot, day in zip(farm.lots, days, strict=True)
    ]
    return np.stack([curves.thc(since), curves.cbd(since), after.flower_day]), np.array(true).T


def chances(farm: truth.Farm, after: potency.Updated) -> np.ndarray:
    """Chance that an official composite passes [lot, later day], as the outlook reckons it."""
    draws = after.draws
    sample = Composite(
        plants=PLANTS,
        plant_cv=draws.plant_cv,
        off_type_share=draws.off_type_share,
        off_type_multiple=draws.off_type_multiple,
    )
    found = []
    for tau in LATER:
        days = np.array([farm.usual_day(lot, tau) for lot in range(len(VARIETY))])
        thc = draws.curves.thc(days - after.flower_day)
        found.append(p_printed_at_most(PASSING, thc, sample).mean(axis=0))
    return np.stack(found, axis=-1)


# --- simpler ways to guess ------------------------------------------------------------------------


def guesses(farm: truth.Farm) -> np.ndarray:
    """Chances to pass by the baselines [baseline, lot, later day]."""
    return np.stack([_of_lot(farm, lot) for lot in range(len(VARIETY))], axis=1)


def _of_lot(farm: truth.Farm, lot: int) -> np.ndarray:
    tests = [test for test in farm.tests if test.lot == lot]
    since = np.array([test.day for test in tests]) - farm.usual_day(lot, 0.0)
    thc, cbd = np.array([[test.thc, test.cbd] for test in tests], float).T
    later, prior = np.array(LATER), truth.USUAL
    shape = potency.cbd_course(
        np.append(later, since[-1]), 1.0, prior.rate, prior.midpoint * prior.peak_day
    )
    expected = [
        np.full(later.size, thc[-1]),
        np.polyval(np.polyfit(since, thc, 1), later),
        cbd[-1] * shape[:-1] / shape[-1] / prior.cbd_to_thc,
    ]
    rows = [_chance(np.maximum(each, 1e-5)) for each in expected]
    return np.stack([*rows, (later < CROSSING).astype(float)])


def _chance(thc: np.ndarray) -> np.ndarray:
    """Chance to pass if THC is as guessed, with the usual error of a result."""
    stretched = np.log(PASSING / thc) / SPREAD * np.sqrt(TAIL / (TAIL - 2.0))
    return stdtr(TAIL, stretched)


def with_base_rates(guess: np.ndarray, passed: np.ndarray) -> np.ndarray:
    """Guesses [farm, baseline, lot, day] whose fixed crossing day says how often lots pass before
    it and after it on all the other farms, which is as well as it can be told."""
    told = guess.copy()
    last = BASELINES.index("fixed crossing day")
    for side in (0.0, 1.0):
        here = guess[:, last] == side
        count, total = (here.sum(axis=(1, 2)), (here & passed).sum(axis=(1, 2)))
        others = (total.sum() - total) / (count.sum() - count)
        told[:, last] = np.where(here, others[:, None, None], told[:, last])
    return told


# --- how even ranks are ---------------------------------------------------------------------------


def stray(ranks: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """How far shares of ranks at or below levels stray from an even law [level]."""
    return (ranks <= levels[:, None]).mean(axis=1) - levels


def reach(count: int, levels: np.ndarray, chance: float = 0.95) -> np.ndarray:
    """How far [level] so many even ranks stray at most, at all levels at once, with a chance.

    The band of Sailynoja, Buerkner & Vehtari 2022, Statistics and Computing 32:32 (from memory),
    by simulation.
    """
    rng = np.random.default_rng(8)
    error = np.sqrt(levels * (1.0 - levels) / count)
    furthest = [np.max(np.abs(stray(rng.random(count), levels)) / error) for _ in range(2000)]
    return float(np.quantile(furthest, chance)) * error


def brier(chance: np.ndarray, passed: np.ndarray) -> float:
    """Mean square of what was said less what came: 0 is perfect, 0.25 says nothing."""
    return float(np.mean((chance - passed) ** 2))


def widened(prior: potency.PotencyPrior, times: float) -> potency.PotencyPrior:
    """A prior all of whose spreads are so many times as wide."""
    names = [name for name in prior.__dataclass_fields__ if name.endswith("_sd")]
    return replace(prior, **{name: times * getattr(prior, name) for name in names})
