"""Certificates as rows of fields, and a laboratory's CSV file as such rows.

Which column is which is told once for each laboratory, and remembered. What contradicts itself or
another certificate of the same sample is refused with the reason; the same one twice is recognised.
A row may also say how the material passed the panels beside potency.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePosixPath, PureWindowsPath

from tierpole.charts import words
from tierpole.compliance.certificate import CONTENTS, Basis, Certificate, Unit, as_test
from tierpole.errors import Fault, InputError
from tierpole.farm import CertificateColumns, CertificateField, Noun, Test, TestKind
from tierpole.farm.books import Attachment, Panel
from tierpole.office.panels import PANELS, panel_of, panel_said
from tierpole.records import (
    Change,
    Store,
    Stored,
    Wanted,
    content_key,
    days_to_come,
    nouns,
    seasons,
    write,
    write_with,
)
from tierpole.sources import certificate_of

MOST = 200_000  # bytes of a file: some hundred certificates
SEPARATORS = ",;\t"
_SLASHED = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})")


@dataclass(frozen=True)
class Wanting:
    """A field of a certificate: its label, what its column may be called, what it may always be."""

    key: str
    label: str
    hints: tuple[str, ...]
    is_needed: bool = False
    choices: tuple[str, ...] = ()


FIELDS: tuple[Wanting, ...] = (
    Wanting("lot", "Lot", ("lot", "sample name", "sample id", "client sample", "sample"), True),
    Wanting("kind", "Which test", ("kind", "test type", "purpose"), True, tuple(TestKind)),
    Wanting("sampled_on", "Sampled on", ("sampled", "collected", "collection"), True),
    Wanting("reported_on", "Reported on", ("reported", "completed", "issued", "report date"), True),
    Wanting("plants", "Plants in the sample", ("plants", "tops"), True),
    Wanting("unit", "Unit of the contents", ("unit",), True, tuple(Unit)),
    Wanting("basis", "Weight they are printed by", ("basis",), True, tuple(Basis)),
    Wanting("total_thc", "Total THC", ("total thc", "total d9", "max thc")),
    Wanting("delta9_thc", "Delta-9 THC", ("delta 9", "delta9", "d9 thc", "thc")),
    Wanting("thca", "THCA", ("thca", "thc a")),
    Wanting("total_cbd", "Total CBD", ("total cbd", "max cbd")),
    Wanting("cbd", "CBD", ("cbd",)),
    Wanting("cbda", "CBDA", ("cbda", "cbd a")),
    Wanting("moisture", "Moisture, percent", ("moisture", "water")),
    Wanting("uncertainty", "Uncertainty of total THC", ("uncertainty", "mu")),
    Wanting("quantification", "Limit of quantification", ("loq", "quantification")),
    *(Wanting(key, key.capitalize(), (key[:6],), choices=("pass", "fail")) for key in PANELS),
)


@dataclass(frozen=True)
class Sheet:
    """A file as a table: the names of its columns, its rows."""

    text: str
    header: tuple[str, ...]
    rows: tuple[dict[str, str], ...]


@dataclass(frozen=True)
class Taken:
    """What became of one row: `how` is new, known or refused; the reasons, when it was refused."""

    place: str
    how: str
    said: str
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Paper:
    """A file that certificates were read from."""

    data: bytes
    name: str
    media_type: str

    @property
    def key(self) -> str:
        """The hash it is kept by."""
        return content_key(self.data)

    @property
    def shown_name(self) -> str:
        """Its name without folders and signs that cannot be printed."""
        last = PurePosixPath(PureWindowsPath(self.name).name).name
        return "".join(filter(str.isprintable, last)).strip()[:120] or "certificate"


def read_sheet(data: bytes, name: str = "the file") -> Sheet:
    """A CSV file as a table; raises `InputError` when it is none."""
    if len(data) > MOST:
        raise _refused(name, f"{len(data):,} bytes", f"{MOST:,} bytes at most")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) < 2 or "\0" in text:
        raise _refused(name, None, "a CSV file: a line of names, and a line for each certificate")
    separator = max(SEPARATORS, key=lines[0].count)
    try:
        header, *rows = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
    except csv.Error as error:
        raise _refused(name, str(error), "rows of separated values") from None
    header = tuple(cell.strip() for cell in header)
    if len(set(header)) < len(header) or len(header) < 2:
        raise _refused(name, ", ".join(header)[:60], "two columns or more, each of its own name")
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    named = (dict(zip(header, map(str.strip, row), strict=False)) for row in filled)
    return Sheet(text, header, tuple(named))


def _refused(name: str, value: object, allowed: str) -> InputError:
    return InputError(name, [Fault(name, "", value, allowed)])


def guessed(header: Sequence[str]) -> dict[str, str]:
    """Which column a field most likely is, by its name: field, column."""
    free = {column: " ".join(re.findall(r"[a-z0-9]+", column.lower())) for column in header}
    found: dict[str, str] = {}
    for same in (str.__eq__, str.__contains__):
        for field in FIELDS:
            for hint in field.hints if field.key not in found else ():
                column = next((one for one, said in free.items() if same(said, hint)), None)
                if column is not None:
                    found[field.key] = column
                    del free[column]
                    break
    return found


@dataclass(frozen=True)
class CertificateDesk:
    """Where certificates come in; `look` is told when there are new ones."""

    store: Store
    look: Callable[[], None]

    def laboratories(self) -> tuple[str, ...]:
        """The laboratories whose columns are known."""
        found = nouns(self.store, Wanted("certificate_columns"))
        return tuple(one.noun.name for one in found)

    def columns(self, laboratory: str) -> CertificateColumns | None:
        """How a laboratory's files are read, as it was told."""
        stored = self._known(laboratory)
        return stored.noun if stored else None

    def _known(self, laboratory: str) -> Stored | None:
        wanted = Wanted("certificate_columns", name=laboratory)
        return next(iter(nouns(self.store, wanted)), None)

    @staticmethod
    def told(
        laboratory: str, columns: Mapping[str, str], always: Mapping[str, str]
    ) -> CertificateColumns:
        """Which column is which, as a person says it; `always` is for what stands in none."""
        fields = tuple(
            CertificateField(field=one.key, column=columns.get(one.key, ""),
                             always=always.get(one.key, ""))
            for one in FIELDS
            if columns.get(one.key) or always.get(one.key)
        )  # fmt: skip
        return CertificateColumns(name=laboratory, fields=fields)

    def remember(self, told: CertificateColumns, who: str) -> None:
        """Keep which column is which; told anew, it is a correction."""
        old = self._known(told.name)
        if old is None:
            write(self.store, [Change(told)], who)
        elif old.noun != told:
            again = Change(told, old.entry.of, (old.entry.id,), "its columns were told anew")
            write(self.store, [again], who)

    def lacks(self, sheet: Sheet, columns: CertificateColumns | None) -> tuple[str, ...]:
        """The labels of what a file cannot be read without, as far as its columns are known."""
        told = {one.field: one for one in columns.fields} if columns else {}
        known = {k for k, one in told.items() if one.always or one.column in sheet.header}
        lacking = [one.label for one in FIELDS if one.is_needed and one.key not in known]
        if not ({"total_thc"} <= known or {"delta9_thc", "thca"} <= known or known & {*PANELS}):
            lacking.append("Total THC, or delta-9 THC and THCA")
        return tuple(lacking)

    def take_in(
        self, sheet: Sheet, columns: CertificateColumns, name: str, who: str
    ) -> tuple[Taken, ...]:
        """Write every sound certificate of a file that is not in the books yet, and say of each."""
        rows = ((f"row {n}", _fields(row, columns)) for n, row in enumerate(sheet.rows, start=2))
        paper = Paper(sheet.text.encode(), name or "certificates.csv", "text/csv")
        return self.take_rows(rows, paper, who)

    def take_rows(
        self, rows: Iterable[tuple[str, Mapping[str, str]]], paper: Paper, who: str
    ) -> tuple[Taken, ...]:
        """Write what rows of fields say, each with its place in the paper, and say of each."""
        year = max(seasons(self.store), default=None)
        known: list[Noun] = [
            one.noun for kind in ("test", "panel") for one in nouns(self.store, Wanted(kind, year))
        ]
        taken: list[Taken] = []
        fresh: list[Test | Panel] = []
        for place, fields in rows:
            one, said = self._row(place, fields, [*known, *fresh])
            taken.append(one)
            fresh += said
        if fresh:
            self._write(paper, fresh, who)
        return tuple(taken)

    def _row(
        self, place: str, fields: Mapping[str, str], known: Sequence[Noun]
    ) -> tuple[Taken, list[Test | Panel]]:
        """What becomes of one row, and the nouns it adds to the books."""
        judged = [judge(place, fields, known) for judge in _judges(fields)]
        found = [noun for _, noun in judged if noun is not None]
        ways = [one.how for one, _ in judged]
        reasons = tuple(dict.fromkeys(reason for one, _ in judged for reason in one.reasons))
        reasons = reasons or next(filter(None, map(self._refused, found)), ())
        said = "; ".join(one.said for one, _ in judged if one.said)
        how = "refused" if reasons else "new" if "new" in ways else "known"
        return Taken(place, how, said, reasons), [] if reasons else found

    def _refused(self, noun: Test | Panel) -> tuple[str, ...]:
        """Why the books would not take a noun: its lot is none of theirs, its day is to come."""
        if late := days_to_come(self.store, [noun]):
            return tuple(f"{one.field} must be {one.allowed}, got {one.value}." for one in late)
        lots = nouns(self.store, Wanted("lot", name=noun.lot))
        remade = nouns(self.store, Wanted("remediation", name=noun.lot))
        return () if lots or remade else (f'There is no lot "{noun.lot}" in the books.',)

    def _write(self, paper: Paper, fresh: Sequence[Test | Panel], who: str) -> None:
        changes = [Change(one.model_copy(update={"paper": paper.key})) for one in fresh]
        write_with(self.store, [*changes, *self.kept(paper)], [paper.data], who)
        self.look()

    def kept(self, paper: Paper) -> list[Change]:
        """The entry that keeps a paper; none when it is kept already."""
        if any(one.noun.content == paper.key for one in nouns(self.store, Wanted("attachment"))):
            return []
        return [
            Change(
                Attachment(
                    name=paper.shown_name, media_type=paper.media_type, content=paper.key,
                    size=len(paper.data), added_on=datetime.now().astimezone().date(),
                    note="the laboratory's file",
                )
            )
        ]  # fmt: skip


