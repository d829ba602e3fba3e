"""Papers: tagged, in the shipped face, with the plan's own numbers and nothing else's."""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from importlib.resources import files

import numpy as np
import pypdf
import pytest

from made_papers import CUT_DAYS, OUTLOOK, PLAN, SEASON, paper_of, text_of
from tierpole.barn import room
from tierpole.barn.geometry import place_capacity
from tierpole.charts import words
from tierpole.charts.lots import potency
from tierpole.charts.reading import as_dates
from tierpole.documents import (
    LANGUAGES,
    PAPERS,
    Bill,
    Filed,
    Order,
    make_paper,
    sheets,
)
from tierpole.documents.break_even import break_even, season_cost
from tierpole.documents.crew_sheet import CAUTIONS, crew_sheet
from tierpole.documents.crew_words import crew_words
from tierpole.documents.expected import expected, yielded
from tierpole.documents.grids import certificate_grid
from tierpole.documents.hanging_map import hanging_map
from tierpole.documents.lender_summary import lender_summary
from tierpole.documents.season_plan import season_plan
from tierpole.documents.tiers import hanging_today, tier_days, tier_room
from tierpole.documents.typeset import file_name
from tierpole.errors import InputError
from tierpole.farm import PriceForm, TierLoad
from tierpole.outlook.dollars import before_harvest
from tierpole.outlook.stowing import elevation
from tierpole.outlook.summary import summarise
from tierpole.plan.harvest import usual_drying
from tierpole.plan.result import LotState
from tierpole.rulebook import cautions
from tierpole.units import POUND


