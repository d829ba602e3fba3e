"""What a farm writes down beyond what a plan needs: from the order of plants to the money paid.

Each noun has one day of its own, and names the lot, place, bag or sale it is about. What the law
wants kept (7 CFR 990.32: acquiring, growing, handling, storing, disposing) is among them.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Self

from pydantic import model_validator

from tierpole.farm.land import ClockTime, Date, Happened, Name, Note, Share, Stock
from tierpole.farm.measure import Content, Count, Label, Measure, Noun, Pattern, refuse
from tierpole.farm.tested import Potency

Plants = Annotated[int, Count(0, 2_000_000)]
Sticks = Annotated[int, Count(1, 100_000)]
Mass = Annotated[float, Measure("a mass", "0 lb", "2000000 lb")]
Moisture = Annotated[float, Measure("a share", "0 %", "95 %")]
Temperature = Annotated[float, Measure("a temperature", "-60 F", "200 F")]
Hours = Annotated[float, Measure("a time", "0 h", "5000 h")]
Amount = Annotated[float, Measure("money", "0 USD", "100000000 USD")]
MediaType = Annotated[
    str, Pattern(r"[a-z]+/[a-z0-9.+-]{1,80}", 'a media type such as "image/jpeg"')
]


# --- plants -------------------------------------------------------------------------------------


class CloneOrder(Noun):
    """Plants ordered of a supplier."""

    name: Name
    ordered_on: Happened
    supplier: Name
    variety: Name
    stock: Stock = Stock.CLONE
    lot: Name | None = None
    plants: Plants
    price: Annotated[float, Measure("money a plant", "0 USD/plant", "50 USD/plant")] | None = None
    due_on: Date | None = None
    note: Note = ""


class Arrival(Noun):
    """Plants that came, how many of them dead, and in what condition."""

    order: Name
    lot: Name | None = None
    arrived_on: Happened
    plants: Plants
    dead: Plants = 0
    condition: Note = ""
    supplier_paper: Content | None = None


class Planting(Noun):
    """Plants of a lot set into the ground on a day; a lot may take several."""

    lot: Name
    set_on: Happened
    plants: Plants
    note: Note = ""


class PlantLoss(Noun):
    """Plants of a lot found dead or taken out, and why."""

    lot: Name
    seen_on: Happened
    plants: Plants
    cause: Name


class Scouting(Noun):
    """What was seen on a walk through a lot."""

    lot: Name
    seen_on: Happened
    what: Name
    share_of_plants: Share | None = None
    photo: Content | None = None
    note: Note = ""


# --- work ---------------------------------------------------------------------------------------


class Operation(Noun):
    """Work done, with its hours and what it cost beside them."""

    done_on: Happened
    task: Name
    lot: Name | None = None
    place: Name | None = None
    hours: Hours = 0.0
    cost: Amount = 0.0
    note: Note = ""


class InputUse(Noun):
    """Something put on or into a lot: fertiliser, spray, plastic; `amount` as its label counts."""

    applied_on: Happened
    product: Name
    amount: Name
    lot: Name | None = None
    registration: Annotated[str, Label(empty=True)] = ""
    hours: Hours = 0.0
    cost: Amount = 0.0
    note: Note = ""


# --- official sample ----------------------------------------------------------------------------


class CustodyStep(Noun):
    """The official sample of a lot passing from one hand to the next."""

    lot: Name
    sampled_on: Happened
    handed_on: Happened
    handed_at: ClockTime | None = None
    giver: Name
    taker: Name
    seal: Name
    plants: Annotated[int, Count(1, 500)] | None = None
    note: Note = ""


class Panel(Noun):
    """A certificate on what else is in the material; None where a group was not tested."""

    lot: Name
    sampled_on: Happened
    reported_on: Happened
    laboratory: Name
    pesticides_pass: bool | None = None
    metals_pass: bool | None = None
    mycotoxins_pass: bool | None = None
    microbes_pass: bool | None = None
    paper: Content | None = None


# --- barn ---------------------------------------------------------------------------------------


class TierLoad(Noun):
    """On which tier, and in which bent, the sticks of a hanging went up."""

    lot: Name
    place: Name
    hung_on: Happened
    tier: Annotated[int, Count(1, 12)]
    bent: Annotated[int, Count(1, 100)] | None = None
    sticks: Sticks


class AirReading(Noun):
    """The air of a place, read by a person or a logger, at a tier where there is more than one."""

    place: Name
    read_on: Happened
    read_at: ClockTime
    temperature: Temperature
    humidity: Share
    tier: Annotated[int, Count(1, 12)] | None = None


class Airing(Noun):
    """How a place was set from a time on: vents open by a share, fans, heater."""

    place: Name
    set_on: Happened
    set_at: ClockTime
    vents: Share
    fans: bool = False
    heat: bool = False


class CleanDown(Noun):
    """A place cleaned before hemp hangs in it: `after` says what hung there."""

    place: Name
    cleaned_on: Happened
    after: Name
    dust_removed: bool
    residues_removed: bool
    note: Note = ""


class StickWeight(Noun):
    """Sticks of a hanging on the scale; moisture follows from the change."""

    lot: Name
    place: Name
    hung_on: Happened
    read_on: Happened
    read_at: ClockTime | None = None
    sticks: Sticks
    mass: Mass


class GreenWeight(Noun):
    """Cut sticks of a lot weighed before they dry."""

    lot: Name
    weighed_on: Happened
    sticks: Sticks
    mass: Mass
    moisture: Moisture | None = None


class Stripping(Noun):
    """Flower stripped from the sticks of a lot: its mass as weighed, and its moisture."""

    lot: Name
    stripped_on: Happened
    sticks: Sticks | None = None
    mass: Mass
    moisture: Moisture
    hours: Hours = 0.0


class Bag(Noun):
    """A bag of dry flower by its label."""

    name: Name
    lot: Name
    filled_on: Happened
    mass: Mass
    moisture: Moisture


class BagMove(Noun):
    """Bags put into store, or from one store into another."""

    bags: tuple[Name, ...]
    moved_on: Happened
    store: Name
    temperature: Temperature | None = None
    humidity: Share | None = None


# --- money --------------------------------------------------------------------------------------


class PanelGroup(StrEnum):
    """What material is tested for beside potency."""

    PESTICIDES = "pesticides"
    METALS = "metals"
    MYCOTOXINS = "mycotoxins"
    MICROBES = "microbes"


class SaleForm(StrEnum):
    """How a sale is paid."""

    POINT = "by the point"
    FLAT = "flat"
    SPLIT = "processor keeps a share"
    TOLL = "fee a pound"
    ACREAGE = "by the acre"


_PRICE_OF = {
    SaleForm.POINT: "price_point",
    SaleForm.FLAT: "price_flat",
    SaleForm.SPLIT: "share_kept",
    SaleForm.TOLL: "fee",
    SaleForm.ACREAGE: "price_area",
}
_FlatPrice = Annotated[float, Measure("money a mass", "0 USD/lb", "2000 USD/lb")]


class Sale(Noun):
    """A sale agreed with a buyer; a spot sale when `is_contract` is false.

    `moisture` is the wet-basis moisture the pounds are counted at; with `dockage` they are counted
    as they come, and it comes off the price for each percent of moisture above that. Likewise
    `dockage_foreign` for stems, seed and foreign matter above `foreign_most`. A load that has mould
    on a share of `mould_reject` or more is refused. Percent of CBD is counted between `cbd_lowest`
    and `cbd_cap`, of total CBD on dry matter unless `is_as_received`.

    A processor keeps `share_kept` of what he recovers, or takes `fee` for each pound; what is left
    of it is worth `price_point`, where that is agreed. By the acre, `area` is paid, less what the
    buyer's plants cost (`plants_supplied`). `panels` are those the buyer asks for, none of them
    older than `panel_days` on the day of delivery.
    """

    name: Name
    buyer: Name
    agreed_on: Happened
    form: SaleForm
    is_contract: bool = True
    price_point: (
        Annotated[float, Measure("a price a point", "0 USD/point/lb", "50 USD/point/lb")] | None
    ) = None
    price_flat: _FlatPrice | None = None
    share_kept: Share | None = None
    fee: _FlatPrice | None = None
    price_area: (
        Annotated[float, Measure("money an area", "0 USD/acre", "200000 USD/acre")] | None
    ) = None
    grade: Annotated[str, Label(empty=True)] = ""
    mass: Mass | None = None
    moisture: Moisture = 0.10
    dockage: _FlatPrice | None = None
    foreign_most: Share = 0.0
    dockage_foreign: _FlatPrice | None = None
    mould_reject: Share = 1.0
    area: Annotated[float, Measure("an area", "0 acre", "20000 acre")] | None = None
    plants_supplied: Amount = 0.0
    is_as_received: bool = False
    cbd_lowest: Share = 0.0
    cbd_cap: Share = 1.0
    due_days: Annotated[float, Measure("a number of days", "0 days", "730 days")] | None = None
    panels: tuple[PanelGroup, ...] = ()
    panel_days: Annotated[float, Measure("a number of days", "1 day", "1000 days")] | None = None
    paper: Content | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _has_price(self) -> Self:
        """A sale names the price of its form."""
        needed = _PRICE_OF[self.form]
        if getattr(self, needed) is None:
            raise refuse(f'a sale with its {needed}, for its form is "{self.form}"')
        return self


class Delivery(Noun):
    """Bags handed to a buyer, and what the buyer's scale and meter said.

    `foreign` is the share of stems, seed and foreign matter, `mould` the share that is mouldy.
    `exception` is why bags go out although a panel of theirs failed.
    """

    sale: Name
    delivered_on: Happened
    bags: tuple[Name, ...]
    mass: Mass
    moisture: Moisture | None = None
    foreign: Share | None = None
    mould: Share | None = None
    exception: Note = ""
    note: Note = ""


class Settlement(Noun):
    """What a buyer says is owed for a sale: pounds, potency, deductions, money."""

    sale: Name
    settled_on: Happened
    mass: Mass
    total_cbd: Potency | None = None
    recovery: Share | None = None
    deductions: Amount = 0.0
    due: Amount
    note: Note = ""


class Payment(Noun):
    """Money that came for a sale."""

    sale: Name
    paid_on: Happened
    amount: Amount


_AnAcre = Annotated[float, Measure("money an area", "0 USD/acre", "200000 USD/acre")]


class OtherCrop(Noun):
    """What an acre of hemp's ground would bring under another crop: tobacco, grain, hay, cattle.

    `returns` is what an acre of it sells for in a usual year; in one year of ten it is below
    `returns_low`, in one above `returns_high`. `costs` is what an acre of it would cost that is not
    spent without it, `hours` the crew's own hours on an acre; land, barns and machines that are
    paid for either way belong to neither. It is meant for the season of `priced_on`.
    """

    name: Name
    priced_on: Date
    returns: _AnAcre
    returns_low: _AnAcre | None = None
    returns_high: _AnAcre | None = None
    costs: _AnAcre
    hours: Annotated[float, Measure("a time", "0 h", "2000 h")] = 0.0
    note: Note = ""

    @model_validator(mode="after")
    def _is_ordered(self) -> Self:
        """A usual year lies between a low and a high one."""
        low, high = self.returns_low, self.returns_high
        if (low is not None and low > self.returns) or (high is not None and high < self.returns):
            raise refuse("returns from returns_low to returns_high")
        return self


# --- law ----------------------------------------------------------------------------------------


class DisposalMethod(StrEnum):
    """The ways 7 CFR 990.1 counts as disposal."""

    PLOW = "plowed under"
    MULCH = "mulched or composted"
    DISK = "disked"
    MOW = "bush mowed or chopped"
    BURY = "buried"
    BURN = "burned"
    OTHER = "another way"


class Disposal(Noun):
    """Plants, sticks or dry material of a lot destroyed; `notice_on` is when it was told before.

    What was done another way than the law lists is said in the note, with who agreed to it.
    """

    lot: Name
    disposed_on: Happened
    method: DisposalMethod
    plants: Plants = 0
    sticks: Annotated[int, Count(0, 100_000)] = 0
    mass: Mass = 0.0
    bags: tuple[Name, ...] = ()
    witness: Annotated[str, Label(empty=True)] = ""
    notice_on: Happened | None = None
    paper: Content | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _says_which(self) -> Self:
        """Another way is described."""
        if self.method is DisposalMethod.OTHER and not self.note:
            raise refuse("a disposal whose note says which way it was, and who agreed to it")
        return self


class RemediationMethod(StrEnum):
    """The two ways 7 CFR 990.1 counts as remediation."""

    STRIP = "flower removed and destroyed"
    SHRED = "whole plants shredded"


class Remediation(Noun):
    """Material of a failed lot made lawful; `name` is what the new lot of it is called."""

    name: Name
    lot: Name
    done_on: Happened
    method: RemediationMethod
    sticks: Annotated[int, Count(0, 100_000)] = 0
    mass: Mass
    moisture: Moisture
    notice_on: Happened | None = None
    paper: Content | None = None


class ReportKind(StrEnum):
    """What an authority is told, or sent."""

    PLANTING = "acres planted"
    ANNUAL = "report of the year"
    HARVEST = "harvest ahead"
    NOTICE = "what will be done with a failed lot"
    DISPOSED = "what was done with a failed lot"


class Report(Noun):
    """Something told or sent to an authority, as the rules ask.

    Without a lot it is about the whole farm. `year` is the season it is about; left out, it is that
    of the day. `number` is what can be shown for it: of a receipt, or who was spoken to.
    """

    kind: ReportKind
    filed_on: Happened
    lot: Name | None = None
    year: Annotated[int, Count(1990, 2100)] | None = None
    number: Annotated[str, Label(empty=True)] = ""
    paper: Content | None = None
    note: Note = ""

    @property
    def about(self) -> int:
        """The season it is about."""
        return self.year or self.filed_on.year


class Licence(Noun):
    """A licence or permit, its number and days."""

    name: Name
    number: Name
    authority: Name
    valid_from: Date
    expires_on: Date
    paper: Content | None = None


class VarietyApproval(Noun):
    """Leave of an authority to grow a variety."""

    variety: Name
    authority: Name
    valid_from: Date
    expires_on: Date | None = None
    paper: Content | None = None


# --- papers -------------------------------------------------------------------------------------


class Attachment(Noun):
    """A photo or paper: its name as a person knows it; the content itself is kept by its hash."""

    name: Annotated[str, Label(longest=120)]
    media_type: MediaType
    content: Content
    size: Annotated[int, Count(0, 1_000_000_000)]
    added_on: Happened
    lot: Name | None = None
    place: Name | None = None
    note: Note = ""


class Memo(Noun):
    """Anything worth keeping, about a lot, a place or the farm."""

    written_on: Happened
    text: Annotated[str, Label(longest=2000)]
    lot: Name | None = None
    place: Name | None = None


class KeptPlan(Noun):
    """A plan as it was made: the day it looked from, its inputs' hash, and where it is kept."""

    made_on: Date
    made_at: ClockTime
    seen_on: Date
    inputs: Content
    plan: Content


# --- season -------------------------------------------------------------------------------------


class SeasonYear(Noun):
    """A season in the books; `on` is the day a demonstration is looked at, else it is today."""

    year: Annotated[int, Count(1990, 2100)]
    on: Date | None = None


class WeatherSource(Noun):
    """Where a season's weather comes from: contents kept by hash, names as a scenario says them.

    `file` is the name of the station's own file, `listed` the list of stations beside it.
    """

    station: Annotated[str, Label(longest=200)]
    file: Annotated[str, Pattern(r"[^/\\]{1,200}", "a file's name without its folder")]
    station_content: Content
    listed: Content | None = None
    forecast: Annotated[str, Label(longest=200)] | None = None
    forecast_content: Content | None = None
    stand_in_year: Annotated[int, Count(1900, 2100)] | None = None


class LearntFile(Noun):
    """What earlier seasons taught of a variety: the file's name, and its content by hash."""

    added_on: Date
    name: Annotated[str, Pattern(r"[^/\\]{1,200}", "a file's name without its folder")]
    content: Content
