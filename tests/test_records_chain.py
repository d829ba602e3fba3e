"""The audit chain: anybody can check it, and nothing can be changed without its being named."""

import hashlib
import re
from pathlib import Path

import pytest
import rfc8785
import sqlalchemy as sa

from records_books import attach, farm_of
from tierpole.farm import Cut
from tierpole.records import Change, Seal, entries, seal, verify, write
from tierpole.records.chain import link

pytest_plugins = ["records_server"]
ROOT = Path(__file__).parent.parent


def cuts(store, numbers=(200, 180, 160)):
    farm_of(store)
    changes = [Change(Cut(lot="4 Lane", cut_on="2026-08-31", sticks=n)) for n in numbers]
    write(store, changes, who='Ann "Nan" Müller', at=None)
    better = Cut(lot="4 Lane", cut_on="2026-08-31", sticks=170)
    write(
        store, [Change(better, changes[1].of, (changes[1].id,), why="recount — 10 \\ fell")], "Ben"
    )
    return changes


def rows(store):
    with store.reading() as connection:
        found = connection.execute(sa.text("SELECT * FROM entry ORDER BY seq")).mappings()
        return [dict(row) for row in found]


def tamper(store, *statements):
    with store.writing() as connection:
        for statement in statements:
            connection.execute(sa.text(statement))


def test_the_chain_against_plain_python(filed, monkeypatch):
    """The lines in docs/books.md need the file and the standard library, nothing of ours."""
    cuts(filed)
    text = (ROOT / "docs" / "books.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(filed.path.parent)
    found = {}
    exec(code, found)
    assert (found["row"]["seq"], found["last"]) == (8, seal(filed).hash)
    found["books"].close()
    tamper(filed, "UPDATE entry SET who = 'Ben' WHERE seq = 6")
    with pytest.raises(AssertionError, match="6"):
        exec(code, found)
    found["books"].close()


def test_the_chain_against_rfc8785(store):
    """Another's canonical JSON (RFC 8785) of each entry hashes to the same."""
    cuts(store)
    for row in rows(store):
        said = {k: v for k, v in row.items() if k != "hash"}
        said |= {"known_on": str(row["known_on"]), "is_contested": bool(row["is_contested"])}
        said |= {
            key: str(entry) for key, entry in zip(("id", "noun"), ids(store, row), strict=True)
        }
        assert hashlib.sha256(rfc8785.dumps(said)).hexdigest() == row["hash"]


def ids(store, row):
    (entry,) = entries(store, after=row["seq"] - 1, limit=1)
    return entry.id, entry.of


def test_sound_books_are_found_sound(store):
    cuts(store)
    attach(store, b"a photo", "barn.jpg", "image/jpeg", who="Ann", lot="4 Lane")
    verdict = verify(store)
    assert (verdict.is_sound, verdict.entries, verdict.broken) == (True, 9, None)
    assert verdict.seal == seal(store) == Seal(9, rows(store)[-1]["hash"])


IN_FORCE = "entry {} is in force, but the books show another"
EVERY = ["id", "kind", "noun", "revision", "corrects", "payload", "season", "known_on",
         "entered_at", "who", "why", "is_contested", "previous"]  # fmt: skip


def test_every_column_is_in_the_chain(filed):
    """A column that could be changed unseen would be a hole."""
    cuts(filed)
    columns = set(rows(filed)[0])
    assert columns == {*EVERY, "seq", "hash"}
    (row,) = [one for one in rows(filed) if one["seq"] == 6]
    assert len({link(row | {name: "other"}) for name in EVERY}) == len(EVERY)


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE entry SET payload = replace(payload, '180', '80') WHERE seq = 6",
         "was changed after it was written"),
        ("UPDATE entry SET who = 'Ben' WHERE seq = 6", "was changed after it was written"),
        ("UPDATE entry SET known_on = '2026-08-01' WHERE seq = 6",
         "was changed after it was written"),
        ("UPDATE entry SET previous = hash WHERE seq = 6", "does not follow the entry before it"),
    ],
)  # fmt: skip
def test_a_changed_entry_is_named(store, statement, told):
    cuts(store)
    day = rows(store)[5]["entered_at"][:10]
    tamper(store, statement)
    verdict = verify(store)
    who = "Ben" if "who" in statement else 'Ann "Nan" Müller'
    assert verdict.broken == f"entry 6 (cut, by {who}, {day}) {told}"
    assert verdict.entries == 5


def test_a_changed_entry_with_its_own_hash_made_anew_breaks_the_next(store):
    cuts(store)
    row = rows(store)[5] | {"who": "Ben"}
    row |= dict(zip(("id", "noun"), ids(store, row), strict=True))
    row["is_contested"] = bool(row["is_contested"])
    tamper(store, f"UPDATE entry SET who = 'Ben', hash = '{link(row)}' WHERE seq = 6")
    assert "entry 7 " in verify(store).broken
    assert verify(store).broken.endswith("does not follow the entry before it")


def test_a_missing_entry_is_named(filed):
    cuts(filed)
    tamper(filed, "PRAGMA defer_foreign_keys = ON", "DELETE FROM entry WHERE seq = 5",
           "DELETE FROM current WHERE seq = 5")  # fmt: skip
    assert verify(filed).broken == "entry 5 is missing"


def test_entries_cut_off_at_the_end_are_missed(store):
    """The head says how many there were; a seal on paper says so when the head is cut off too."""
    cuts(store)
    noted = seal(store)
    last = rows(store)[-2]["hash"]
    tamper(store, "DELETE FROM current WHERE seq = 8", "DELETE FROM entry WHERE seq = 8")
    assert verify(store).broken == "entry 8 is missing: the books once had 8 entries"
    tamper(store, f"UPDATE head SET seq = 7, hash = '{last}'")
    assert verify(store, [noted]).broken == "entry 8 is missing: the books once had 8 entries"


def test_books_made_anew_do_not_match_an_old_seal(filed):
    """Whoever writes all of it again has a chain that holds, and another seal."""
    cuts(filed)
    noted = Seal(6, "f" * 64)
    assert verify(filed).is_sound
    assert verify(filed, [noted]).broken.endswith("is another than the one sealed")


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE current SET seq = 6 WHERE seq = 8", IN_FORCE.format(8)),
        ("DELETE FROM current WHERE seq = 8", IN_FORCE.format(8)),
        ("UPDATE current SET is_withdrawn = (1 = 1) WHERE seq = 7",
         IN_FORCE.format(7)),
    ],
)  # fmt: skip
def test_what_is_shown_is_what_is_in_force(store, statement, told):
    """The journal untouched, but another value shown: found as well."""
    cuts(store)
    tamper(store, statement)
    assert verify(store).broken == told


def test_a_changed_photo_is_named(store):
    attach(store, b"a photo", "barn.jpg", "image/jpeg", who="Ann")
    key = hashlib.sha256(b"a photo").hexdigest()
    cast = "CAST('x' AS BLOB)" if store.is_file else "'x'::bytea"
    tamper(store, f"UPDATE content SET bytes = {cast}")
    assert verify(store).broken == f"the content {key} was changed after it was kept"
