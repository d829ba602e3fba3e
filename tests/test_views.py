"""View models: their numbers are the plan's and the outlook's, their order what waiting costs."""

from __future__ import annotations

import json
from dataclasses import FrozenInstanceError, asdict, replace
from datetime import date, timedelta

import numpy as np
import pytest
from pydantic_core import to_jsonable_python

from tierpole.barn.advice import Hours, Rule
from tierpole.barn.sensors import Finding, Trouble
from tierpole.charts import ground, words
from tierpole.compliance import LotState
from tierpole.documents import Filed
from tierpole.farm import Test, TestKind
from tierpole.office import views
from tierpole.office.views import NotHereError, barn, parts, plain
from tierpole.office.views.strikes import strikes_words
from tierpole.outlook.legal import plants_cut
from tierpole.outlook.summary import seasons_of_twenty
from tierpole.outlook.watch import watch
from tierpole.plan.harvest import window_of
from tierpole.rulebook import rulebook_on
from tierpole.units import POUND
from view_models import OUTLOOK, PAGES, PLAN, SEASON, numbers_in, view_of, week_of

# --- every view ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", views.VIEWS)
def test_view_limits(name):
    """A view is frozen, opens with a sentence, and is plain JSON without a number that is none."""
    model = view_of(name, *PAGES[name])
    assert model.sentence.rstrip(")").endswith(".")
    assert json.loads(json.dumps(to_jsonable_python(asdict(model)), allow_nan=False))
    with pytest.raises(FrozenInstanceError):
        model.sentence = "changed"


@pytest.mark.parametrize(
    ("name", "args"),
    [
        ("lot", ("9 Nowhere", "us")),
        ("place", ("Nowhere", "us")),
        ("crew_place", ("Nowhere", "en", "us")),
        ("why_plan", ("nothing", "season")),
        ("why_plan", ("p_pass", "9 Nowhere")),
        ("why_outlook", ("nothing",)),
        ("why_outlook", ("thc", "9 Nowhere")),
        ("why_formula", ("os:system",)),
        ("why_value", ("os:path",)),
        ("why_value", ("compliance.chance:nothing",)),
        ("why_value", ("nothing",)),
    ],
)
def test_view_limits_unknown_name(name, args):
    """A name that nothing bears is said to be not here, and no other module is looked into."""
    with pytest.raises(NotHereError):
        view_of(name, *args)


def test_pages_limits():
    """Every page's view is among those that can be made ahead, and each can be made."""
    ahead = list(views.pages(SEASON, "us"))
    assert {name for name, *_ in ahead} == {"week", "season", "lot", "place", "rules", "papers"}
    assert len(ahead) == len(set(ahead)) == 4 + len(SEASON.lots) + len(SEASON.places)
    assert all(view_of(*page).sentence for page in ahead)


# --- this week ----------------------------------------------------------------------------------


def test_week_limits_decisions():
    """The calls to make within the week are all there, with the plan's chance and reason."""
    week = week_of()
    due = [lot for lot in PLAN.lots if lot.request_on and lot.request_on < SEASON.on + timedelta(7)]
    assert [item.lot for item in week.decide] == [lot.lot for lot in due]
    said = " ".join(plain(fact) for fact in week.decide[0].facts)
    assert words.odds(due[0].p_pass) in said
    assert words.signed_dollars(due[0].reasons[1].total) in said
    assert seasons_of_twenty(due[0].p_pass) in said


def test_week_limits_small_difference():
    """A difference inside the plan's own gap is said to be one."""
    said = "less than the plan can tell apart"
    rough = replace(PLAN, bound=20_000.0, gap=0.2)
    assert said in " ".join(plain(fact) for fact in week_of(rough).decide[0].facts)
    assert said not in " ".join(plain(fact) for fact in week_of().decide[0].facts)


