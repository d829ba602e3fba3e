"""The desk: hands out forms with what was said last, and carries answers into the books."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid4, uuid5

from pydantic import ValidationError

from tierpole.charts import words
from tierpole.errors import Fault, InputError, StoreError, TierpoleError
from tierpole.farm import Noun
from tierpole.farm.books import SeasonYear, WeatherSource
from tierpole.office.entry.fields import MOST_ROWS, NAMED, TOO_MANY, AnswerError, Ask, said
from tierpole.office.entry.forms import Form, Values, Written, form_named
from tierpole.office.entry.told import Told
from tierpole.office.entry.uploads import Upload, fault_of, seen_in
from tierpole.office.gates import check_gates
from tierpole.office.rule_guides import Guide, RuleGuides
from tierpole.records import (
    KINDS,
    Change,
    Entry,
    Receipt,
    Store,
    Stored,
    Wanted,
    check_weather,
    content_key,
    days_to_come,
    entries_named,
    history,
    kind_named,
    kind_of,
    latest,
    nouns,
    setting_id,
    standing,
    write_with,
)
from tierpole.units import System

FAULT = "{label} {must}."
WHOLE = "This must be {allowed}."
IN_ROW = "Row {row}: {fault}"
TO_COME = Told("must be today or before: it is of what happened")
NOT_THERE = Told("must be one that is in the books")
NAME_GONE = "{label}: “{name}” is not in the books, or not any more. Choose another."
NAME_TAKEN = "{label}: “{name}” is taken already. Write another."
HANGS = "{lot}, {place}: {sticks} sticks of {day} {month}"
PARTS = 4  # nouns one form writes at most
UNDONE = "taken back"
SYSTEMS: tuple[System, ...] = ("us", "metric")


@dataclass(frozen=True)
class Asked:
    """A form to be answered: its answers so far, what is wrong with them, what its lists offer.

    `entry` is the id the entry will bear, however often it is sent. `seen` is the entry that is
    corrected, empty for a new noun. `guide` is what the rules say beside the form.
    """

    form: Form
    entry: UUID
    answers: Mapping[str, str]
    options: Mapping[str, tuple[tuple[str, str], ...]]
    faults: Mapping[str, str] = field(default_factory=dict)
    general: tuple[str, ...] = ()
    seen: str = ""
    guide: Guide | None = None

    @property
    def questions(self) -> Iterator[Ask]:
        """Every question as it is shown, those of tables row by row."""
        for ask in self.form.asks:
            yield ask
            for number in ask.shown(self.answers) if ask.columns else ():
                yield from ask.row(number)

    def with_more(self, key: str) -> Asked:
        """The form with an empty row more in one of its tables."""
        tables = (ask for ask in self.form.asks if ask.columns and ask.key == key)
        more = {table.count: str(len(table.shown(self.answers)) + 1) for table in tables}
        return replace(self, answers=dict(self.answers) | more)


class RefusedError(TierpoleError):
    """Answers that were not taken; carries the form with what is wrong."""

    exit_status = 2

    def __init__(self, asked: Asked):
        self.asked = asked
        super().__init__("; ".join([*asked.general, *asked.faults.values()]))


class NotKeptError(RefusedError):
    """Answers that are sound but could not be kept: the disk is full, or may only be read."""


@dataclass(frozen=True)
class Entered:
    """What one form wrote: its receipts, the first bearing the form's own id."""

    receipts: tuple[Receipt, ...]

    @property
    def is_contested(self) -> bool:
        """Whether somebody else had corrected the same before."""
        return any(receipt.is_contested for receipt in self.receipts)


