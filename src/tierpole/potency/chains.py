"""Many short Hamiltonian chains at once, moved level by level.

Each sweep moves the farm with all below it, then every variety with its lots, then every lot, each
along the directions of `whiten` and each unit taken or left on its own. So a farm of 200 lots takes
steps nearly as long as one of 12. Step lengths of each unit are brought to an acceptance of four
in five while the chains warm up; directions come first from the normal law of `laplace`, then from
the chains themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.model import UNSURE, Density, Model, Pooled, State, spread_factor
from tierpole.potency.pooled import Evenness, Held, refresh
from tierpole.potency.whiten import Level, Whitening

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_FIRST_STEP, _LONGEST_STEP = 0.6, 2.0
_SHORTER, _LONGER = 0.5, 1.2  # spread of step lengths about the learnt one, for narrow places
_QUARTER_TURN = 1.5
_FEWEST_LEAPS, _MOST_LEAPS = 2, 8
_ACCEPTANCE = 0.8
_RESPREADS = 8
_FEWEST_CHAINS = 32  # of a batch
_CACHED = 8192  # tests x chains of a batch, few enough for a core's own cache

# One large block taken and given back: the GNU allocator then keeps freed blocks of up to this
# size, where it would hand each back to the system and fetch it anew. Halves the time of a run.
np.empty(31 << 20, np.uint8)


class Chains(NamedTuple):
    """Where chains are, and what their composites hold."""

    state: State
    held: Held

    @property
    def number(self) -> int:
        """How many chains."""
        return self.state.farm.shape[-1]

    def pick(self, chains: Index | slice) -> Chains:
        """Some of the chains."""
        return Chains(self.state.pick(chains), self.held.pick(chains))


@dataclass
class Sampler:
    """A model, the directions to move its chains along, and step lengths [unit] by level."""

    model: Model
    evenness: Evenness
    whitening: Whitening
    rng: np.random.Generator

    def __post_init__(self) -> None:
        units = (1, *(size[0] for size in self.model.sizes[Level.VARIETY :]))
        self.steps = {
            level: np.full(count, _FIRST_STEP) for level, count in zip(Level, units, strict=True)
        }
        self.most = self.evenness.most_off_types(self.model.results)

    def start(self, state: State, row: Index | None = None) -> Chains:
        """Chains at a state, with the evenness of lots and composites drawn for it."""
        shape = (self.model.variety.size, state.farm.shape[-1])
        if row is None:
            row = self.rng.integers(self.evenness.draws, size=shape)
        none = np.zeros((len(self.model.results), shape[-1]), np.intp)
        return Chains(
            state, refresh(self.model, self.evenness, self.most, state, Held(row, none), self.rng)
        )

    def warm(self, chains: Chains, sweeps: int) -> Chains:
        """Chains after sweeps that learn step lengths, then directions from the later half."""
        later = []
        for number in range(sweeps):
            chains = self.sweep(chains, learning=2.0 / np.sqrt(1.0 + number))
            if 2 * number >= sweeps:
                later.append(chains)
        self.whitening = self.whitening.refitted(join(later).state, chains.number)
        return chains

    def sweep(self, chains: Chains, learning: float = 0.0) -> Chains:
        """Every level moved once; step lengths learn at a rate, 0 to leave them."""
        size = max(_FEWEST_CHAINS, _CACHED // len(self.model.results))
        moved, accepted = [], {level: np.zeros_like(step) for level, step in self.steps.items()}
        for first in range(0, chains.number, size):
            batch, chances = self._sweep(chains.pick(slice(first, first + size)))
            moved.append(batch)
            for level, chance in chances.items():
                accepted[level] += chance.sum(axis=-1) / chains.number
        for level, chance in accepted.items():
            change = np.exp(learning * (chance - _ACCEPTANCE))
            self.steps[level] = np.minimum(self.steps[level] * change, _LONGEST_STEP)
        return join(moved)

    def _sweep(self, chains: Chains) -> tuple[Chains, dict[Level, Array]]:
        """A batch of chains after one sweep, and the chances of acceptance by level."""
        held = refresh(self.model, self.evenness, self.most, *chains, self.rng)
        rows = held.row[self.model.results.lot]
        pooled = self.evenness.pooled(self.model.results, rows, held.off_types)
        state, chances = respread(self.model, chains.state, self.rng), {}
        with np.errstate(all="ignore"):  # a step that runs off the numbers is not taken
            for level in Level:
                state, chances[level] = self._move(level, state, pooled)
        return Chains(state, held), chances

    def _move(self, level: Level, state: State, pooled: Pooled) -> tuple[State, Array]:
        """One Hamiltonian move of a level; also the chance of acceptance [unit, chain]."""
        density, slope = self.model.gradient(state, pooled)
        inner = self.whitening.follow(level, slope)
        momentum = self.rng.standard_normal(inner.shape)
        before = _height(level, density, momentum)
        length = self._lengths(level, state.farm.shape[-1])
        new, leaps = state, self._leaps(level)
        momentum += 0.5 * length * inner
        for leap in range(1, leaps + 1):
            new = self.whitening.lead(level, new, length * momentum)
            density, slope = self.model.gradient(new, pooled)
            inner = self.whitening.follow(level, slope)
            momentum += (1.0 if leap < leaps else 0.5) * length * inner
        gain = np.nan_to_num(_height(level, density, momentum) - before, nan=-np.inf)
        taken = np.log(self.rng.random(gain.shape)) < gain
        return self._mixed(level, taken, new, state), np.atleast_2d(np.exp(np.minimum(gain, 0.0)))

    def _lengths(self, level: Level, chains: int) -> Array:
        """Step lengths of a level's units, spread from chain to chain."""
        spread, step = self.rng.uniform(_SHORTER, _LONGER, chains), self.steps[level]
        return spread * (step if level is Level.FARM else step[:, None, None])

    def _leaps(self, level: Level) -> int:
        """Steps that make about a quarter turn."""
        turn = np.ceil(_QUARTER_TURN / np.median(self.steps[level]))
        return int(np.clip(turn, _FEWEST_LEAPS, _MOST_LEAPS))

    def _mixed(self, level: Level, taken: NDArray[np.bool_], new: State, old: State) -> State:
        """New states where taken, by unit of the level moved."""
        if level is Level.LOT:
            return old._replace(lot=np.where(taken[:, None], new.lot, old.lot))
        if level is Level.VARIETY:
            of_lot = taken[self.model.variety]
            return old._replace(
                variety=np.where(taken[:, None], new.variety, old.variety),
                lot=np.where(of_lot[:, None], new.lot, old.lot),
            )
        return State(*(np.where(taken, mine, its) for mine, its in zip(new, old, strict=True)))


