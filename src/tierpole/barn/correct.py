"""A place under watch: its drying run beside its readings, and drawn towards them every day.

What is corrected is what hangs now and everything that is unsure about it: moistures, how fast
parts give up water, what the air lets through, what the weighed sticks hold of dry matter, and what
each sensor reads amiss. The moisture at hanging is not known, and every weight of a stick rests on
it; so the dry matter of the weighed sticks is part of what is estimated, and all readings of one
stick share it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tierpole.barn import ensemble, sensors, targets
from tierpole.barn.draws import BarnDraws
from tierpole.barn.hanging import BarnState, PlaceTrace
from tierpole.barn.runs import Run
from tierpole.barn.sensors import AirSeries, Finding, Trouble
from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

COEFFICIENTS = Table(
    "Correcting a place",
    (
        Value(
            "own_stick", 0.20, "log SD", Mark.INFERENCE,
            "how a hanging's sticks differ in dry matter from the farm's reckoning, until weighed",
        ),
        Value(
            "meter_error", 0.03, "share wet basis", Mark.INFERENCE,
            "SD of a moisture meter or oven sample against the whole hanging",
        ),
        Value("window", 24.0, "h", Mark.INFERENCE, "readings are taken in at least as often"),
        Value("least_read", 0.03, "share", Mark.PRACTICE, "driest flower a meter can tell of"),
        Value("most_read", 0.90, "share", Mark.PRACTICE, "and the wettest"),
        Value("driest", 0.02, "kg/kg", Mark.INFERENCE, "moisture no correction goes below"),
        Value("wettest", 9.0, "kg/kg", Mark.INFERENCE, "nor above, 90 % wet basis"),
    ),
)  # fmt: skip

_C = COEFFICIENTS
# what readings of one place can tell of, all positive; shares stay at or below one
CORRECTED = (
    "conductance_flower", "conductance_leaf", "conductance_stem", "exposed", "scale_flower",
    "scale_stem", "exponent", "mass_flower", "mass_leaf", "mass_stem", "vents", "shelter",
    "canopy", "leaks", "heat_factor",
)  # fmt: skip
_SHARES = ("exposed", "shelter", "canopy")
_MOST_SHARE = 0.995
_HANGING = 1  # a batch's stage


@dataclass(frozen=True)
class Weighing:
    """Sticks on the scale: when, of which batch, the kilograms one weighed, how many they were.

    At the beginning of an hour, and one hour after they were hung at the earliest.
    """

    hour: int
    batch: int
    mass: float
    sticks: int


@dataclass(frozen=True)
class Metered:
    """A measured moisture of the flower, wet basis; hours as of a `Weighing`."""

    hour: int
    batch: int
    moisture: float


@dataclass(frozen=True)
class Readings:
    """Everything read in a place: its air, sticks weighed, moistures measured."""

    air: AirSeries
    weighings: Sequence[Weighing] = ()
    metered: Sequence[Metered] = ()


@dataclass(frozen=True, eq=False)
class Corrected:
    """A place as readings leave it, with what they showed.

    `own_stick` is the dry matter of each batch's sticks against the farm's reckoning
    [draw, batch], `offset` what the humidity sensor reads too high [draw]. `traces` are the hours
    as they were foretold from one correction to the next.
    """

    draws: BarnDraws
    state: BarnState
    own_stick: Array
    offset: Array
    traces: tuple[PlaceTrace, ...]
    findings: tuple[Finding, ...]


@dataclass
class _Members:
    """The ensemble in the making."""

    draws: BarnDraws
    state: BarnState
    log_own: Array  # [draw, batch]
    offset: Array  # of the humidity sensor [draw, 1]
    offset_warm: Array  # of the thermometer [draw, 1]


@dataclass(frozen=True, eq=False)
class _Window:
    """Hours between two corrections: what was read in them, and what was foretold."""

    air: AirSeries
    trace: PlaceTrace
    start: int
    end: int


@dataclass(frozen=True, eq=False)
class _Foretold:
    """A reading with what each member foretold of it."""

    predicted: Array
    value: float
    error: float

    @property
    def is_gross(self) -> bool:
        """Whether it is a slip before it is news."""
        return bool(ensemble.is_gross(self.predicted[:, None], [self.value], [self.error])[0])


def stick_mass(moisture: Array, mass_dry: Array, own: Array, sticks: float) -> Array:
    """What one stick of a batch weighs.

    Parameters
    ----------
    moisture : of its parts, dry basis [kg/kg], [draw, tier, part]
    mass_dry : dry matter of the whole batch [kg], [draw, tier, part]
    own : dry matter of its sticks against the reckoning [1], [draw]
    sticks : in the batch [1]

    Returns
    -------
    mass : [kg], [draw]

    Equation: W = f Σ m (1 + X) / n.
    Source: mass balance; what a stick holds of dry matter stays as it was when hung.
    """
    return own * (mass_dry * (1 + moisture)).sum(axis=(1, 2)) / sticks


def correct(
    run: Run, draws: BarnDraws, readings: Readings, last: int, sticks: Array,
    rng: np.random.Generator,
) -> Corrected:  # fmt: skip
    """A place run from its first hour to `last` with its readings taken in on the way.

    Parameters
    ----------
    run : the place
    draws : as they are before any reading [draw]
    readings : all of them; what lies outside the hours is left out
    last : hour of the season [h]
    sticks : of each batch, as counted [batch]
    rng : for what each member's sensors read amiss
    """
    count = len(draws)
    members = _Members(
        draws, run.start(draws),
        _C["own_stick"] * _even(rng, count, sticks.size),
        sensors.COEFFICIENTS["drift_start"] * _even(rng, count, 1),
        sensors.COEFFICIENTS["offset_warm"] * _even(rng, count, 1),
    )  # fmt: skip
    still, found = sensors.stuck(readings.air)
    air = readings.air.take(~still)
    found += sensors.gaps(readings.air.hour)
    traces: list[PlaceTrace] = []
    for start, end in _spans(readings, run.first, last):
        state, trace = run.advance(members.draws, members.state, end)
        window = _Window(air.take((air.hour >= start) & (air.hour < end)), trace, start, end)
        cold = _heater(run, window)
        if cold is not None:  # these hours again, as they were without it
            unheated = run.without_heat(cold.first_hour, end)
            state, trace = unheated.advance(members.draws, members.state, end)
            window = replace(window, trace=trace)
            found.append(cold)
        members.state = state
        traces.append(trace)
        found += _take_in(run, members, readings, window, sticks)
    return Corrected(
        members.draws, members.state, np.exp(members.log_own), members.offset[:, 0],
        tuple(traces), tuple(sorted(found, key=lambda one: one.first_hour)),
    )  # fmt: skip


def _even(rng: np.random.Generator, count: int, columns: int) -> Array:
    """Standard normals whose mean is 0 and SD 1 in each column."""
    drawn = rng.standard_normal((count, columns))
    drawn -= drawn.mean(axis=0)
    return drawn / np.maximum(drawn.std(axis=0), 1e-12)


def _spans(readings: Readings, first: int, last: int) -> list[tuple[int, int]]:
    """Spans at whose ends readings are taken in: days with air read, each weighing or sample."""
    step = int(_C["window"])
    marks = {first + step * (1 + (int(hour) - first) // step) for hour in readings.air.hour}
    marks |= {one.hour for one in (*readings.weighings, *readings.metered)}
    edges = [first, *sorted(mark for mark in marks if first < mark < last), last]
    return list(pairwise(edges))


# --- what was read, and what was foretold of it ---------------------------------------------------


def _take_in(
    run: Run, members: _Members, readings: Readings, window: _Window, sticks: Array
) -> list[Finding]:
    """Draw the members towards what a window holds; returns what was not believed."""
    _drift(members, window)
    foretold, found = _air(members, window)
    for one in readings.metered:  # first, for a surprise among them sets the state anew
        if one.hour == window.end:
            foretold.append(_metered(run, members, one, found))
    for one in readings.weighings:
        if one.hour == window.end:
            foretold.append(_weight(run, members, one, sticks, found))
    kept = [one for one in foretold if not one.is_gross]
    if kept:
        _update(members, kept)
    return found


def _drift(members: _Members, window: _Window) -> None:
    """Let the humidity sensor's offset wander, the more after wetting."""
    damp = window.air.humidity if len(window.air) else np.zeros(1)
    step = (window.end - window.start) / damp.size
    grown = float(sensors.drift_variance(damp, step).sum())
    mean, variance = members.offset.mean(), members.offset.var()
    stretch = np.sqrt((variance + grown) / max(variance, 1e-12))
    members.offset = mean + (members.offset - mean) * stretch


