"""The books as they are looked at: who wrote what when and why, balances, the chain."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from tierpole.charts import words
from tierpole.errors import StoreError
from tierpole.farm import Noun
from tierpole.office.entry.desk import Desk
from tierpole.office.entry.fields import in_brief, said
from tierpole.office.entry.forms import form_named
from tierpole.office.entry.uploads import media_type
from tierpole.office.looking_back import Back, look_back
from tierpole.records import (
    KINDS,
    NOW,
    AsOf,
    Balance,
    Change,
    Entry,
    Receipt,
    Step,
    Store,
    Verdict,
    Wanted,
    conflicts,
    history,
    in_force_then,
    journal,
    mass_balance,
    nouns,
    read_content,
    seal,
    seasons,
    standing,
    verify,
    write_with,
)
from tierpole.units import System, show

PAGE = 50  # entries on a page
_MEDIA = {"application/pdf": "PDF", "image/jpeg": "photo (JPEG)", "image/png": "picture (PNG)",
          "image/webp": "picture (WebP)"}  # fmt: skip
ASSUMED, PROPOSED = "assumed at the start", "proposed at the start"  # why an entry was written
AT_START = ("farm", "fields", "varieties", "lots", "places", "crew", "market", "costs")


@dataclass(frozen=True)
class Line:
    """An entry of the journal, said."""

    seq: int
    entry: UUID
    noun: UUID
    title: str
    what: str
    when: str
    who: str
    why: str
    is_withdrawn: bool
    is_contested: bool
    is_replaced: bool = False  # on the day that is looked back to


@dataclass(frozen=True)
class Book:
    """A page of the journal, newest first; `older` is where the next one begins.

    `back` is there when the books are looked at as they were.
    """

    lines: tuple[Line, ...]
    older: int | None
    kinds: tuple[str, ...]
    lots: tuple[str, ...]
    rivals: int
    seal: str
    back: Back | None = None


@dataclass(frozen=True)
class Field:
    """A field of a noun in one entry: what it says, and what the entry before said."""

    label: str
    now: str
    before: str


@dataclass(frozen=True)
class Chapter:
    """One entry of a noun's history: who, when, why, what it changed."""

    line: Line
    fields: tuple[Field, ...]


@dataclass(frozen=True)
class Story:
    """A noun from its first entry to its last; `rivals` wait for a decision."""

    noun: UUID
    title: str
    chapters: tuple[Chapter, ...]
    stands: UUID | None
    can_be_corrected: bool
    rivals: tuple[Chapter, ...]
    photos: tuple[Paper, ...]


@dataclass(frozen=True)
class Paper:
    """A photo or paper that a noun names, and what it is, in words; only pictures are shown."""

    key: str
    kind: str
    is_picture: bool


@dataclass(frozen=True)
class StepLine:
    """A step of a balance in words."""

    name: str
    went_in: str
    came_out: str
    rest: str
    stands: str
    is_within: bool


@dataclass(frozen=True)
class LotBalance:
    """The balance of one lot, its first difference in a sentence; the steps nobody wrote of."""

    lot: str
    sentence: str
    steps: tuple[StepLine, ...]
    unwritten: tuple[str, ...]


@dataclass(frozen=True)
class Packet:
    """What an inspector sees of a lot: every entry that stands, by kind; the balance; the seal."""

    lot: str
    season: int
    parts: tuple[tuple[str, tuple[Line, ...]], ...]
    balance: LotBalance
    seal: str


