"""Writing in the books: nothing is written over, doubled, lost or left half-way."""

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from records_books import LOT, PLACE, farm_of
from tierpole.errors import InputError
from tierpole.farm import Crew, Cut, Hanging
from tierpole.farm.books import AirReading, Bag, BagMove, Remediation, Stripping
from tierpole.records import (
    Change,
    Wanted,
    conflicts,
    entries,
    history,
    latest,
    nouns,
    setting_id,
    verify,
    write,
)

pytest_plugins = ["records_server"]
AT = datetime(2026, 9, 2, 15, tzinfo=UTC)


def cut(sticks, on="2026-08-31", lot="4 Lane"):
    return Cut(lot=lot, cut_on=on, sticks=sticks)


def standing(store, kind):
    return [one.noun for one in nouns(store, Wanted(kind))]


def test_an_entry_keeps_who_when_why_and_what(store):
    """Everything an entry is made of comes back as it was handed in."""
    farm_of(store)
    change = Change(cut(200), why="first cut")
    (receipt,) = write(store, [change], who=" Ann ", at=AT)
    (entry,) = history(store, change.of)
    assert (entry.who, entry.why, entry.noun, entry.id) == ("Ann", "first cut", cut(200), change.id)
    assert entry.entered_at == "2026-09-02T15:00:00.000000Z"
    assert (entry.seq, entry.hash, entry.season) == (receipt.seq, receipt.hash, 2026)


def test_a_resend_never_doubles(store):
    """The same entry, handed in again after its answer was lost, is in the books once."""
    farm_of(store)
    change = Change(cut(200))
    (first,) = write(store, [change], who="Ann")
    (again,) = write(store, [change], who="Ann")
    assert (first.is_new, again.is_new) == (True, False)
    assert replace(first, is_new=False) == again
    assert standing(store, "cut") == [cut(200)]


def test_a_phone_that_forgot_all_but_the_id_resends_the_same(store):
    """The noun's own id follows from the entry's, so that a form need keep one id only."""
    farm_of(store)
    first = Change(cut(200))
    again = Change(cut(200), id=first.id)
    write(store, [first], who="Ann")
    assert [one.is_new for one in write(store, [again], who="Ann")] == [False]


def test_a_resend_in_one_batch_never_doubles(store):
    farm_of(store)
    change = Change(cut(200))
    assert [one.is_new for one in write(store, [change, change], who="Ann")] == [True, False]
    assert len(standing(store, "cut")) == 1


def test_an_id_is_not_used_for_two_entries(store):
    farm_of(store)
    change = Change(cut(200))
    write(store, [change], who="Ann")
    with pytest.raises(InputError) as caught:
        write(store, [replace(change, noun=cut(180))], who="Ann")
    assert str(caught.value) == (
        "entry: 1 problem\n  entry: id must be an id of its own, for another entry bears it, "
        f"got '{change.id}'."
    )


def test_a_correction_keeps_the_old_value(store):
    farm_of(store)
    change = Change(cut(200))
    write(store, [change], who="Ann")
    better = Change(cut(180), change.of, (change.id,), why="20 fell off the wagon")
    write(store, [better], who="Ben")
    assert standing(store, "cut") == [cut(180)]
    told = [(one.revision, one.noun.sticks, one.who, one.why) for one in history(store, change.of)]
    assert told == [(1, 200, "Ann", ""), (2, 180, "Ben", "20 fell off the wagon")]


def test_a_withdrawal_is_an_entry_and_can_be_undone(store):
    farm_of(store)
    change = Change(cut(200))
    write(store, [change], who="Ann")
    gone = Change(None, change.of, (change.id,), why="other lot")
    write(store, [gone], who="Ann")
    assert standing(store, "cut") == []
    write(store, [Change(cut(200), change.of, (gone.id,), why="undo")], who="Ann")
    assert standing(store, "cut") == [cut(200)]
    assert [one.noun for one in history(store, change.of)] == [cut(200), None, cut(200)]


def test_two_corrections_of_the_same_are_both_kept_until_somebody_decides(store):
    """The first stands meanwhile; the decision names both, and both stay in the history."""
    farm_of(store)
    change = Change(cut(200))
    write(store, [change], who="Ann")
    ann, ben = (Change(cut(n), change.of, (change.id,)) for n in (180, 190))
    (first,), (second,) = write(store, [ann], who="Ann"), write(store, [ben], who="Ben")
    assert (first.is_contested, second.is_contested) == (False, True)
    (conflict,) = conflicts(store)
    assert (conflict.in_force.noun, conflict.rivals[0].noun) == (cut(180), cut(190))
    assert (conflict.in_force.revision, conflict.rivals[0].revision) == (2, 2)
    assert standing(store, "cut") == [cut(180)]
    write(store, [Change(cut(190), change.of, (ann.id, ben.id), why="counted again")], who="Ann")
    assert (conflicts(store), standing(store, "cut")) == ([], [cut(190)])
    assert len(history(store, change.of)) == 4
    assert verify(store).is_sound


