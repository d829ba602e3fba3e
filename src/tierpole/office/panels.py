"""The panels beside potency: what a certificate says of them, in the words it says it."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pydantic import ValidationError

from tierpole.errors import Fault
from tierpole.farm.books import Panel

PANELS = ("pesticides", "metals", "mycotoxins", "microbes")
_PASSED = re.compile(r"p|pass(ed)?|compliant", re.IGNORECASE)
_FAILED = re.compile(r"f|fail(ed)?|non-?compliant", re.IGNORECASE)
_UNTESTED = re.compile(r"|nt|not tested|n/?a|-+", re.IGNORECASE)
_WORDS = {True: "pass", False: "fail"}


def verdicts(panel: Panel) -> dict[str, bool]:
    """What was tested, and whether it passed."""
    found = {key: getattr(panel, f"{key}_pass") for key in PANELS}
    return {key: passed for key, passed in found.items() if passed is not None}


def panel_said(panel: Panel) -> str:
    """A panel in words: `pesticides pass, microbes fail`."""
    return ", ".join(f"{key} {_WORDS[passed]}" for key, passed in verdicts(panel).items())


def panel_of(fields: Mapping[str, str], place: str) -> Panel | tuple[Fault, ...]:
    """The panels a row of fields speaks of, or what is wrong with it."""
    faults: list[Fault] = []
    said: dict[str, object] = {}
    for key in PANELS:
        text = fields.get(key, "").strip()
        if _PASSED.fullmatch(text) or _FAILED.fullmatch(text):
            said[f"{key}_pass"] = _PASSED.fullmatch(text) is not None
        elif not _UNTESTED.fullmatch(text):
            faults.append(Fault(place, key, text, '"pass", "fail" or nothing'))
    about = {key: fields.get(key, "") for key in ("lot", "laboratory", "sampled_on", "reported_on")}
    try:
        panel = Panel.model_validate({**about, **said})
    except ValidationError as error:
        wrong = ((str(one["loc"][0]), str(one["msg"])) for one in error.errors())
        return (*faults, *(Fault(place, k, about.get(k) or None, msg) for k, msg in wrong))
    if panel.reported_on < panel.sampled_on:
        allowed = "on or after the sampling day"
        faults.append(Fault(place, "reported_on", panel.reported_on, allowed))
    return tuple(faults) or panel