def test_week_limits_order():
    """What is due first stands first; on one day, what a week's wait costs most."""
    by, lots = SEASON.on + timedelta(2), list(PLAN.lots)
    cheap, dear = replace(lots[1], request_on=by), replace(lots[2], request_on=by, reasons=())
    soon = replace(lots[3], request_on=SEASON.on, reasons=())
    order = [item.lot for item in week_of(replace(PLAN, lots=(dear, cheap, soon))).decide]
    assert order == [soon.lot, cheap.lot, dear.lot]


def test_week_limits_nothing_to_decide():
    """Nothing to decide is an answer, and is said."""
    lots = tuple(replace(lot, request_on=None, sample_on=None, cuts=()) for lot in PLAN.lots)
    idle = replace(PLAN, lots=lots, places=())
    assert week_of(idle).sentence == "Nothing to decide this week and nothing to do."
    assert week_of(idle).decide == ()


def test_week_limits_sampler_already_called():
    """A visit already agreed is not decided again."""
    assert PLAN.lots[1].lot not in [
        item.lot for item in views.week(_called(SEASON), OUTLOOK, PLAN, "us").decide
    ]


def _called(season):
    lot = PLAN.lots[1]
    sample = season.samples[0].model_copy(update={"lot": lot.lot, "sampled_on": lot.sample_on})
    return replace(season, samples=(*season.samples, sample))


def test_week_limits_failed_lot_first():
    """A hot lot comes before everything, with the first 24 hours from the rulebook."""
    lots = (*PLAN.lots[:3], replace(PLAN.lots[3], state=LotState.FAILED))
    first = week_of(replace(PLAN, lots=lots)).decide[0]
    assert (first.kind, first.lot) == ("failed", PLAN.lots[3].lot)
    steps = rulebook_on("ohio", SEASON.on).hot_result_steps.value
    assert [plain(fact) for fact in first.facts[1:]] == list(steps)


def test_week_limits_cut_list():
    """The cut list holds exactly the plan's cuts of the next seven days."""
    rows = week_of().cut_list
    cuts = [cut for cut in PLAN.cuts if cut.day < SEASON.on + timedelta(7)]
    assert [(row.lot, row.sticks, row.place) for row in rows] == [
        (cut.lot, cut.sticks, cut.place) for cut in cuts
    ]
    assert str(sum(cut.sticks for cut in cuts)) in plain(week_of().cut_total)


def test_week_limits_take_down():
    """Sticks to take down within the week are a thing to do; later ones are not."""
    load = PLAN.places[2]
    soon = load.taken_down.copy()
    soon[3] = 150
    places = (*PLAN.places[:2], replace(load, taken_down=soon))
    said = [item.what for item in week_of(replace(PLAN, places=places)).todo]
    assert "Take down 150 sticks in Frame once they are in case." in said
    assert not any("Take down" in item.what for item in week_of().todo)


def test_week_limits_room():
    """Free sticks are the plan's room less what hangs; another crop's room is said to be taken."""
    said = [plain(phrase) for phrase in week_of().room]
    shed = PLAN.places[1]
    assert f"{shed.capacity[0] - shed.hanging[0]:,.0f} of {shed.capacity[0]:,.0f}" in said[1]
    assert said[0].startswith("Home barn: tobacco until Mon 5 Oct")
    assert plain(week_of().short).startswith("46 sticks of 2 Barn field")
    assert week_of(replace(PLAN, lots=PLAN.lots[2:])).short == ()


def test_week_limits_hands():
    """Hours of the next seven days are the crew plan's own."""
    crew = PLAN.crew
    used = (crew.cut_and_hang + crew.take_down + crew.strip)[:7].sum()
    assert f"{np.ceil(used):.0f} of {crew.available[:7].sum():.0f} hours" in plain(week_of().hands)


