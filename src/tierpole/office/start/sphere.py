"""How far a weather station lies from the farm."""

from __future__ import annotations

import math

from tierpole.evidence import Mark, Table, Value

COEFFICIENTS = Table(
    "The earth as a ball",
    (Value("radius", 6_371_009.0, "m", Mark.MEMORY, "mean radius of the ellipsoid, Moritz 1980"),),
)


def great_circle(
    latitude: float, longitude: float, other_latitude: float, other_longitude: float
) -> float:
    """Distance between two places along the ground.

    Parameters
    ----------
    latitude, longitude : of one place [deg], north and east positive
    other_latitude, other_longitude : of the other [deg]

    Returns
    -------
    distance [m]

    Equation: 2 R asin sqrt(sin²(Δφ/2) + cos φ1 cos φ2 sin²(Δλ/2)).
    Source: the haversine formula, R. W. Sinnott 1984, Sky and Telescope 68:159, from memory.
    Departure: the earth is taken as a ball, which is wrong by up to 0.5 %.
    """
    north, other_north = math.radians(latitude), math.radians(other_latitude)
    across = math.radians(other_longitude - longitude)
    chord = math.sin((other_north - north) / 2) ** 2
    chord += math.cos(north) * math.cos(other_north) * math.sin(across / 2) ** 2
    return 2 * COEFFICIENTS["radius"] * math.asin(math.sqrt(min(chord, 1.0)))
