"""The languages of the crew's screens: gettext catalogues, chosen for each person."""

from __future__ import annotations

import gettext
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from pathlib import Path

from tierpole.office.entry.told import Told

LOCALES = Path(str(files("tierpole.web") / "locale"))
NAMES = {"en": "English", "es": "Español"}


@cache
def translator(language: str) -> Callable[[str], str]:
    """What says a text in a language, piece by piece where it was put together.

    Texts it does not know stay as they are.
    """
    chosen = [language] if language in NAMES else ["en"]
    known = gettext.translation("tierpole", LOCALES, chosen, fallback=True).gettext
    return lambda text: text.said(known) if isinstance(text, Told) else known(text)