def test_week_limits_frost_offset():
    """Each frost number names the field's own difference, and colder fields freeze likelier."""
    said = [plain(phrase) for phrase in week_of().frost]
    assert ["as cold as" in said[0], "2 °F colder" in said[1], "3 °F colder" in said[2]] == [
        True
    ] * 3
    last = max(cut.day for cut in PLAN.cuts)
    since = SEASON.index(date(SEASON.year, 7, 1))
    low = OUTLOOK.night_low.values[:, since : SEASON.index(last) + 1].min(axis=1)
    for text, field in zip(said, ("Home", "Hollow", "South bottom"), strict=True):
        offset = next(f.night_offset for f in SEASON.fields if f.name == field)
        assert words.odds(float((low + offset <= 0).mean())) in text


def test_week_limits_money_loss_first():
    """Loss is said before gain."""
    said = plain(week_of().money)
    assert said.index("loses") < said.index("mean")
    assert words.odds(PLAN.money.p_loss) in said


def test_week_limits_metric():
    """Metric pages say degrees Celsius."""
    metric = week_of(system="metric")
    assert all("°C" in row.low for row in metric.weather)
    assert "°F" not in " ".join(plain(phrase) for phrase in metric.frost)


def test_week_limits_assumed():
    """A chance is assumed while no test of the lot is in, and only then."""
    week = week_of()
    chances = [n for n in numbers_in(week.decide) if n.why.startswith("plan/p_pass")]
    assert chances
    assert all(number.assumed for number in chances)
    lot = view_of("lot", "6 South bottom", "us")
    tested = [n for n in numbers_in(lot.facts) if n.why.startswith("plan/p_pass")]
    assert [number.assumed for number in tested] == [False]


def test_most_helpful_limits():
    """The test that brings most over its fee is asked for; 11,400 / 80 = 142.5, its fee 75."""
    assert ground.most_helpful(SEASON, PLAN).startswith(
        "One more test of 2 Barn field, 5 tops cut about Friday 28 August, is worth about $140"
    )


def test_most_helpful_limits_when_no_test_pays():
    """When no test pays its fee, counting plants is what is left to ask for; then nothing is."""
    none = replace(PLAN, lots=tuple(_without_gain(lot) for lot in PLAN.lots))
    told = ground.most_helpful(SEASON, none)
    assert told.startswith("Counting the plants alive in 2 Barn field")
    assert told.endswith("no test would pay its fee now.")
    counted = tuple(lot.model_copy(update={"plants_counted": 900}) for lot in SEASON.lots)
    season = replace(SEASON, lots=counted)
    assert ground.most_helpful(season, none) == "No test would pay its fee now."


def _without_gain(lot):
    if lot.testing is None:
        return lot
    nothing = replace(lot.testing.best, gain=0.0)
    return replace(lot, testing=replace(lot.testing, by_day=(nothing,), best=nothing))


def test_lot_limits_next_test():
    """The page says what each reading would mean, what the test is worth, what the last one did."""
    view = view_of("lot", "6 South bottom", "us")
    assert view.if_read is not None
    assert "if it reads 0.20 %" in view.if_read.sentence
    assert view.if_read.table.rows[-1][1].startswith("too far from what is known")
    assert view.worth_of_test is not None
    assert view.worth_of_test.sentence.startswith("One more test of 6 South bottom")
    assert [row[2] for row in view.worth_of_test.table.rows] == ["$70", "$120", "$35"]
    test = next(record for record in view.records if "pre-test" in record.what)
    assert "lowered the THC expected by 23 %" in test.what
    passed = view_of("lot", "1 River", "us")
    assert (passed.if_read, passed.worth_of_test) == (None, None)


# --- lot, place, season, rules --------------------------------------------------------------------


def test_lot_limits_choices():
    """The slider's windows are the plan's own rule, and it starts on the plan's day."""
    lot = view_of("lot", "6 South bottom", "us")
    assert lot.choices[lot.chosen].day == PLAN.lot("6 South bottom").sample_on
    for choice in lot.choices[::5]:
        window = window_of(SEASON, choice.day)
        assert (choice.opens, choice.closes) == (window.first, window.last)
        assert words.span(window.first, window.last) in choice.says
    assert view_of("lot", "1 River", "us").choices == ()


