"""The audit chain: each entry carries the hash of itself and of the entry before it.

An entry's hash is the SHA-256 of its canonical JSON (RFC 8785: keys sorted, no spaces, UTF-8) of
all its columns but the hash, `previous` being the hash of the entry before, or 64 zeros. Its
payload stands in it as the text it is. Ten lines in any language check the chain without us.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

BEFORE_ALL = "0" * 64


def canonical(value: Any) -> str:
    """JSON with one spelling: keys sorted, no spaces, signs as they are."""
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def sha256(text: str | bytes) -> str:
    """The SHA-256 of a text (as UTF-8) or of bytes, in hex."""
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def link(row: Mapping[str, Any]) -> str:
    """The hash of an entry's row."""
    linked = {name: value for name, value in row.items() if name != "hash"}
    plain = {"id": str(row["id"]), "noun": str(row["noun"]), "known_on": str(row["known_on"])}
    return sha256(canonical(linked | plain))
