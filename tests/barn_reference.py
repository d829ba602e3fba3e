"""A place drying, as plainly as it can be written: the oracle of the compiled kernel.

One draw, one place, one loop. It shares no code with `tierpole.barn.kernel`: saturation comes from
psychrolib, the isotherm is written out, the air is found by bracketing, the stack's stream by
trying until it settles, and plants move by small midpoint steps instead of the kernel's
exponential ones.
"""

import math
from dataclasses import dataclass, field

import psychrolib
from scipy.optimize import brentq

psychrolib.SetUnitSystem(psychrolib.SI)

PARTS = ("flower", "leaf", "stem")


@dataclass
class Part:
    """Flower, leaf or stem of one batch in one tier."""

    mass: float  # dry [kg]
    moisture: float  # dry basis
    conductance: float  # in hardly moving air, alone [kg/kg/s/Pa]
    exposed: float  # share the air reaches; 0: no draught matters
    scale: float
    exponent: float
    loop: float
    branch: float = 1.0

    def activity(self, moisture, temperature):
        level = self.scale * (0.1135 - 0.00045 * temperature)
        ratio = ((moisture + self.loop * (1 - self.branch)) / level) ** self.exponent
        return ratio / (1 + ratio)

    def pace(self, speed):
        if not self.exposed:
            return self.conductance
        outer = self.exposed * math.sqrt(speed / 0.1)
        return self.conductance / (0.5 / outer + 0.5)

    def move(self, after):
        self.branch = min(max(self.branch - (after - self.moisture) / 0.03, 0.0), 1.0)
        self.moisture = after


@dataclass
class Batch:
    """What goes up in one hour: [tier][part]."""

    hang_hour: int
    tiers: list
    hours_above: float = 0.0
    hours_at_target: float = 0.0
    hours_hung: int = 0
    is_down: bool = False
    history: list = field(default_factory=list)  # hour, [tier][part] of moisture

    def flower(self):
        """Mean moisture of the flower."""
        flowers = [tier[0] for tier in self.tiers]
        return sum(p.mass * p.moisture for p in flowers) / sum(p.mass for p in flowers)


@dataclass
class House:
    """A place as one draw sees it, in plain numbers."""

    tiers: int
    volume: float
    wind_area: float  # effective inlet times shelter [m2]
    vent_area: float  # inlet [m2]
    height: float  # neutral level to opening [m]
    crack_area: float  # [m2]
    canopy: float
    full: float  # dry matter that fills it [kg]
    face: float  # [m2]
    fan_flow: float
    fan_power: float
    fan_speed: float
    heater: float
    sun_gain: float
    sky_loss: float
    walls: float
    roof: float
    store: float
    floor: float
    vents: list  # by hour of the day
    fans: list
    heat: list


def house(place, plant):
    """The house of a `PlaceAir` and one draw's plain numbers."""
    usual = place.usual()
    stick = sum(plant[f"mass_{part}"] for part in PARTS)
    return House(
        tiers=place.tiers, volume=place.volume,
        wind_area=plant["vents"] * plant["shelter"] * place.vent_area,
        vent_area=place.vent_area, height=place.height / 2,
        crack_area=plant["leaks"] * place.leaks * place.wall_area,
        canopy=plant["canopy"], full=place.sticks * stick,
        face=0.75 * place.volume ** (2 / 3),
        fan_flow=place.fan_flow, fan_power=141.0 * place.fan_flow, fan_speed=place.fan_speed,
        heater=place.heater, sun_gain=place.sun * plant["heat_factor"],
        sky_loss=place.transmittance / 20.0, walls=place.walls, roof=place.roof,
        store=place.store, floor=place.floor,
        vents=list(usual.vents), fans=list(usual.fans), heat=list(usual.heat),
    )  # fmt: skip


def batch(hour, sticks, tiers, plant):
    """Full sticks of one draw's plant, spread evenly over the tiers."""

    def parts():
        return [
            Part(
                mass=sticks / tiers * plant[f"mass_{part}"], moisture=plant[f"moisture_{part}"],
                conductance=plant[f"conductance_{part}"],
                exposed=0.0 if part == "stem" else plant["exposed"],
                scale=plant["scale_stem" if part == "stem" else "scale_flower"],
                exponent=plant["exponent"], loop=plant["loop"],
            )
            for part in PARTS
        ]  # fmt: skip

    return Batch(hour, [parts() for _ in range(tiers)])