def test_lot_limits_records():
    """Everything recorded of the lot is listed, oldest first, nothing of another lot."""
    said = [record.what for record in view_of("lot", "1 River", "us").records]
    assert said[0] == "sampler called for Mon 17 Aug"
    assert any("official sample: total THC 0.142 ± 0.04 %" in what for what in said)
    assert sum("cut" in what for what in said) == len(SEASON.cuts)
    assert len(said) == 6


def test_lot_limits_assumed():
    """What nobody measured is named; what somebody did is not."""
    hollow = " ".join(view_of("lot", "7 Hollow", "us").assumed)
    assert "90 % of the 3,136 set" in hollow
    assert "its CBD to THC ratio" in hollow
    assert "no test of this lot is in" in hollow
    river = " ".join(view_of("lot", "1 River", "us").assumed)
    assert "Plants alive" not in river
    assert "no test" not in river


def test_lot_limits_reality():
    """The page says where real lots differ from the simulated truth."""
    assert "Lots as farms have them differ" in view_of("lot", "1 River", "us").limits[0]


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        (LotState.GROWING, "Have 6 South bottom sampled on Friday 18 September, then cut its 941"),
        (LotState.SAMPLED, "6 South bottom is sampled; wait for the result"),
        (LotState.PASSED, "6 South bottom has passed. Cut its 941 sticks"),
        (LotState.FAILED, "6 South bottom is over the limit: leave it alone"),
    ],
)
def test_lot_limits_states(state, expected):
    """The first sentence is the decision, whatever the state."""
    lots = tuple(replace(lot, state=state) for lot in PLAN.lots)
    page = view_of("lot", "6 South bottom", "us", plan=replace(PLAN, lots=lots))
    assert page.sentence.startswith(expected)


def test_place_limits():
    """What hangs, what comes and the room are the records' and the plan's."""
    page = view_of("place", "Frame", "us")
    assert [(row.lot, row.sticks) for row in page.hangs] == [("1 River", 200)]
    assert page.hangs[0].moisture == "31 % on Tue 1 Sep"
    coming = [(cut.lot, cut.sticks) for cut in PLAN.cuts if cut.place == "Frame"]
    assert [(row.lot, row.sticks) for row in page.to_hang] == coming
    assert page.sentence.startswith("220 of 420 sticks are free in Frame now; it is fullest on")
    assert page.cautions


def test_place_tells_what_its_readings_say():
    """Alarm, a rule of airing with its gain or that there is none, and what was not foretold."""
    page = view_of("place", "Frame", "us")
    assert page.now is not None
    assert page.now.alarm.startswith("The chance of mould on 1 River")
    rule, gain, *_ = (parts.plain(phrase) for phrase in page.now.advice)
    assert rule.startswith(("Open the vents", "Leave the vents", "Keep the vents"))
    assert "over the best simple rule" in gain or "No rule tried gains more" in gain
    assert page.now.moisture.sentence.startswith("1 River holds ")
    assert page.now.mould.sentence.startswith("Mould shows on 1 River by now in ")
    assert page.side.sentence.startswith("200 sticks of 1 River hang in Frame.")
    assert any("No limit was entered for its rails" in line for line in page.notes)


def test_nothing_is_called_safe_and_nothing_heated_unasked():
    """Without a limit no load is weighed; without a listed, vented heater nobody speaks of one."""
    for name in ("Frame", "Fan shed", "Home barn"):
        page = view_of("place", name, "us")
        said = [*page.notes, *(parts.plain(p) for p in (page.now.advice if page.now else ()))]
        assert not any("heater" in line for line in said)
        assert not any("on a rail" in line for line in said)


