"""What a season taught of a variety, from the season as it stands."""

from __future__ import annotations

from tierpole.errors import Fault, InputError
from tierpole.outlook.forecast import make_forecast, priors
from tierpole.potency.learn import Learnt, learn
from tierpole.season import Season


def learnt_of(season: Season, variety: str, draws: int = 500, seed: int = 1) -> Learnt:
    """What is known of a variety after a season; `InputError` when no test told anything of it."""
    number = [one.name for one in season.varieties].index(variety)
    forecast = make_forecast(season, draws, seed)
    posterior = forecast.updated.posterior
    known = {each.variety: each for each in season.learnt}
    before = known.get(variety) or priors(season)[number]
    if posterior is None or number not in posterior.problem.varieties:
        fault = Fault("tests", "variety", variety, "a variety of which a lot has a test")
        raise InputError(season.source or season.farm.name, [fault])
    return learn(posterior, number, variety, before, season.year)