def _air(members: _Members, window: _Window) -> tuple[list[_Foretold], list[Finding]]:
    """Means of temperature and humidity by block of hours, and how many were not believed."""
    air, s = window.air, sensors.COEFFICIENTS
    warm, damp = _at(window, "temperature"), _at(window, "humidity")
    block = sensors.blocks(air.hour)
    told: list[_Foretold] = []
    for number in np.unique(block):
        own = block == number
        mean = float(air.temperature[own].mean()), float(air.humidity[own].mean())
        likely = warm[:, own].mean(axis=1) + members.offset_warm[:, 0]
        told.append(_Foretold(likely, mean[0], s["temperature_error"]))
        likely = damp[:, own].mean(axis=1) + members.offset[:, 0]
        told.append(_Foretold(likely, mean[1], s["humidity_error"]))
    found: list[Finding] = []
    for what, own in (("temperature", told[0::2]), ("humidity", told[1::2])):
        gross = [one for one in own if one.is_gross]
        if own and len(gross) * 2 > len(own):
            likely = float(np.mean([one.predicted.mean() for one in gross]))
            value = float(np.mean([one.value for one in gross]))
            hours = int(air.hour[0]), int(air.hour[-1])
            found.append(Finding(Trouble.GROSS, what, *hours, value, likely))
    return told, found


