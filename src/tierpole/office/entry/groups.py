"""What can be written down beside the quick forms, under headings in the order of a season."""

from __future__ import annotations

from collections.abc import Collection

# every kind that a person may write, once; the names of kinds are those of the books
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("The farm", ("farm", "field", "variety", "lot", "place", "crew", "weather")),
    ("Money of the season", ("market", "costs", "other_crop")),
    ("Plants and field", ("order", "arrival", "planting", "loss", "scouting", "flowering", "gauge",
                          "operation", "input")),
    ("Tests", ("sampler", "laboratory", "sample", "custody", "test", "panel",
               "certificate_columns")),
    ("Harvest and barn", ("cut", "green_weight", "hanging", "tier", "reading", "air",
                          "stick_weight", "airing", "clean_down", "stripping", "bag", "move")),
    ("Sales", ("sale", "delivery", "settlement", "payment")),
    ("The law", ("licence", "approval", "report", "disposal", "remediation")),
    ("Papers and notes", ("attachment", "memo")),
)  # fmt: skip


def grouped(kinds: Collection[str]) -> list[tuple[str, list[str]]]:
    """Kinds under their headings; a heading of none is left out."""
    found = ((title, [one for one in names if one in kinds]) for title, names in GROUPS)
    return [(title, names) for title, names in found if names]
