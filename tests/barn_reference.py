"""A place drying, as plainly as it can be written: the oracle of the compiled kernel.

One draw, one place, one loop. It shares no code with `tierpole.barn.kernel`: saturation comes from
psychrolib, the isotherm is written out, the air is found by bracketing, and plants move by small
midpoint steps instead of the kernel's exponential ones.
"""

from dataclasses import dataclass, field

import psychrolib
from scipy.optimize import brentq

psychrolib.SetUnitSystem(psychrolib.SI)


@dataclass
class Part:
    """Flower with leaf, or stem, of one batch."""

    mass: float  # dry [kg]
    moisture: float  # dry basis
    conductance: float  # [kg/kg/s/Pa]
    scale: float
    exponent: float

    def activity(self, moisture, temperature):
        level = self.scale * (0.1135 - 0.00045 * temperature)
        ratio = (moisture / level) ** self.exponent
        return ratio / (1 + ratio)


@dataclass
class Batch:
    """What goes up in one hour."""

    hang_hour: int
    flower: Part
    stem: Part
    hours_above: float = 0.0
    hours_at_target: float = 0.0
    hours_hung: int = 0
    is_down: bool = False
    history: list = field(default_factory=list)  # hour, flower, stem

    def parts(self):
        return [self.flower, self.stem]


@dataclass
class Air:
    """Outside air of an hour as it enters."""

    temperature: float
    ratio: float
    pressure: float
    flow: float  # [kg dry air/s]
    heat: float  # [W]
    walls: float  # [W/K]

    def inside(self, evaporation):
        """Temperature and humidity ratio inside when the plants give so much water [kg/s]."""
        ratio = self.ratio + evaporation / self.flow

        def heat_left_over(t):
            carried = enthalpy(self.temperature, self.ratio) - enthalpy(t, ratio)
            return (
                self.flow * carried
                + evaporation * 4186.0 * t
                + self.heat
                + self.walls * (self.temperature - t)
            )

        # straight in t, so two points give the root
        at_0, at_1 = heat_left_over(0.0), heat_left_over(1.0)
        return at_0 / (at_0 - at_1), ratio

    def settle(self, parts, moistures):
        """Air inside in balance with parts as wet as given."""

        def excess(evaporation):
            t, ratio = self.inside(evaporation)
            given = sum(
                p.mass * rate(p, x, t, ratio, self.pressure)
                for p, x in zip(parts, moistures, strict=True)
            )
            return given - evaporation

        low, high = -0.9 * self.flow * self.ratio, 0.02 * self.flow + self.heat / 2.5e6
        return self.inside(brentq(excess, low, high, xtol=1e-12, rtol=1e-10))


def enthalpy(temperature, ratio):
    return 1006.0 * temperature + ratio * (2.501e6 + 1860.0 * temperature)


def rate(part, moisture, temperature, ratio, pressure):
    """Water given for the dry matter [kg/kg/s]."""
    vapour = pressure * ratio / (0.621945 + ratio)
    saturation = psychrolib.GetSatVapPres(temperature)
    return part.conductance * (part.activity(moisture, temperature) * saturation - vapour)


def dry_place(weather, pressure, flow, heat, walls, batches, rule, steps=12):
    """Follow all batches until each is down; returns the mean air inside, hour by hour.

    `weather` is [(temperature, relative humidity)] by hour; `flow` [m3/s] and `heat` [W] by hour
    of the day; `rule` is the target (dry basis), the hours at it in sum and the most hours up.
    """
    target, hours_at_target, hours_most = rule
    air_inside = {}
    for hour, (temperature, humidity) in enumerate(weather):
        up = [b for b in batches if b.hang_hour <= hour and not b.is_down]
        if not up:
            continue
        ratio = psychrolib.GetHumRatioFromRelHum(temperature, humidity, pressure)
        volume = psychrolib.GetMoistAirVolume(temperature, ratio, pressure)
        outside = Air(
            temperature, ratio, pressure, flow[hour % 24] / volume, heat[hour % 24], walls
        )
        air_inside[hour] = dry_hour(outside, up, target, steps)
        for batch in up:
            batch.hours_hung += 1
            batch.history.append((hour, batch.flower.moisture, batch.stem.moisture))
            dry = batch.hours_at_target >= hours_at_target
            batch.is_down = dry or batch.hours_hung >= hours_most
    return air_inside


def dry_hour(outside, batches, target, steps):
    parts = [part for batch in batches for part in batch.parts()]
    seconds = 3600.0 / steps
    warm, damp = 0.0, 0.0
    for _ in range(steps):
        before = [batch.flower.moisture for batch in batches]
        t, ratio = midpoint_step(outside, parts, seconds)
        warm, damp = warm + t / steps, damp + ratio / steps
        for batch, wet in zip(batches, before, strict=True):
            above = share_above(wet, batch.flower.moisture, target)
            batch.hours_above += above / steps
            batch.hours_at_target += (1 - above) / steps
    return warm, damp


def midpoint_step(outside, parts, seconds):
    start = [part.moisture for part in parts]
    t, ratio = outside.settle(parts, start)
    half = [
        x - seconds / 2 * rate(p, x, t, ratio, outside.pressure)
        for p, x in zip(parts, start, strict=True)
    ]
    t, ratio = outside.settle(parts, half)
    for part, x, middle in zip(parts, start, half, strict=True):
        part.moisture = x - seconds * rate(part, middle, t, ratio, outside.pressure)
    return t, ratio


def share_above(before, after, target):
    high, low = max(before, after), min(before, after)
    if low >= target:
        return 1.0
    return 0.0 if high <= target else (high - target) / (high - low)
