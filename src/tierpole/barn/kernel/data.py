"""What the kernel works on: its columns, and what a run is made of."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Hours = NDArray[np.int64]
Triple = tuple[float, float, float]

FLOWER, LEAF, STEM = 0, 1, 2  # parts of a hung plant
PARTS = 3
WAITING, HANGING, GONE = 0, 1, 2  # stages of a batch
# columns of a batch's record
ABOVE, AT_TARGET, HUNG, MOISTURE_FLOWER, MOISTURE_STEM, AGE, HOURS_WET, RISK, BURNT = range(9)
RECORDS = 9
# columns of a batch's mould in a tier
DOSE, INDEX, HOURS_DRY, DAY_HUMIDITY, DAY_WARM, RUN_DAMP, LONGEST_DAMP = range(7)
MOULDS = 7
# columns of the air of a tier
TEMPERATURE, RATIO = range(2)
# scratch of a tier: temperature before a step and a guess of it after, mean air of the hour,
# Σ m G a, Σ m G, heat held
BEFORE, GUESS, MEAN_WARM, MEAN_RATIO, MOISTENING, DRYING, HELD = range(7)
SCRATCH = 7
# columns of a place's hour
EVAPORATED, HEAT, FAN_ENERGY, CROSS, THROUGH = range(5)
PLACE_HOURS = 5
# columns of the temperature table and of the humidity table
SATURATION, LEVEL, START, DOSE_WARM, CRITICAL, LIMIT = range(6)
START_DAMP, DOSE_DAMP = range(2)


class Constants(NamedTuple):
    """Numbers of moist air, plants and mould that the balances use; see `lookup.constants`."""

    pressure: float
    zero_celsius: float
    mass_ratio: float
    heat_air: float
    heat_vapour: float
    heat_water: float
    heat_plant: float
    latent: float
    speed_reference: float
    age_reference: float
    dose_wet: float
    dose_coldest: float
    dose_least: float
    speed_start: float
    speed: float
    most_0: float
    most_1: float
    most_2: float
    slowing: float
    decline_first: float
    decline_first_hours: float
    decline_later: float
    decline_later_hours: float
    index_visible: float
    spread_log: float
    botrytis_activity: float
    burn_humidity: float
    burn_temperature: float


class Tables(NamedTuple):
    """What depends on air alone: by temperature from `coldest` up, by humidity from 0 to 1."""

    by_temperature: Array  # [step, column]
    coldest: float
    per_kelvin: float
    by_humidity: Array  # [step, column]
    constants: Constants


class Outside(NamedTuple):
    """Weather outside, hour by hour of one season [hour]."""

    temperature: Array
    ratio: Array  # humidity ratio
    volume: Array  # specific volume
    wind: Array  # of the open country [m/s]
    sun: Array  # on level ground [W/m²]
    sky: Array  # what a level surface loses to the sky [W/m²]


class Controls(NamedTuple):
    """What people set, as shares of all there is: row 0 is hour `start`, then round and round."""

    start: int
    vents: Array
    fans: Array
    heat: Array


class Space(NamedTuple):
    """A place as one draw sees it; see `running.Setting`, which makes it."""

    wind_area: float  # outside air in per wind speed, vents open [m²]
    stack_flow: float  # by buoyancy, per root of the warmth's share of what is warmer [m³/s]
    leak_area: float  # [1000 cm²]
    leak_stack: float
    leak_wind: float
    flow_least: float  # [m³/s]
    canopy: float  # share of the air that goes through the plants of a full place
    full: float  # dry matter that fills the place [kg]
    face: float  # what the air goes through [m²]
    speed_still: float  # of air nobody moves [m/s]
    speed_fans: float  # [m/s]
    fan_flow: float  # [m³/s]
    fan_power: float  # [W]
    heater: float  # [W]
    sun_gain: float  # share of the sun on the roof that warms the air inside
    sky_loss: float  # share of what the roof loses to the sky that cools the air inside
    walls: Array  # walls and roof [W/K], [tier]
    roof: Array  # [m²], [tier]
    store: Array  # heat held by the building [J/K], [tier]
    floor: Array  # damp floor [kg/s/Pa], [tier]


class Plant(NamedTuple):
    """What one draw says of the plants, by part: conductance [kg/kg/s/Pa], isotherm scale."""

    conductance: Triple
    scale: Triple
    exposed: float  # of flower and leaf among their neighbours
    exponent: float
    activity: Array  # water activity by moisture / (moisture + level), from 0 to 1
    loop: float  # moisture by which drying material is above wetting material [kg/kg]
    loop_span: float  # change of moisture that leads from one branch to the other [kg/kg]
    ageing: float  # activation energy over gas constant [K]
    mould_speed: float
    mould_decline: float
    mould_start: float  # index brought from the field
    dose_start: float
    dose_visible: float


class Batches(NamedTuple):
    """What is hung in the place; a batch is what goes up on one day."""

    hang_hour: Hours  # [batch]
    mass: Array  # dry matter [kg], [batch, tier, part]
    moisture: Array  # when hung, dry basis, [batch, part]
    reading_hour: Hours  # when the flower's moisture was measured; -1 never, [batch]
    reading: Array  # what was measured, dry basis, [batch]
    down_hour: Hours  # when it comes down whatever its moisture, [batch]


class Rule(NamedTuple):
    """When a batch comes down: flower `hours_at_target` in sum at `target`, or `hours_most` up."""

    target: float
    hours_at_target: float
    hours_most: int
    sub_steps: int


class Case(NamedTuple):
    """Everything of a run but what hangs."""

    outside: Outside
    controls: Controls
    space: Space
    plant: Plant
    rule: Rule
    tables: Tables


class Now(NamedTuple):
    """Weather and settings of one hour."""

    warm: float
    ratio: float
    virtual: float  # virtual temperature outside [K]
    enthalpy: float
    density: float  # dry air [kg/m³]
    wind: float
    vents: float
    fans: float
    gain: float  # heat through the roof [W/m²]
    heater: float  # [W]
    motors: float  # of the fans [W]


class Streams(NamedTuple):
    """Dry air [kg/s] that changes with the outside in each tier, and that runs through all, up."""

    cross: float
    through: float


class Inflow(NamedTuple):
    """Air as it enters a tier, with all heat but the plants'."""

    ratio: float
    flow: float  # [kg dry air/s]
    per_flow: float  # its inverse: divisions are what the kernel's time goes into
    heat_in: float
    walls: float


class State(NamedTuple):
    """What changes as the hours pass; made by `lookup.new_state`, filled here."""

    stage: NDArray[np.int8]  # WAITING, HANGING or GONE [batch]
    moisture: Array  # dry basis [batch, tier, part]
    branch: Array  # of the isotherm: 1 drying, 0 wetting [batch, tier, part]
    mould: Array  # [batch, tier, column]
    air: Array  # temperature, humidity ratio inside [tier, 2]
    record: Array  # what is known of each batch [batch, column]
    before: Array  # mean flower moisture of a batch a step ago [batch]
    gains: Array  # scratch of a step [batch, tier, part, 2]
    scratch: Array  # of a step [tier, column]


class Trace(NamedTuple):
    """What is kept of each hour; no rows when nobody asks."""

    air: Array  # mean temperature, humidity ratio [hour, tier, 2]
    moisture: Array  # at the end of the hour [hour, batch, tier, part]
    mould: Array  # chance that it is seen [hour, batch, tier]
    place: Array  # [hour, column]
