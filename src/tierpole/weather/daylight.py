"""Day length from latitude and date."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tierpole.evidence import Mark, Table, Value

_FORSYTHE = (
    "Forsythe, Rykiel, Stahl, Wu & Schoolfield 1995, A model comparison for daylength, "
    "Ecol. Model. 80:87-95, eqs 1-3, from memory"
)

COEFFICIENTS = Table(
    "Day length",
    (
        Value("revolution_start", 0.2163108, "rad", Mark.MEMORY, _FORSYTHE),
        Value("revolution_orbit", 0.9671396, "-", Mark.MEMORY, _FORSYTHE),
        Value("revolution_rate", 0.00860, "rad/day", Mark.MEMORY, _FORSYTHE),
        Value("revolution_day", 186.0, "day of year", Mark.MEMORY, _FORSYTHE),
        Value("declination_sine", 0.39795, "-", Mark.MEMORY, _FORSYTHE),
        Value(
            "sun_angle_sunrise",
            0.833,
            "deg",
            Mark.PUBLISHED,
            "U.S. Naval Observatory convention: upper limb on the horizon, 34' of refraction",
        ),
    ),
)


def day_length(
    latitude: ArrayLike,
    day_of_year: ArrayLike,
    sun_angle: float = COEFFICIENTS["sun_angle_sunrise"],
) -> NDArray[np.float64]:
    """Hours of a day with the sun's centre higher than a small angle below the horizon.

    Parameters
    ----------
    latitude : [deg], north positive, any shape
    day_of_year : [day], 1 on 1 January, any shape that broadcasts with `latitude`
    sun_angle : [deg], how far the sun's centre stands below the horizon at the ends of the day;
        0.833 is sunrise to sunset, 6 takes civil twilight in

    Returns
    -------
    length : [h], 0 in the polar night and 24 in the polar day

    Equation: ``theta = 0.2163108 + 2 atan(0.9671396 tan(0.00860 (J - 186)))``,
    ``phi = asin(0.39795 cos theta)``,
    ``D = 24 - (24/pi) acos((sin p + sin L sin phi) / (cos L cos phi))``.
    Source: Forsythe et al. 1995, Ecol. Model. 80:87-95, eqs 1-3, from memory. Called CBM there.
    Departure: the arc cosine's argument is held within -1..1, which gives the polar cases.
    Valid range: all latitudes. Against a full ephemeris its year runs 1.6 days late: right at the
    solstices, and at the equinoxes off by 3 minutes at 25 degrees, 4 at 39, 5 at 45 (short in
    spring, long in fall).

    >>> round(float(day_length(35.5, 222)), 2)
    13.7
    """
    c = COEFFICIENTS
    angle = c["revolution_rate"] * (np.asarray(day_of_year, float) - c["revolution_day"])
    revolution = c["revolution_start"] + 2 * np.arctan(c["revolution_orbit"] * np.tan(angle))
    declination = np.arcsin(c["declination_sine"] * np.cos(revolution))
    north = np.radians(np.asarray(latitude, float))
    height = np.sin(np.radians(sun_angle)) + np.sin(north) * np.sin(declination)
    argument = np.clip(height / (np.cos(north) * np.cos(declination)), -1.0, 1.0)
    return 24.0 - 24.0 / np.pi * np.arccos(argument)
