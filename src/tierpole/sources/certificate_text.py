"""What the text of a certificate's PDF may say of each field: candidates, with where each stands.

Nothing here is taken for true. A candidate is what stands behind a label ("THCA"), in a column
("mg/g"), on a line of a page; a person looks at the page and chooses.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from tierpole.compliance.certificate import CONTENTS
from tierpole.sources.pdf import PdfPage, Word

MOST = 6  # candidates of one field
PANELS = ("pesticides", "metals", "mycotoxins", "microbes")
_REACH = 30  # lines below its heading that a column goes on
_D9 = r"(?:(?:[δ∆]|delta[- ]?|d)[- ]?9[- ]?)"
_LABELS = {
    "total_thc": rf"(?:total|max(?:imum)?)(?: potential)? {_D9}?thc(?![av])\b",
    "total_cbd": r"(?:total|max(?:imum)?)(?: potential)? cbd(?![a-z])\b",
    "delta9_thc": rf"{_D9}(?:thc(?![av])|tetrahydrocannabinol(?!ic))\b",
    "thca": r"thc[- ]?a\b|tetrahydrocannabinolic acid(?: \(?thca\)?)?",
    "cbda": r"cbd[- ]?a\b|cannabidiolic acid(?: \(?cbda\)?)?",
    "cbd": r"cbd(?!-?[a-z])\b|cannabidiol\b(?: \(cbd\))?",
    "moisture": r"moisture(?: content)?|water content",
    "uncertainty": r"(?:measurement )?uncertainty(?: of (?:measurement|total thc))?|\bmu\b",
    "quantification": r"limit of quantification|\bloq\b(?=[:=])",
    "sampled_on": r"(?:date |day )?(?:sampled|collected)(?: on)?|collection date|"
    r"sampl(?:e|ing) date|date of (?:sampling|collection)",
    "reported_on": r"(?:date |day )?(?:reported|completed|issued)(?: on)?|report(?:ing)? date|"
    r"date of (?:report|issue)|completion date|issue date",
    "lot": r"(?:client )?(?:sample|lot|batch)(?: ?(?:name|id|no\.?|number|#))?(?=\s*:)|"
    r"(?:client )?(?:sample|lot|batch) ?(?:name|id|no\.?|number)",
    "plants": r"(?:number of )?(?:plants|tops|cuttings)(?: sampled| in (?:the )?sample)?(?=\s*:)",
    "pesticides": r"pesticides?(?: residues?)?",
    "metals": r"(?:heavy )?metals",
    "mycotoxins": r"mycotoxins?",
    "microbes": r"microb(?:es|ials?|iology|iological)(?: (?:contaminants|screen(?:ing)?))?",
}
_LABEL = re.compile("|".join(rf"(?P<{key}>(?<![\w-])(?:{form}))" for key, form in _LABELS.items()))
_AMOUNT = (
    r"(?P<value>nd\b|not detected|n/?d\b|[<>]\s?lo[qd]\b|bl?loq\b|"
    r"(?:<\s?)?\d{1,3}(?:\.\d+)?(?![\d/-]))"
)
_DAY = (
    r"(?P<value>\d{4}-\d{1,2}-\d{1,2}|\d{1,2}/\d{1,2}/\d{2,4}|\d{1,2}[- ][a-z]{3,9}\.?[-, ]+\d{4}|"
    r"[a-z]{3,9}\.? \d{1,2},? \d{4})"
)
_VALUES = {
    **dict.fromkeys((*CONTENTS, "moisture", "quantification"), re.compile(rf"(?<![\w.]){_AMOUNT}")),
    "uncertainty": re.compile(r"(?<![\w.])(?P<value>\d{1,3}(?:\.\d+)?)(?!\d)"),
    **dict.fromkeys(("sampled_on", "reported_on"), re.compile(rf"(?<![\w/-]){_DAY}")),
    "plants": re.compile(r"(?<![\w.])(?P<value>\d{1,3})(?![\d.])"),
    "lot": re.compile(r"[:#\s]*(?P<value>[^\s:#](?:[^:\u2003]*[^\s:\u2003])?)"),
    **dict.fromkeys(PANELS, re.compile(r"(?P<value>pass(?:ed)?|fail(?:ed)?)\b")),
}
_HEADING = re.compile(r"(?!.*[\d<>]).*(?:%|mg/g|\b(?:loq|lod|results?|mass)\b)")
_ALWAYS = {  # what the whole text says by a phrase of its own
    ("basis", "dry"): re.compile(r"dry[- ](?:weight|basis|mass)"),
    ("basis", "as received"): re.compile(r"as[- ]received|as[- ]is\b|wet[- ]weight"),
    ("kind", "official"): re.compile(r"\b(?:official|regulatory|compliance) (?:sample|test)"),
    ("kind", "post-remediation"): re.compile(r"\bremediat(?:ed|ion)\b"),
}
_GAP = "\u2003"  # stands where a wide gap parts the cells of a line
_FACTOR = "0.877"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True)
class Candidate:
    """What may be a field's value: its text, the label before it, the heading above, its place.

    `line` is the line it stands on, `box` its left, top, right and bottom in points; `page` counts
    from 0. `number` tells the candidates of one paper apart, in the order they stand.
    """

    field: str
    value: str
    label: str
    heading: str
    line: str
    page: int
    box: tuple[float, float, float, float]
    number: int = 0


@dataclass(frozen=True)
class _Line:
    """A line of words: its text, and for each word where it begins in the text."""

    text: str
    words: tuple[Word, ...]
    starts: tuple[int, ...]

    @property
    def said(self) -> str:
        """The line as it is shown."""
        return re.sub(r"\s+", " ", self.text)

    def box(self, begin: int, end: int) -> tuple[float, float, float, float]:
        """The box of the words between two places in the text."""
        ends = (*self.starts[1:], len(self.text) + 1)
        held = [
            w
            for w, a, b in zip(self.words, self.starts, ends, strict=True)
            if a < end and begin < b
        ]
        held = held or [self.words[-1]]
        return (
            min(w.left for w in held), min(w.top for w in held),
            max(w.right for w in held), max(w.bottom for w in held),
        )  # fmt: skip


def candidates(pages: Sequence[PdfPage]) -> tuple[Candidate, ...]:
    """Every candidate of every field, in the order they stand on the pages."""
    found: list[Candidate] = []
    for number, page in enumerate(pages):
        lines = _lines(page)
        for place, line in enumerate(lines):
            found += _of_line(lines, place, number)
            found += _phrases(line, number)
    seen: dict[str, int] = {}
    kept: list[Candidate] = []
    for one in found:
        seen[one.field] = seen.get(one.field, 0) + 1
        if seen[one.field] <= MOST:
            kept.append(replace(one, number=len(kept) + 1))
    return tuple(kept)


def unit_of(candidate: Candidate) -> str:
    """The unit a candidate's heading names: %, mg/g or none."""
    return next((unit for unit in ("mg/g", "%") if unit in candidate.heading), "")