def test_a_rival_may_be_corrected_by_its_own_writer(store):
    """A phone that does not know it was contested goes on; its latest word is the rival."""
    farm_of(store)
    change = Change(cut(200))
    ann, ben = (Change(cut(n), change.of, (change.id,)) for n in (180, 190))
    later = Change(cut(195), change.of, (ben.id,))
    write(store, [change, ann, ben, later], who="Ann")
    (conflict,) = conflicts(store)
    assert [one.noun for one in conflict.rivals] == [cut(195)]


def test_a_withdrawal_may_contest(store):
    farm_of(store)
    change = Change(cut(200))
    write(store, [change, Change(cut(180), change.of, (change.id,))], who="Ann")
    write(store, [Change(None, change.of, (change.id,))], who="Ben")
    assert [one.rivals[0].noun for one in conflicts(store)] == [None]
    assert standing(store, "cut") == [cut(180)]


def test_settings_that_exist_once_are_one_noun_whoever_writes_them(store):
    """Two phones that each write a season's first crew meet in a conflict, not in two crews."""
    crew = {"wage": "18 USD/h", "hours": [], "workdays": ["mon"], "sticks_owned": 100}
    crews = [Crew(haul_limit=limit, **crew) for limit in (100, 200)]
    for one in crews:
        write(store, [Change(one, setting_id("crew", 2026), season=2026)], who="Ann")
    assert standing(store, "crew") == crews[:1]
    assert [one.rivals[0].noun for one in conflicts(store)] == crews[1:]


def test_all_or_nothing_with_every_fault_named(store):
    """One fault in a batch and none of it is written; every fault is told."""
    farm_of(store)
    before = entries(store)
    bad = [
        Change(cut(200)),
        Change(cut(10, lot="4 Lnae")),
        Change(Hanging(lot="4 Lane", place="Barn", hung_on="2026-08-31", sticks=10)),
        Change(PLACE),
        Change(None),
        Change(cut(5), corrects=(UUID(int=7),)),
        Change(Crew(wage="18 USD/h", hours=[], workdays=[], sticks_owned=10, haul_limit=10)),
    ]
    with pytest.raises(InputError) as caught:
        write(store, bad, who="Ann")
    assert str(caught.value).splitlines() == [
        "entry: 6 problems",
        "  cut: lot must be the name of a lot in the books, got '4 Lnae'.",
        "  hanging: place must be the name of a place in the books, got 'Barn'.",
        "  place \"Frame\": name must be different from the other places, got 'Frame'.",
        f"  entry: of must be a noun in the books, and of the same kind, got '{bad[4].of}'.",
        f"  entry: corrects must be the id of an entry of the same noun, got '{UUID(int=7)}'.",
        "  entry: season must be the year of a season, it is missing.",
    ]
    assert entries(store) == before


@pytest.mark.parametrize(("who", "why"), [("", ""), ("  ", ""), ("A" * 61, ""), ("Ann", "x" * 501)])
def test_who_and_why_are_short_and_who_is_said(filed, who, why):
    with pytest.raises(InputError):
        write(filed, [Change(PLACE, why=why)], who=who)
    assert entries(filed) == []


def test_what_is_named_elsewhere_keeps_its_name(store):
    """A lot that cuts name can be neither renamed nor withdrawn, until they are."""
    farm = farm_of(store)
    change = Change(cut(200))
    write(store, [change], who="Ann")
    lot = farm["lot"]
    renamed = LOT.model_copy(update={"name": "4 Line"})
    for noun, shown in ((renamed, "4 Line"), (None, "withdrawn")):
        with pytest.raises(InputError) as caught:
            write(store, [Change(noun, lot.of, (lot.id,))], who="Ann")
        told = f"name must be left as it is, for a cut names it, got '{shown}'."
        assert told in str(caught.value)
    write(store, [Change(None, change.of, (change.id,))], who="Ann")
    write(store, [Change(renamed, lot.of, (lot.id,))], who="Ann")
    assert standing(store, "lot") == [renamed]


def test_bags_keep_their_names_while_a_store_holds_them(store):
    farm_of(store)
    bag = Change(
        Bag(name="17", lot="4 Lane", filled_on="2026-10-20", mass="20 lb", moisture="11 %")
    )
    move = Change(BagMove(bags=("17",), moved_on="2026-10-21", store="Loft"))
    write(store, [bag, move], who="Ann")
    with pytest.raises(InputError, match="for a move names it"):
        write(store, [Change(None, bag.of, (bag.id,))], who="Ann")