def _elements(node):
    """Every element of a tag tree, by its role."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        for part in node:
            yield from _elements(part)
    elif isinstance(node, dict):
        if "/S" in node:
            yield node["/S"], node
        if "/K" in node:
            yield from _elements(node["/K"])


# --- every paper --------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PAPERS)
def test_paper_limits_tags(kind):
    """Tagged, titled, in its language, headed; each picture has words, each table its heads."""
    paper = paper_of(kind)
    read = pypdf.PdfReader(io.BytesIO(paper.pdf))
    root = read.trailer["/Root"]
    assert bool(root["/MarkInfo"]["/Marked"])
    assert bool(root["/ViewerPreferences"]["/DisplayDocTitle"])
    assert root["/Lang"] == "en"
    assert read.metadata.title == paper.title
    assert b"pdfuaid" in root["/Metadata"].get_data()
    found = list(_elements(root["/StructTreeRoot"]))
    roles = Counter(role for role, _ in found)
    assert all(len(str(node["/Alt"])) > 10 for role, node in found if role == "/Figure")
    assert roles["/TH"] >= 2 * roles["/Table"]
    if not kind.endswith("labels"):
        assert roles["/H1"] == 1
        assert roles["/H2"] >= 1


@pytest.mark.parametrize("kind", PAPERS)
def test_paper_limits_type(kind):
    """Only the shipped face is used, and all of it travels with the paper."""
    read = pypdf.PdfReader(io.BytesIO(paper_of(kind).pdf))
    for page in read.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            (inner,) = font["/DescendantFonts"]
            named = inner.get_object()["/FontDescriptor"]
            assert "AtkinsonHyperlegible" in named["/FontName"]
            assert "/FontFile2" in named


@pytest.mark.parametrize("kind", PAPERS)
def test_paper_limits_invented(kind):
    """An invented farm says so on the paper itself; a real one does not."""
    assert "invented" in text_of(paper_of(kind)).lower()
    farm = SEASON.farm.model_copy(update={"is_invented": False})
    real = replace(SEASON, farm=farm, stand_in_year=None,
                   varieties=tuple(v.model_copy(update={"is_invented": False})
                                   for v in SEASON.varieties))  # fmt: skip
    assert "invented" not in text_of(make_paper(kind, real, OUTLOOK, PLAN)).lower()


@pytest.mark.parametrize("kind", PAPERS)
def test_paper_limits_again(kind):
    """The same facts give the same bytes, on sheets of either size."""
    assert make_paper(kind, SEASON, OUTLOOK, PLAN).pdf == paper_of(kind).pdf
    metric = pypdf.PdfReader(io.BytesIO(paper_of(kind, Order(system="metric")).pdf))
    box = metric.pages[0].mediabox
    assert (round(box.width), round(box.height)) == (595, 842)


def test_paper_limits_no_markup():
    """What a person wrote is printed as written, whatever it would mean to the typesetter."""
    name = '#panic("x") $y$ *b* <z> @w'
    named = SEASON.lots[0].model_copy(update={"note": "", "variety": name})
    variety = SEASON.varieties[0].model_copy(update={"name": name})
    season = replace(SEASON, lots=(named, *SEASON.lots[1:]),
                     varieties=(variety, *SEASON.varieties[1:]))  # fmt: skip
    for kind in ("packet", "buyer", "lot-labels"):
        assert name in text_of(make_paper(kind, season, OUTLOOK, PLAN))


def test_paper_limits_nothing_fetched():
    """No template asks for a package from elsewhere."""
    folder = files("tierpole.documents") / "templates"
    texts = [path.read_text(encoding="utf-8") for path in folder.iterdir()]
    assert len(texts) == 8
    assert not any("@preview" in text or "://" in text for text in texts)


@pytest.mark.parametrize("kind", ["map", "packet", "buyer", "bag-labels", "lot-labels"])
def test_paper_limits_unknown_name(kind):
    """A lot or place that is not there is named with those that are."""
    with pytest.raises(InputError, match=r"9 Nowhere.*|Nowhere"):
        make_paper(kind, SEASON, OUTLOOK, PLAN, Order(of="9 Nowhere"))


def test_file_name_limits():
    """A file name holds no sign a file system minds."""
    assert file_name("lot", "6 South/..\\bottom", "") == "lot-6-South-..-bottom"
    assert file_name("../x") == "x"


# --- the crew -----------------------------------------------------------------------------------


@pytest.mark.parametrize("language", LANGUAGES)
def test_crew_sheets_limits_sums(language):
    """Over all days the sheets hold every stick of the plan, by lot and place, and no other."""
    found = Counter()
    for day in CUT_DAYS:
        data = crew_sheet(SEASON, OUTLOOK, PLAN, Order(day=day, language=language)).data
        for row in data["rows"]:
            sticks = int(row["sticks"].replace(",", ""))
            found[row["lot"], row["place"]] += sticks
            tiers = [int(tier.rpartition(" ")[2].replace(",", "")) for tier in row["tiers"]]
            assert sum(tiers) == sticks
        assert int(data["sticks"].replace(",", "")) == sum(
            cut.sticks for cut in PLAN.cuts if cut.day == day
        )
    planned = Counter()
    for cut in PLAN.cuts:
        planned[cut.lot, cut.place] += cut.sticks
    assert found == planned


@pytest.mark.parametrize("language", LANGUAGES)
def test_crew_sheet_limits_page(language):
    """The page holds what the sheet says, in its language, with what may hurt."""
    day = CUT_DAYS[-1]
    order = Order(day=day, language=language)
    paper = paper_of("crew", order)
    text, data = text_of(paper), crew_sheet(SEASON, OUTLOOK, PLAN, order).data
    assert pypdf.PdfReader(io.BytesIO(paper.pdf)).trailer["/Root"]["/Lang"] == language
    for row in data["rows"]:
        assert row["lot"] in text
        assert f"{row['sticks']} {row['place']}" in text
        assert all(tier in text for tier in row["tiers"])
    for said in (*data["cautions"], *(fact["text"] for fact in data["facts"])):
        assert " ".join(said.split()) in text
    assert len(data["cautions"]) == len(CAUTIONS)
    own = {"en": "Sticks", "es": "palos"}[language]
    assert own.lower() in text.lower()


def test_crew_sheet_limits_waits():
    """A lot without a passed sample is barred on the sheet; a passed one shows its last day."""
    by_lot = {cut.lot: cut.day for cut in PLAN.cuts}
    for lot, day in by_lot.items():
        facts = crew_sheet(SEASON, OUTLOOK, PLAN, Order(day=day)).data["facts"]
        barred = [f["text"] for f in facts if f["stops"] and f["text"].startswith(lot)]
        assert bool(barred) == (PLAN.lot(lot).state is not LotState.PASSED)
    empty = crew_sheet(SEASON, OUTLOOK, PLAN, Order(day=SEASON.on)).data
    assert (empty["rows"], empty["sticks"]) == ([], "0")


def test_crew_words_limits():
    """Both languages have the same words with the same gaps, and every caution is translated."""
    english, spanish = (crew_words(language) for language in LANGUAGES)
    assert set(english) == set(spanish) - {"caution"}
    for key, said in english.items():
        own, other = (
            set(re.findall(r"{\w+}", each)) if isinstance(each, str) else len(each)
            for each in (said, spanish[key])
        )
        assert own == other, key
    known = {caution.key for caution in cautions("barn")}
    assert set(CAUTIONS) <= set(spanish["caution"]) == known
    assert english["filling"] == room.FILLING


# --- tiers --------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", SEASON.places, ids=lambda place: place.name)
def test_tiers_limits(place):
    """No tier holds more than its room, and the tiers together hold what the plan says."""
    rooms = tier_room(place)
    assert sum(rooms.values()) == place_capacity(place)
    assert list(rooms) == sorted(rooms, reverse=True)
    load = next(p for p in PLAN.places if p.place == place.name)
    days = tier_days(SEASON, PLAN, place.name)
    hung = taken = 0
    start = sum(h.sticks for h in SEASON.hanging_now() if h.place == place.name)
    for day, hanging, most in zip(days, load.hanging, load.capacity, strict=True):
        by_tier = Counter()
        for bundle in day.hanging:
            by_tier[bundle.tier] += bundle.sticks
        assert all(by_tier[tier] <= rooms[tier] for tier in rooms)
        assert sum(by_tier.values()) == hanging
        assert by_tier[None] == max(0, hanging - sum(rooms.values())) or hanging <= most
        hung += sum(b.sticks for b in day.hung)
        taken += sum(b.sticks for b in day.taken)
        assert start + hung - taken == hanging
    assert [day.day for day in days] == as_dates(load.days)


def test_tiers_limits_kept_free():
    """A hot top and a damp bottom that are kept free, and runs of an aisle, get no stick."""
    place = SEASON.places[0]
    free = place.model_copy(update={"is_top_free": True, "is_bottom_free": True, "aisle_runs": 1})
    assert place.tiers > 2
    rooms = tier_room(free)
    assert set(rooms) == set(range(2, place.tiers))
    assert sum(rooms.values()) == place_capacity(free) < place_capacity(place)


def test_what_stayed_under_its_limit_is_not_printed_as_found():
    """A certificate that found no THC above 0.05 % says so on papers, in tables and on charts."""
    under = SEASON.tests[0].model_copy(update={"total_thc": 0.0005, "thc_below": True})
    season = replace(SEASON, tests=(under,))
    grid = certificate_grid(season, under.lot)
    assert grid.rows[0][5] == "under 0.05 %"
    table = next(sheet for sheet in sheets(season, PLAN) if sheet.name == "Certificates")
    assert table.rows[0][8] == "total THC"
    chart = potency(season, OUTLOOK, PLAN, under.lot)
    assert chart.table.rows[-1][2] == "under 0.05 %"


@pytest.mark.parametrize("place", SEASON.places, ids=lambda place: place.name)
def test_tiers_limits_order(place):
    """A bent is filled before the next one nearer to the door, and its upper tiers before its lower
    ones; the oldest hanging comes down first."""
    bays = room.bays(place)
    for day in tier_days(SEASON, PLAN, place.name):
        there = Counter((b.tier, b.bent) for b in day.hanging for _ in range(b.sticks))
        for bundle in day.hung:
            above = range(bundle.tier + 1, place.tiers + 1)
            assert all(
                there[tier, bundle.bent] == bays[tier - 1, bundle.bent - 1] for tier in above
            )
            others = {b.bent for b in day.hanging if b.lot != bundle.lot}
            for bent in range(bundle.bent + 1, bays.shape[1] + 1):
                full = all(there[t + 1, bent] == n for t, n in enumerate(bays[:, bent - 1]))
                assert full or bent in others
        stayed = [b.hung_on for b in day.hanging if b not in day.hung]
        if day.taken and stayed:
            assert max(b.hung_on for b in day.taken) <= min(stayed)


def test_tiers_limits_of_one_day():
    """Of what comes on one day, what dries last goes in first, deepest, whatever its name."""
    own = [cut for cut in PLAN.cuts if cut.place == "Frame"]
    first, second = own[0], next(cut for cut in own if cut.lot != own[0].lot)
    for late, soon in ((first.lot, second.lot), (second.lot, first.lot)):
        cuts = {
            name: replace(own[0], lot=name, sticks=60, dry_on=own[0].day + timedelta(days=days))
            for name, days in ((late, 20), (soon, 9))
        }
        lots = tuple(
            replace(lot, cuts=(cuts[lot.lot],) if lot.lot in cuts else ()) for lot in PLAN.lots
        )
        empty = replace(SEASON, hangings=())
        days = tier_days(empty, replace(PLAN, lots=lots), "Frame")
        hung = next(day for day in days if day.day == own[0].day).hung
        bents = {name: [b.bent for b in hung if b.lot == name] for name in cuts}
        assert min(bents[late]) > max(bents[soon])


def test_tiers_limits_as_written_down():
    """Sticks hang on the map where somebody wrote that they hang; the plan fills what is left."""
    hanging = next(h for h in SEASON.hanging_now() if h.place == "Fan shed")
    own = {"lot": hanging.lot, "place": "Fan shed", "hung_on": hanging.hung_on}
    load = TierLoad(**own, tier=1, bent=1, sticks=30)
    season = replace(SEASON, tier_loads=(load,))
    found = elevation(season, "Fan shed")
    today = hanging_today(found)
    assert sum(b.sticks for b in today if (b.tier, b.bent) == (1, 1)) == 30
    assert sum(b.sticks for b in today if b.lot == hanging.lot) == hanging.sticks
    place = season.places[season.place_index("Fan shed")]
    day = tier_days(season, PLAN, "Fan shed")[0]
    at = Counter((b.tier, b.bent) for b in day.hanging for _ in range(b.sticks))
    assert all(at[t + 1, b + 1] <= n for (t, b), n in np.ndenumerate(room.bays(place)))
    notes = hanging_map(season, OUTLOOK, PLAN, Order(of="Fan shed")).data["notes"]
    total = sum(h.sticks for h in SEASON.hanging_now() if h.place == "Fan shed")
    assert f"Of {total} sticks today, 30 are drawn as it was written down" in notes[1]


@pytest.mark.parametrize("place", SEASON.places, ids=lambda place: place.name)
def test_hanging_map_limits(place):
    """The map hangs the plan's sticks of the place, and its drawing adds up."""
    order = Order(of=place.name)
    data = hanging_map(SEASON, OUTLOOK, PLAN, order).data
    planned = sum(cut.sticks for cut in PLAN.cuts if cut.place == place.name)
    assert data["to_hang_title"] == f"To hang here: {words.counted(planned, 'stick')}"
    assert sum(int(row[2].replace(",", "")) for row in data["to_hang"].rows) == planned
    for drawing in data["drawings"]:
        drawn = sum(sum(row.lots.values()) for row in drawing["rows"])
        assert words.counted(drawn, "stick") == drawing["total"]
        assert drawing["elsewhere"] == ""
        for row in drawing["rows"]:
            assert sum(row.lots.values()) + row.free == row.room
    text = text_of(paper_of("map", order))
    assert all(caution.says in text for caution in cautions("barn"))
    held = [drawing["held"] for drawing in data["drawings"]]
    assert (place.occupied_by is not None) == any("hangs here until" in said for said in held)