@dataclass
class Air:
    """Air entering a tier in a step, with all heat but the plants'."""

    ratio: float
    flow: float  # [kg dry air/s]
    heat: float  # [W], enthalpy of the air and all gains at 0 °C
    loss: float  # [W/K]
    pressure: float

    def inside(self, evaporation):
        """Temperature and humidity ratio when so much water is given [kg/s]."""
        ratio = self.ratio + evaporation / self.flow

        def left_over(t):
            given_off = self.flow * enthalpy(t, ratio) + self.loss * t
            return self.heat + evaporation * 4186.0 * t - given_off

        # straight in t, so two points give the root
        at_0, at_1 = left_over(0.0), left_over(1.0)
        return at_0 / (at_0 - at_1), ratio

    def settle(self, given):
        """Air inside in balance with what the plants give to it, a function of both."""

        def excess(evaporation):
            return given(*self.inside(evaporation)) - evaporation

        low, high = -0.9 * self.flow * self.ratio, 0.02 * self.flow + max(self.heat, 0) / 2.5e6
        return self.inside(brentq(excess, low, high, xtol=1e-12, rtol=1e-10))


def enthalpy(temperature, ratio):
    return 1006.0 * temperature + ratio * (2.501e6 + 1860.0 * temperature)


def vapour(ratio, pressure):
    return pressure * ratio / (0.621945 + ratio)


def virtual(temperature, ratio):
    return (temperature + 273.15) * (1 + ratio / 0.621945) / (1 + ratio)


def rate(part, moisture, temperature, ratio, pressure, speed):
    """Water given for the dry matter [kg/kg/s]."""
    saturation = psychrolib.GetSatVapPres(temperature)
    drive = part.activity(moisture, temperature) * saturation - vapour(ratio, pressure)
    return part.pace(speed) * drive


def dry_place(weather, pressure, place, batches, rule, steps=12):
    """Follow all batches until each is down; returns the mean air inside, [tier] by hour.

    `weather` is [(temperature, relative humidity, wind, sun, sky)] by hour from a midnight;
    `rule` is the target (dry basis), the hours at it in sum and the most hours up.
    """
    target, hours_at_target, hours_most = rule
    air_inside, air = {}, None
    for hour, outside in enumerate(weather):
        up = [b for b in batches if b.hang_hour <= hour and not b.is_down]
        if not up:
            continue
        if air is None:
            before = weather[max(hour - 1, 0)]
            ratio = psychrolib.GetHumRatioFromRelHum(before[0], before[1], pressure)
            air = [(before[0], ratio)] * place.tiers
        mean = [(0.0, 0.0)] * place.tiers
        for _ in range(steps):
            wet = [b.flower() for b in up]
            air = step(outside, pressure, hour % 24, place, up, air, 3600.0 / steps)
            mean = [
                (m[0] + a[0] / steps, m[1] + a[1] / steps) for m, a in zip(mean, air, strict=True)
            ]
            for each, moisture in zip(up, wet, strict=True):
                above = share_above(moisture, each.flower(), target)
                each.hours_above += above / steps
                each.hours_at_target += (1 - above) / steps
        air_inside[hour] = mean
        for each in up:
            each.hours_hung += 1
            each.history.append((hour, [[p.moisture for p in tier] for tier in each.tiers]))
            dry = each.hours_at_target >= hours_at_target
            each.is_down = dry or each.hours_hung >= hours_most
    return air_inside


def step(outside, pressure, hour, place, batches, air, seconds):
    """One midpoint step of all plants; returns the air of each tier."""
    parts = [[p for b in batches for p in b.tiers[tier]] for tier in range(place.tiers)]
    start = [[p.moisture for p in tier] for tier in parts]
    made, speed = balance(outside, pressure, hour, place, parts, start, air, seconds)
    half = [
        [
            x - seconds / 2 * rate(p, x, *made[k], pressure, speed)
            for p, x in zip(parts[k], start[k], strict=True)
        ]
        for k in range(place.tiers)
    ]
    made, speed = balance(outside, pressure, hour, place, parts, half, air, seconds)
    for k in range(place.tiers):
        for p, x, middle in zip(parts[k], start[k], half[k], strict=True):
            p.move(x - seconds * rate(p, middle, *made[k], pressure, speed))
    return made


