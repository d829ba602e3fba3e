"""One draw of the outlook, as plainly as it can be written: the oracle of the fast path.

Floats, loops and `math`; a chapter for each step from the sky to the dollars. It shares no kernel
with the package: only tables of coefficients, and the farm as written, are read from there. Where
the fast path has a closed form, this takes small steps; where the fast path has tables, this has
the formula. The barn's air is that of `barn_reference`, with saturation from psychrolib.
"""

import math
from dataclasses import dataclass, replace

import psychrolib

import barn_reference
from tierpole.barn.losses import COEFFICIENTS as HANGING
from tierpole.barn.mould import COEFFICIENTS as MOULD
from tierpole.barn.mould import VERY_SENSITIVE
from tierpole.barn.targets import COEFFICIENTS as TARGET
from tierpole.compliance.chance import CERTIFICATE
from tierpole.compliance.failing import WHOLE_PLANT
from tierpole.crop.biomass import COEFFICIENTS as MASS
from tierpole.crop.losses import COEFFICIENTS as LOSS
from tierpole.crop.phenology import COEFFICIENTS as FLOWER
from tierpole.farm import PriceForm
from tierpole.money.costs import WORK
from tierpole.weather.daylight import COEFFICIENTS as SUN
from tierpole.weather.hourly import COEFFICIENTS as HOURLY
from tierpole.weather.wetness import COEFFICIENTS as WET

DAYS = 275
FIRST_DAY_OF_YEAR = 91  # 1 April of a common year


@dataclass(frozen=True)
class Draw:
    """What chance decides of one lot in one season: plain numbers."""

    latitude_station: float
    t_min: list[float]  # by day
    t_max: list[float]
    rain: list[float]
    dew_point: list[float]
    critical: float
    slope: float
    inductive_days: float
    lag: float
    curves: dict[str, float]  # of CBD and THC
    plant_cv: float
    off_type_share: float
    off_type_multiple: float
    top_to_plant: float
    top_to_flower: float
    mass_plateau: float
    loss: dict[str, float]
    price: float
    paid_share: float


# --- sky -----------------------------------------------------------------------------------------


def day_length(latitude, day):
    """Hours from sunrise to sunset on a day of the season axis."""
    angle = SUN["revolution_rate"] * (FIRST_DAY_OF_YEAR + day - SUN["revolution_day"])
    turned = SUN["revolution_start"] + 2 * math.atan(SUN["revolution_orbit"] * math.tan(angle))
    declination = math.asin(SUN["declination_sine"] * math.cos(turned))
    north, below = math.radians(latitude), math.radians(SUN["sun_angle_sunrise"])
    noon = math.cos(north) * math.cos(declination)
    height = math.sin(below) + math.sin(north) * math.sin(declination)
    return 24 - 24 / math.pi * math.acos(height / noon)


def hourly_temperature(draw, day, hour):
    """Air temperature in the middle of an hour: sine by day, falling exponentially by night."""
    middle = hour + 0.5
    length = day_length(draw.latitude_station, day)
    sunset = 12 + length / 2
    coldest = 12 - length / 2 + HOURLY["lag_minimum"]
    night = 24 + coldest - sunset
    if coldest <= middle <= sunset:
        return on_the_sine(draw, day, middle)
    if middle > sunset:
        since, start = middle - sunset, temperature_at_sunset(draw, day)
        end = draw.t_min[min(day + 1, DAYS - 1)]
    else:
        since, start = middle + 24 - sunset, temperature_at_sunset(draw, max(day - 1, 0))
        end = draw.t_min[day]
    decay = HOURLY["night_decay"]
    left = math.exp(-decay * since / night) - math.exp(-decay)
    return end + (start - end) * left / (1 - math.exp(-decay))


def temperature_at_sunset(draw, day):
    return on_the_sine(draw, day, 12 + day_length(draw.latitude_station, day) / 2)


def on_the_sine(draw, day, clock):
    length = day_length(draw.latitude_station, day)
    since = clock - (12 - length / 2 + HOURLY["lag_minimum"])
    arc = length + 2 * HOURLY["lag_maximum"]
    rise = math.sin(math.pi * since / arc)
    return draw.t_min[day] + (draw.t_max[day] - draw.t_min[day]) * rise


def hourly_dew_point(draw, day, hour, temperature):
    """Straight from noon to noon, never above the air."""
    clock = hour + 0.5
    other = max(day - 1, 0) if clock < 12 else min(day + 1, DAYS - 1)
    away = abs(clock - 12) / 24
    straight = (1 - away) * draw.dew_point[day] + away * draw.dew_point[other]
    return min(straight, temperature)


