"""The steps about land: where the farm lies, what grows, in which fields and lots."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Annotated, Any

from pydantic import BeforeValidator, TypeAdapter

from tierpole.charts import words
from tierpole.farm import Farm, Field, Lot, Noun, Variety
from tierpole.farm.measure import Label, Measure
from tierpole.office.entry.fields import Ask, ask_of
from tierpole.office.start.asking import RowFaultError, Step, Told, Values, measured
from tierpole.office.start.assumed import COEFFICIENTS, usual_field, usual_lot, usual_set_on
from tierpole.office.start.classes import USUAL, class_named, class_of, flowering_words
from tierpole.office.start.drawing import SQUARES, NoFieldError, read_corners
from tierpole.office.start.known import BOOKS_OF, ELSEWHERE, NEAREST, Known, nearest, stations
from tierpole.office.start.sphere import great_circle
from tierpole.rulebook import rulebook_on
from tierpole.units import ACRE, FOOT, System, show, to_unit
from tierpole.weather import Station

MILE = 5280 * FOOT
FAR, HIGH = 50 * MILE, 500 * FOOT  # beyond which a station's frost is hardly the farm's
COLD = -2 / 1.8  # how much colder a bottom's nights are taken to be [°C]
_DRAWN = re.compile(r"Drawn: (.*?)(?: \(([\d.]+) % kept free\))?")


def _text_list(key: str, label: str, of: str, needed: bool = True) -> Ask:
    return Ask(key, label, "choice", needed, TypeAdapter(Annotated[str, Label(200)]), list_of=of)


# --- where the farm lies --------------------------------------------------------------------------


def _signed(value: Any) -> Any:
    """Degrees with N, E, S or W behind them, as maps print them."""
    found = re.fullmatch(r"\s*([\d.]+)\s*(?:deg|°)?\s*([NESW])\s*", str(value), re.IGNORECASE)
    if found is None:
        return value
    sign = "-" if found[2].upper() in "SW" else ""
    return f"{sign}{found[1]} deg"


def _angle(key: str, label: str, hint: str, low: str, high: str) -> Ask:
    rule = Measure("an angle", low, high)
    adapter = TypeAdapter(Annotated[float, rule, BeforeValidator(_signed)])
    return replace(measured(key, label, rule, hint, needed=False), adapter=adapter)


def _station(values: Values, known: Known) -> Station:
    """The station a form chose, or whose file was handed in, with it or before."""
    if "record" in values:
        return values["record"].station
    if values["station"] not in (NEAREST, *stations()):
        return known.record.station
    name = nearest(values) if values["station"] == NEAREST else values["station"]
    return stations()[name].station


def _farm(values: Values, known: Known) -> Iterator[Noun]:
    if values["jurisdiction"] not in BOOKS_OF:
        raise RowFaultError("jurisdiction", "Choose a state out of the list.")
    station = _station(values, known)
    there = {key: values.get(key) for key in ("latitude", "longitude", "elevation")}
    if (there["latitude"] is None) != (there["longitude"] is None):
        missing = "latitude" if there["latitude"] is None else "longitude"
        raise RowFaultError(missing, "Latitude and longitude go together.")
    placed = {key: getattr(station, key) for key in there} | {
        key: value for key, value in there.items() if value is not None
    }
    yield Farm(name=values["name"], jurisdiction=values["jurisdiction"], **placed)


def _farm_answers(noun: Farm, known: Known, system: System) -> dict[str, str]:
    source = next(iter(known.nouns("weather")), None)
    shown = {
        ask.key: ask.show(getattr(noun, ask.key), system)
        for ask in PLACE.asks if ask.key in Farm.model_fields
    }  # fmt: skip
    return shown | {"station": source.station if source else ""}


def _tell_farm(values: Values, known: Known, system: System) -> Iterator[Told]:
    station = _station(values, known)
    (farm,) = _farm(values, known)
    assert isinstance(farm, Farm)  # noqa: S101 - for the type checker
    away = great_circle(farm.latitude, farm.longitude, station.latitude, station.longitude)
    rise = farm.elevation - station.elevation
    says = f"is {away / MILE:,.0f} miles from the farm"
    says += (
        f", the farm {show(abs(rise), 'a length', system, 2)} {'above' if rise > 0 else 'below'} it"
    )
    far = "" if away < FAR and abs(rise) < HIGH else (
        "That is far: flowering and frost may be another place's. Hand in the file of a nearer "
        "station under “A nearer station's file”."
    )  # fmt: skip
    if values["latitude"] is None:
        says = "is where the farm is taken to lie, until you write its latitude and longitude"
    yield Told(station.name, f"{says}.", caution=far)
    book = rulebook_on(farm.jurisdiction, date(known.year, 9, 1))
    ask = "" if farm.jurisdiction != ELSEWHERE else (
        "Your state may have rules of its own: ask its department of agriculture."
    )  # fmt: skip
    yield Told("Rules", f"{book.title}.", caution=ask)


def _usual_farm(known: Known) -> Iterator[Noun]:
    values = {"name": "My farm", "jurisdiction": ELSEWHERE, "station": next(iter(stations()))}
    yield from _farm(values, known)


PLACE = Step(
    "place", "Where the farm lies",
    "Day length and frost decide when plants flower and how late they may stand; the state decides "
    "whose rules are in force.",
    "federal rules, and the place of the first weather station that comes with Tierpole",
    "farm",
    (
        ask_of(Farm, "name", "What the farm is called"),
        _text_list("jurisdiction", "State whose rules are in force", "jurisdiction"),
        _angle("latitude", "Latitude", "38.86 N", "0 deg", "65 deg"),
        _angle("longitude", "Longitude", "83.93 W", "-180 deg", "180 deg"),
        ask_of(Farm, "elevation", "Height above the sea", hint="900 ft"),
        _text_list("station", "Weather station", "station"),
    ),
    _farm, _farm_answers, _usual_farm, _tell_farm,
    notes=("Without latitude and longitude the station's own place is taken.",),
    usual={"station": NEAREST},
)  # fmt: skip


# --- varieties ------------------------------------------------------------------------------------


def _variety(values: Values, _known: Known) -> Iterator[Noun]:
    chosen = class_named(values["kind"])
    if chosen is None:
        raise RowFaultError("kind", "Choose a class out of the list.")
    yield chosen.variety(values["name"], values["cbd_to_thc"])


def _variety_answers(noun: Variety, _known: Known, _system: System) -> dict[str, str]:
    ratio = "" if noun.cbd_to_thc is None else f"{noun.cbd_to_thc:g}"
    return {"name": noun.name, "kind": class_of(noun).key, "cbd_to_thc": ratio}


def _usual_variety(_known: Known) -> Iterator[Noun]:
    yield USUAL.variety(USUAL.key.capitalize())


def _tell_variety(values: Values, known: Known, _system: System) -> Iterator[Told]:
    (variety,) = _variety(values, known)
    assert isinstance(variety, Variety)  # noqa: S101
    yield Told(variety.name, flowering(variety, known))


def flowering(variety: Variety, known: Known) -> str:
    """When a variety begins to flower on the farm, in a sentence."""
    farm = known.farm
    record = known.record
    latitude = farm.latitude if farm else record.station.latitude
    set_on = usual_set_on(known.year)
    said = flowering_words(variety, record, latitude, set_on)
    return f"set on {words.short_day(set_on)}, {said}."


VARIETIES = Step(
    "varieties", "What you grow",
    "Each class flowers at another time and so comes to the limit, the barn and the frost at "
    "another time. Give each the name you know it by.",
    "one mid-season variety from cuttings, with a wide spread",
    "variety",
    (
        ask_of(Variety, "name", "Name you know it by"),
        _text_list("kind", "Class", "class"),
        ask_of(Variety, "cbd_to_thc", "CBD to THC, parts to 1", hint="25"),
    ),
    _variety, _variety_answers, _usual_variety, _tell_variety, row="Variety",
)  # fmt: skip


# --- fields ---------------------------------------------------------------------------------------


def _corners(values: Values) -> str:
    """The corners as they were written, on one line; the field's fault when they make none."""
    text = values["corners"] or ""
    try:
        if text:
            read_corners(text)
    except NoFieldError as error:
        raise RowFaultError("corners", f"The corners must be {error}.") from None
    return "; ".join(part.strip() for part in re.split(r"[;\n]", text) if part.strip())


