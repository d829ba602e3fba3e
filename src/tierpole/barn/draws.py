"""What is not known of plants, air and mould, drawn once for each possible season.

No measured record of hemp hanging in a barn could be found, so most of these are analogues with a
wide spread. A farm's own logger and stick weights should replace them first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, gammaincinv, ndtri

from tierpole.barn import geometry, isotherm, targets
from tierpole.evidence import Mark, Table, Value

Array = NDArray[np.float64]

_STEM = (
    "stem holds less than leaf: lemon balm (Argyropoulos et al. 2012), corn stover "
    "(Karunanithy et al. 2013, J. Renew. Energy 939504)"
)
_MOULD_SPREAD = "1.8 in all, of it 1.5 between the plants of one hanging (see the losses)"
_TRADE = "trade rule: air short of 0.8 kPa dries flower in 7-10 days"
_WETNESS = "between extension reports of 70-85 % for flower and 59-75 % for stems"
_PARTS = ("flower", "leaf", "stem")
_SPLIT = "hung floral plants, between trial reports; fan leaf partly shed"

COEFFICIENTS = Table(
    "Drying draws",
    (
        Value("conductance_flower", 7e-9, "kg/kg/s/Pa", Mark.INFERENCE, _TRADE, 4.5e-9, 1.08e-8),
        Value(
            "conductance_flower_spread", 1.4, "geometric SD", Mark.INFERENCE,
            "reports of 7 to 14 days for whole plants; 1.6 would span more than practice does",
        ),
        Value(
            "conductance_leaf", 1.5, "1", Mark.INFERENCE,
            "fan leaves against flower: thin blades; they are crisp before the flower is dry",
        ),
        Value(
            "conductance_stem", 1.5e-9, "kg/kg/s/Pa", Mark.INFERENCE,
            "stems take two to three times as long as flower", 0.76e-9, 2.96e-9,
        ),
        Value("conductance_stem_spread", 1.7, "geometric SD", Mark.INFERENCE, "as above"),
        Value("conductance_correlation", 0.5, "1", Mark.INFERENCE, "same plants, same draught"),
        Value(
            "exposed", 0.65, "share", Mark.INFERENCE,
            "whole plants close like an umbrella as they wilt; 1 for branches", 0.5, 0.8,
        ),
        Value("exposed_spread", 0.12, "SD", Mark.INFERENCE, "as above"),
        Value("isotherm_scale_spread", 0.12, "log SD", Mark.INFERENCE, "spread among leaf crops"),
        Value("isotherm_exponent_spread", 0.25, "SD", Mark.INFERENCE, "spread among leaf crops"),
        Value(
            "loop_least", 0.005, "kg/kg", Mark.INFERENCE,
            "material that dries holds 0.5 to 1.5 points more than the same rewetting at 40-80 %",
        ),
        Value("loop_most", 0.015, "kg/kg", Mark.INFERENCE, "as above"),
        Value("stem_scale_least", 0.80, "1", Mark.INFERENCE, _STEM),
        Value("stem_scale_most", 0.92, "1", Mark.INFERENCE, _STEM),
        Value("moisture_flower", 0.77, "share wet basis", Mark.INFERENCE, _WETNESS, 0.744, 0.796),
        Value("moisture_flower_spread", 0.02, "SD", Mark.INFERENCE, _WETNESS),
        Value("moisture_leaf", 0.78, "share wet basis", Mark.INFERENCE, _WETNESS, 0.742, 0.818),
        Value("moisture_leaf_spread", 0.03, "SD", Mark.INFERENCE, _WETNESS),
        Value("moisture_stem", 0.68, "share wet basis", Mark.INFERENCE, _WETNESS, 0.629, 0.731),
        Value("moisture_stem_spread", 0.04, "SD", Mark.INFERENCE, _WETNESS),
        Value("share_flower", 0.40, "share of dry matter", Mark.INFERENCE, _SPLIT),
        Value("share_leaf", 0.22, "share of dry matter", Mark.INFERENCE, _SPLIT),
        Value("share_stem", 0.38, "share of dry matter", Mark.INFERENCE, _SPLIT),
        Value("share_concentration", 30.0, "1", Mark.INFERENCE, _SPLIT),
        Value("stick_weight_spread", 1.2, "geometric SD", Mark.INFERENCE, "a farm's own habit"),
        Value(
            "vents_least", 0.25, "1", Mark.MEMORY,
            "effectiveness of openings: wind aslant (ASHRAE Fundamentals ch. 16)",
        ),
        Value("vents_most", 0.60, "1", Mark.MEMORY, "wind square to them (as above)"),
        Value("shelter", 0.60, "1", Mark.INFERENCE, "wind at the barn against open country"),
        Value("shelter_spread", 0.15, "SD", Mark.INFERENCE, "as above: trees, hills, other barns"),
        Value(
            "canopy_least", 0.4, "share", Mark.INFERENCE,
            "air that goes through the plants of a full place, not round them",
        ),
        Value("canopy_most", 0.9, "share", Mark.INFERENCE, "as above"),
        Value("leaks_least", 0.005, "m2/m2", Mark.INFERENCE, "cracks in board-sided walls"),
        Value("leaks_most", 0.03, "m2/m2", Mark.INFERENCE, "as above"),
        Value("heat_least", 0.5, "1", Mark.INFERENCE, "roof absorptance, cover, cloud"),
        Value("heat_most", 1.5, "1", Mark.INFERENCE, "roof absorptance, cover, cloud"),
        Value(
            "mould_speed", 4.0, "1", Mark.INFERENCE,
            "flower against pine sapwood; wood is a poor host", 1.9, 8.5,
        ),
        Value("mould_speed_spread", 1.55, "geometric SD", Mark.INFERENCE, _MOULD_SPREAD),
        Value(
            "dose_critical", 5.0, "d at 20 °C and 90 %", Mark.INFERENCE,
            "planed spruce about 17 d (Thelandersson & Isaksson 2013)", 2.4, 10.6,
        ),
        Value("dose_critical_spread", 1.55, "geometric SD", Mark.INFERENCE, _MOULD_SPREAD),
        Value(
            "mould_decline_most", 0.25, "1", Mark.INFERENCE,
            "most of what the index falls on pine in dry air; dead mould does not leave flower",
        ),
        Value("field_infection", 0.3, "chance", Mark.INFERENCE, "grey mould brought in unseen"),
        Value("field_index", 0.5, "1", Mark.INFERENCE, "highest index it starts from"),
        Value(
            "reading_error", 0.03, "share wet basis", Mark.INFERENCE,
            "SD of a measured moisture, from not knowing the moisture at hanging to 2-4 points",
        ),
        Value(
            "cannabinoid_loss", 0.02, "share in 14 d", Mark.INFERENCE,
            "ambient hang, 0-5 %; oven kinetics overstate it many times", 0.004, 0.04,
        ),
        Value("cannabinoid_loss_spread", 0.015, "SD", Mark.INFERENCE, "as above"),
        Value(
            "decarboxylation_least", 2e-4, "1/d at 20 °C", Mark.INFERENCE,
            "acids to neutral cannabinoids in store (Meija et al. 2021, Anal. Bioanal. Chem.)",
        ),
        Value("decarboxylation_most", 2e-3, "1/d at 20 °C", Mark.INFERENCE, "as above"),
        Value(
            "ageing", 85.0, "kJ/mol", Mark.MEMORY,
            "activation energy, THCA solid: Perrotin-Brunel et al. 2011, J. Mol. Struct. 987:67",
        ),
        Value("ageing_spread", 6.0, "SD kJ/mol", Mark.INFERENCE, "between 75 and 100"),
    ),
)  # fmt: skip

_C = COEFFICIENTS


@dataclass(frozen=True)
class BarnDraws:
    """Parameters of plants, air and mould, one value per barn draw [barn_draw].

    Moistures on the dry basis, when hung. `mass_*` is the dry matter of a full stick.
    """

    conductance_flower: Array  # hung alone in hardly moving air [kg/kg/s/Pa]
    conductance_leaf: Array  # [kg/kg/s/Pa]
    conductance_stem: Array  # [kg/kg/s/Pa]
    exposed: Array  # of flower and leaf among their neighbours [share]
    scale_flower: Array  # of the isotherm of flower and leaf [1]
    scale_stem: Array  # of the isotherm [1]
    exponent: Array  # of the isotherm [1]
    loop: Array  # between the isotherm's drying and wetting branches [kg/kg]
    moisture_flower: Array  # [kg/kg]
    moisture_leaf: Array  # [kg/kg]
    moisture_stem: Array  # [kg/kg]
    mass_flower: Array  # [kg]
    mass_leaf: Array  # [kg]
    mass_stem: Array  # [kg]
    vents: Array  # effectiveness of openings in the wind [1]
    shelter: Array  # wind at the barn against open country [1]
    canopy: Array  # air that goes through the plants of a full place [share]
    leaks: Array  # cracks in board-sided walls [m²/m²]
    heat_factor: Array  # warmth by sun against the default [1]
    mould_speed: Array  # growth index against pine sapwood [1]
    mould_decline: Array  # [1]
    mould_start: Array  # growth index brought from the field [1]
    dose_critical: Array  # at which mould starts [d at 20 °C and 90 %]
    cannabinoid_loss: Array  # in 14 days at 20 °C [share]
    decarboxylation: Array  # at 20 °C [1/d]
    ageing: Array  # activation energy of both [J/mol]
    reading_error: Array  # of moisture readings, in their own SD [1]

    def __len__(self) -> int:
        return self.exponent.size

    def take(self, rows: NDArray[np.int64]) -> BarnDraws:
        """The draws of some rows, in that order."""
        return BarnDraws(*(getattr(self, field.name)[rows] for field in fields(self)))


def draw_barn_parameters(rng: np.random.Generator, count: int) -> BarnDraws:
    """Draws of everything in `COEFFICIENTS`, each evenly spread over its own range."""
    draw = _Spread(rng, count)
    flower, stem = _conductances(draw)
    scale = np.exp(_C["isotherm_scale_spread"] * draw.standard())
    shares, moistures = _shares(draw), _moistures(draw)
    weight = geometry.COEFFICIENTS["stick_weight"] * draw.factor("stick_weight")
    mass_dry = weight / (1 + targets.mixed_moisture_dry(shares, moistures))
    return BarnDraws(
        conductance_flower=flower,
        conductance_leaf=_C["conductance_leaf"] * flower,
        conductance_stem=stem,
        exposed=draw.beta("exposed"),
        scale_flower=scale,
        scale_stem=scale * draw.between(_C["stem_scale_least"], _C["stem_scale_most"]),
        exponent=isotherm.COEFFICIENTS["exponent"]
        + _C["isotherm_exponent_spread"] * draw.standard().clip(-2.5, 2.5),
        loop=draw.between(_C["loop_least"], _C["loop_most"]),
        moisture_flower=moistures[:, 0],
        moisture_leaf=moistures[:, 1],
        moisture_stem=moistures[:, 2],
        mass_flower=mass_dry * shares[:, 0],
        mass_leaf=mass_dry * shares[:, 1],
        mass_stem=mass_dry * shares[:, 2],
        vents=draw.between(_C["vents_least"], _C["vents_most"]),
        shelter=draw.beta("shelter"),
        canopy=draw.between(_C["canopy_least"], _C["canopy_most"]),
        leaks=draw.even_logs(_C["leaks_least"], _C["leaks_most"]),
        heat_factor=draw.between(_C["heat_least"], _C["heat_most"]),
        mould_speed=_C["mould_speed"] * draw.factor("mould_speed"),
        mould_decline=draw.between(0, _C["mould_decline_most"]),
        mould_start=_C["field_index"] * (1 - draw.uniform() / _C["field_infection"]).clip(0),
        dose_critical=_C["dose_critical"] * draw.factor("dose_critical"),
        cannabinoid_loss=draw.beta("cannabinoid_loss"),
        decarboxylation=draw.even_logs(_C["decarboxylation_least"], _C["decarboxylation_most"]),
        ageing=1e3 * (_C["ageing"] + _C["ageing_spread"] * draw.standard().clip(-2.5, 2.5)),
        reading_error=draw.standard(),
    )


class _Spread:
    """Draws of one quantity after another, each stratified: as many in every equal share of it."""

    def __init__(self, rng: np.random.Generator, count: int):
        self._rng, self._count = rng, count

    def uniform(self) -> Array:
        return (self._rng.permutation(self._count) + self._rng.random(self._count)) / self._count

    def standard(self) -> Array:
        return ndtri(self.uniform())

    def between(self, low: float, high: float) -> Array:
        return low + (high - low) * self.uniform()

    def even_logs(self, low: float, high: float) -> Array:
        return np.exp(self.between(np.log(low), np.log(high)))

    def factor(self, name: str) -> Array:
        """Log-normal with median 1 and the geometric SD of `name`."""
        return _C[f"{name}_spread"] ** self.standard()

    def beta(self, name: str) -> Array:
        """Beta with the mean and SD of `name`."""
        mean, deviation = _C[name], _C[f"{name}_spread"]
        concentration = mean * (1 - mean) / deviation**2 - 1
        return betaincinv(mean * concentration, (1 - mean) * concentration, self.uniform())


def _conductances(draw: _Spread) -> tuple[Array, Array]:
    """Conductance of flower and of stem: log-normal, correlated."""
    correlation = _C["conductance_correlation"]
    first, second = draw.standard(), draw.standard()
    other = correlation * first + np.sqrt(1 - correlation**2) * second
    flower = _C["conductance_flower"] * _C["conductance_flower_spread"] ** first
    return flower, _C["conductance_stem"] * _C["conductance_stem_spread"] ** other


def _moistures(draw: _Spread) -> Array:
    """Moisture of flower, leaf and stem when cut, dry basis [draw, part]."""
    wet = [
        _C[f"moisture_{part}"] + _C[f"moisture_{part}_spread"] * draw.standard() for part in _PARTS
    ]
    return targets.dry_basis(np.stack(wet, axis=-1).clip(0.5, 0.88))


def _shares(draw: _Spread) -> Array:
    """Dry matter of flower, leaf and stem as shares of the plant's [draw, part]: Dirichlet."""
    weights = [
        gammaincinv(_C["share_concentration"] * _C[f"share_{part}"], draw.uniform())
        for part in _PARTS
    ]
    parts = np.stack(weights, axis=-1)
    return parts / parts.sum(-1, keepdims=True)
