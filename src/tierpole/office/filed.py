"""What the books hold beside the season, as papers print it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tierpole.documents import Filed, Proof
from tierpole.records import Store, Wanted, nouns, verify

OF_SEASON = {
    "arrivals": "arrival",
    "plantings": "planting",
    "losses": "loss",
    "custody": "custody",
    "panels": "panel",
    "strippings": "stripping",
    "bags": "bag",
    "disposals": "disposal",
    "remediations": "remediation",
}
LASTING = {"licences": "licence", "approvals": "approval"}


def filed_in(store: Store, year: int, is_proven: bool) -> Filed:
    """Everything a paper may print of a season, if asked with the proof of the chain as it is."""
    found: dict[str, Any] = {
        name: tuple(one.noun for one in nouns(store, Wanted(kind, season=year)))
        for name, kind in OF_SEASON.items()
    }
    found |= {
        name: tuple(one.noun for one in nouns(store, Wanted(kind)))
        for name, kind in LASTING.items()
    }
    return Filed(**found, proof=_proof(store) if is_proven else None)


def _proof(store: Store) -> Proof:
    verdict = verify(store)
    sealed = f"{verdict.seal.seq}:{verdict.seal.hash}"
    return Proof(
        verdict.entries, sealed, datetime.now().astimezone().date().isoformat(), verdict.is_sound
    )