def test_hanging_map_limits_too_early():
    """Sticks that the plan takes down before they are likely dry are marked."""
    cut = next(cut for cut in PLAN.cuts if cut.place == "Frame")
    late = replace(cut, dry_on=cut.dry_on + timedelta(days=9))
    lots = tuple(
        replace(lot, cuts=tuple(late if c == cut else c for c in lot.cuts)) for lot in PLAN.lots
    )
    rows = (
        hanging_map(SEASON, OUTLOOK, replace(PLAN, lots=lots), Order(of="Frame"))
        .data["to_take_down"]
        .rows
    )
    planned = {f"hung {words.short_day(cut.day)}" for cut in PLAN.cuts}
    marked = {row[3] for row in rows if row[4].endswith("later: check")}
    assert marked & planned == {f"hung {words.short_day(cut.day)}"}


# --- numbers ------------------------------------------------------------------------------------


def test_season_plan_limits_numbers():
    """The plan's own dates, sticks, chances and dollars are on the paper."""
    text = text_of(paper_of("season"))
    for lot in PLAN.lots:
        assert lot.lot in text
        if lot.request_on:
            assert f"{words.day(lot.request_on)} {words.day(lot.sample_on)}" in text
        if lot.p_pass and lot.p_pass < 1:
            assert words.short_odds(lot.p_pass) in text
    for cut in PLAN.cuts:
        assert f"{words.day(cut.day)} {cut.lot} {cut.sticks:,} {cut.place}" in text
    for amount in (PLAN.money.mean, PLAN.money.low, PLAN.money.high, PLAN.money.cvar):
        assert words.dollars(amount) in text
    assert words.odds(PLAN.money.p_loss) in text
    assert all(caution.says in text for caution in cautions("money"))