@dataclass(frozen=True)
class Ledger:
    """What can be looked up in a farm's books, and decided there."""

    store: Store
    desk: Desk

    def book(
        self, before: int | None, kind: str, lot: str, system: System, as_of: AsOf = NOW
    ) -> Book:
        """A page of the journal, now or as it was."""
        with self.store.reading():
            return self._book(before, kind, lot, system, as_of)

    def _book(self, before: int | None, kind: str, lot: str, system: System, as_of: AsOf) -> Book:
        found = journal(self.store, before, PAGE, kind, lot, as_of)
        noted = seal(self.store)
        back = look_back(self.store, as_of) if as_of != NOW else None
        return Book(
            lines=tuple(self._lines(found, as_of, system)),
            older=found[-1].seq if len(found) == PAGE else None,
            kinds=tuple(one.name for one in KINDS),
            lots=self.lots(),
            rivals=len(conflicts(self.store)),
            seal=f"{noted.seq}:{noted.hash}",
            back=back,
        )

    def _lines(self, found: list[Entry], as_of: AsOf, system: System) -> Iterator[Line]:
        """The entries in lines; looking back, those that others had replaced by then are told."""
        stood = in_force_then(self.store, found, as_of) if as_of != NOW else None
        for entry in found:
            is_replaced = stood is not None and entry.seq not in stood and not entry.is_contested
            yield replace(line_of(entry, system), is_replaced=is_replaced)

    def lots(self) -> tuple[str, ...]:
        """The lots of the season."""
        season = max(seasons(self.store), default=None)
        return tuple(one.noun.name for one in nouns(self.store, Wanted("lot", season=season)))

    def story(self, noun: UUID, system: System) -> Story | None:
        """All that was ever said of a noun; None when there is none."""
        found = history(self.store, noun)
        if not found:
            return None
        stands = standing(self.store, noun)
        waiting = next((one.rivals for one in conflicts(self.store) if one.in_force.of == noun), ())
        chapters = [
            Chapter(line_of(entry, system), _fields(entry, found, system)) for entry in found
        ]
        ids = {entry.id for entry in waiting}
        last = next((entry.noun for entry in reversed(found) if entry.noun), None)
        return Story(
            noun=noun,
            title=_title(found[0].kind, last),
            chapters=tuple(reversed(chapters)),
            stands=stands.entry.id if stands else None,
            can_be_corrected=form_named(f"any-{found[0].kind}") is not None,
            rivals=tuple(one for one in chapters if one.line.entry in ids),
            photos=tuple(self._paper(key) for key in _contents(last)),
        )

    def _paper(self, key: str) -> Paper:
        try:
            media = media_type(read_content(self.store, key)) or ""
        except StoreError:  # it is lost: the check of the chain names it
            media = ""
        return Paper(key, _MEDIA.get(media, "file"), media.startswith("image/"))

    def withdraw(self, noun: UUID, seen: UUID, who: str, why: str) -> Receipt:
        """Say that a noun is no more, as it was seen to stand."""
        change = Change(None, noun, (seen,), why, self.desk.kept_day)
        (receipt,) = write_with(self.store, [change], [], who)
        self.desk.look()
        return receipt

    def decide(self, noun: UUID, chosen: UUID, who: str) -> Receipt | None:
        """Of several who corrected the same at once, take one; all stay in the books."""
        waiting = next((one for one in conflicts(self.store) if one.in_force.of == noun), None)
        if waiting is None:
            return None
        rivals = {one.id: one for one in (waiting.in_force, *waiting.rivals)}
        if chosen not in rivals:
            return None
        taken = rivals[chosen]
        change = Change(
            taken.noun, noun, tuple(rivals), f"decided for {taken.who}", self.desk.kept_day,
            taken.season,
        )  # fmt: skip
        (receipt,) = write_with(self.store, [change], [], who)
        self.desk.look()
        return receipt

    def balances(self, system: System) -> tuple[LotBalance, ...]:
        """The mass balance of every lot of the season."""
        with self.store.reading():
            season = max(seasons(self.store), default=None)
            if season is None:
                return ()
            found = [mass_balance(self.store, lot, season) for lot in self.lots()]
        return tuple(_balance(one, system) for one in found)

    def packet(self, lot: str, system: System) -> Packet | None:
        """All that the books say of one lot; None when they hold no such lot."""
        if lot not in self.lots():
            return None
        season, noted = max(seasons(self.store)), seal(self.store)
        parts = []
        for kind in KINDS:
            wanted = Wanted(kind.name, season=season, lot=lot)
            if kind.name == "lot":
                wanted = Wanted("lot", season=season, name=lot)
            elif "lot" not in kind.noun.model_fields:
                continue
            if lines := [line_of(one.entry, system) for one in nouns(self.store, wanted)]:
                parts.append((_title(kind.name, None), tuple(lines)))
        made = _balance(mass_balance(self.store, lot, season), system)
        return Packet(lot, season, tuple(parts), made, f"{noted.seq}:{noted.hash}")

    def assumed(self) -> tuple[Line, ...]:
        """What nobody has answered since the start, and was assumed or proposed there."""
        season = max(seasons(self.store), default=None)
        found = (
            one.entry
            for kind in KINDS
            if kind.table in AT_START
            for one in nouns(self.store, Wanted(kind.name))
        )
        return tuple(
            replace(line_of(entry, "us"), title=_title(entry.kind, entry.noun))
            for entry in found
            if entry.why in (ASSUMED, PROPOSED) and entry.season in (None, season)
        )

    def check(self) -> Verdict:
        """Check every link of the chain."""
        return verify(self.store)

    def content(self, key: str) -> bytes:
        """A photo or paper by its hash."""
        return read_content(self.store, key)


