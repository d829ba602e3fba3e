"""Certificates from a laboratory's CSV file, whatever its columns are called.

Which column is which is told once for each laboratory, and remembered. What contradicts itself or
another certificate of the same sample is refused with the reason; the same one twice is recognised.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from tierpole.charts import words
from tierpole.compliance.certificate import Basis, Certificate, Unit, as_test
from tierpole.errors import Fault, InputError
from tierpole.farm import Test, TestKind
from tierpole.farm.books import Attachment, CertificateColumns, CertificateField
from tierpole.records import (
    Change,
    Store,
    Stored,
    Wanted,
    content_key,
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
        if not ({"total_thc"} <= known or {"delta9_thc", "thca"} <= known):
            lacking.append("Total THC, or delta-9 THC and THCA")
        return tuple(lacking)

    def take_in(
        self, sheet: Sheet, columns: CertificateColumns, name: str, who: str
    ) -> tuple[Taken, ...]:
        """Write every sound certificate of a file that is not in the books yet, and say of each."""
        year = max(seasons(self.store), default=None)
        known: list[Test] = [one.noun for one in nouns(self.store, Wanted("test", season=year))]
        taken: list[Taken] = []
        fresh: list[Test] = []
        for number, row in enumerate(sheet.rows, start=2):
            place = f"row {number}"
            found = certificate_of(_fields(row, columns), place)
            one, test = _judged(place, found, [*known, *fresh])
            if test is not None and (refused := self._refused(test)):
                one, test = Taken(place, "refused", one.said, refused), None
            taken.append(one)
            fresh += [test] if test else []
        if fresh:
            self._write(sheet, fresh, name, who)
        return tuple(taken)

    def _refused(self, test: Test) -> tuple[str, ...]:
        """Why the books would not take a test: its lot is none of theirs."""
        lots = nouns(self.store, Wanted("lot", name=test.lot))
        remade = nouns(self.store, Wanted("remediation", name=test.lot))
        return () if lots or remade else (f'There is no lot "{test.lot}" in the books.',)

    def _write(self, sheet: Sheet, tests: Sequence[Test], name: str, who: str) -> None:
        data = sheet.text.encode()
        paper = Attachment(
            name=(name or "certificates.csv")[:120], media_type="text/csv",
            content=content_key(data), size=len(data),
            added_on=datetime.now().astimezone().date(), note="the laboratory's file",
        )  # fmt: skip
        changes = [Change(test) for test in tests]
        write_with(self.store, [*changes, Change(paper)], [data], who)
        self.look()


def _fields(row: Mapping[str, str], columns: CertificateColumns) -> dict[str, str]:
    """A row as the fields of a certificate."""
    said = {one.field: row.get(one.column, "") or one.always for one in columns.fields}
    said["laboratory"] = columns.name
    return {key: _iso(text) if key.endswith("_on") else text for key, text in said.items()}


def _iso(text: str) -> str:
    """A date with slashes, month first as laboratories here print it, by the calendar."""
    found = _SLASHED.fullmatch(text.strip().split(" ")[0])
    return f"{found[3]}-{int(found[1]):02}-{int(found[2]):02}" if found else text.strip()


def _judged(
    place: str, found: Certificate | tuple[Fault, ...], known: Sequence[Test]
) -> tuple[Taken, Test | None]:
    """What becomes of a row: a new test, one that is known, or reasons against it."""
    if not isinstance(found, Certificate):
        return Taken(place, "refused", "", tuple(map(str, found))), None
    test = as_test(found)
    said = (
        f"{test.lot}, {test.kind} of {words.plain_day(test.sampled_on)}: total THC "
        f"{'below ' if test.thc_below else ''}{100 * test.total_thc:.3g} %"
    )
    alike = [one for one in known if _sample(one) == _sample(test)]
    if any(_reading(one) == _reading(test) for one in alike):
        return Taken(place, "known", said), None
    if alike:
        before = f"{100 * alike[0].total_thc:.3g} %"
        reason = f"Another certificate of the same sample reads {before}: correct that one instead."
        return Taken(place, "refused", said, (reason,)), None
    return Taken(place, "new", said), test


def _sample(test: Test) -> tuple[object, ...]:
    """What tells one tested sample from another."""
    return test.lot, test.kind, test.sampled_on, test.laboratory


def _reading(test: Test) -> tuple[object, ...]:
    return test.total_thc, test.total_cbd, test.thc_below
