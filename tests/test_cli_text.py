"""The plan as text: the decision first, loss before gain, columns that align, lines that fit."""

import re
from dataclasses import replace
from datetime import date

import pytest

import synthetic
from tierpole.cli.layout import columns, wrap
from tierpole.cli.show import headline, plan_text
from tierpole.compliance import LotState
from tierpole.office.views.week import week

SEASON, OUTLOOK = synthetic.season(), synthetic.outlook()


def text_of(plan=None, system="us", width=80):
    plan = plan or synthetic.plan()
    return plan_text(SEASON, plan, week(SEASON, OUTLOOK, plan, system), width)


def headline_of(plan):
    return headline(plan, week(SEASON, OUTLOOK, plan, "us"))


def block(text, heading):
    """The lines under a heading."""
    (found,) = [part for part in text.split("\n\n") if part.startswith(heading)]
    return found.splitlines()[1:]


def with_lots(change):
    """The plan with each of its lots changed."""
    plan = synthetic.plan()
    return replace(plan, lots=tuple(change(lot) for lot in plan.lots))


# --- what is said first ---------------------------------------------------------------------------


def test_the_first_line_is_the_next_thing_to_do():
    """Who reads one line knows what to do and by when."""
    assert text_of().splitlines()[0] == (
        "By Thu 3 Sep: call the sampler for 2 Barn field, to come on Tuesday 8 September."
    )


def test_calls_of_one_day_are_one():
    """Lots to be sampled on the same visit are named together."""
    called = {"request_on": date(2026, 9, 3), "sample_on": date(2026, 9, 8)}

    def together(lot):
        return replace(lot, **called) if lot.lot != "1 River" else lot

    assert headline_of(with_lots(together)) == (
        "By Thu 3 Sep: call the sampler for 2 Barn field, 6 South bottom and 7 Hollow, to come on "
        "Tuesday 8 September."
    )


def test_broken_rules_come_before_everything():
    """Named at the top, with their rule, before any plan."""
    facts = ("1 River: 200 sticks were cut on 2026-08-26, before any official sample (7 CFR 990)",)
    text = text_of(replace(synthetic.plan(), broken_rules=facts))
    assert text.startswith("Talk to the department first: 1 recorded fact already breaks a rule.\n")
    assert text.index("ALREADY AGAINST THE RULES") < text.index("TO DECIDE THIS WEEK")
    assert "1 River: 200 sticks were cut on Wed 26 Aug, before any official sample" in text
    two = replace(synthetic.plan(), broken_rules=facts * 2)
    assert headline_of(two).endswith("2 recorded facts already break a rule.")


def test_a_hot_lot_is_decided_first():
    """A failed lot is said before any call to the sampler."""

    def failed(lot):
        return replace(lot, state=LotState.FAILED) if lot.lot == "7 Hollow" else lot

    assert headline_of(with_lots(failed)).startswith("Now: 7 Hollow came back over the limit.")


def test_a_quiet_week_says_until_when():
    """Nothing to decide or do is said with the day it ends; a season that is over, too."""
    later = date(2026, 9, 21)

    def quiet(lot):
        calls = {"request_on": later, "sample_on": date(2026, 9, 28), "cuts": ()}
        return replace(lot, **calls, state=LotState.GROWING)

    calm = replace(with_lots(quiet), places=())
    assert headline_of(calm) == "Nothing to decide or to do before Monday 21 September."

    def over(lot):
        return replace(lot, request_on=None, sample_on=None, cuts=(), state=LotState.CLOSED)

    done = replace(with_lots(over), places=())
    assert headline_of(done) == (
        "Nothing is worth cutting any more by these figures: leave what stands."
    )
    assert "Nothing: by these figures no lot is worth cutting any more." in text_of(done)


def test_a_week_with_work_alone_begins_with_it():
    def sampled(lot):
        return replace(lot, request_on=None, sample_on=None)

    assert headline_of(with_lots(sampled)) == (
        "Thu 3 – Fri 4 Sep: cut 180 sticks of 1 River and hang them in Fan shed."
    )


def test_loss_is_said_before_gain():
    """Wherever money stands, the chance of losing comes first."""
    text = text_of()
    assert text.index("loses money in") < text.index("mean")
    for heading in ("MONEY", "LOTS", "RULES OF THUMB"):
        said = "\n".join(block(text, heading)).lower()
        assert said.index("loses") < said.index("mean")


def test_chances_are_counts_of_seasons():
    """Every percentage of a chance stands behind seasons of twenty."""
    odds = re.findall(r"(\S+ \S+ \S+ \S+) \((?:over |under )?(\d+) %\)", text_of())
    assert odds
    assert all(said.endswith("of 20 seasons") for said, _ in odds)


# --- how it is set --------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [60, 72, 80, 100])
def test_lines_fit(width):
    """No line is wider than asked, no number parted from its unit or month."""
    for line in text_of(width=width).splitlines():
        assert len(line) <= width
        assert line == line.rstrip()
        assert not re.match(r" *(%|°F|of 20|Sep|Oct|Nov)\b", line)


