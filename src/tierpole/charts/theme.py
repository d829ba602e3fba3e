"""One look for every chart: six roles, named styles, no colour written anywhere else.

A mark never names a colour but a style, its role. On paper and in notebooks the roles
are the colours below; on a page they are the page's own variables, so that dark, light and print
change without drawing again.
"""

from __future__ import annotations

from typing import Any, Literal

FONT = "Atkinson Hyperlegible Next, Helvetica, Arial, sans-serif"
SIZE = 14

Look = Literal["paper", "page"]

# the light colours of web/static/pages.css, for charts that leave the page
PAPER: dict[str, str] = {
    "ink": "#191c1a",
    "soft": "#4a504c",
    "faint": "#d5d4cb",
    "paper": "#fcfbf7",
    "accent": "#00525c",
    "risk": "#96320a",
}
PAGE: dict[str, str] = {role: f"var(--{role})" for role in PAPER}


def theme(look: Look = "paper") -> dict[str, Any]:
    """The Vega-Lite `config` of a look."""
    roles = PAPER if look == "paper" else PAGE
    return {
        "font": FONT,
        "background": "transparent" if look == "page" else roles["paper"],
        "aria": False,
        "padding": {"left": 0, "top": 4, "right": 4, "bottom": 6},
        "view": {"stroke": None},
        "axis": _axis(roles),
        "axisX": {"grid": False},
        "axisY": {"domain": False, "ticks": False},
        "text": {"fontSize": SIZE, "fill": roles["ink"]},
        "style": _styles(roles),
    }


def _axis(roles: dict[str, str]) -> dict[str, Any]:
    return {
        "labelFontSize": SIZE,
        "labelColor": roles["ink"],
        "titleFontSize": SIZE,
        "titleFontWeight": "normal",
        "titleColor": roles["soft"],
        "domainColor": roles["ink"],
        "tickColor": roles["ink"],
        "gridColor": roles["faint"],
        "labelPadding": 6,
        "labelOverlap": True,
    }


def _styles(roles: dict[str, str]) -> dict[str, Any]:
    """A style for each role, and a halo that keeps words clear of lines."""
    styles: dict[str, Any] = {role: {"color": colour} for role, colour in roles.items()}
    styles["halo"] = {"color": roles["paper"], "stroke": roles["paper"], "strokeWidth": 4}
    return styles