def respread(model: Model, state: State, rng: np.random.Generator) -> State:
    """States after the spreads of lots and of laboratories were drawn anew.

    Metropolis steps on each, given the deviations of lots and laboratories: no certificate enters.
    """
    lots, laboratories = state.lot[:, :2], model.deviation(state)
    count = np.repeat([len(lots), model.laboratories], 2)[:, None]
    squares = np.concatenate([(lots**2).sum(axis=0), (laboratories**2).sum(axis=1)])

    def height(spread: Array) -> Array:
        factor = spread_factor(spread, UNSURE)
        return -0.5 * (spread**2 + squares / factor**2) - count * np.log(factor)

    spread, reach = state.spread, 2.4 / np.sqrt(1.0 + 2.0 * count * UNSURE**2)
    for _ in range(_RESPREADS):
        new = spread + reach * rng.standard_normal(spread.shape)
        taken = np.log(rng.random(spread.shape)) < height(new) - height(spread)
        spread = np.where(taken, new, spread)
    return state._replace(spread=spread)


def join(chains: list[Chains]) -> Chains:
    """Chains one after the other."""
    states, helds = zip(*chains, strict=True)
    return Chains(State(*_joined(states)), Held(*_joined(helds)))


def _joined(parts: tuple[tuple[NDArray[Any], ...], ...]) -> list[NDArray[Any]]:
    return [np.concatenate(each, axis=-1) for each in zip(*parts, strict=True)]


def _height(level: Level, density: Density, momentum: Array) -> Array:
    """Log posterior of each unit less its kinetic energy."""
    return density[level - Level.FARM] - 0.5 * (momentum**2).sum(axis=-2)