def rains_in(draw, day, hour):
    """Whether it rains in an hour: one block a day, its start stepping by the golden section."""
    rain = draw.rain[day]
    if rain <= 0:
        return False
    hours = HOURLY["rain_hours_one"] * rain ** HOURLY["rain_hours_power"]
    hours = min(hours, 24.0) if rain > 0.25 else 0.0
    start = math.floor(24 * (day * (math.sqrt(5) - 1) / 2 % 1))
    return (hour - start) % 24 < max(math.ceil(hours), 1)


def sky(draw):
    """Temperature, relative humidity and wetness of every hour of the season."""
    hours = []
    for day in range(DAYS):
        for hour in range(24):
            warm = hourly_temperature(draw, day, hour)
            dew = hourly_dew_point(draw, day, hour, warm)
            humidity = saturation(dew) / saturation(warm)
            is_wet = (
                humidity >= WET["humidity_wet"]
                or warm - dew < WET["depression_wet"]
                or rains_in(draw, day, hour)
            )
            hours.append((warm, humidity, is_wet))
    return hours


def saturation(temperature):
    return psychrolib.GetSatVapPres(temperature)


def wet_spells(hours):
    """Wet hours, and the temperature while wet, of the 24 hours that end at each noon."""
    spells = []
    for day in range(DAYS):
        evening = hours[12:24] if day == 0 else hours[24 * day - 12 : 24 * day]
        spell = evening + hours[24 * day : 24 * day + 12]
        wet = [warm for warm, _, is_wet in spell if is_wet]
        warmth = wet or [warm for warm, _, _ in spell]
        spells.append((len(wet), sum(warmth) / len(warmth)))
    return spells


# --- field ---------------------------------------------------------------------------------------


def flower_day(draw, latitude, set_day):
    """Day on which half of the plants have initiated; the axis' end when they never do."""
    gathered = 0.0
    for day in range(set_day + 1, DAYS):
        mean = (draw.t_min[day] + draw.t_max[day]) / 2
        felt = day_length(latitude, day) + FLOWER["twilight"]
        by_light = 1 / (1 + math.exp((felt - draw.critical) / draw.slope))
        step = warmth_response(mean) * by_light
        if gathered + step >= draw.inductive_days:
            share = (draw.inductive_days - gathered) / step
            return min(day - 1 + share + draw.lag, DAYS)
        gathered += step
    return DAYS


def warmth_response(mean):
    base, best, most = (FLOWER[f"temperature_{name}"] for name in ("base", "best", "most"))
    response = (mean - base) / (best - base) if mean < best else (most - mean) / (most - best)
    return min(max(response, 0.0), 1.0)


def potency(draw, flowered):
    """Total CBD and total THC of the tops on every day."""
    c = draw.curves
    plateau, peak = c["cbd_plateau"], c["peak_day"]
    cbd, thc = [], []
    for day in range(DAYS):
        tau = day - flowered
        cbd.append(plateau / (1 + math.exp(-c["rate"] * (tau - c["midpoint"]))))
        share = thc_share(tau, peak, c["steepest"] * peak, c["fall"])
        thc.append(plateau / c["cbd_to_thc"] * share)
    return cbd, thc


def thc_share(tau, peak, steepest, fall):
    """THC over its peak: beta growth, then an exponential fall."""
    if tau <= 0:
        return 0.0
    if tau >= peak:
        return math.exp(-fall * (tau - peak))
    tail = peak - steepest
    return (1 + (peak - tau) / tail) * (tau / peak) ** (peak / tail)


def plant_mass(draw, flowered):
    """Threshed dry biomass of a plant on every day."""
    start, daily, plateau = MASS["mass_start"], MASS["mass_daily"], MASS["days_to_plateau"]
    days = [min(max(day - flowered, 0.0), plateau) for day in range(DAYS)]
    full = start + daily * plateau
    return [draw.mass_plateau * (start + daily * tau) / full for tau in days]