def test_remediated_material_is_a_lot_of_its_own(store):
    farm_of(store)
    made = Remediation(name="4 Lane R", lot="4 Lane", done_on="2026-10-01",
                       method="whole plants shredded", mass="100 lb", moisture="12 %")  # fmt: skip
    stripped = Stripping(lot="4 Lane R", stripped_on="2026-10-05", mass="90 lb", moisture="11 %")
    write(store, [Change(made), Change(stripped)], who="Ann")
    assert standing(store, "stripping") == [stripped]


def test_a_fact_belongs_to_the_season_of_its_lot(store):
    """What is stripped in January is of last year's lot, also when this year's bears its name."""
    farm_of(store)
    next_year = LOT.model_copy(update={"set_on": date(2027, 6, 8)})
    write(store, [Change(next_year)], who="Ann")
    days = ["2026-12-30", "2027-01-03", "2027-11-01"]
    stripped = [Stripping(lot="4 Lane", stripped_on=day, mass=1.0, moisture=0.1) for day in days]
    write(store, [Change(stripped[0]), Change(stripped[2])], who="Ann")
    write(store, [Change(stripped[1], season=2026)], who="Ann")
    of_2026 = [one.noun for one in nouns(store, Wanted("stripping", season=2026))]
    assert of_2026 == [stripped[0], stripped[1]]


def test_a_fact_is_known_on_its_own_day_and_a_correction_today(store):
    farm_of(store)
    change = Change(cut(200, on="2026-08-31"))
    write(store, [change], who="Ann", at=AT)
    write(store, [Change(cut(180), change.of, (change.id,))], who="Ann", at=AT)
    early = Change(cut(9, on="2026-09-30"))
    write(store, [early, Change(cut(8), known_on=date(2026, 9, 1))], who="Ann", at=AT)
    known = [one.known_on for one in entries(store)][4:]
    assert known == [date(2026, 8, 31), date(2026, 9, 2), date(2026, 9, 2), date(2026, 9, 1)]


def test_lists_are_read_by_lot_place_day_and_page(store):
    farm_of(store)
    write(store, [Change(PLACE.model_copy(update={"name": "Shed"}))], who="Ann")
    air = [
        AirReading(place=place, read_on=f"2026-09-{day:02d}", read_at="06:00",
                   temperature=20.0, humidity=0.6)
        for day in range(1, 11) for place in ("Frame", "Shed")
    ]  # fmt: skip
    write(store, map(Change, air), who="logger")
    in_shed = nouns(
        store, Wanted("air", place="Shed", since=date(2026, 9, 4), until=date(2026, 9, 6))
    )
    assert [one.noun.read_on.day for one in in_shed] == [4, 5, 6]
    pages, after = [], 0
    while page := nouns(store, Wanted("air", after=after, limit=7)):
        pages += [one.noun for one in page]
        after = page[-1].first
    assert pages == air
    assert latest(store, "air", place="Frame").noun == air[-2]
    assert latest(store, "cut") is None


# --- against a plain dictionary -------------------------------------------------------------------


def plain(moves):
    """What the books must show after moves, kept in dictionaries; the oracle."""
    force, rivals, said = {}, {}, {}
    for number, (noun, base, sticks) in enumerate(moves):
        made = [one for one in said if said[one][0] == noun]
        corrects = made[base % len(made)] if made else None
        if corrects is None and sticks is None:
            continue
        said[number] = (noun, sticks, corrects)
        own = rivals.setdefault(noun, [])
        if corrects in own:
            own.remove(corrects)
        if noun in force and force[noun] != corrects:
            own.append(number)
        else:
            force[noun] = number
    shown = {noun: said[number][1] for noun, number in force.items()}
    waiting = {noun: [said[n][1] for n in numbers] for noun, numbers in rivals.items() if numbers}
    return said, shown, waiting


MOVES = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 5), st.none() | st.integers(1, 500)), max_size=14
)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(moves=MOVES, split=st.integers(1, 14))
def test_any_order_of_corrections_against_a_dictionary(filed, moves, split):
    """Corrections of anything by anybody, in batches of any size."""
    if not latest(filed, "lot"):
        farm_of(filed)
    of, ids = [uuid4() for _ in range(3)], [uuid4() for _ in moves]
    said, shown, waiting = plain(moves)
    changes = [
        Change(None if sticks is None else cut(sticks), of[noun],
               () if base is None else (ids[base],), id=ids[number])
        for number, (noun, sticks, base) in said.items()
    ]  # fmt: skip
    for start in range(0, len(changes), split):
        write(filed, changes[start : start + split], who="Ann")
    for noun in range(3):
        got = [one.noun.sticks for one in nouns(filed, Wanted("cut")) if one.entry.of == of[noun]]
        assert got == [s for s in [shown.get(noun)] if s is not None]
        rival = [one for one in conflicts(filed) if one.in_force.of == of[noun]]
        got = [r.noun.sticks if r.noun else None for one in rival for r in one.rivals]
        assert got == waiting.get(noun, [])
    assert verify(filed).is_sound
