"""A field drawn from its corners: as distances from a stake, or as legs walked along its sides.

``120, 80`` is a corner 120 ft east and 80 ft north of the stake (south and west are negative).
``E 165``, ``N 30 E 210 ft`` is a leg walked from the last corner, by the compass.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tierpole.units import FOOT, read_quantity

MOST = 30  # corners
FARTHEST = 5_000.0  # metres from the stake
SQUARES = (10, 20, 50, 100, 200, 500)  # feet a square of the paper may be
USUAL_SQUARE = 20
SIDE, MOST_SQUARES = 18, 40  # squares along a side of empty paper; at most
_NUMBER = r"[-+−]?\d[\d.]*"
_POINT = re.compile(rf"({_NUMBER})\s*(?:ft)?\s*[,\s]\s*({_NUMBER})\s*(?:ft)?")
_LEG = re.compile(r"(?:([NS])\s*([\d.]+)\s*°?\s*([EW])|([NSEW]{1,2}))\s+(.+)", re.IGNORECASE)
_BARE = re.compile(r"[\d\s./,]+")
_WIND = {"N": 0, "NE": 45, "E": 90, "SE": 135, "S": 180, "SW": 225, "W": 270, "NW": 315}

Point = tuple[float, float]


class NoFieldError(ValueError):
    """Corners that make no field; its text says what they must be."""


def polygon_area(east: ArrayLike, north: ArrayLike) -> float:
    """Area inside a line that runs from corner to corner and back to the first.

    Parameters
    ----------
    east : of each corner from any stake [m], [corner]
    north : of each corner from the same stake [m], [corner]

    Returns
    -------
    area [m2]

    Equation: A = | sum (x_i y_(i+1) - x_(i+1) y_i) | / 2.
    Source: the surveyor's (shoelace) formula, A. L. F. Meister 1769, from memory.
    Valid range: a line that does not cross itself.
    """
    x, y = np.asarray(east, float), np.asarray(north, float)
    if x.size == 0:
        return 0.0
    x, y = x - x[0], y - y[0]  # a stake far away costs no digits
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


@dataclass(frozen=True)
class Drawing:
    """A field's corners [m], its area [m2], and by how much walked legs miss the first corner."""

    corners: tuple[Point, ...]
    gap: float = 0.0

    @property
    def area(self) -> float:
        """Area inside the corners."""
        return polygon_area([x for x, _ in self.corners], [y for _, y in self.corners])


def read_corners(text: str) -> Drawing:
    """A drawing from its corners as they are written; `NoFieldError` when they make no field."""
    return _sound(_walked(text))


def _walked(text: str) -> Drawing:
    """The corners as far as they are written."""
    parts = [part.strip() for part in re.split(r"[;\n]", text) if part.strip()]
    if len(parts) > MOST:
        raise NoFieldError(f"at most {MOST} corners")
    points: list[Point] = []
    is_walked = False
    for part in parts:
        if point := _point(part):
            points.append(point)
        else:
            is_walked = True
            points = points or [(0.0, 0.0)]
            east, north = _leg(part)
            points.append((points[-1][0] + east, points[-1][1] + north))
    gap = math.dist(points[0], points[-1]) if is_walked and len(points) > 3 else 0.0
    if is_walked and len(points) > 3 and gap < _side(points) / 20:
        points.pop()  # the last leg came back to the first corner
        return _near(Drawing(tuple(points), gap))
    return _near(Drawing(tuple(points)))


def _point(part: str) -> Point | None:
    found = _POINT.fullmatch(part)
    if found is None:
        return None
    try:
        east, north = (float(one.replace("−", "-")) * FOOT for one in found.groups())
    except ValueError:
        return None
    return east, north


def _leg(part: str) -> Point:
    found = _LEG.fullmatch(part)
    if found is None:
        told = f'corners such as "120, 80" or legs such as "E 165", not "{part[:30]}"'
        raise NoFieldError(told)
    bearing = _bearing(found[1], found[2], found[3]) if found[1] else _WIND.get(found[4].upper())
    if bearing is None:
        raise NoFieldError(f'towards N, NE, E, SE, S, SW, W or NW, not "{found[4]}"')
    written = f"{found[5]} ft" if _BARE.fullmatch(found[5]) else found[5]
    try:
        length = read_quantity(written, "a length")
    except ValueError:
        raise NoFieldError(f'a direction and a length, not "{part[:30]}"') from None
    turned = math.radians(bearing)
    return length * math.sin(turned), length * math.cos(turned)


def _bearing(start: str, degrees: str, towards: str) -> float:
    """A quarter bearing (N 30 E) as degrees clockwise from north."""
    try:
        turned = float(degrees)
    except ValueError:
        turned = math.nan
    if not 0 <= turned <= 90:
        raise NoFieldError(f"turned 0 to 90 degrees from {start.upper()}, not {degrees}")
    is_north, is_east = start.upper() == "N", towards.upper() == "E"
    if is_north:
        return turned if is_east else 360 - turned
    return 180 - turned if is_east else 180 + turned


def _side(points: Sequence[Point]) -> float:
    """How far apart corners lie at most along one of the two directions."""
    return max(max(axis) - min(axis) for axis in zip(*points, strict=True))


def _near(drawing: Drawing) -> Drawing:
    if not all(abs(one) < FARTHEST for point in drawing.corners for one in point):
        raise NoFieldError("no more than 3 miles from the stake")
    return drawing


def _sound(drawing: Drawing) -> Drawing:
    points = drawing.corners
    if len(points) < 3:
        raise NoFieldError("three corners or more")
    sides = [(points[n], points[(n + 1) % len(points)]) for n in range(len(points))]
    for n, one in enumerate(sides):
        for m in range(n + 2, len(sides) - (n == 0)):
            if _cross(*one, *sides[m]):
                raise NoFieldError(f"sides that do not cross; side {n + 1} crosses side {m + 1}")
    return drawing


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two sides meet anywhere."""

    def turn(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


@dataclass(frozen=True)
class Paper:
    """Squared paper with a field on it: sizes in squares, `feet` to a square, north up.

    A corner stands `x` squares from the left and `y` from the top.
    """

    feet: int
    left: int
    top: int
    wide: int
    high: int
    corners: tuple[Point, ...]

    @property
    def line(self) -> str:
        """The corners as a picture's polygon takes them."""
        return " ".join(f"{x:.3f},{y:.3f}" for x, y in self.corners)


def draft(text: str, square: str = "") -> Paper:
    """Squared paper with the corners written so far; empty when they cannot be read yet."""
    try:
        points = [(x / FOOT, y / FOOT) for x, y in _walked(text).corners]
    except NoFieldError:
        points = []
    wanted = [one for one in SQUARES if square == f"{one} ft"]
    return _on_paper(points, wanted[0] if wanted else USUAL_SQUARE)


def _on_paper(points: Sequence[Point], feet: int) -> Paper:
    """Points [ft] on paper that is large enough for them, with the stake in its corner."""
    far = max((abs(one) for point in points for one in point), default=0.0)
    feet = next((one for one in SQUARES if one >= feet and far / one <= MOST_SQUARES), SQUARES[-1])
    xs, ys = (
        [0.0, SIDE * feet, *(x for x, _ in points)],
        [0.0, SIDE * feet, *(y for _, y in points)],
    )
    left, low = math.floor(min(xs) / feet), math.floor(min(ys) / feet)
    right, top = math.ceil(max(xs) / feet), math.ceil(max(ys) / feet)
    placed = tuple((x / feet - left, top - y / feet) for x, y in points)
    return Paper(feet, left * feet, top * feet, right - left, top - low, placed)