def test_season_plan_limits_assumed():
    """A chance of an untested lot and sticks of an uncounted one are marked, others are not."""
    rows = season_plan(SEASON, OUTLOOK, PLAN, Order()).data["lots"].rows
    marked = {row[0]: (getattr(row[3], "assumed", False), row[6].assumed) for row in rows}
    assert marked == {
        "1 River": (False, False),
        "2 Barn field": (True, True),
        "6 South bottom": (False, True),
        "7 Hollow": (True, True),
    }
    assert "a: assumed; nobody has measured what it rests on." in text_of(paper_of("season"))


def test_lender_summary_limits():
    """Loss stands before gain, the costs add up, and the band is beside every mean."""
    data = lender_summary(SEASON, OUTLOOK, PLAN, Order()).data
    rows = [row[0] for row in data["money"].rows]
    assert rows.index("Seasons that lose") < rows.index("Mean")
    spent = [int(row[1].strip("$").replace(",", "")) for row in data["spent"].rows]
    total = int(data["spent"].total[1].strip("$").replace(",", ""))
    assert sum(spent) == pytest.approx(total, abs=len(spent))
    assert data["sentence"].index("loses money") < data["sentence"].index("mean")
    assert all(" and " in row[5] for row in data["lots"].rows)
    assert any("12 November 2026" in risk for risk in data["risks"])
    over = {
        lot.lot: 1 - expected(SEASON, OUTLOOK, PLAN, lot.lot).is_legal.mean for lot in PLAN.lots
    }
    worst = max(over, key=lambda lot: over[lot])
    refused = f"of {worst}, cut after its sample, is over 0.3 % THC in {words.odds(over[worst])}"
    assert (over[worst] > 0) == any(refused in risk for risk in data["risks"])
    text = text_of(paper_of("lender"))
    assert "$1.40 a pound for each percent of CBD" in text