def day_of(text: str) -> str:
    """A printed date by the calendar, month first where slashes part it; else as it stands."""
    found = [part.lower() for part in re.findall(r"\d+|[A-Za-z]{3,}", text)]
    if len(found) != 3:
        return text.strip()
    named = [part for part in found if part[:3] in _MONTHS]
    numbers = [int(part) for part in found if part.isascii() and part.isdecimal()]
    if named and len(numbers) == 2:
        year, day = max(numbers), min(numbers)
        month = _MONTHS.index(named[0][:3]) + 1
    elif len(numbers) == 3:
        year, month, day = numbers if numbers[0] > 31 else (numbers[2], *numbers[:2])
    else:
        return text.strip()
    try:
        return date(year + 2000 if year < 100 else year, month, day).isoformat()
    except (ValueError, OverflowError):
        return text.strip()


def _lines(page: PdfPage) -> list[_Line]:
    """Words gathered to lines, top to bottom, each from left to right."""
    rows: list[list[Word]] = []
    for word in sorted(page.words, key=lambda one: (one.top + one.bottom) / 2):
        middle, last = (word.top + word.bottom) / 2, rows[-1][-1] if rows else None
        if last is not None and last.top < middle < last.bottom:
            rows[-1].append(word)
        else:
            rows.append([word])
    return [_line(sorted(row, key=lambda one: one.left)) for row in rows]


def _line(words: list[Word]) -> _Line:
    text, starts = words[0].text, [0]
    for before, word in pairwise(words):
        is_wide = word.left - before.right > 0.8 * (word.bottom - word.top)
        text += _GAP if is_wide else " "
        starts.append(len(text))
        text += word.text
    return _Line(text, tuple(words), tuple(starts))


