"""Keep the catalogues of the crew's screens: `python tools/languages.py`, or `--check` to compare.

Texts are gathered from the templates (`t('...')`), the quick forms, and what is said of airing; new
ones are added to each `.po` file to be translated by hand, and the `.mo` files made from them.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from measure import ROOT
from tierpole.charts import words
from tierpole.farm import Cut, Flowering, GaugeReading, Hanging, Noun, Reading, Sample, Test
from tierpole.farm import books as b
from tierpole.farm.tested import NOTHING_READ, UPSIDE_DOWN
from tierpole.office.entry import FORMS
from tierpole.office.entry.desk import (
    FAULT,
    HANGS,
    NAME_GONE,
    NAME_TAKEN,
    NOT_THERE,
    TO_COME,
    WHOLE,
)
from tierpole.office.entry.fields import COMMAS, OTHERWISE, UNANSWERED, ask_of
from tierpole.office.entry.uploads import OTHER_FILE, TOO_LARGE
from tierpole.office.views import barn
from tierpole.web.access import TOO_OLD
from tierpole.web.entry import IN_USE, NOT_OWN
from tierpole.web.papers import NOT_YET, TOO_OFTEN
from tierpole.web.people import NO_CODE, TOO_MANY

HEAD = "# The crew's screens. New texts come from `python tools/languages.py`."
BEGUN = datetime(2026, 11, 25, tzinfo=UTC)  # fixed, so that a run changes nothing by itself
WEB = ROOT / "src" / "tierpole" / "web"
LOCALES = WEB / "locale"
NOUNS: tuple[type[Noun], ...] = (
    Cut, Hanging, Reading, Sample, Test, Flowering, b.Operation, b.TierLoad, b.AirReading,
    GaugeReading, b.StickWeight, b.Stripping, b.Bag,
    b.BagMove, b.Scouting,
)  # fmt: skip


def texts() -> list[str]:
    """Every text the crew's screens say."""
    return sorted({text for text in _texts() if text.strip(" :;")})


def _texts() -> Iterator[str]:
    for template in sorted((WEB / "templates").glob("*.html")):
        yield from re.findall(r"\bt\('([^']+)'\)", template.read_text(encoding="utf-8"))
    for form in FORMS:
        yield from (form.title, form.note)
        for ask in form.asks:
            yield from (ask.label, *map(str, ask.choices), *ask.allowed.patterns())
    for noun in NOUNS:
        yield from (ask_of(noun, key).label for key in noun.model_fields)
    for told in (UNANSWERED, OTHERWISE, OTHER_FILE, NOT_THERE, TO_COME):
        yield from told.patterns()
    yield from (COMMAS, TOO_LARGE, FAULT, NAME_GONE, NAME_TAKEN, HANGS, WHOLE, *barn.CREW_TEXTS)
    yield from (NOTHING_READ, UPSIDE_DOWN)
    yield from (TOO_OLD, TOO_MANY, NO_CODE, IN_USE, NOT_OWN, NOT_YET, TOO_OFTEN)
    yield from words.MONTHS


def catalogues() -> Iterator[tuple[Path, Catalog]]:
    """Each catalogue with the texts of now: those it knows keep their translation."""
    for path in sorted(LOCALES.glob("*/LC_MESSAGES/tierpole.po")):
        with path.open("rb") as file:
            old = read_po(file, locale=path.parts[-3])
        new = Catalog(
            locale=path.parts[-3], header_comment=HEAD, project="Tierpole", version="1",
            msgid_bugs_address="none", last_translator="none", language_team="none",
            creation_date=BEGUN, revision_date=BEGUN, fuzzy=False,
        )  # fmt: skip
        for text in texts():
            found = old.get(text)
            new.add(text, found.string if found else "")
        yield path, new


def pages() -> Iterator[tuple[Path, bytes]]:
    """Each file as it should be."""
    for path, catalogue in catalogues():
        written, compiled = BytesIO(), BytesIO()
        write_po(written, catalogue, width=98, omit_header=False, sort_output=True)
        write_mo(compiled, catalogue)
        yield path, written.getvalue()
        yield path.with_suffix(".mo"), compiled.getvalue()


def main() -> None:
    """Write the files, or with `--check` say which are not current."""
    stale = [path for path, data in pages() if not path.exists() or path.read_bytes() != data]
    if "--check" in sys.argv:
        sys.exit("\n".join(f"{path} is not current" for path in stale) or 0)
    for path, data in pages():
        path.write_bytes(data)
    print(*stale, sep="\n")


if __name__ == "__main__":
    main()