@dataclass(frozen=True)
class Desk:
    """Where entries are made; `look` is told after each, for the plan may have to change."""

    store: Store
    look: Callable[[], None]

    @property
    def season(self) -> SeasonYear | None:
        """The season that is entered; None while there is none."""
        found = [one.noun for one in nouns(self.store, Wanted("season"))]
        return max(found, key=lambda noun: noun.year, default=None)

    @property
    def year(self) -> int | None:
        """The year of the season that is entered."""
        season = self.season
        return season.year if season else None

    @property
    def kept_day(self) -> date | None:
        """The day a demonstration is looked at for ever; None for a farm's own season."""
        season = self.season
        return season.on if season else None

    # --- handing out ------------------------------------------------------------------------------

    def hand_out(self, form: Form, start: Mapping[str, str], system: System) -> Asked:
        """A new form: with what an address says, else with what was said last, else today."""
        with self.store.reading():
            return self._handed_out(form, start, system)

    def _handed_out(self, form: Form, start: Mapping[str, str], system: System) -> Asked:
        last = latest(self.store, form.kind) if any(ask.keeps for ask in form.asks) else None
        plain = [ask for ask in form.asks if not ask.columns]
        answers = {ask.key: _start(ask, start, last, self.today, system) for ask in plain}
        return self.hand_again(Asked(form, uuid4(), answers, {}))

    def hand_again(self, asked: Asked) -> Asked:
        """A form to be shown once more, with what its lists offer and the rules say."""
        options, guide = self._options(asked.form), self.rules.guide(asked.form.kind, asked.answers)
        return replace(asked, form=self._led(asked), options=options, guide=guide)

    def _led(self, asked: Asked) -> Form:
        """A form that offers the ways the rules in force name, and the one it has already."""
        ways = self.rules.ways(asked.form.kind)
        if not ways:
            return asked.form
        said = asked.answers.get("method", "")
        offered = ways if not said or said in ways else (*ways, said)
        asks = (replace(one, choices=offered) if one.key == "method" else one
                for one in asked.form.asks)  # fmt: skip
        return replace(asked.form, asks=tuple(asks))

    @property
    def today(self) -> date:
        """The day it is on the farm, or the day a demonstration is looked at."""
        return self.kept_day or datetime.now().astimezone().date()

    @property
    def rules(self) -> RuleGuides:
        """What the rules in force today say of forms."""
        return RuleGuides(self.store, self.today)

    def doubts(self, entries: Iterable[Entry]) -> tuple[str, ...]:
        """What is doubtful in entries, by the rules."""
        return tuple(doubt for one in entries for doubt in self.rules.doubts(one.noun))

    def only_one(self, form: Form) -> UUID | None:
        """The noun of a form of which there is only one, when it is there: it is corrected."""
        kind = kind_named(form.kind)
        if form.is_quick or not kind.is_single:
            return None
        noun = setting_id(kind.name, None if kind.is_lasting else self.year)
        return noun if standing(self.store, noun) else None

    def hand_back(self, noun: UUID, system: System) -> Asked | None:
        """The form of a noun that is in the books, to be corrected; None when it cannot be."""
        stored = standing(self.store, noun)
        form = form_named(f"any-{stored.entry.kind}") if stored else None
        if stored is None or form is None:
            return None
        said, answers = stored.noun.model_fields_set, dict[str, str]()
        for ask in form.asks:
            value = getattr(stored.noun, ask.key) if ask.key in said else None
            if ask.columns:
                answers |= ask.spread(value or (), system)
            else:
                answers[ask.key] = ask.show(value, system)
        form = replace(form, asks=tuple(map(_kept_if_left, form.asks)))
        return self.hand_again(Asked(form, uuid4(), answers, {}, seen=str(stored.entry.id)))

    def _options(self, form: Form) -> dict[str, tuple[tuple[str, str], ...]]:
        return {ask.key: tuple(self._choices(ask)) for ask in form.asks if ask.list_of}

    def _choices(self, ask: Ask) -> Iterator[tuple[str, str]]:
        for stored in self._listed(ask.list_of):
            noun = stored.noun
            if ask.list_of == "hanging":
                day, month = str(noun.hung_on.day), Told(words.MONTHS[noun.hung_on.month - 1])
                yield str(stored.entry.id), Told(
                    HANGS, lot=noun.lot, place=noun.place, sticks=f"{noun.sticks:,}", day=day,
                    month=month,
                )  # fmt: skip
            else:
                name = Told("{name}", name=noun.name)  # a farm's own word, never translated
                yield (str(stored.entry.id) if ask.shape == "stored" else noun.name), name

    def _listed(self, kind: str) -> list[Stored]:
        """The nouns a list offers: of this season, and of sticks those that still hang."""
        season = self.year if kind in ("lot", "hanging") else None
        found = nouns(self.store, Wanted(kind, season=season))
        if kind == "lot":
            found += nouns(self.store, Wanted("remediation", season=season))
        return [one for one in found if getattr(one.noun, "down_on", None) is None]

    # --- taking in --------------------------------------------------------------------------------

    def enter(
        self, asked: Asked, uploads: Mapping[str, Upload], who: str, system: System, why: str = ""
    ) -> Entered:
        """Write what a form was answered; raises `RefusedError` with the form when it cannot be."""
        values, faults = self._read(asked.form.asks, asked.answers, uploads, system)
        if faults:
            raise RefusedError(self.hand_again(replace(asked, faults=faults)))
        contents = [uploads[ask.key].data for ask in asked.form.asks if ask.key in uploads]
        try:
            with self.store.reading():
                changes = list(self._changes(asked, values, why))
                self._check(asked, [change.noun for change in changes], contents)
            receipts = write_with(self.store, changes, contents, who)
        except InputError as error:
            general = tuple(_general(asked.form, fault) for fault in error.faults)
            raise RefusedError(self.hand_again(replace(asked, general=general))) from None
        except ValidationError as error:
            said = tuple(Told(WHOLE, allowed=Told(str(one["msg"]))) for one in error.errors())
            raise RefusedError(self.hand_again(replace(asked, general=said))) from None
        except StoreError as error:
            again = self.hand_again(replace(asked, general=(str(error),)))
            raise NotKeptError(again) from error
        if any(change.noun is not None and matters(change.noun) for change in changes):
            self.look()
        return Entered(receipts)

    def _check(self, asked: Asked, said: list[Noun | None], contents: Iterable[bytes]) -> None:
        """Refuse sound answers that cannot be: a day to come, a gate that is shut, no weather."""
        asks = {ask.key: ask for ask in asked.form.asks}
        late = [one.field for one in days_to_come(self.store, said) if one.field in asks]
        if late:
            faults = {k: Told(FAULT, label=Told(asks[k].label), must=TO_COME) for k in late}
            raise RefusedError(self.hand_again(replace(asked, faults=faults)))
        check_gates(self.store, said)
        fresh = {content_key(one): one for one in contents}
        for noun in said:
            if isinstance(noun, WeatherSource):
                check_weather(self.store, noun, fresh)

    def _read(
        self, asks: Iterable[Ask], answers: Mapping[str, str], uploads: Mapping[str, Upload],
        system: System,
    ) -> tuple[Values, dict[str, str]]:  # fmt: skip
        values: Values = {}
        faults: dict[str, str] = {}
        for ask in asks:
            try:
                if ask.columns:
                    values[ask.key], wrong = self._rows(ask, answers, uploads, system)
                    faults |= wrong
                else:
                    values[ask.key] = self._value(ask, answers, uploads, system)
            except AnswerError as error:
                faults[ask.key] = Told(FAULT, label=Told(ask.label), must=error.told)
            if upload := uploads.get(ask.key):
                values |= seen_in(ask.key, upload)
        return values, faults

    def _rows(
        self, table: Ask, answers: Mapping[str, str], uploads: Mapping[str, Upload], system: System
    ) -> tuple[Any, dict[str, str]]:
        """The rows of a table, and what is wrong in each."""
        numbers, rows = table.filled(answers), list[Values]()
        faults: dict[str, str] = {}
        if len(numbers) > MOST_ROWS:
            raise AnswerError(TOO_MANY)
        for number in numbers:
            asks = table.row(number)
            values, wrong = self._read(asks, answers, uploads, system)
            faults |= {k: Told(IN_ROW, row=str(number + 1), fault=v) for k, v in wrong.items()}
            cells = zip(table.columns, asks, strict=True)
            found = {column.key: values.get(ask.key) for column, ask in cells}
            rows.append({key: value for key, value in found.items() if value is not None})
        return (None if faults else table.gathered(rows)), faults

    def _value(
        self, ask: Ask, answers: Mapping[str, str], uploads: Mapping[str, Upload], system: System
    ) -> Any:
        if ask.key in uploads:
            if fault := fault_of(uploads[ask.key], ask.is_table):
                raise AnswerError(fault)
            return content_key(uploads[ask.key].data)
        text = "" if ask.shape == "file" else answers.get(ask.key, "")
        value = ask.read(text, system)
        if ask.shape != "stored" or value is None:
            return value
        seen = entries_named(self.store, [value])
        if not seen or seen[0].kind != ask.list_of or seen[0].noun is None:
            raise AnswerError(NOT_THERE)
        return Stored(seen[0], seen[0].seq)

    def _changes(self, asked: Asked, values: Values, why: str) -> Iterator[Change]:
        if asked.seen:
            yield self._correction(asked, values, why)
            return
        season = self.season
        for number, written in enumerate(asked.form.make(values)):
            yield _change(part_id(asked.entry, number), written, why, season)

    def _correction(self, asked: Asked, values: Values, why: str) -> Change:
        """A noun as corrected: what was left as it stood stays so, to the last digit."""
        (seen,) = entries_named(self.store, [UUID(asked.seen)])
        old, noun = seen.noun, kind_named(seen.kind).noun
        said = {k: v for k, v in values.items() if k in noun.model_fields and v is not None}
        asks = {ask.key: ask for ask in asked.form.asks}
        for key in old.model_fields_set if old else ():
            if key in asks:
                stood = as_it_stood(asks[key], asked.answers, getattr(old, key), said.get(key))
                said |= {key: stood} if stood is not None else {}
            elif key not in said:
                said[key] = getattr(old, key)
        written = Written(noun.model_validate(said), Stored(seen, 0))
        return _change(asked.entry, written, why, self.season)

    # --- taking back ------------------------------------------------------------------------------

    def entered(self, entry: UUID) -> list[Entry]:
        """What a form wrote, by the id it bore."""
        return entries_named(self.store, [part_id(entry, number) for number in range(PARTS)])

    def told(self, entry: Entry, system: System) -> list[tuple[str, str]]:
        """What an entry says; of a correction its name and what it changes."""
        pairs = said(entry.noun, system) if entry.noun else []
        corrected = entries_named(self.store, entry.corrects) if entry.corrects else []
        before = [pair for one in corrected if one.noun for pair in said(one.noun, system)]
        changed = [pair for pair in pairs if pair not in before]
        name = getattr(entry.noun, "name", "")
        return ([("", name)] if name and corrected else []) + changed

    def is_taken_back(self, entry: Entry) -> bool:
        """Whether an entry is not what stands any more, because it was taken back."""
        return bool(entries_named(self.store, [uuid5(entry.id, UNDONE)]))

    def take_back(self, entry: UUID, who: str) -> tuple[Receipt, ...]:
        """Undo a form: what was new is withdrawn, what was corrected says again what it said."""
        changes = [self._undone(one) for one in reversed(self.entered(entry))]
        receipts = write_with(self.store, changes, [], who)
        self.look()
        return receipts

    def _undone(self, entry: Entry) -> Change:
        before: Noun | None = None
        if entry.corrects:
            said = [one for one in history(self.store, entry.of) if one.id in entry.corrects]
            before = said[-1].noun if said else None
        return Change(
            before, entry.of, (entry.id,), UNDONE, self.kept_day, entry.season,
            uuid5(entry.id, UNDONE),
        )  # fmt: skip