def field_losses(draw, flowered, spells, night_offset):
    """Share lost to frost, and to all else, by the evening of every day."""
    d, kept, rotten, worst_rot = draw.loss, 1.0, 0.0, 0.0
    by_frost, by_else = [], []
    for day in range(DAYS):
        tau = day - flowered
        if tau > 0:
            away = (d["frost_half"] - draw.t_min[day] - night_offset) / LOSS["frost_width"]
            kept *= 1 - d["frost_most"] / (1 + math.exp(-away))
        frosted = 1 - kept
        dense = min(
            max((tau - LOSS["dense_from"]) / (LOSS["dense_full"] - LOSS["dense_from"]), 0), 1
        )
        gnawed = d["caterpillar_loss"] * dense
        hours_wet, warmth = spells[day]
        new = d["mould_rate"] * infection(hours_wet, warmth) * dense
        new *= 1 + (LOSS["mould_by_frost"] - 1) * min(frosted / d["frost_most"], 1)
        new *= 1 + (LOSS["mould_by_wounds"] - 1) * min(gnawed / LOSS["wounds_full"], 1)
        growth = d["mould_growth"] * hours_wet / 24 if dense > 0 else 0.0
        rotten = rot_after_a_day(rotten, new, growth)
        worst_rot = max(worst_rot, rotten)
        fallen = 1 - math.exp(-d["shatter_rate"] * max(tau - LOSS["shatter_from"], 0))
        by_frost.append(frosted)
        by_else.append(1 - (1 - worst_rot) * (1 - gnawed) * (1 - fallen))
    return by_frost, by_else


def infection(hours_wet, warmth):
    """Chance of grey mould in one wet night, relative; nothing below 8 and above 34 °C."""
    per_hour = LOSS["mould_wet"] + LOSS["mould_wet_warm"] * warmth
    per_hour += LOSS["mould_wet_warm2"] * warmth**2
    wet = logistic(LOSS["mould_constant"] + hours_wet * per_hour)
    cold = (warmth - LOSS["mould_cold_none"]) / (LOSS["mould_cold_full"] - LOSS["mould_cold_none"])
    hot = (LOSS["mould_hot_none"] - warmth) / (LOSS["mould_hot_none"] - LOSS["mould_hot_full"])
    taper = min(max(cold, 0), 1) * min(max(hot, 0), 1)
    return taper * max(wet - logistic(LOSS["mould_constant"]), 0)


def logistic(z):
    return 1 / (1 + math.exp(-z))


def rot_after_a_day(rotten, new, growth, steps=8):
    """dx/dt = (a + g x)(1 - x) over one day, by Runge-Kutta steps."""

    def speed(x):
        return (new + growth * x) * (1 - x)

    size = 1 / steps
    for _ in range(steps):
        one = speed(rotten)
        two = speed(rotten + size / 2 * one)
        three = speed(rotten + size / 2 * two)
        four = speed(rotten + size * three)
        rotten += size / 6 * (one + 2 * two + 2 * three + four)
    return rotten


# --- law -----------------------------------------------------------------------------------------


def plants_cut(acres, plants, confidence=0.95, share=0.01):
    """Plants the agent cuts: the guideline's formula over acres, both steps rounded up."""
    unlimited = math.ceil(math.log(1 - confidence) / math.log(1 - share))
    wanted = math.ceil(round(unlimited / (1 + (unlimited - 1) / acres), 9))
    return max(1, min(plants, wanted))


def chance_at_most(threshold, thc, draw, plants, precision):
    """Chance that one composite of so many plants prints at most a threshold."""
    if thc <= 0:
        return 1.0
    total = 0.0
    for off in range(plants + 1):
        chance = math.comb(plants, off) * draw.off_type_share**off
        chance *= (1 - draw.off_type_share) ** (plants - off)
        if chance > 0:
            total += chance * composite_at_most(threshold, thc, draw, plants, off, precision)
    return total


def composite_at_most(threshold, thc, draw, plants, off, precision):
    """The same with a known number of off-type plants in the composite."""
    x = draw.off_type_multiple
    mean = thc * (plants - off + off * x) / plants
    scatter = draw.plant_cv**2 * (plants - off + off * x**2) / (plants - off + off * x) ** 2
    variance = math.log(1 + scatter)
    spread = math.sqrt(variance + sum(error**2 for error in precision))
    return student_five((math.log(threshold / mean) + variance / 2) / spread)


def student_five(z):
    """Chance that a Student t of five degrees of freedom, scaled to variance 1, is below z."""
    angle = math.atan(z * math.sqrt(5 / 3) / math.sqrt(5))
    sine, cosine = math.sin(angle), math.cos(angle)
    return 0.5 + (angle + sine * (cosine + 2 / 3 * cosine**3)) / math.pi


def bulk_at_most(threshold, thc, precision):
    """Chance that a test of well-mixed material prints at most a threshold."""
    if thc <= 0:
        return 1.0
    return student_five(math.log(threshold / thc) / math.sqrt(sum(e**2 for e in precision)))


def lot_mean(draw, thc):
    """THC of the whole lot, off-types included."""
    return thc * (1 + (draw.off_type_multiple - 1) * draw.off_type_share)