def balance(outside, pressure, hour, place, parts, moistures, before, seconds):
    """Air of each tier in balance with the plants, and the speed among them."""
    warm, humidity, wind, sun, sky = outside
    ratio = psychrolib.GetHumRatioFromRelHum(warm, humidity, pressure)
    density = 1 / psychrolib.GetMoistAirVolume(warm, ratio, pressure)
    gain = place.sun_gain * sun - place.sky_loss * sky
    machines = place.heater * place.heat[hour] + place.fan_power * place.fans[hour]
    mass = sum(p.mass for tier in parts for p in tier)
    canopy = 1 - (1 - place.canopy) * min(mass / place.full, 1)
    blown = place.wind_area * wind * place.vents[hour]
    fans = place.fan_flow * place.fans[hour]
    air, last = before, None
    for _ in range(30):
        inside = sum(virtual(*a) for a in air) / place.tiers
        stack = stack_of(place, place.vents[hour], inside, virtual(warm, ratio))
        if last is not None:  # half way, else it swings
            stack = 0.5 * (stack + last)
        leak = (
            10
            * place.crack_area
            * math.sqrt(
                0.000290 * abs(sum(a[0] for a in air) / place.tiers - warm) + 0.000231 * wind**2
            )
        )
        total = math.sqrt(blown**2 + stack**2 + fans**2)
        through = stack * abs(stack) / total if total else 0.0
        cross = max(total - abs(through) + leak, 0.05 / 3600 * place.volume)
        through, cross = canopy * density * through, canopy * density * cross / place.tiers
        moved = (place.tiers * cross + abs(through)) / density
        speed = 0.03 + moved / place.face + place.fan_speed * place.fans[hour]
        order = range(place.tiers) if through >= 0 else range(place.tiers - 1, -1, -1)
        made, stream = list(air), None
        for k in order:
            made[k] = stream = tier_air(
                k, stream, (warm, ratio), abs(through), cross, gain, machines, pressure, place,
                parts[k], moistures[k], before[k], speed, seconds,
            )  # fmt: skip
        settled = last is not None and abs(stack - last) < 1e-4 * (total + 0.01)
        air, last = made, stack
        if settled:
            break
    return air, speed


def stack_of(place, vents, inside, outside):
    head = 2 * 9.80665 * place.height * abs(inside - outside) / max(inside, outside)
    flow = vents * 0.65 * place.vent_area * math.sqrt(head)
    return flow if inside > outside else -flow


def tier_air(  # noqa: PLR0917  all of one balance
    k, stream, outside, through, cross, gain, machines, pressure, place, parts, moistures, before,
    speed, seconds,
):  # fmt: skip
    flow = cross + through
    first = outside if stream is None else stream
    ratio = (cross * outside[1] + through * first[1]) / flow
    brought = cross * enthalpy(*outside) + through * enthalpy(*first)
    top = 0.5 if k == place.tiers - 1 else 0.0
    roof = place.roof * (top + 0.5 / place.tiers)
    walls = place.walls / place.tiers
    plants = sum(p.mass * (1400 + x * 4186) for p, x in zip(parts, moistures, strict=True))
    held = (place.store / place.tiers + plants) / seconds
    heat = brought + gain * roof + machines / place.tiers + walls * outside[0] + held * before[0]
    floor = place.floor if k == 0 else 0.0

    def given(t, w):
        water = floor * (psychrolib.GetSatVapPres(t) - vapour(w, pressure))
        for p, x in zip(parts, moistures, strict=True):
            water += p.mass * rate(p, x, t, w, pressure, speed)
        return water

    return Air(ratio, flow, heat, walls + held, pressure).settle(given)


def share_above(before, after, target):
    high, low = max(before, after), min(before, after)
    if low >= target:
        return 1.0
    return 0.0 if high <= target else (high - target) / (high - low)