def test_every_block_is_there_and_in_order():
    """From the next thing to do to how sure it is."""
    headings = re.findall(r"^[A-Z]{2,}[A-Z ]*", text_of(), re.MULTILINE)
    assert [heading.strip() for heading in headings] == [
        "TO DECIDE THIS WEEK", "TO DO THIS WEEK", "CALLS TO THE SAMPLER", "CUT AND HANG", "LOTS",
        "WHY NOT A WEEK EARLIER OR LATER", "ROOM", "CREW", "FROST", "MONEY", "RULES OF THUMB",
        "HOW SURE THIS IS", "NOTES",
    ]  # fmt: skip


HEADS = {
    "CALLS TO THE SAMPLER": (("call by", "lot", "sampler comes", "passes", "may then be cut"), ()),
    "CUT AND HANG": (("day", "lot", "place", "dry by"), ("sticks", "crew h")),
    "LOTS": (("lot", "state"), ("sticks", "left", "loses", "mean", "in 8 of 10 seasons")),
}


@pytest.mark.parametrize("heading", HEADS)
def test_columns_align(heading):
    """Texts begin where their head begins, numbers end where it ends."""
    head, *rows = block(text_of(), heading)
    to_left, to_right = HEADS[heading]
    assert len(rows) >= 3
    for row in rows[:-1]:
        for name in to_left:
            start = head.index(f" {name}") + 1
            assert row[start - 2 : start] == "  ", row
            assert row[start] != " ", row
        for name in to_right:
            end = head.index(f" {name}") + 1 + len(name)
            assert row[end - 1] != " ", row
            assert row[end : end + 2] in ("  ", ""), row


def test_the_cut_list_is_the_plan():
    """Each cut with its sticks, and the sum of them against the plan's own."""
    plan = synthetic.plan()
    *rows, total = block(text_of(), "CUT AND HANG")[1:]
    assert len(rows) == len(plan.cuts)
    sticks = [int(re.findall(r"\S+ \d+ \w{3} +([\d,]+)", row)[0].replace(",", "")) for row in rows]
    assert sticks == [cut.sticks for cut in plan.cuts]
    assert f"{sum(sticks):,}" in total
    days = [row.strip()[:10] for row in rows]
    assert days[0].startswith("Thu 3 Sep")


def test_no_false_precision():
    """Dollars to two digits or, where they must add up, to the dollar; crew hours whole."""
    text = text_of()
    assert not re.search(r"\$\d+\.\d", text)
    for row in block(text, "CUT AND HANG")[1:]:
        assert "." not in row
    money = block(text, "MONEY")
    amounts = re.findall(r"\$([\d,]+)", " ".join(money))
    assert len(amounts) >= 4
    for amount in amounts:
        digits = amount.replace(",", "")
        assert len(digits.rstrip("0")) <= 2


def test_a_gap_nobody_would_notice_is_not_a_number():
    text = " ".join(text_of(replace(synthetic.plan(), gap=2e-15)).split())
    assert "By the same figures this is the best plan." in text
    text = " ".join(text_of(replace(synthetic.plan(), gap=0.0123)).split())
    assert "no plan is worth over 1.2 % more than this one" in text


def test_units_are_those_asked_for():
    """Temperatures in either system, never both."""
    us, metric = text_of(), text_of(system="metric")
    assert "32 °F" in us
    assert "3 °F colder" in us
    assert "°C" not in us
    assert "0 °C" in metric
    assert "1.7 °C colder" in metric
    assert "°F" not in metric


def test_a_stopped_plan_says_so():
    assert "Stopped early" in text_of(replace(synthetic.plan(), stopped_early=True))
    assert "Stopped early" not in text_of()


def test_reasons_are_there_in_full():
    """Every piece of every reason, to the dollar, so that they add up to what is said."""
    said = " ".join("\n".join(block(text_of(), "WHY NOT")).split())
    for lot in synthetic.plan().lots:
        for reason in lot.reasons:
            (found,) = re.findall(rf"{lot.lot}, {reason.choice}: ([^.]*)\.", said)
            amounts = [
                int(number.replace(",", "")) * (-1 if sign == "−" else 1)
                for sign, number in re.findall(r"([+−])\$([\d,]+)", found)
            ]
            assert amounts[0] == sum(amounts[1:]) == round(reason.total)


def test_the_cautions_close_the_text():
    last = " ".join(text_of().split("\n\n")[-1].split())
    assert "not legal advice" in last
    assert last.endswith("nobody climbs alone.")


# --- the pieces -----------------------------------------------------------------------------------


def test_columns_shorten_the_widest():
    """What does not fit is cut with a sign that it was; numbers keep to the right."""
    rows = [("a very long name of a lot", "1,200"), ("short", "7")]
    assert list(columns(("lot", ">sticks"), rows, 24)) == [
        "  lot             sticks",
        "  a very long n…   1,200",
        "  short                7",
    ]


def test_a_number_keeps_its_unit():
    """A line ends before a number rather than between it and its unit."""
    assert (
        wrap("it passes in 19 of 20 seasons (94 %)", 28) == "it passes in 19 of 20\nseasons (94 %)"
    )
    assert wrap("until Monday 14 Sep", 16) == "until Monday\n14 Sep"
    assert wrap("one two", 5, "  ", "  ") == "  one\n    two"