def test_a_lot_says_how_many_plants_its_sample_takes():
    """As many as the rules in force ask for; nothing of it once the sample is taken."""
    for lot in PLAN.lots:
        facts = dict(view_of("lot", lot.lot, "us").facts)
        number = SEASON.lot_index(lot.lot)
        if lot.state is LotState.GROWING and lot.sample_on is not None:
            (said,) = facts["The official sample"]
            assert f"at least {plants_cut(SEASON, number)} plant" in said
        else:
            assert "The official sample" not in facts


def test_plants_too_heavy_for_a_stick_are_to_be_broken_up():
    """A lot one plant of which outweighs a heavy stick is named with that weight; others not."""
    assert not any("branches" in line for line in view_of("place", "Frame", "us").notes)
    heavy = SEASON.lots[0].model_copy(update={"plants_per_stick": 1, "plant_yield": 4 * POUND})
    season = replace(SEASON, lots=(heavy, *SEASON.lots[1:]))
    page = views.VIEWS["place"](season, OUTLOOK, PLAN, "Frame", "us")
    (line,) = [line for line in page.notes if "branches" in line]
    assert line.startswith(f"One plant of {heavy.name} weighs about ")
    assert float(line.partition("about ")[2].split()[0]) > 25


def test_hot_results_over_the_years_are_told_with_their_rule():
    """Nothing while the record is clean; then how many of three; in the end that it revokes."""

    def told(*years):
        official = tuple(
            Test(lot="4 Lane", kind=TestKind.OFFICIAL, sampled_on=date(year, 8, 20),
                 reported_on=date(year, 8, 27), plants=20, total_thc=0.012)
            for year in years
        )  # fmt: skip
        return strikes_words(SEASON, Filed(official=official))

    assert told() == told(2020) == ""
    assert "above 1 % of 2025 may count as a negligent violation, the first of 3 " in told(2025)
    assert "the second of 3 within 5 years" in told(2022, 2025)
    assert "in 2022, 2024 and 2026 may count as 3 negligent violations" in told(2022, 2024, 2026)
    assert "990.29(e)" in told(2022, 2024, 2026)
    assert "revoke the license for 5" in told(2021, 2022, 2025), "barred until 2030"
    assert view_of("week", "us").strikes == ""


def test_a_rail_limit_is_held_against_the_heaviest_sticks():
    """With a limit the share of it is told, and what to do when it is too much."""
    frame = SEASON.places[2].model_copy(update={"rail_limit": 8.0})
    season = replace(SEASON, places=(*SEASON.places[:2], frame))
    page = views.VIEWS["place"](season, OUTLOOK, PLAN, "Frame", "us")
    (line,) = [line for line in page.notes if "on a rail" in line]
    assert "% of the 5.38 lb/ft entered" in line
    assert line.endswith("Hang them wider apart, or fewer plants to a stick.")


@pytest.mark.parametrize(
    ("rule", "has_vents", "said"),
    [
        (Rule(Hours.ALWAYS), True, "Leave the vents open day and night"),
        (Rule(Hours.ALWAYS), False, "Run the fans day and night"),
        (Rule(Hours.BY_DAY), True, "Open the vents from 8 to 18 h and shut them for the night"),
        (Rule(Hours.ALWAYS, 0.8), True, ("Open the vents while it is at most 80 % damp outside, by "
         "day or night, else shut them")),
        (Rule(Hours.NEVER), False, "Keep the fans off"),
        (Rule(Hours.BY_DAY, 0.85, Hours.ALWAYS, 0.9), True, ("Open the vents from 8 to 18 h while "
         "it is at most 85 % damp outside, else shut them; run the fans day and night; burn the "
         "heater at night while it is above 90 % outside, vents ajar, with somebody beside it")),
    ],
)  # fmt: skip
def test_rules_of_airing_in_full(rule, has_vents, said):
    assert barn.rule_words(rule, has_vents) == said