def test_break_even_limits():
    """Every cell sold at its price just pays the season; a richer or larger crop needs less."""
    found = break_even(SEASON, OUTLOOK, PLAN, "us")
    pounds = [float(row[0].split()[-2].replace(",", "")) for row in found.grid.rows]
    percents = [float(name.split()[1]) for name in found.grid.header[1:]]
    cells = np.array([[float(cell.strip("$")) for cell in row[1:]] for row in found.grid.rows])
    own = [yielded(SEASON, OUTLOOK, PLAN, lot.lot, SEASON.hangings) for lot in PLAN.lots]
    mass = float(np.median(sum(lot.mass for lot in own)))
    assert pounds[1] == pytest.approx(mass / POUND, rel=0.005), "three digits are shown"
    cost = season_cost(SEASON, PLAN, mass)
    assert cells * np.outer(pounds, percents) == pytest.approx(np.full((3, 3), cost), rel=0.02)
    assert (np.diff(cells, axis=0) < 0).all()
    assert (np.diff(cells, axis=1) < 0).all()
    market = SEASON.market
    pays = market.paid_full + market.paid_half / 2
    said = float(re.search(r"the middle one is \$(\d+\.\d\d)", found.note)[1])
    assert cells[1, 1] < said
    assert cells[1, 1] / said <= pays + 0.01, "no lot is surer to pass than to be paid"
    spent = sum(before_harvest(SEASON).values())
    assert cost > spent
    assert season_cost(SEASON, replace(PLAN, lots=()), 0.0) > spent, "what is cut already has cost"
    flat = replace(SEASON, market=market.model_copy(update={
        "form": PriceForm.FLAT, "flat_price": 3.0 / POUND,
    }))  # fmt: skip
    by_weight = break_even(flat, OUTLOOK, PLAN, "us")
    assert by_weight.grid.header == ("Sold", "a pound")
    assert float(by_weight.grid.rows[1][1].strip("$")) == pytest.approx(cost / pounds[1], rel=0.01)
    assert "The contract pays $3.00." in by_weight.sentence
    text = text_of(paper_of("lender"))
    assert "At which price the season breaks even" in text
    metric = break_even(SEASON, OUTLOOK, PLAN, "metric")
    assert "kilogram" in metric.sentence
    assert "kg" in metric.grid.rows[0][0]


