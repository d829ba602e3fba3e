"""What a closed season teaches: its posterior of a variety as the prior of the next one.

What was learnt in one season holds the variety's own and the season's; only the first lasts. It is
drawn back towards the old prior as far as the season may have made it, and the next season's
spread is added. What two parameters say of each other is not kept, which errs on the wide side.

`as_table` gives a few lines that a person can read and another farm can use; `pool` brings farms
together by what they learnt, without their tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.errors import Fault, InputError
from tierpole.potency.draws import PARAMETERS, prior_mean
from tierpole.potency.posterior import Posterior
from tierpole.potency.prior import COEFFICIENTS, PotencyPrior
from tierpole.units import read_quantity, to_unit

Array = NDArray[np.float64]

_LEAST_LASTING = 1e-8  # variance, keeps divisions defined for a prior without spread
_DIGITS = 4  # significant, in the file


@dataclass(frozen=True)
class Learnt:
    """A variety's prior for the next season, and what it was learnt from."""

    variety: str
    prior: PotencyPrior
    seasons: tuple[int, ...]
    tests: int
    farms: int = 1


class _Parts(NamedTuple):
    """A prior on its normal scales [parameter]: mean, and variances that last and that do not."""

    mean: Array
    lasting: Array
    season: Array


def next_prior(posterior: Posterior, variety: int, prior: PotencyPrior) -> PotencyPrior:
    """The prior of a variety of the season for the next season on this farm.

    Parameters
    ----------
    posterior : of the closed season
    variety : its number in the season
    prior : what was known of it before that season

    Returns
    -------
    the next prior; the same when the variety had no test

    Equation: with V the variance that lasts and E the season's, k = V/(V + E), and m, v the mean
    and variance learnt: m' = m0 + k (m - m0), v' = k^2 v + (1 - k) V, then E is added again.

    Source: conditional normal laws; E of the curve's shape is inference (`season_shape_share`).
    """
    places = np.flatnonzero(posterior.problem.varieties == variety)
    if not places.size:
        return prior
    parts = _parts(prior)
    total = parts.lasting + parts.season
    states = posterior.pool.state.variety[places[0], : len(PARAMETERS)]
    learnt = parts.mean + np.sqrt(total) * states.mean(axis=-1)
    share = parts.lasting / total
    mean = parts.mean + share * (learnt - parts.mean)
    lasting = share**2 * total * states.var(axis=-1) + (1.0 - share) * parts.lasting
    return _prior(prior, mean, lasting, parts.season, site=0.0)


def learn(
    posterior: Posterior, variety: int, name: str, before: Learnt | PotencyPrior, season: int
) -> Learnt:
    """What is known of a variety after a season, from what was known before it."""
    old = before if isinstance(before, Learnt) else Learnt(name, before, (), 0)
    lots = posterior.problem.model.variety
    mine = posterior.problem.varieties[lots[posterior.model.results.lot]] == variety
    return Learnt(
        name,
        next_prior(posterior, variety, old.prior),
        (*old.seasons, season),
        old.tests + int(mine.sum()),
        old.farms,
    )


def pool(base: PotencyPrior, learnt: Sequence[Learnt]) -> Learnt:
    """What several farms know of one variety, for a farm that has not grown it.

    Parameters
    ----------
    base : what each farm started from
    learnt : what each knows now

    Returns
    -------
    their knowledge together; the spread between farms is kept in `site_plateau_sd`

    Equation: farm f tells N(l, e^2) with 1/e^2 = 1/s^2 - 1/(V + S), l/e^2 = m/s^2 - m0/(V + S);
    the variety is N(m0, V) times all N(l, e^2 + S), S the variance between farms.

    Source: product of normal laws, the common start counted once.
    """
    start = _parts(base)
    site = np.zeros(len(PARAMETERS))
    site[PARAMETERS.index("log_plateau")] = base.site_plateau_sd**2
    own = start.lasting - site
    precision, pull = 1.0 / own, start.mean / own
    for one in learnt:
        parts = _parts(one.prior)
        told = np.maximum(1.0 / parts.lasting - 1.0 / start.lasting, _LEAST_LASTING)
        said = (parts.mean / parts.lasting - start.mean / start.lasting) / told
        weight = 1.0 / (1.0 / told + site)
        precision, pull = precision + weight, pull + weight * said
    prior = _prior(base, pull / precision, 1.0 / precision, start.season, base.site_plateau_sd)
    return Learnt(
        learnt[0].variety,
        prior,
        tuple(sorted({season for one in learnt for season in one.seasons})),
        sum(one.tests for one in learnt),
        sum(one.farms for one in learnt),
    )