def _fields(row: Mapping[str, str], columns: CertificateColumns) -> dict[str, str]:
    """A row as the fields of a certificate."""
    said = {one.field: row.get(one.column, "") or one.always for one in columns.fields}
    said["laboratory"] = columns.name
    return {key: _iso(text) if key.endswith("_on") else text for key, text in said.items()}


def _iso(text: str) -> str:
    """A date with slashes, month first as laboratories here print it, by the calendar."""
    found = _SLASHED.fullmatch(text.strip().split(" ")[0])
    return f"{found[3]}-{int(found[1]):02}-{int(found[2]):02}" if found else text.strip()


_Judge = Callable[[str, Mapping[str, str], Sequence[Noun]], tuple[Taken, Test | Panel | None]]


def _judges(fields: Mapping[str, str]) -> tuple[_Judge, ...]:
    """What a row is judged as: a test of potency unless it speaks of panels alone."""
    has_panels = any(fields.get(key, "").strip() for key in PANELS)
    has_contents = any(fields.get(key, "").strip() for key in CONTENTS)
    return (
        *((_potency,) if has_contents or not has_panels else ()),
        *((_panels,) if has_panels else ()),
    )


def _potency(
    place: str, fields: Mapping[str, str], known: Sequence[Noun]
) -> tuple[Taken, Test | None]:
    """What becomes of a row as a test: a new one, one that is known, or reasons against it."""
    found = certificate_of(fields, place)
    if not isinstance(found, Certificate):
        return Taken(place, "refused", "", tuple(map(str, found))), None
    test = as_test(found)
    said = (
        f"{test.lot}, {test.kind} of {words.plain_day(test.sampled_on)}: total THC "
        f"{'below ' if test.thc_below else ''}{100 * test.total_thc:.3g} %"
    )
    alike = [one for one in known if isinstance(one, Test) and _sample(one) == _sample(test)]
    if any(_reading(one) == _reading(test) for one in alike):
        return Taken(place, "known", said), None
    if alike:
        before = f"{100 * alike[0].total_thc:.3g} %"
        reason = f"Another certificate of the same sample reads {before}: correct that one instead."
        return Taken(place, "refused", said, (reason,)), None
    return Taken(place, "new", said), test


def _panels(
    place: str, fields: Mapping[str, str], known: Sequence[Noun]
) -> tuple[Taken, Panel | None]:
    """What becomes of a row as panels."""
    panel = panel_of(fields, place)
    if not isinstance(panel, Panel):
        return Taken(place, "refused", "", tuple(map(str, panel))), None
    said = panel_said(panel)
    own = (panel.lot, panel.sampled_on, panel.laboratory)
    alike = [
        panel_said(one) for one in known
        if isinstance(one, Panel) and (one.lot, one.sampled_on, one.laboratory) == own
    ]  # fmt: skip
    if said in alike:
        return Taken(place, "known", said), None
    if alike:
        reason = (
            f"Another certificate of the same sample says {alike[0]}: correct that one instead."
        )
        return Taken(place, "refused", said, (reason,)), None
    return Taken(place, "new", said), panel


def _sample(test: Test) -> tuple[object, ...]:
    """What tells one tested sample from another."""
    return test.lot, test.kind, test.sampled_on, test.laboratory


def _reading(test: Test) -> tuple[object, ...]:
    return test.total_thc, test.total_cbd, test.thc_below