def test_break_even_limits_nothing_hung():
    """Where nothing hangs or is to be cut there is nothing to divide by, and no table."""
    idle = replace(PLAN, lots=tuple(replace(lot, cuts=()) for lot in PLAN.lots))
    assert break_even(replace(SEASON, hangings=()), OUTLOOK, idle, "us") is None


def test_lender_summary_limits_sales():
    """Each sale with what is owed, said and paid, and what came in all; none, no table."""
    bill = Bill("First", "Mill", "part paid", 9632.0, 9200.0, 5000.0, None, off="total CBD")
    filed = Filed(bills=(bill, replace(bill, sale="Second", paid=250.5)))
    sales = lender_summary(SEASON, OUTLOOK, PLAN, Order(filed=filed)).data["sales"]
    assert sales.total[5] == "$5,250.50"
    text = text_of(paper_of("lender", Order(filed=filed)))
    for said in ("Sales so far", "Second", "$9,632.00", "$9,200.00", "total CBD", "$5,250.50"):
        assert said in text
    assert "Sales so far" not in text_of(paper_of("lender"))


def test_expected_limits():
    """One cut of one lot, worked by hand from the outlook's own variables; nothing cut is none."""
    lot, cut = "7 Hollow", PLAN.lot("7 Hollow").cuts[0]
    one = replace(PLAN.lot(lot), cuts=(cut,))
    plan = replace(PLAN, lots=tuple(one if each.lot == lot else each for each in PLAN.lots))
    found = expected(SEASON, OUTLOOK, plan, lot)
    at = OUTLOOK.sel(lot=lot, day=np.datetime64(cut.day))
    first = SEASON.index(as_dates(OUTLOOK["cut_day"].values)[0])
    place = SEASON.place_index(cut.place)
    loss = usual_drying(OUTLOOK).loss[:, SEASON.index(cut.day) - first, place]
    mass = (
        cut.sticks * 3 * at.flower_mass.values * (1 - at.frost_loss.values)
        * (1 - at.field_loss.values) * (1 - loss) / 0.9
    )  # fmt: skip
    assert found.mass.mean == pytest.approx(mass.mean())
    assert (found.mass.low, found.mass.high) == pytest.approx(np.quantile(mass, [0.1, 0.9]))
    thc = at.thc.values / 1.35
    assert found.thc.median == pytest.approx(np.median(thc))
    assert found.cbd.median == pytest.approx(np.median(at.cbd.values / 1.35))
    assert found.is_legal == summarise(thc <= 0.003)
    none = replace(one, cuts=())
    plan = replace(PLAN, lots=tuple(none if each.lot == lot else each for each in PLAN.lots))
    assert expected(SEASON, OUTLOOK, plan, lot) is None


def test_buyer_sheet_limits():
    """A buyer is shown no price, an untested lot's numbers as assumed, and its place in law."""
    for lot in PLAN.lots:
        text = text_of(paper_of("buyer", Order(of=lot.lot)))
        assert "$" not in text
        assert ("It may not be sold before one passes." in text) == (lot.state is LotState.GROWING)
        assert "total CBD" in text
    failed = replace(PLAN.lots[3], state=LotState.FAILED)
    plan = replace(PLAN, lots=(*PLAN.lots[:3], failed))
    said = text_of(make_paper("buyer", SEASON, OUTLOOK, plan, Order(of="7 Hollow")))
    assert "Nothing of 7 Hollow" in said
    assert "It may not be sold as it stands." in said