def _planted(values: Values) -> float:
    """The planted area: as drawn, less what is kept free, else as typed."""
    if corners := _corners(values):
        return read_corners(corners).area * (1 - (values["kept_free"] or 0.0))
    if values["area"] is None:
        raise RowFaultError("area", "Write the planted acres, or the corners of the field.")
    return values["area"]


def _field(values: Values, known: Known) -> Iterator[Noun]:
    said: dict[str, Any] = {"name": values["name"]}
    if values["is_bottom"]:
        said["night_offset"] = COLD
    if values["corners"]:
        free = f" ({100 * values['kept_free']:g} % kept free)" if values["kept_free"] else ""
        said["note"] = f"Drawn: {_corners(values)}{free}"
    field = Field.model_validate(said)
    yield field
    variety = next((one for one in known.varieties if one.name == values["variety"]), None)
    if variety is None:
        raise RowFaultError("variety", "Choose a variety out of the list.")
    area, old = _planted(values), known.lot_of(field.name)
    is_same = field in known.nouns("field") and bool(values["corners"])
    if old is not None and old.variety == variety.name and (
        is_same or abs(old.area / area - 1) < 1e-5
    ):  # fmt: skip
        yield old
    else:
        name, set_on = (old.name, old.set_on) if old else (field.name, None)
        stock = class_of(variety).stock
        yield usual_lot(name, field.name, variety, stock, area, known.year, set_on)