def _parts(prior: PotencyPrior) -> _Parts:
    shape = COEFFICIENTS["season_shape_share"]
    kinds = ("peak_day_sd", "steepest_sd", "rate_sd", "midpoint_sd", "fall_sd")
    season = np.array([shape * COEFFICIENTS[kind] ** 2 for kind in kinds])
    total = np.array([getattr(prior, kind) ** 2 for kind in kinds])
    level = prior.cbd_plateau_sd**2 + prior.site_plateau_sd**2
    lasting = np.array([level, prior.cbd_to_thc_sd**2, *(total - season)])
    yearly = [prior.season_plateau_sd**2, prior.season_ratio_sd**2, *season]
    return _Parts(
        np.array(prior_mean(prior)), np.maximum(lasting, _LEAST_LASTING), np.array(yearly)
    )


def _prior(
    old: PotencyPrior, mean: Array, lasting: Array, season: Array, site: float
) -> PotencyPrior:
    """A prior from its normal scales; the season's own spread of the shape is in its spreads."""
    plateau, ratio, peak, steepest, rate, shift, fall = mean
    spread = np.sqrt(lasting + np.where(np.arange(mean.size) < 2, 0.0, season))
    return replace(
        old,
        cbd_plateau=float(np.exp(plateau)),
        cbd_plateau_sd=float(spread[0]),
        cbd_to_thc=float(np.exp(ratio)),
        cbd_to_thc_sd=float(spread[1]),
        peak_day=float(peak),
        peak_day_sd=float(spread[2]),
        steepest=float(steepest),
        steepest_sd=float(spread[3]),
        rate=float(np.exp(rate)),
        rate_sd=float(spread[4]),
        midpoint=float(COEFFICIENTS["midpoint"] + shift / peak),
        midpoint_sd=float(spread[5]),
        fall=float(np.exp(fall)),
        fall_sd=float(spread[6]),
        site_plateau_sd=site,
    )


# --- as a file ------------------------------------------------------------------------------------

_KINDS = {
    "cbd_plateau": "a share",
    "peak_day": "a number of days",
    "peak_day_sd": "a number of days",
    "midpoint_sd": "a number of days",
}
"""Fields written with a unit; the others are plain numbers, rates a day."""
_FIELDS = tuple(PotencyPrior.__dataclass_fields__)


def as_table(learnt: Learnt) -> dict[str, Any]:
    """What was learnt as the table of a file, to be read by a person too."""
    prior = {field: _written(field, getattr(learnt.prior, field)) for field in _FIELDS}
    return {
        "variety": learnt.variety,
        "seasons": list(learnt.seasons),
        "tests": learnt.tests,
        "farms": learnt.farms,
        "prior": prior,
    }


def from_table(table: Mapping[str, Any], file: str) -> Learnt:
    """What was learnt, from the table of a file; `InputError` lists every fault."""
    faults: list[Fault] = []
    written = table.get("prior")
    values = written if isinstance(written, Mapping) else {}
    prior = {field: _read(field, values.get(field), faults) for field in _FIELDS}
    allowed = f"one of {', '.join(_FIELDS)}"
    unknown = sorted(set(values) - set(_FIELDS))
    faults.extend(Fault("prior", field, values[field], allowed) for field in unknown)
    name, seasons = table.get("variety"), table.get("seasons")
    if not isinstance(name, str) or not name:
        faults.append(Fault("the file", "variety", name, "the name of a variety"))
    if not isinstance(seasons, list) or not all(type(year) is int for year in seasons):
        faults.append(Fault("the file", "seasons", seasons, "a list of years such as [2026]"))
    counts = [_count(field, table.get(field), faults) for field in ("tests", "farms")]
    if faults:
        raise InputError(file, faults)
    return Learnt(str(name), PotencyPrior(**prior), tuple(seasons or ()), *counts)


def _written(field: str, value: float) -> str | float:
    if field not in _KINDS:
        return float(f"{value:.{_DIGITS}g}")
    number, unit = to_unit(value, _KINDS[field], "metric")
    return f"{number:.{_DIGITS}g} {unit}"


def _read(field: str, value: Any, faults: list[Fault]) -> float:
    kind, may_be_zero = _KINDS.get(field), field.endswith("_sd")
    try:
        number = float(value) if kind is None else read_quantity(str(value), kind)
    except (TypeError, ValueError):
        number = np.nan
    if isinstance(value, bool) or not (0.0 < number < np.inf or (may_be_zero and number == 0.0)):
        allowed = "a number" if kind is None else f"{kind} with its unit in quotes"
        faults.append(Fault("prior", field, value, f"{allowed}, {'0 or ' * may_be_zero}above 0"))
    return number


def _count(field: str, value: Any, faults: list[Fault]) -> int:
    if type(value) is not int or value < 0:
        faults.append(Fault("the file", field, value, "a whole number"))
        return 0
    return value
