"""What a printed certificate of analysis says, on one basis and one unit, or why it cannot be read.

Laboratories print percent or mg/g, dry or as received, totals or their parts, "ND" or "<0.05". All
becomes shares of dry weight in decimals, with the digits printed; each step taken on the way is
kept as a note. What contradicts itself is refused with the reason, never mended in silence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from enum import StrEnum

from tierpole.compliance.verdict import dry_basis, total_thc
from tierpole.errors import Fault
from tierpole.evidence import Mark, Table, Value
from tierpole.farm import Test, TestKind

COEFFICIENTS = Table(
    "Reading certificates",
    (
        Value(
            "acid_factor",
            0.877,
            "1",
            Mark.LAW,
            "7 CFR 990.1: total = neutral + 0.877 x acid; 314.469/358.478 for THC and CBD alike",
        ),
        Value(
            "quantification",
            0.0005,
            "share",
            Mark.INFERENCE,
            "limit taken when a certificate prints ND without one; AOAC SMPR 2017.002 asks for no "
            "more than 0.3 %",
            low=0.0001,
            high=0.001,
        ),
        Value("most", 0.40, "share", Mark.INFERENCE, "no hemp flower holds more of one total"),
        Value("moisture_most", 0.90, "share", Mark.PRACTICE, "fresh plants hold 70 to 80 %"),
    ),
)

_FACTOR = Decimal(str(COEFFICIENTS["acid_factor"]))
_LONGEST_NOTE = 400  # characters that a test's note may have
_NOT_DETECTED = ("nd", "n.d.", "not detected", "<loq", "< loq", "bloq", "blq", "<lod", "< lod")
_NOT_REPORTED = ("", "nt", "not tested", "n/a", "na", "-", "--")


class Unit(StrEnum):
    """What contents are printed in."""

    PERCENT = "%"
    MG_G = "mg/g"

    @property
    def of_whole(self) -> Decimal:
        """One of it as a share."""
        return Decimal("0.01") if self is Unit.PERCENT else Decimal("0.001")


class Basis(StrEnum):
    """Weight that contents are printed by."""

    DRY = "dry"
    AS_RECEIVED = "as received"


class Substance(StrEnum):
    """A total and the parts it is made of, neutral form first."""

    CBD = "CBD"
    THC = "THC"

    @property
    def total(self) -> str:
        """The field of its total."""
        return f"total_{self.lower()}"

    @property
    def parts(self) -> tuple[str, str]:
        """The fields of its neutral form and its acid."""
        return ("delta9_thc", "thca") if self is Substance.THC else ("cbd", "cbda")


CONTENTS = tuple(name for each in Substance for name in (each.total, *each.parts))
"""Fields that hold contents."""


@dataclass(frozen=True)
class Printed:
    """A certificate as printed: texts of contents by field, in one unit and on one basis.

    `moisture` and `uncertainty` are texts too, in percent and in the unit of the contents;
    `quantification` is the limit of quantification, in that unit.
    """

    lot: str
    laboratory: str
    kind: TestKind
    sampled_on: date
    reported_on: date
    plants: int
    unit: Unit
    basis: Basis
    contents: Mapping[str, str]
    moisture: str = ""
    uncertainty: str = ""
    quantification: str = ""


@dataclass(frozen=True)
class Content:
    """A share of dry weight; with `is_below`, the limit that the content stayed under."""

    share: Decimal
    is_below: bool = False


@dataclass(frozen=True)
class Certificate:
    """A checked certificate; contents are shares of dry weight, `notes` say how they came about."""

    lot: str
    laboratory: str
    kind: TestKind
    sampled_on: date
    reported_on: date
    plants: int
    total_cbd: Content | None
    total_thc: Content
    uncertainty: Decimal | None
    moisture: Decimal | None
    notes: tuple[str, ...]


def check(printed: Printed, place: str = "the certificate") -> Certificate | tuple[Fault, ...]:
    """The certificate on one basis, or everything that is wrong with it."""
    reader = _Reader(printed, place)
    totals = {substance: reader.total(substance) for substance in Substance}
    uncertainty = reader.uncertainty()
    reader.check_rest(totals)
    thc = totals[Substance.THC]
    if thc is None and not reader.faults:
        reader.fault("total_thc", None, "a content, or delta9_thc and thca")
    if reader.faults or thc is None:
        return tuple(reader.faults)
    return Certificate(
        lot=printed.lot,
        laboratory=printed.laboratory,
        kind=printed.kind,
        sampled_on=printed.sampled_on,
        reported_on=printed.reported_on,
        plants=printed.plants,
        total_cbd=totals[Substance.CBD],
        total_thc=thc,
        uncertainty=uncertainty,
        moisture=reader.moisture,
        notes=tuple(dict.fromkeys(reader.notes)),
    )


def as_test(certificate: Certificate) -> Test:
    """A checked certificate as a test of the season, with how it was reckoned as its note."""
    cbd, thc = certificate.total_cbd, certificate.total_thc
    error = certificate.uncertainty
    return Test(
        lot=certificate.lot,
        kind=certificate.kind,
        sampled_on=certificate.sampled_on,
        reported_on=certificate.reported_on,
        plants=certificate.plants,
        total_cbd=None if cbd is None else float(cbd.share),
        total_thc=float(thc.share),
        cbd_below=cbd is not None and cbd.is_below,
        thc_below=thc.is_below,
        uncertainty=None if error is None else float(error),
        laboratory=certificate.laboratory,
        note=_note(certificate.notes),
    )


def _note(notes: tuple[str, ...]) -> str:
    text = "; ".join(notes)
    return text if len(text) <= _LONGEST_NOTE else f"{text[: _LONGEST_NOTE - 1]}…"


@dataclass(frozen=True)
class _Text:
    """A number as printed, with half of its last digit."""

    number: Decimal
    is_below: bool = False

    @property
    def half_digit(self) -> Decimal:
        """Half a unit of the last digit printed."""
        digits = len(self.number.as_tuple().digits)
        return Decimal(5).scaleb(self.number.adjusted() - digits)


class _Reader:
    """Reads one certificate, gathering faults and notes."""

    def __init__(self, printed: Printed, place: str) -> None:
        self.printed, self.place = printed, place
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.quantification = self._number("quantification", printed.quantification)
        self.moisture = self._moisture()

    def fault(self, field: str, value: object, allowed: str, cure: str = "") -> None:
        """Note something wrong."""
        self.faults.append(Fault(self.place, field, value, allowed, cure))

    def total(self, substance: Substance) -> Content | None:
        """The total of a substance, from what is printed of it; None when nothing is."""
        total = self._content(substance.total)
        neutral, acid = (self._content(field) for field in substance.parts)
        if neutral is not None and acid is not None:
            summed = _sum(neutral, acid)
            if total is None:
                self.notes.append(f"total {substance} reckoned as neutral + {_FACTOR} x acid")
                return self._dry(summed)
            self._check_sum(substance, total, neutral, acid)
        return None if total is None else self._dry(total)

    def uncertainty(self) -> Decimal | None:
        """Measurement uncertainty, on dry weight; None when none is stated."""
        text = self._number("uncertainty", self.printed.uncertainty.lstrip("±+/- "))
        return None if text is None else self._dry(text).share

    def check_rest(self, totals: Mapping[Substance, Content | None]) -> None:
        """Note what is wrong besides single contents."""
        most = Decimal(str(COEFFICIENTS["most"]))
        for substance, content in totals.items():
            if content is not None and content.share > most:
                self.fault(
                    substance.total, f"{_shown(100 * content.share)} % of dry weight",
                    f"at most {100 * most:.0f} % of dry weight",
                    "Is the unit mg/g, or the moisture wrong?",
                )  # fmt: skip
        if self.printed.reported_on < self.printed.sampled_on:
            self.fault("reported_on", str(self.printed.reported_on), "on or after the sampling day")
        if self.printed.plants < 1:
            self.fault("plants", self.printed.plants, "the number of plants cut, 1 or more")

    def _moisture(self) -> Decimal | None:
        text = self._number("moisture", self.printed.moisture.rstrip("% "))
        if text is None:
            if self.printed.basis is Basis.AS_RECEIVED:
                self.fault("moisture", None, "the moisture in percent, to reckon dry weight")
            return None
        share, most = text.number / 100, Decimal(str(COEFFICIENTS["moisture_most"]))
        if not 0 <= share <= most:
            self.fault("moisture", self.printed.moisture, f"from 0 to {100 * most:.0f} %")
            return None
        return share

    def _content(self, field: str) -> _Text | None:
        text = self.printed.contents.get(field, "").strip()
        if text.lower() in _NOT_DETECTED:
            return self._not_detected(field)
        found = self._number(field, text)
        if found is not None and found.number * self.printed.unit.of_whole > 1:
            self.fault(field, f"{text} {self.printed.unit}", "at most 100 %", "Is the unit right?")
            return None
        return found

    def _not_detected(self, field: str) -> _Text:
        if self.quantification is not None:
            return _Text(self.quantification.number, is_below=True)
        limit = Decimal(str(COEFFICIENTS["quantification"]))
        self.notes.append(
            f"{field} not detected and no limit of quantification printed: taken as below "
            f"{_shown(100 * limit)} %"
        )
        return _Text(limit / self.printed.unit.of_whole, is_below=True)

    def _number(self, field: str, text: str) -> _Text | None:
        """The number of a text, None when it says none; "<" makes it a limit."""
        text = text.strip()
        if text.lower() in _NOT_REPORTED:
            return None
        number = _decimal(text.removeprefix("<").removesuffix(str(self.printed.unit)))
        if number is None or number < 0:
            self.fault(field, text, 'a number of 0 or more, "<" and a number, "ND" or nothing')
            return None
        return _Text(number, text.startswith("<"))

    def _check_sum(self, substance: Substance, total: _Text, neutral: _Text, acid: _Text) -> None:
        """A printed total must be what its parts give, within what rounding and limits leave."""
        low = (0 if neutral.is_below else neutral.number - neutral.half_digit) + _FACTOR * (
            0 if acid.is_below else acid.number - acid.half_digit
        )
        high = neutral.number + neutral.half_digit + _FACTOR * (acid.number + acid.half_digit)
        at_least = 0 if total.is_below else total.number - total.half_digit
        if total.number + total.half_digit < low or at_least > high:
            plain = abs(total.number - neutral.number - acid.number) <= total.half_digit
            cure = f"It is the plain sum, without the factor {_FACTOR}." if plain else ""
            unit, summed = self.printed.unit, _shown(neutral.number + _FACTOR * acid.number)
            due = (
                f"{neutral.number} + {_FACTOR} x {acid.number} = {summed} {unit}, as its parts add"
            )
            self.fault(substance.total, f"{total.number} {unit}", due, cure)

    def _dry(self, text: _Text) -> Content:
        """A content as a share of dry weight."""
        share = text.number * self.printed.unit.of_whole
        if self.printed.basis is Basis.AS_RECEIVED and self.moisture is not None:
            self.notes.append(
                f"dry weight by the printed moisture of {_shown(100 * self.moisture)} %"
            )
            share = dry_basis(share, self.moisture)
        return Content(share, text.is_below)


def _sum(neutral: _Text, acid: _Text) -> _Text:
    """A total from its parts: a part below its limit counts nothing, unless both are."""
    if neutral.is_below == acid.is_below:
        return _Text(total_thc(neutral.number, acid.number, _FACTOR), neutral.is_below)
    seen = _FACTOR * acid.number if neutral.is_below else neutral.number
    return _Text(seen)


def _shown(number: Decimal) -> str:
    """A number without the noughts at its end."""
    return f"{number.normalize():f}"


def _decimal(text: str) -> Decimal | None:
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        return None
    return number if number.is_finite() else None