def test_troubles_in_full():
    """What is wrong with a reading, when, and what was made of it."""
    found = watch(SEASON, OUTLOOK, "Frame")
    hour = SEASON.index(date(2026, 9, 1)) * 24 + 6
    told = {
        Finding(Trouble.GAP, "air", hour, hour + 9):
            "The logger says nothing from Tue 1 Sep, 06:00 to Tue 1 Sep, 16:00; the forecast runs "
            "on without it.",
        Finding(Trouble.STUCK, "humidity", hour, hour + 13, 0.8):
            "The humidity did not move from Tue 1 Sep, 06:00 to Tue 1 Sep, 20:00: the sensor is "
            "stuck, and was left out.",
        Finding(Trouble.HEATER, "temperature", hour, hour + 3, 10.0, 18.0):
            "It was 50 °F from Tue 1 Sep, 06:00 to Tue 1 Sep, 10:00 where the heater should have "
            "kept 64 °F: is it failing?",
        Finding(Trouble.KILOGRAMS, "batch 0", hour, hour, 2.0, 4.5):
            "1 River weighed 4.41 lb a stick on Tue 1 Sep, 06:00, where 9.92 lb were foretold: "
            "kilograms typed as pounds? It was taken as kilograms.",
        Finding(Trouble.GROSS, "humidity", hour, hour, 0.4, 0.9):
            "The humidity gauge read 40 % at Tue 1 Sep, 06:00, where 90 % was foretold; it was "
            "left out.",
    }  # fmt: skip
    for finding, text in told.items():
        assert barn._finding(SEASON, found, finding, "us") == text


def test_place_limits_taken():
    """A place that something else holds says until when."""
    page = view_of("place", "Home barn", "us")
    assert page.sentence.startswith("Home barn holds tobacco until Monday 5 October")
    assert any("air exchange" in line for line in page.assumed)


def test_season_limits():
    """The list under the strip names the strip's own blocks; rivals are told with the plan."""
    page = view_of("season", "us")
    blocks = {row.get("id") for rows in page.strip.spec["datasets"].values() for row in rows}
    assert {cut.key for cut in page.cuts} <= blocks
    assert page.rivals[0].name == "this plan"
    assert len(page.rivals) == 1 + len(PLAN.rules_of_thumb)
    assert "0.4 %" in page.made[0]


def test_rules_limits():
    """Every rule of the book in force is shown once, with its citation and its doubt."""
    book = rulebook_on("ohio", SEASON.on)
    page = view_of("rules")
    shown = [*page.first, *page.rest]
    titles = [title for name, title, _ in book.provisions() if name != "hot_result_steps"]
    assert sorted(rule.title for rule in shown) == sorted(titles)
    doubtful = {title for _, title, provision in book.provisions() if provision.verify}
    assert {rule.title for rule in shown if rule.verify} == doubtful - {
        "First 24 hours after a hot result"
    }
    assert all(rule.citation for rule in shown)
    assert page.lots[1].last_cut == words.day(PLAN.lots[1].sample_on + timedelta(days=30))


def test_rules_limits_coming_change():
    """The change of 12 November 2026 is told in the first sentence, with what differs."""
    page = view_of("rules")
    assert "12 November" in page.sentence
    assert page.changes
    assert page.changes[0].differences


def test_head_limits():
    """An invented farm and its stand-in year are named on every page, with the rule of choice."""
    own = {name: args for name, args in PAGES.items() if not name.startswith("crew_")}
    for name, args in own.items():  # the head of the crew's pages is the desk's
        short, long = view_of(name, *args).head.invented
        assert "invented farm" in short
        assert "1996" in short
        assert "median" in long
        assert "not by its result" in long
    real = replace(SEASON, farm=SEASON.farm.model_copy(update={"is_invented": False}),
                   stand_in_year=None)  # fmt: skip
    assert ground.invented(real) == ("", "")