def p_biomass(threshold, thc, draw, precision):
    """Chance that shredded whole plants pass."""
    flower = lot_mean(draw, thc) / draw.top_to_flower
    share = WHOLE_PLANT["flower_share"]
    blend = share * flower + (1 - share) * WHOLE_PLANT["rest_to_flower"] * flower
    return bulk_at_most(threshold, blend, precision)


def p_buyer(limit, thc, draw, precision):
    """Chance that dry trimmed flower is legal at the buyer's."""
    flower = lot_mean(draw, thc) / draw.top_to_flower * CERTIFICATE["trimming"]
    return bulk_at_most(limit, flower, precision)


# --- barn ----------------------------------------------------------------------------------------


def drying(weather, pressure, place, plant, hang_hour, load, steps=4):
    """Days to dry, share of the value lost and chance of mould of one hanging.

    `weather` is [(temperature, humidity, wind, sun, sky)] by hour; `place` what `place_air` says
    of it, `plant` one draw's drying parameters.
    """
    first = hang_hour - hang_hour % 24  # a midnight, so that hours of the day stay in step
    hung = load * place.sticks
    batch = barn_reference.batch(hang_hour - first, hung, place.tiers, plant)
    target = TARGET["moisture_target"] / (1 - TARGET["moisture_target"])
    rule = (target, TARGET["hours_at_target"], 24 * TARGET["days_most"])
    house = barn_reference.house(place, plant)
    inside = barn_reference.dry_place(weather[first:], pressure, house, [batch], rule, steps)
    tiers = range(place.tiers)
    risk = sum(mould_chance(plant, batch, k, inside, pressure) for k in tiers) / place.tiers
    lost = share_lost(plant, batch, risk, inside)
    is_dry = batch.hours_at_target >= TARGET["hours_at_target"] - 1e-9
    days = batch.hours_above / 24 if is_dry else TARGET["days_most"]
    return days, lost, risk


def mould_chance(plant, batch, tier, inside, pressure):
    """Chance that mould is seen: half by the dose of damp warmth, half by the growth index."""
    flower = replace(batch.tiers[tier][0], moisture=plant["moisture_flower"], branch=1.0)
    index, hours_dry = plant["mould_start"], 0
    visible = HANGING["dose_visible"] * plant["dose_critical"]
    dose = index / MOULD["index_visible"] * visible
    for hour, moistures in batch.history:
        warm, ratio = inside[hour][tier]
        flower.move(moistures[tier][0])
        humidity = pressure * ratio / (0.621945 + ratio) / saturation(warm)
        damp = min(humidity, flower.activity(flower.moisture, warm))
        dose = max(dose + dose_rate(warm, damp) / 24, 0)
        rise = index_rate(index, warm, damp)
        if rise is None:
            index = max(index - plant["mould_decline"] * index_fall(hours_dry), 0)
            hours_dry += 1
        else:
            index, hours_dry = index + plant["mould_speed"] * rise / 24, 0
    spread = math.log(HANGING["plant_spread"])
    scores = (dose / visible, index / MOULD["index_visible"])
    return sum(normal(math.log(score) / spread) if score > 0 else 0 for score in scores) / 2


def dose_rate(warm, damp):
    """Dose of a day; none is gained below the isopleth."""
    if warm < MOULD["dose_coldest"]:
        return MOULD["dose_dry_least"]
    if damp > MOULD["dose_wet"]:
        held = min(max(warm, MOULD["dose_coldest"]), MOULD["dose_hottest"])
        by_warmth = (held / MOULD["dose_temperature_reference"]) ** MOULD["dose_temperature"]
        rate = (damp / MOULD["dose_humidity_reference"]) ** MOULD["dose_humidity"] * by_warmth
    else:
        rate = MOULD["dose_dry_constant"] + MOULD["dose_dry_slope"] * damp
        rate = max(rate, MOULD["dose_dry_least"])
    valley = math.cosh(MOULD["isopleth_width"] * (warm - MOULD["isopleth_best"]))
    least = MOULD["isopleth_floor: limit"] + MOULD["isopleth_size"] * valley
    return min(rate, 0) if damp < least else rate