def _start(
    ask: Ask, start: Mapping[str, str], last: Stored | None, today: date, system: System
) -> str:
    """What a question is answered with until somebody answers it."""
    if ask.key in start:
        return start[ask.key]
    if ask.keeps and last is not None:
        return ask.show(getattr(last.noun, ask.key, None), system)
    if ask.shape == "day" and ask.is_needed:
        return str(today)
    return f"{datetime.now().astimezone():%H:%M}" if ask.shape == "time" else ""


def _general(form: Form, fault: Fault) -> str:
    """A fault of the books as a person at the form understands it."""
    ask = next((one for one in form.asks if one.key == fault.field), None)
    is_taken = fault.field == "name" and fault.allowed.startswith("different")
    if ask is None or not (is_taken or fault.field in NAMED):
        return str(fault)
    said = NAME_TAKEN if is_taken else NAME_GONE
    return Told(said, label=Told(ask.label), name=str(fault.value))


def _kept_if_left(ask: Ask) -> Ask:
    """A question of a correction: a file that is there need not be handed in again."""
    return replace(ask, is_needed=ask.is_needed and ask.shape != "file")


def as_it_stood(ask: Ask, answers: Mapping[str, str], old: Any, new: Any) -> Any:
    """A corrected value; what was left as it was shown stays so, to the last digit."""
    if not ask.columns:
        shown = {ask.show(old, system) for system in SYSTEMS}
        is_kept = new is None and ask.shape == "file"  # a form cannot show a file again
        return old if is_kept or answers.get(ask.key) in shown else new
    stood = {ask.cells(row, system): row for row in old or () for system in SYSTEMS}
    cells = (tuple(answers.get(one.key, "") for one in ask.row(n)) for n in ask.filled(answers))
    return tuple(stood.get(said, row) for said, row in zip(cells, new or (), strict=True))