def line_of(entry: Entry, system: System) -> Line:
    """An entry in a line."""
    when = datetime.fromisoformat(entry.entered_at).astimezone()
    return Line(
        seq=entry.seq,
        entry=entry.id,
        noun=entry.of,
        title=_title(entry.kind, None),
        what=", ".join(in_brief(entry.noun, system)) if entry.noun else "withdrawn",
        when=f"{words.short_day(when.date())} {when.year}, {when:%H:%M}",
        who=entry.who,
        why=entry.why,
        is_withdrawn=entry.noun is None,
        is_contested=entry.is_contested,
    )


def _title(kind: str, noun: Noun | None) -> str:
    name = getattr(noun, "name", getattr(noun, "lot", None))
    title = kind.replace("_", " ").capitalize()
    return f"{title}: {name}" if name else title


def _fields(entry: Entry, every: list[Entry], system: System) -> tuple[Field, ...]:
    """What an entry says beside what the entries it corrects said."""
    now = dict(said(entry.noun, system)) if entry.noun else {}
    before: dict[str, str] = {}
    for other in every:
        if other.id in entry.corrects and other.noun is not None:
            before |= dict(said(other.noun, system))
    labels = dict.fromkeys([*now, *before])
    return tuple(Field(label, now.get(label, ""), before.get(label, "")) for label in labels)


def _contents(noun: Noun | None) -> list[str]:
    """The photos and papers a noun names."""
    fields = ("photo", "paper", "supplier_paper", "content")
    return [found for name in fields if (found := getattr(noun, name, None))]


def _balance(balance: Balance, system: System) -> LotBalance:
    steps = tuple(_step(step, system) for step in balance.steps if _is_written(step))
    unwritten = tuple(step.name for step in balance.steps if not _is_written(step))
    first = next((one for one in steps if not one.is_within), None)
    return LotBalance(balance.lot, _sentence(first), steps, unwritten)


def _is_written(step: Step) -> bool:
    return step.rest is not None or bool(step.came_out)


def _step(step: Step, system: System) -> StepLine:
    return StepLine(
        name=step.name,
        went_in=_amount(step.went_in, step.unit, system),
        came_out=_amount(step.came_out, step.unit, system),
        rest=_amount(step.rest, step.unit, system),
        stands=_standing(step),
        is_within=step.is_within,
    )


def _standing(step: Step) -> str:
    if not step.is_within:
        return "does not agree"
    if step.rest is None or step.went_in is None:
        return "not compared"
    return "a rest is left" if step.rest > step.tolerance * step.went_in else "agrees"


def _sentence(first: StepLine | None) -> str:
    if first is None:
        return "Everything written down adds up."
    return (
        f'A difference arises at "{first.name}": {first.went_in} went in, '
        f"{first.came_out} came out."
    )


def _amount(amount: float | None, unit: str, system: System) -> str:
    if amount is None:
        return "not written"
    return show(amount, "a mass", system, 4) if unit == "kg" else f"{amount:,.0f} {unit}"