def _lowered(text: str) -> str:
    """Lower case, letter by letter, so that places in the text stay the same."""
    plain = (low if len(low := sign.lower()) == 1 else sign for sign in text)
    return "".join(" " if sign == _GAP else sign for sign in plain)


def _of_line(lines: list[_Line], place: int, page: int) -> Iterator[Candidate]:
    line = lines[place]
    low = _lowered(line.text)
    labels = list(_LABEL.finditer(low))
    for number, label in enumerate(labels):
        field = label.lastgroup or ""
        end = labels[number + 1].start() if number + 1 < len(labels) else len(low)
        got = list(_behind(lines, place, field, label, end, page))
        if not got and place + 1 < len(lines):
            got = list(_below(lines, place, field, label, page))
        yield from got


def _behind(
    lines: list[_Line], place: int, field: str, label: re.Match[str], end: int, page: int
) -> Iterator[Candidate]:
    """What stands behind a label, up to the next label."""
    line = lines[place]
    low = _lowered(line.text)
    for found in _matches(field, line, low, label.end(), end):
        begin, stop = found.span("value")
        value, after = line.text[begin:stop].replace(_GAP, " "), low[stop : stop + 6].strip()
        box = line.box(begin, stop)
        heading = next((u for u in ("mg/g", "%") if after.startswith(u)), "")
        if not heading and field in CONTENTS:
            heading = _heading(lines[max(place - _REACH, 0) : place], box)
        kind = field
        if field in CONTENTS and re.search("lo[qd]", heading):
            if "thc" not in field or "lod" in heading:
                continue
            kind = "quantification"
        if field in CONTENTS and low[:begin].rstrip().endswith(("±", "+/-")):
            if field != "total_thc":
                continue
            kind = "uncertainty"
        yield Candidate(kind, _plain(kind, value), label[0], heading, line.said, page, box)


def _matches(field: str, line: _Line, low: str, begin: int, end: int) -> Iterator[re.Match[str]]:
    pattern = _VALUES[field]
    if field == "lot":  # as it is written, up to the end of its cell
        stop = line.text.find(_GAP, begin + 2, end)
        found = pattern.match(line.text, begin, end if stop < 0 else stop)
        yield from (found,) if found else ()
        return
    for found in pattern.finditer(low, begin, end):
        is_factor = low[begin : found.start()].rstrip().endswith(("x", "×", "*", "="))
        if field not in CONTENTS or not (is_factor or found["value"].strip() == _FACTOR):
            yield found


def _below(
    lines: list[_Line], place: int, field: str, label: re.Match[str], page: int
) -> Iterator[Candidate]:
    """What stands right below a label: cards, and forms that write the answer underneath."""
    above, line = lines[place].box(label.start(), label.end()), lines[place + 1]
    if line.words[0].top - above[3] > 2 * (above[3] - above[1]):
        return
    low = _lowered(line.text)
    for found in _VALUES[field].finditer(low if field != "lot" else line.text):
        begin, stop = found.span("value")
        box = line.box(begin, stop)
        if box[0] < above[2] and above[0] < box[2] and not _LABEL.search(low):
            after = low[stop : stop + 6].strip()
            heading = next((u for u in ("mg/g", "%") if after.startswith(u)), "")
            value = _plain(field, line.text[begin:stop])
            said = f"{lines[place].said} / {line.said}"
            yield Candidate(field, value, label[0], heading, said, page, box)


def _heading(above: Iterable[_Line], box: tuple[float, float, float, float]) -> str:
    """The heading of the column a box stands in: the nearest one above it."""
    for line in reversed(list(above)):
        at = 0
        for cell in line.text.split(_GAP):
            left, _, right, _ = line.box(at, at + len(cell))
            at += len(cell) + 1
            if left < box[2] and box[0] < right and _HEADING.match(low := _lowered(cell)):
                return low
    return ""


def _phrases(line: _Line, page: int) -> Iterator[Candidate]:
    low = _lowered(line.text)
    for (field, value), phrase in _ALWAYS.items():
        if found := phrase.search(low):
            box = line.box(*found.span())
            yield Candidate(field, value, found[0], "", line.said, page, box)


def _plain(field: str, value: str) -> str:
    """A candidate's text as the form takes it."""
    text = value.strip()
    if field.endswith("_on"):
        return day_of(text)
    if field in PANELS:
        return text[:4].lower()
    if re.fullmatch(r"n/?d|not detected|[<>]\s?lo[qd]|bl?loq", text, re.IGNORECASE):
        return "ND"
    return text.replace("< ", "<")