def _change(entry: UUID, written: Written, why: str, begun: SeasonYear | None) -> Change:
    """What a form wrote as a change of the books, in the season that is entered."""
    noun, old = written.noun, written.corrects
    kind = kind_of(noun)
    known_on = known_from(noun, begun, is_new=old is None)
    season = begun.year if begun and kind.is_single and not kind.is_lasting else None
    if old is not None:
        return Change(noun, old.entry.of, (old.entry.id,), why, known_on, season, entry)
    if kind.is_single:
        return Change(noun, setting_id(kind.name, season), (), why, known_on, season, entry)
    return Change(noun, why=why, known_on=known_on, id=entry)


def known_from(noun: Noun | None, begun: SeasonYear | None, *, is_new: bool) -> date | None:
    """When a fact becomes known in a demonstration: on its day for ever, or before; else None."""
    if begun is None or begun.on is None:
        return None
    own = kind_of(noun).day_of(noun) if noun is not None and is_new else None
    return min(own, begun.on) if own else begun.on


def matters(noun: Noun) -> bool:
    """Whether a plan is made from nouns of this kind."""
    return bool(kind_of(noun).table) or isinstance(noun, WeatherSource)


def part_id(entry: UUID, number: int) -> UUID:
    """The id of the entry a form makes first, second, ...: the same for the same form."""
    return entry if number == 0 else uuid5(entry, str(number))


def by_hand() -> list[str]:
    """The kinds of nouns that have a form of their own."""
    return [kind.name for kind in KINDS if form_named(f"any-{kind.name}")]
