"""The guide through the start: hands out a step, takes it into the books, knows how far one is.

Nothing is kept but the nouns themselves, each with who, when and why. A step is open while its
noun is not in the books; so a start that was broken off goes on where it stood.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any
from uuid import UUID, uuid4

from pydantic import ValidationError

from tierpole.errors import InputError, TierpoleError
from tierpole.farm import Noun
from tierpole.farm.books import SeasonYear
from tierpole.office.entry.desk import part_id
from tierpole.office.entry.uploads import Upload
from tierpole.office.ledger import ASSUMED, PROPOSED
from tierpole.office.sources import season_of
from tierpole.office.start.asking import (
    Row,
    RowFaultError,
    Sheet,
    Step,
    Values,
    blank_sheet,
    read_rows,
    sent_sheet,
)
from tierpole.office.start.assumed import CHOSEN
from tierpole.office.start.known import Known, known_in
from tierpole.office.start.station import HandedIn, handed_in, kept_with
from tierpole.office.start.steps import LAST, MENDS, NEEDS, PLACE, STEPS
from tierpole.records import (
    Change,
    Store,
    Stored,
    kind_of,
    setting_id,
    standing,
    write_with,
)
from tierpole.units import System

BESIDE = 100  # the number of a row's second noun among the ids of a form


class State(StrEnum):
    """How far a step is."""

    OPEN = "not asked yet"
    PROPOSED = "proposed"
    ASSUMED = "assumed"
    ANSWERED = "answered"


class NotTakenError(TierpoleError):
    """Answers that were not taken; carries the sheet with what is wrong."""

    exit_status = 2

    def __init__(self, sheet: Sheet):
        self.sheet = sheet
        super().__init__("; ".join(sheet.general))


@dataclass(frozen=True)
class Lack:
    """What still keeps a plan from being made, and the step that mends it."""

    says: str
    step: str


@dataclass(frozen=True)
class Guide:
    """The start of the farm in one store."""

    store: Store

    def known(self) -> Known:
        """What the books hold by now."""
        return known_in(self.store)

    def states(self) -> list[tuple[Step, State]]:
        """Every step and how far it is."""
        known = self.known()
        return [(step, _state(known.stored(step.kind))) for step in STEPS]

    def stands_at(self) -> str:
        """The key of the first step nobody has gone through, else of the plan."""
        still = (State.OPEN, State.PROPOSED)
        return next((step.key for step, state in self.states() if state in still), LAST)

    def needs(self, step: Step) -> Step | None:
        """The first step still open that this one's lists are made of."""
        known = self.known()
        wanted = (one for one in STEPS if one.key in NEEDS.get(step.key, ()))
        return next((one for one in wanted if not known.stored(one.kind)), None)

    # --- a step -----------------------------------------------------------------------------------

    def sheet(self, step: Step, system: System) -> Sheet:
        """A step with what the books say."""
        known = self.known()
        sheet = blank_sheet(step, known.stored(step.kind), known, system)
        read, values = read_rows(sheet, system)
        return replace(sheet, told=tuple(_told(step, _sound(read, values), known, system)))

    def look(
        self, step: Step, entry: UUID, texts: Mapping[str, str],
        uploads: Mapping[str, Upload], system: System,
    ) -> Sheet:  # fmt: skip
        """What answers come to, and what is wrong with them; nothing is written."""
        sheet, made, _ = self._made(step, entry, texts, uploads, system)
        known = self.known()
        return replace(
            sheet, told=tuple(_told(step, [one for one, _ in made if one], known, system))
        )

    def take(
        self, step: Step, entry: UUID, texts: Mapping[str, str],
        uploads: Mapping[str, Upload], who: str, system: System,
    ) -> None:  # fmt: skip
        """Write a step's answers, all or none; raises `NotTakenError` with what is wrong."""
        sheet, made, weather = self._made(step, entry, texts, uploads, system)
        if not sheet.has_faults and not any(nouns for _, nouns in made):
            sheet = replace(sheet, general=("Write something, or skip this step.",))
        if sheet.has_faults:
            raise NotTakenError(sheet)
        known = self.known()
        try:
            self._withdraw_lots(step, sheet, known, who)
            changes = list(self._changes(sheet, [nouns for _, nouns in made], known))
            ours = [] if weather is None else list(self._settings(known, weather, CHOSEN))
            write_with(self.store, [*ours, *changes], weather.contents if weather else [], who)
        except InputError as error:
            raise NotTakenError(replace(sheet, general=tuple(map(str, error.faults)))) from None

    def skip(self, step: Step, who: str) -> None:
        """Write what is assumed where a step was skipped, as assumed; what is told stays."""
        while (need := self.needs(step)) is not None:
            self.skip(need, who)
        known = self.known()
        stored = known.stored(step.kind)
        changes = [
            self._change(one.noun, one, ASSUMED, known.year)
            for one in stored if one.entry.why == PROPOSED
        ]  # fmt: skip
        weather = kept_with("") if step is PLACE and not stored else None
        if weather is not None:
            changes += self._settings(known, weather, ASSUMED)
        if not stored:
            changes += self._assumed(step, known)
        write_with(self.store, changes, weather.contents if weather else [], who)

    def _assumed(self, step: Step, known: Known) -> Iterator[Change]:
        for noun in step.assume(known):
            if not (kind_of(noun).is_single and known.stored(kind_of(noun).name)):
                yield self._change(noun, None, ASSUMED, known.year)

    def finish(self, who: str) -> tuple[Lack, ...]:
        """Fill in what nobody was asked, and say what still keeps a plan from being made."""
        for step, state in self.states():
            if state is State.OPEN:
                self.skip(step, who)
        return self.lacks()

    def lacks(self) -> tuple[Lack, ...]:
        """What contradicts itself in what was told."""
        try:
            season_of(self.store)
        except InputError as error:
            tables = [(fault, fault.place.split("[")[0].split(" ")[0]) for fault in error.faults]
            return tuple(Lack(str(fault), MENDS.get(table, "place")) for fault, table in tables)
        return ()

    # --- making nouns -----------------------------------------------------------------------------

    def _made(
        self, step: Step, entry: UUID, texts: Mapping[str, str],
        uploads: Mapping[str, Upload], system: System,
    ) -> tuple[Sheet, list[tuple[Values | None, list[Noun]]], HandedIn | None]:  # fmt: skip
        """The sheet as it was sent, the values and nouns of each row, and a station's file."""
        known = self.known()
        sheet, read = read_rows(sent_sheet(step, entry, texts, known), system)
        weather = None
        if step is PLACE and read[0] is not None:
            weather, told = handed_in(uploads.get("file"), read[0], known)
            if weather is None:
                sheet = replace(sheet, general=(told,))
            else:
                read[0]["record"] = weather.record
        rows, made = list[Row](), list[tuple[Values | None, list[Noun]]]()
        for row, values in zip(sheet.rows, read, strict=True):
            nouns, faults = _nouns(step, values, known)
            rows.append(replace(row, faults={**row.faults, **faults}))
            made.append((None if faults else values, nouns))
        return replace(sheet, rows=tuple(rows)), made, weather

    def _changes(self, sheet: Sheet, made: list[list[Noun]], known: Known) -> Iterator[Change]:
        for number, (row, nouns) in enumerate(zip(sheet.rows, made, strict=True)):
            old = self._old(sheet, row, number, known)
            if not nouns and old is not None:
                yield Change(None, old.entry.of, (old.entry.id,), "taken out at the start")
            for place, noun in enumerate(nouns):
                before = old if place == 0 else _alike(noun, known)
                why = PROPOSED if kind_of(noun).name == "lot" and place else CHOSEN
                if before is None or before.noun != noun or (
                    before.entry.why in (ASSUMED, PROPOSED) and why == CHOSEN
                ):  # fmt: skip
                    id_ = part_id(sheet.entry, number + BESIDE * place)
                    yield self._change(noun, before, why, known.year, id_)

    def _old(self, sheet: Sheet, row: Row, number: int, known: Known) -> Stored | None:
        """What a row corrects: what it was shown, else what the same form wrote before."""
        stored = known.stored(sheet.step.kind)
        if sheet.step.is_single:
            return stored[0] if stored else None
        if row.of:
            return next((one for one in stored if str(one.entry.of) == row.of), None)
        return standing(self.store, part_id(sheet.entry, number))

    def _withdraw_lots(self, step: Step, sheet: Sheet, known: Known, who: str) -> None:
        """A field that is taken out takes its lots with it."""
        if step.kind != "field":
            return
        blank = {row.of for row in sheet.rows if row.is_blank(step)}
        gone = {one.noun.name for one in known.stored("field") if str(one.entry.of) in blank}
        lots = [one for one in known.stored("lot") if one.noun.field in gone]
        changes = [
            Change(None, one.entry.of, (one.entry.id,), "its field was taken out") for one in lots
        ]
        if changes:
            write_with(self.store, changes, [], who)

    def _change(
        self, noun: Noun, before: Stored | None, why: str, year: int, id_: UUID | None = None
    ) -> Change:
        kind = kind_of(noun)
        season = year if kind.is_single and not kind.is_lasting else None
        said: dict[str, Any] = {"why": why, "season": season}
        if before is not None:
            return Change(noun, before.entry.of, (before.entry.id,), **said)
        if kind.is_single:
            return Change(noun, setting_id(kind.name, season), **said)
        return Change(noun, id=id_ or uuid4(), **said)

    def _settings(self, known: Known, weather: HandedIn, why: str) -> Iterator[Change]:
        """The season and its weather, where they are not what the books say already."""
        for noun in (SeasonYear(year=known.year), weather.source):
            before = _alike(noun, known)
            if before is None or before.noun != noun:
                yield self._change(noun, before, why, known.year)


