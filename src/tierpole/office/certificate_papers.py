"""Certificates from a laboratory's PDF or a photo: what its text may say, for a person to confirm.

Nothing is taken by itself. Each field shows the candidates with the lines they stand on, numbered
as on the picture of the page; what a person confirms becomes one row, judged as a row of a file is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from tierpole.charts import words
from tierpole.compliance.certificate import CONTENTS
from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm import CertificateLabel, CertificateLabels
from tierpole.office.certificates import FIELDS, CertificateDesk, Paper, Taken, Wanting
from tierpole.office.entry.uploads import Upload, fault_of, media_type
from tierpole.office.panels import panel_said
from tierpole.records import Change, Wanted, nouns, read_content, seasons, write, write_with
from tierpole.sources import Candidate, PdfPage, candidates, pdf_pages, pdf_picture, unit_of

PDF = "application/pdf"
IN_UNIT = (*CONTENTS, "uncertainty", "quantification")  # fields printed in the unit of the contents


@dataclass(frozen=True)
class Question:
    """A field to confirm: what was found of it, which of it is picked, and what was written."""

    field: Wanting
    found: tuple[Candidate, ...]
    options: tuple[str, ...]
    picked: int
    own: str

    @property
    def is_list(self) -> bool:
        """Whether it is chosen from a list."""
        return bool(self.options)


@dataclass(frozen=True)
class Sheet:
    """A page as it is shown: its size, and the candidates that stand on it."""

    width: float
    height: float
    marks: tuple[Candidate, ...]


@dataclass(frozen=True)
class Reading:
    """A paper to confirm; `sheets` are empty for a photo, `known` says what was read from it."""

    key: str
    name: str
    laboratory: str
    sheets: tuple[Sheet, ...]
    questions: tuple[Question, ...]
    known: tuple[str, ...]

    @property
    def has_text(self) -> bool:
        """Whether anything was found in its text."""
        return any(question.found for question in self.questions)


@dataclass(frozen=True)
class Answer:
    """What a person confirmed of one field; what was written counts before what was picked."""

    picked: int = 0
    own: str = ""


@dataclass(frozen=True)
class PaperDesk:
    """Where papers come in, are looked at and confirmed."""

    desk: CertificateDesk

    def keep(self, upload: Upload, who: str) -> str:
        """Keep a paper that can be looked at; its hash. Raises `InputError` with why not."""
        if fault := fault_of(upload):
            raise InputError("the file", [Fault("", "the file", upload.name[-60:], str(fault))])
        paper = Paper(upload.data, upload.name, media_type(upload.data) or "")
        if paper.media_type == PDF:
            _read(paper.key, paper.data)
        if changes := self.desk.kept(paper):
            write_with(self.desk.store, changes, [paper.data], who)
        return paper.key

    def paper(self, key: str) -> Paper | None:
        """A paper that is kept; None when there is none that can be looked at."""
        try:
            data = read_content(self.desk.store, key)
        except StoreError:
            return None
        kind = media_type(data)
        kept = nouns(self.desk.store, Wanted("attachment"))
        name = next((one.noun.name for one in kept if one.noun.content == key), None)
        return Paper(data, name, kind) if kind and name else None

    def picture(self, key: str, page: int) -> bytes | None:
        """A page of a PDF as a PNG."""
        paper = self.paper(key)
        if paper is None or paper.media_type != PDF or not 0 <= page < len(_read(key, paper.data)):
            return None
        return pdf_picture(paper.data, page)

    def reading(
        self, key: str, laboratory: str, answers: Mapping[str, Answer] | None = None
    ) -> Reading | None:
        """A paper with what was found in it, or with what was answered of it."""
        paper = self.paper(key)
        if paper is None:
            return None
        pages = _read(key, paper.data) if paper.media_type == PDF else ()
        found = candidates(pages)
        asked = tuple(self._questions(found, laboratory, answers))
        sheets = tuple(
            Sheet(page.width, page.height, tuple(one for one in found if one.page == number))
            for number, page in enumerate(pages)
        )
        return Reading(key, paper.shown_name, laboratory, sheets, asked, self._known(key))

    def confirm(
        self, key: str, laboratory: str, answers: Mapping[str, Answer], who: str
    ) -> Taken | None:
        """Judge what was confirmed as a row of a file is judged, and write it when it is sound."""
        paper, reading = self.paper(key), self.reading(key, laboratory, answers)
        if paper is None or reading is None:
            return None
        chosen = {q.field.key: _chosen(q) for q in reading.questions}
        fields = {
            q.field.key: one.value if (one := chosen[q.field.key]) else q.own
            for q in reading.questions
        } | {"laboratory": laboratory}
        if mixed := tuple(_mixed(fields["unit"], chosen)):
            return Taken(paper.shown_name, "refused", "", mixed)
        (taken,) = self.desk.take_rows([(paper.shown_name, fields)], paper, who)
        if taken.how != "refused":
            self._remember(laboratory, [one for one in chosen.values() if one], who)
        return taken

    def _questions(
        self, found: Sequence[Candidate], laboratory: str, answers: Mapping[str, Answer] | None
    ) -> list[Question]:
        told = self._told(laboratory)
        unit = _unit(found, told)
        made: list[Question] = []
        for field in FIELDS:
            own = tuple(one for one in found if one.field == field.key)
            options = self._lots() if field.key == "lot" else field.choices
            made.append(Question(field, own, options, 0, ""))
        if answers is not None:
            return [_answered(one, answers.get(one.field.key, Answer())) for one in made]
        return [
            replace(one, own=_listed(one, unit)) if one.is_list
            else replace(one, picked=_first(one.found, told, unit))
            for one in made
        ]  # fmt: skip

    def _lots(self) -> tuple[str, ...]:
        year = max(seasons(self.desk.store), default=None)
        return tuple(
            one.noun.name
            for kind in ("lot", "remediation")
            for one in nouns(self.desk.store, Wanted(kind, season=year))
        )

    def _known(self, key: str) -> tuple[str, ...]:
        """What was read from a paper before."""
        tests = [one.noun for one in nouns(self.desk.store, Wanted("test"))]
        panels = [one.noun for one in nouns(self.desk.store, Wanted("panel"))]
        return (
            *(f"{one.lot}, {one.kind} of {words.plain_day(one.sampled_on)}"
              for one in tests if one.paper == key),
            *(f"{one.lot}: {panel_said(one)}" for one in panels if one.paper == key),
        )  # fmt: skip

    def _told(self, laboratory: str) -> set[tuple[str, str, str]]:
        """Where a laboratory's fields were found last: field, label, heading."""
        wanted = Wanted("certificate_labels", name=laboratory)
        found = nouns(self.desk.store, wanted)
        return {(f.field, f.label, f.heading) for one in found for f in one.noun.fields}

    def _remember(self, laboratory: str, chosen: Sequence[Candidate], who: str) -> None:
        fields = tuple(
            CertificateLabel(field=one.field, label=one.label[:200], heading=one.heading[:200])
            for one in chosen
            if one.label.isprintable() and one.heading.isprintable()
        )
        told = CertificateLabels(name=laboratory, fields=fields)
        wanted = Wanted("certificate_labels", name=laboratory)
        old = next(iter(nouns(self.desk.store, wanted)), None)
        if old is None:
            write(self.desk.store, [Change(told)], who)
        elif old.noun != told:
            why = "a paper of it was confirmed"
            write(self.desk.store, [Change(told, old.entry.of, (old.entry.id,), why)], who)


