"""Directions in which the posterior is near a standard normal, level by level.

A lot is regressed on its variety and on the farm, a variety on the farm; what remains of each is
made round. Moved along these directions a variety takes its lots with it and the farm takes both,
so that each level may be moved on its own without waiting for the others, and no step has to fit
more than one small block, however many lots there are.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tierpole.potency.model import Model, State

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_RIDGE = 1e-6  # of a prior variance, keeps the roots of near-empty directions defined


class Level(IntEnum):
    """The levels that move along directions, as places in a `State`."""

    FARM = 1
    VARIETY = 2
    LOT = 3


class Whitening(NamedTuple):
    """Roots of what each level has of its own, and its regressions on the levels above.

    `of_lot` [lot] is its variety, `first_lots` [variety] the first lot of each.
    """

    of_lot: Index
    first_lots: Index
    farm_root: Array
    variety_by_farm: Array
    variety_root: Array
    lot_by_farm: Array
    lot_by_variety: Array
    lot_root: Array

    @classmethod
    def of(cls, model: Model, covariance: Array) -> Whitening:
        """Directions of a normal law of all coordinates, as `State.flat` lays them out."""
        _, farm, variety, lot = model.places()
        above_variety = np.broadcast_to(farm, (len(variety), farm.size))
        above_lot = np.hstack([above_variety[model.variety], variety[model.variety]])
        variety_root, variety_by_farm = _given(covariance, variety, above_variety)
        lot_root, lot_by_both = _given(covariance, lot, above_lot)
        return cls(
            model.variety,
            model.first_lots,
            _cholesky(covariance[np.ix_(farm, farm)]),
            variety_by_farm,
            variety_root,
            lot_by_both[:, :, : farm.size],
            lot_by_both[:, :, farm.size :],
            lot_root,
        )

    def refitted(self, states: State, sure: int) -> Whitening:
        """These directions fitted to a sample of states, as sure as `sure` independent ones.

        Regressions are corrected only as far as the sample can be trusted against the number of
        coordinates that follow them: each is blurred a little, and hundreds of lots add that up.
        """
        farm, variety, lot = (part - part.mean(axis=-1, keepdims=True) for part in states[1:])
        lot = lot - self.lot_by_farm @ farm - self.lot_by_variety @ variety[self.of_lot]
        variety = variety - self.variety_by_farm @ farm
        above = np.broadcast_to(farm, (len(variety), *farm.shape))
        trust = sure / (sure + variety[..., 0].size + lot[..., 0].size)
        by_farm, variety = _regressed(variety, above, trust)
        above = np.concatenate([above[self.of_lot], variety[self.of_lot]], axis=1)
        by_both, lot = _regressed(lot, above, trust)
        lot_by_variety = self.lot_by_variety + by_both[:, :, len(farm) :]
        # what now belongs to the farm's part of a variety no longer comes through the variety
        lot_by_farm = self.lot_by_farm + by_both[:, :, : len(farm)]
        lot_by_farm = (
            lot_by_farm - by_both[:, :, len(farm) :] @ (self.variety_by_farm + by_farm)[self.of_lot]
        )
        return self._replace(
            farm_root=_root(farm),
            variety_by_farm=self.variety_by_farm + by_farm,
            variety_root=_root(variety),
            lot_by_farm=lot_by_farm,
            lot_by_variety=lot_by_variety,
            lot_root=_root(lot),
        )

    def lead(self, level: Level, state: State, inner: Array) -> State:
        """The state after a level is moved along its directions; those below follow."""
        if level is Level.LOT:
            return state._replace(lot=state.lot + self.lot_root @ inner)
        if level is Level.VARIETY:
            variety = self.variety_root @ inner
            lot = self.lot_by_variety @ variety[self.of_lot]
            return state._replace(variety=state.variety + variety, lot=state.lot + lot)
        farm = self.farm_root @ inner
        variety = self.variety_by_farm @ farm
        lot = self.lot_by_farm @ farm + self.lot_by_variety @ variety[self.of_lot]
        return State(state.spread, state.farm + farm, state.variety + variety, state.lot + lot)

    def follow(self, level: Level, slope: State) -> Array:
        """Slope along the directions of a level, from that by every coordinate."""
        if level is Level.LOT:
            return _turned(self.lot_root) @ slope.lot
        of_lots = _turned(self.lot_by_variety) @ slope.lot
        variety = slope.variety + np.add.reduceat(of_lots, self.first_lots, axis=0)
        if level is Level.VARIETY:
            return _turned(self.variety_root) @ variety
        farm = slope.farm + (_turned(self.variety_by_farm) @ variety).sum(axis=0)
        farm = farm + (_turned(self.lot_by_farm) @ slope.lot).sum(axis=0)
        return self.farm_root.T @ farm


def _given(covariance: Array, own: Index, above: Index) -> tuple[Array, Array]:
    """Root of the covariance of coordinates [unit, own] given those above; regression on them."""
    upper = covariance[above[:, :, None], above[:, None, :]]
    cross = covariance[own[:, :, None], above[:, None, :]]
    on_above = _turned(_solved(upper, _turned(cross)))
    left = covariance[own[:, :, None], own[:, None, :]] - on_above @ _turned(cross)
    return _cholesky(left), on_above


def _regressed(part: Array, above: Array, trust: float) -> tuple[Array, Array]:
    """Regression of a centred sample [unit, own, sample] on another, and what it leaves."""
    upper = above @ _turned(above)
    upper = upper + _RIDGE * above.shape[-1] * np.eye(above.shape[1])
    on_above = trust * _turned(_solved(upper, above @ _turned(part)))
    return on_above, part - on_above @ above


def _root(part: Array) -> Array:
    """Root of the covariance of a centred sample [..., own, sample]."""
    covariance = part @ _turned(part) / part.shape[-1]
    return _cholesky(covariance + _RIDGE * np.eye(part.shape[-2]))


def _solved(matrices: Array, right: Array) -> Array:
    return np.asarray(np.linalg.solve(matrices, right), float)


def _cholesky(covariance: Array) -> Array:
    return np.asarray(np.linalg.cholesky(covariance), float)


def _turned(matrices: Array) -> Array:
    return np.swapaxes(matrices, -1, -2)