def _at(window: _Window, name: str) -> Array:
    """Air foretold for the hours that were read, where the readings were taken [draw, reading]."""
    values = getattr(window.trace, name)[:, :, window.air.hour - window.start].astype(float)
    tier = window.air.tier
    row = np.clip(tier - 1, 0, values.shape[1] - 1)
    at_tier = values[:, row, np.arange(tier.size)]
    return np.where(tier > 0, at_tier, values.mean(axis=1))


def _dry_mass(run: Run, draws: BarnDraws, batch: int) -> Array:
    """Dry matter of a batch [kg], [draw, tier, part]."""
    stick = np.stack([draws.mass_flower, draws.mass_leaf, draws.mass_stem], axis=-1)
    return run.hangings.sticks[batch] * run.tier_share()[batch][:, None] * stick[:, None, :]


def _weight(
    run: Run, members: _Members, one: Weighing, sticks: Array, found: list[Finding]
) -> _Foretold:
    """A weighing as a log; one in the wrong unit is told, and taken in the right one."""
    moisture = members.state.moisture[:, one.batch]
    own, mass = np.exp(members.log_own[:, one.batch]), _dry_mass(run, members.draws, one.batch)
    each = stick_mass(moisture, mass, own, sticks[one.batch])
    s, value, likely = sensors.COEFFICIENTS, one.mass, float(each.mean())
    error = float(np.hypot(s["weight_error"] / one.sticks, s["stick_error"] * value))
    slip = sensors.unit_slip(value, each, error, ensemble.COEFFICIENTS["gross"])
    factor = 1.0 if slip is None else sensors.FACTORS[slip]
    told = _Foretold(np.log(each), float(np.log(value * factor)), error / value)
    trouble = slip or (Trouble.GROSS if told.is_gross else None)
    if trouble is not None:
        what = f"batch {one.batch}"
        found.append(Finding(trouble, what, one.hour, one.hour, value, likely))
    return told


