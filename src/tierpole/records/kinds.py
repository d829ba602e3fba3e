"""The kinds of nouns the books hold: what each is called, which table and which day are its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid5

from tierpole import farm
from tierpole.errors import StoreError
from tierpole.farm import Noun, books

_IDS = UUID("5d0c5a9e-1f0e-5b52-9a53-0f5a8f1c7a11")  # ours, for settings that exist once


@dataclass(frozen=True)
class Kind:
    """A kind of noun.

    `table` is the season's table of it, empty for what no plan needs. `day` is its own day: the
    day from which it is known, if it was not written down earlier. `is_single` marks what exists
    once a season (or once a farm), `is_lasting` what outlives a season.
    """

    name: str
    noun: type[Noun]
    table: str = ""
    day: str = ""
    is_single: bool = False
    is_lasting: bool = False

    def day_of(self, noun: Noun) -> date | None:
        """A noun's own day."""
        return getattr(noun, self.day) if self.day else None


KINDS: tuple[Kind, ...] = (
    Kind("season", books.SeasonYear, is_single=True),
    Kind("weather", books.WeatherSource, is_single=True),
    Kind("learnt", books.LearntFile, day="added_on"),
    Kind("farm", farm.Farm, "farm", is_single=True, is_lasting=True),
    Kind("field", farm.Field, "fields", is_lasting=True),
    Kind("variety", farm.Variety, "varieties", is_lasting=True),
    Kind("lot", farm.Lot, "lots", "set_on"),
    Kind("place", farm.Place, "places", is_lasting=True),
    Kind("crew", farm.Crew, "crew", is_single=True),
    Kind("market", farm.Market, "market", is_single=True),
    Kind("costs", farm.Costs, "costs", is_single=True),
    Kind("sampler", farm.Sampler, "sampler", is_single=True),
    Kind("laboratory", farm.Laboratory, "laboratory", is_single=True),
    Kind("test", farm.Test, "tests", "reported_on"),
    Kind("sample", farm.Sample, "samples", "requested_on"),
    Kind("cut", farm.Cut, "cuts", "cut_on"),
    Kind("hanging", farm.Hanging, "hangings", "hung_on"),
    Kind("reading", farm.Reading, "readings", "read_on"),
    Kind("flowering", farm.Flowering, "flowering", "seen_on"),
    Kind("gauge", farm.GaugeReading, "gauge_readings", "read_on"),
    Kind("order", books.CloneOrder, day="ordered_on"),
    Kind("arrival", books.Arrival, day="arrived_on"),
    Kind("planting", books.Planting, day="set_on"),
    Kind("loss", books.PlantLoss, day="seen_on"),
    Kind("scouting", books.Scouting, day="seen_on"),
    Kind("operation", books.Operation, day="done_on"),
    Kind("input", books.InputUse, day="applied_on"),
    Kind("custody", books.CustodyStep, day="handed_on"),
    Kind("panel", books.Panel, day="reported_on"),
    Kind("tier", books.TierLoad, "tier_loads", "hung_on"),
    Kind("air", books.AirReading, "air_readings", "read_on"),
    Kind("stick_weight", books.StickWeight, "stick_weights", "read_on"),
    Kind("airing", books.Airing, "airings", "set_on"),
    Kind("clean_down", books.CleanDown, "clean_downs", "cleaned_on"),
    Kind("green_weight", books.GreenWeight, day="weighed_on"),
    Kind("stripping", books.Stripping, day="stripped_on"),
    Kind("bag", books.Bag, day="filled_on"),
    Kind("move", books.BagMove, day="moved_on"),
    Kind("sale", books.Sale, day="agreed_on"),
    Kind("delivery", books.Delivery, day="delivered_on"),
    Kind("settlement", books.Settlement, day="settled_on"),
    Kind("payment", books.Payment, day="paid_on"),
    Kind("other_crop", books.OtherCrop, day="priced_on"),
    Kind("disposal", books.Disposal, day="disposed_on"),
    Kind("remediation", books.Remediation, day="done_on"),
    Kind("report", books.Report, day="filed_on"),
    Kind("licence", books.Licence, day="valid_from", is_lasting=True),
    Kind("approval", books.VarietyApproval, day="valid_from", is_lasting=True),
    Kind("certificate_columns", farm.CertificateColumns, is_lasting=True),
    Kind("certificate_labels", farm.CertificateLabels, is_lasting=True),
    Kind("attachment", books.Attachment, day="added_on"),
    Kind("memo", books.Memo, day="written_on"),
    Kind("plan", books.KeptPlan, day="made_on"),
)

_BY_NAME = {kind.name: kind for kind in KINDS}
_BY_NOUN = {kind.noun: kind for kind in KINDS}
IN_SEASON = tuple(kind for kind in KINDS if kind.table)

# fields that name another noun, and the kinds it may be of; material of a failed lot that was
# remediated is a lot of its own
REFERENCES: dict[str, tuple[str, ...]] = {
    "lot": ("lot", "remediation"),
    "place": ("place",),
    "field": ("field",),
    "variety": ("variety",),
    "order": ("order",),
    "sale": ("sale",),
    "bags": ("bag",),
}


def kind_named(name: str) -> Kind:
    """The kind of a name; a name no kind has is from a newer version."""
    if name not in _BY_NAME:
        raise StoreError(f'The books hold "{name}", which this version of Tierpole does not know.')
    return _BY_NAME[name]


def kind_of(noun: Noun) -> Kind:
    """The kind of a noun."""
    return _BY_NOUN[type(noun)]


def references(noun: Noun) -> Iterator[tuple[str, str]]:
    """What a noun names of others: (field, name)."""
    for field in REFERENCES:
        if field not in type(noun).model_fields:
            continue
        named = getattr(noun, field)
        names = named if isinstance(named, tuple) else (named,)
        yield from ((field, name) for name in names if name is not None)


def setting_id(kind: str, season: int | None = None) -> UUID:
    """The id of what exists once, so that whoever writes it writes the same noun."""
    return uuid5(_IDS, f"{kind}/{season}" if season else kind)