def _field_answers(noun: Field, known: Known, system: System) -> dict[str, str]:
    drawn = _DRAWN.fullmatch(noun.note)
    lot = known.lot_of(noun.name)
    area = f"{to_unit(lot.area, 'an area', system)[0]:.6g}" if lot and not drawn else ""
    return {
        "name": noun.name, "area": area, "corners": drawn[1].replace("; ", "\n") if drawn else "",
        "kept_free": f"{drawn[2]} %" if drawn and drawn[2] else "",
        "variety": lot.variety if lot else "", "square": "20 ft",
        "is_bottom": "yes" if noun.night_offset < 0 else "no",
    }  # fmt: skip


def _usual_fields(known: Known) -> Iterator[Noun]:
    field, variety = usual_field(), known.varieties[0]
    yield field
    area = COEFFICIENTS["area"] * ACRE
    yield usual_lot("Field 1", "Field 1", variety, class_of(variety).stock, area, known.year)


def _tell_field(values: Values, _known: Known, system: System) -> Iterator[Told]:
    area = _planted(values)
    says = f"{show(area, 'an area', system)} planted"
    drawing = read_corners(values["corners"]) if values["corners"] else None
    if drawing is not None and values["kept_free"]:
        says += f", of {show(drawing.area, 'an area', system)} inside the corners"
    if drawing is not None and drawing.gap > FOOT:
        says += f"; the legs miss the first corner by {show(drawing.gap, 'a length', system)}"
    yield Told(values["name"], f"{says}.")