def _metered(run: Run, members: _Members, one: Metered, found: list[Finding]) -> _Foretold:
    """A measured moisture of the flower."""
    flower = members.state.moisture[:, one.batch, :, 0]
    foretold = targets.wet_basis((run.tier_share()[one.batch] * flower).sum(axis=1))
    told = _Foretold(foretold, one.moisture, _C["meter_error"])
    if told.is_gross:
        what, likely = f"batch {one.batch}", float(foretold.mean())
        found.append(Finding(Trouble.GROSS, what, one.hour, one.hour, one.moisture, likely))
        _start_anew(members, one, foretold)
    return told


def _start_anew(members: _Members, one: Metered, foretold: Array) -> None:
    """Set flower and leaf of a batch to what a meter says of it, where nothing foretold it.

    Each draw keeps its rank; their spread becomes the meter's error.
    """
    rank = (foretold - foretold.mean()) / max(float(foretold.std()), 1e-9)
    wet = np.clip(one.moisture + _C["meter_error"] * rank, _C["least_read"], _C["most_read"])
    change = targets.dry_basis(wet) / targets.dry_basis(foretold)
    moisture = members.state.moisture.copy()
    moisture[:, one.batch, :, :2] *= change[:, None, None]
    members.state = replace(members.state, moisture=moisture)


def _heater(run: Run, window: _Window) -> Finding | None:
    """A heater that should have run in a window and gave nothing."""
    heat = run.controls.heat[window.air.hour - run.first] if run.place.heater > 0 else np.zeros(0)
    if not heat.any():
        return None
    mean = _at(window, "temperature").mean(axis=0)
    return sensors.heater_finding(window.air.hour, window.air.temperature, mean, heat > 0)


# --- the correction -------------------------------------------------------------------------------


def _update(members: _Members, kept: Sequence[_Foretold]) -> None:
    """One correction of everything by what was read."""
    state, hangs = members.state, _hanging(members.state)
    parts = [
        np.log(np.stack([getattr(members.draws, name) for name in CORRECTED], axis=1)),
        np.log(state.moisture[:, hangs].reshape(len(members.draws), -1)),
        members.log_own, members.offset, members.offset_warm,
    ]  # fmt: skip
    before = np.concatenate(parts, axis=1)
    after = ensemble.relaxed(
        ensemble.assimilate(
            before, np.stack([one.predicted for one in kept], axis=1),
            [one.value for one in kept], [one.error for one in kept],
        ),
        before,
    )  # fmt: skip
    edges = np.cumsum([part.shape[1] for part in parts])[:-1]
    logs, wet, members.log_own, members.offset, members.offset_warm = np.split(after, edges, axis=1)
    moisture = state.moisture.copy()
    moisture[:, hangs] = np.clip(np.exp(wet), _C["driest"], _C["wettest"]).reshape(
        moisture[:, hangs].shape
    )
    members.draws, members.state = _with(members.draws, logs), replace(state, moisture=moisture)


def _hanging(state: BarnState) -> Bools:
    """Batches that hang in every draw [batch]."""
    return (state.stage == _HANGING).all(axis=0)


def _with(draws: BarnDraws, logs: Array) -> BarnDraws:
    """Draws with the corrected parameters, shares kept at or below one."""
    values = np.exp(logs)
    changed = {
        name: np.minimum(values[:, column], _MOST_SHARE) if name in _SHARES else values[:, column]
        for column, name in enumerate(CORRECTED)
    }
    return replace(draws, **changed)