@lru_cache(maxsize=8)
def _read(_: str, data: bytes) -> tuple[PdfPage, ...]:
    return pdf_pages(data)


def _unit(found: Sequence[Candidate], told: set[tuple[str, str, str]]) -> str:
    """The unit the contents are likeliest printed in: as told, else what most fields stand in."""
    contents = [one for one in found if one.field in IN_UNIT and unit_of(one)]
    remembered = [one for one in contents if _place(one) in told]
    fields = {(unit_of(one), one.field) for one in remembered or contents}
    units = [unit for unit, _ in fields]
    return max(("%", "mg/g"), key=units.count) if units else ""


def _first(found: Sequence[Candidate], told: set[tuple[str, str, str]], unit: str) -> int:
    """The number of the candidate that is offered: as told, else the first in the unit; or 0."""
    fitting = [one for one in found if one.field not in IN_UNIT or unit_of(one) in ("", unit)]
    fitting.sort(key=lambda one: (_place(one) not in told, unit_of(one) != unit, one.number))
    return fitting[0].number if fitting else 0


def _place(one: Candidate) -> tuple[str, str, str]:
    return one.field, one.label, one.heading


def _listed(question: Question, unit: str) -> str:
    """What a list offers: the unit of the contents, a lot that is named, a word that is there."""
    if question.field.key == "unit":
        return unit
    said = [one.value.lower() for one in question.found]
    same = (option for option in question.options for one in said if option.lower() == one)
    named = (option for option in question.options for one in said if option.lower() in one)
    return next(same, "") or (next(named, "") if question.field.key == "lot" else "")


def _answered(question: Question, answer: Answer) -> Question:
    return replace(question, picked=answer.picked, own=answer.own)


def _chosen(question: Question) -> Candidate | None:
    """The candidate that counts; None where something was written, or nothing picked."""
    if question.own:
        return None
    return next((one for one in question.found if one.number == question.picked), None)


def _mixed(unit: str, chosen: Mapping[str, Candidate | None]) -> list[str]:
    """What was picked from columns of another unit than the one that was said."""
    return [
        f'{one.field}: "{one.value}" is printed in {unit_of(one)}, and the unit said is {unit}. '
        "Pick all from columns of one unit."
        for one in chosen.values()
        if one is not None and one.field in IN_UNIT and unit_of(one) not in ("", unit)
    ]