FIELDS = Step(
    "fields", "Your fields",
    "Acres decide plants, sticks and barn room. Type them, or draw the field by its corners.",
    "one field of one acre",
    "field",
    (
        ask_of(Field, "name", "Name of the field"),
        measured("area", "Planted area", Measure("an area", "0.05 acre", "500 acre"),
                 "2 1/2 acre, or draw it below", needed=False),
        Ask("corners", "Or its corners, one on a line", "note", False,
            TypeAdapter(str),
            hint="120, 80 (feet east and north of a stake), or E 165 (feet walked)"),
        measured("kept_free", "Ends and rows kept free", Measure("a share", "0 %", "60 %"),
                 "8 %, of a drawn field", needed=False),
        Ask("square", "A square of the paper is", "choice", False, TypeAdapter(str),
            choices=tuple(f"{feet} ft" for feet in SQUARES)),
        _text_list("variety", "What grows there", "variety"),
        Ask("is_bottom", "A bottom, colder at night", "yes", False, TypeAdapter(bool)),
    ),
    _field, _field_answers, _usual_fields, _tell_field, row="Field",
    folded=(("Draw it instead", ("corners", "kept_free", "square")),),
    usual={"square": "20 ft", "is_bottom": "no"},
)  # fmt: skip


# --- lots -----------------------------------------------------------------------------------------

_GIVEN = ("plants_per_stick", "plant_yield")


def _lot(values: Values, known: Known) -> Iterator[Noun]:
    variety = next((one for one in known.varieties if one.name == values["variety"]), None)
    if variety is None:
        raise RowFaultError("variety", "Choose a variety out of the list.")
    if values["set_on"].year != known.year:
        raise RowFaultError("set_on", f"Write a day of {known.year}, the season you begin.")
    base = usual_lot(
        values["name"], values["field"], variety, class_of(variety).stock, values["area"],
        known.year, values["set_on"], values["plants_set"],
    )  # fmt: skip
    given = {key: values[key] for key in _GIVEN if values[key] is not None}
    yield Lot.model_validate(base.model_dump(exclude_unset=True) | given)


def _lot_answers(noun: Lot, _known: Known, system: System) -> dict[str, str]:
    return {ask.key: ask.show(getattr(noun, ask.key), system) for ask in LOTS.asks}


def _usual_lots(known: Known) -> Iterator[Noun]:
    """Only fields that have none are given one."""
    variety = known.varieties[0]
    stock, area = class_of(variety).stock, COEFFICIENTS["area"] * ACRE
    for field in known.nouns("field"):
        if known.lot_of(field.name) is None:
            yield usual_lot(field.name, field.name, variety, stock, area, known.year)


def _tell_lot(values: Values, known: Known, _system: System) -> Iterator[Told]:
    (lot,) = _lot(values, known)
    assert isinstance(lot, Lot)  # noqa: S101
    sticks = lot.plants_set / lot.plants_per_stick
    an_acre = lot.plants_set / (lot.area / ACRE)
    yield Told(
        lot.name, f"{an_acre:,.0f} plants an acre, about {sticks:,.0f} sticks if none is lost."
    )


LOTS = Step(
    "lots", "Lots and planting",
    "A lot is one variety in one piece: what the law samples, passes and fails. These were "
    "proposed from your fields; split or change them.",
    "each field as one lot, at the usual spacing, set on 1 June",
    "lot",
    (
        ask_of(Lot, "name", "Name of the lot"),
        ask_of(Lot, "field", "Field"), ask_of(Lot, "variety", "Variety"),
        ask_of(Lot, "area", "Planted area", hint="2 1/2 acre"),
        ask_of(Lot, "set_on", "Set on"),
        ask_of(Lot, "plants_set", "Plants set", is_needed=False, hint="4,355"),
        ask_of(Lot, "plants_per_stick", "Plants on a stick", is_needed=False, hint="3"),
        ask_of(Lot, "plant_yield", "Dry flower and leaf a plant", is_needed=False, hint="0.8 lb"),
    ),
    _lot, _lot_answers, _usual_lots, _tell_lot, row="Lot",
    folded=(("Plants and pounds", ("plants_set", "plants_per_stick", "plant_yield")),),
)  # fmt: skip