def index_rate(index, warm, damp):
    """Rise of the growth index in a day on very sensitive material; None where it falls."""
    if not MOULD["coldest"] < warm < MOULD["hottest"]:
        return None
    critical = VERY_SENSITIVE.humidity_least
    if warm <= MOULD["critical_warm"]:
        cubic = sum(MOULD[f"critical_{power}"] * warm**power for power in range(4))
        critical = max(critical, cubic)
    if damp < critical:
        return None
    x = (damp - critical) / (1 - critical)
    most = VERY_SENSITIVE.most_0 + VERY_SENSITIVE.most_1 * x - VERY_SENSITIVE.most_2 * x**2
    slowing = max(1 - math.exp(MOULD["slowing"] * (index - most)), 0)
    weeks = math.exp(
        MOULD["start_temperature"] * math.log(warm)
        + MOULD["start_humidity"] * math.log(100 * damp)
        + MOULD["start_constant"]
    )
    speed = VERY_SENSITIVE.speed_start if index < 1 else VERY_SENSITIVE.speed
    return speed * slowing / (7 * weeks)


def index_fall(hours_dry):
    if hours_dry < MOULD["decline_first_hours"]:
        return MOULD["decline_first"]
    return MOULD["decline_later"] if hours_dry >= MOULD["decline_later_hours"] else 0.0


def normal(z):
    return 0.5 * math.erfc(-z / math.sqrt(2))


def share_lost(plant, batch, risk, inside):
    """Mould, cannabinoids and shatter, each taken from what the others leave."""
    kept = 1 - HANGING["mould_value"] * risk
    age = 0.0  # days at 20 °C that age the cannabinoids as much
    for hour, _ in batch.history:
        kelvin = sum(air[0] for air in inside[hour]) / len(inside[hour]) + 273.15
        age += math.exp(plant["ageing"] / 8.314462618 * (1 / 293.15 - 1 / kelvin)) / 24
    kept *= (1 - plant["cannabinoid_loss"]) ** (age / HANGING["hang_days"])
    wet_basis = batch.flower() / (1 + batch.flower())
    kept *= 1 - HANGING["shatter_slope"] * max(TARGET["moisture_brittle"] - wet_basis, 0)
    return 1 - kept


# --- money ---------------------------------------------------------------------------------------


def stick_passed(draw, season, lot, mass, content, field_loss, drying_loss):
    """Dollars of a stick that passed, after all that is still to be spent on it."""
    market, crew, costs = season.market, season.crew, season.costs
    sold = mass * lot.plants_per_stick / (1 - market.moisture) * (1 - field_loss)
    sold *= 1 - drying_loss
    brings = sold * draw.price * draw.paid_share
    if market.form is PriceForm.POINT:
        brings *= 0 if content < market.lowest_cbd else min(content, market.cbd_cap)
    spent = (crew.cut + crew.haul + crew.hang + crew.take_down) * crew.wage
    spent += sold / crew.strip * crew.wage
    return brings - spent * (1 + costs.interest * costs.months_to_sale / 12)


@dataclass(frozen=True)
class Failed:
    """What the ways out of a failed lot rest on, for one draw, lot and sample day."""

    p_fail: float
    p_again: float
    p_biomass: float
    passed_late: float  # dollars of a stick that passes a further test
    mass_late: float  # [kg] of a stick then, at the selling moisture, field losses taken off


def ways_out(draw, season, failed, sticks):
    """Dollars a stick of each way that needs no further test of the tops."""
    wage, crew = season.crew.wage, season.crew
    harvest = (crew.cut + crew.haul + crew.hang + crew.take_down) * wage
    destroy, test = WORK["destroy"] * wage, season.costs.potency_test / sticks
    biomass = failed.mass_late * season.market.remediated_price * draw.paid_share
    shred = failed.p_biomass * biomass - (1 - failed.p_biomass) * destroy
    return {
        "strip": -WORK["strip_flower"] * wage,
        "shred": shred - WORK["shred"] * wage - harvest - test,
        "destroy": -destroy,
    }


def stick_failed(draws, season, failed, sticks):
    """Dollars of a failed stick in every draw, by the one way with the best mean given a fail."""
    weights = [each.p_fail + 1e-12 for each in failed]

    def best(ways):
        """The way of the best mean, and its dollars draw by draw."""
        mean = {
            way: sum(w * row[way] for w, row in zip(weights, ways, strict=True)) for way in ways[0]
        }
        way = max(mean, key=lambda name: mean[name])
        return way, [row[way] for row in ways]

    ways = [ways_out(d, season, f, sticks) for d, f in zip(draws, failed, strict=True)]
    _, fallback = best(ways)
    fee = season.costs.potency_test / sticks
    for row, each, otherwise in zip(ways, failed, fallback, strict=True):
        row["retest"] = each.p_again * each.passed_late + (1 - each.p_again) * otherwise - fee
    return best(ways)