def _state(stored: list[Stored]) -> State:
    reasons = {one.entry.why for one in stored}
    if not stored:
        return State.OPEN
    if PROPOSED in reasons:
        return State.PROPOSED
    return State.ASSUMED if ASSUMED in reasons else State.ANSWERED


def _alike(noun: Noun, known: Known) -> Stored | None:
    """The noun in the books that a row's second noun is."""
    kind, name = kind_of(noun), getattr(noun, "name", None)
    stored = known.stored(kind.name)
    return next((one for one in stored if kind.is_single or one.noun.name == name), None)


def _nouns(step: Step, values: Values | None, known: Known) -> tuple[list[Noun], dict[str, str]]:
    """What a row's values become, else what is wrong by question."""
    if values is None:
        return [], {}
    try:
        return list(step.make(values, known)), {}
    except RowFaultError as error:
        return [], {error.key: str(error)}
    except ValidationError as error:
        return [], dict(_beside(step, str(one["loc"][0]), one["msg"]) for one in error.errors())


def _beside(step: Step, field: str, allowed: str) -> tuple[str, str]:
    """A fault of a noun's field beside its question, or beside the first if it has none."""
    ask = next((one for one in step.asks if one.key == field), None)
    label = ask.label if ask else field.replace("_", " ").capitalize()
    return (ask or step.asks[0]).key, f"{label} must be {allowed}."


def _sound(sheet: Sheet, values: list[Values | None]) -> list[Values]:
    return [one for one in values if one is not None and not sheet.general]


def _told(step: Step, rows: list[Values], known: Known, system: System) -> Iterator[Any]:
    """What rows come to; one that does not fit together tells nothing."""
    for values in rows:
        try:
            yield from step.tell(values, known, system)
        except (RowFaultError, ValidationError):
            continue
