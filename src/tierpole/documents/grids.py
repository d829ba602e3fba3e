"""Tables that more than one paper prints of a lot: its certificates, its full panels."""

from __future__ import annotations

from tierpole.charts import words
from tierpole.documents.filed import Filed
from tierpole.documents.parts import Grid, content, full_day, percent
from tierpole.farm.books import Panel
from tierpole.season import Season


def certificate_grid(season: Season, lot: str) -> Grid:
    """Every certificate of a lot, as printed on it."""
    tests = sorted((t for t in season.tests if t.lot == lot), key=lambda test: test.sampled_on)
    return Grid(
        ("What", "Sampled", "Reported", "Tops", "Total CBD", "Total THC", "Uncertainty"),
        tuple(
            (
                "official sample" if test.kind == "official" else str(test.kind),
                full_day(test.sampled_on),
                full_day(test.reported_on),
                f"{test.plants}",
                "" if test.total_cbd is None else content(test.total_cbd, test.cbd_below),
                content(test.total_thc, test.thc_below),
                "not stated" if test.uncertainty is None else f"± {percent(test.uncertainty)}",
            )
            for test in tests
        ),
        (3, 4, 5, 6),
    )


def panel_grid(filed: Filed, lot: str) -> Grid:
    """What a lot was tested for beside potency."""
    return Grid(
        ("Laboratory", "Sampled", "Pesticides", "Metals", "Mycotoxins", "Microbes"),
        tuple(_panel_row(panel) for panel in filed.panels if panel.lot == lot),
    )


def _panel_row(panel: Panel) -> tuple[str, ...]:
    groups = (panel.pesticides_pass, panel.metals_pass, panel.mycotoxins_pass, panel.microbes_pass)
    said = {True: "pass", False: "fail", None: "not tested"}
    return panel.laboratory, words.day(panel.sampled_on), *(said[group] for group in groups)
