"""The books as an open package, and back without loss; what is no such package is refused."""

import csv
import hashlib
import io
import json
import tomllib
import zipfile
from datetime import date

import jsonschema
import pytest

from records_books import attach, farm_of, same, scenario
from tierpole.errors import InputError, StoreError
from tierpole.farm import Cut
from tierpole.farm.books import Bag, Memo, Sale
from tierpole.records import (
    KINDS,
    Change,
    Wanted,
    conflicts,
    entries,
    export_package,
    import_package,
    import_season,
    nouns,
    open_store,
    read_content,
    read_season,
    seal,
    verify,
    write,
)
from tierpole.records.schema import RELEASE

pytest_plugins = ["records_server"]
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "'quoted", 'plain, with "signs"', "=HYPERLINK(1)"]


@pytest.fixture
def rich(store):
    """Books with a season, a conflict, a withdrawal, a photo and texts a spreadsheet would run."""
    _, whole, _, files = scenario()
    import_season(store, whole, files, who="Ann", keep_day=True)
    change = Change(Cut(lot="4 Lane", cut_on="2026-09-01", sticks=20))
    both = [Change(Cut(lot="4 Lane", cut_on="2026-09-01", sticks=n), change.of, (change.id,))
            for n in (21, 22)]  # fmt: skip
    memo = Change(Memo(written_on="2026-09-01", text="wrong"))
    write(store, [change, *both, memo, Change(None, memo.of, (memo.id,), why="=wrong")], who="=Ben")
    texts = [Change(Memo(written_on="2026-09-01", text=text), why=text) for text in FORMULAS]
    bag = Bag(name="17", lot="4 Lane", filled_on="2026-10-20", mass="20 lb", moisture="11 %")
    sale = Sale(name="First", buyer="Mill", agreed_on="2026-10-25", form="by the point",
                price_point="1.40 USD/point/lb")  # fmt: skip
    write(store, [*texts, Change(bag), Change(sale)], who="Ann")
    attach(store, bytes(range(256)), "barn.jpg", "image/jpeg", who="Ann", lot="4 Lane")
    return store


def test_back_without_loss(rich, tmp_path):
    """Every entry, its hash, what waits for a decision, photos, and the season itself."""
    path = export_package(rich, tmp_path / "farm.zip")
    verdict = import_package(path, tmp_path / "again.db")
    assert verdict.is_sound
    with open_store(tmp_path / "again.db") as again:
        everything = seal(rich).seq
        assert entries(again, limit=everything) == entries(rich, limit=everything)
        assert (seal(again), verify(again).is_sound) == (seal(rich), True)
        assert conflicts(again) == conflicts(rich)
        for kind in KINDS:
            assert nouns(again, Wanted(kind.name)) == nouns(rich, Wanted(kind.name)), kind.name
        photo = hashlib.sha256(bytes(range(256))).hexdigest()
        assert read_content(again, photo) == bytes(range(256))
        assert same(read_season(again), read_season(rich))
        write(again, [Change(Memo(written_on="2026-11-01", text="went on"))], who="Ann")
        assert verify(again, [seal(rich)]).is_sound


def test_from_a_file_into_a_server_and_back(filed, server, tmp_path):
    farm_of(filed)
    path = export_package(filed, tmp_path / "farm.zip")
    address = server.new()
    import_package(path, address)
    with open_store(address) as there:
        assert entries(there) == entries(filed)
        back = export_package(there, tmp_path / "back.zip")
    with zipfile.ZipFile(path) as one, zipfile.ZipFile(back) as other:
        assert one.read("journal.csv") == other.read("journal.csv")
    with pytest.raises(StoreError, match="is not empty"):
        import_package(path, address)


def described(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("datapackage.json")), {
            name: archive.read(name) for name in archive.namelist()
        }


def test_all_that_is_in_the_package_is_described(rich, tmp_path):
    """Data Package 2.0: each resource with a name of its own, a path, size and hash that hold."""
    package, files = described(export_package(rich, tmp_path / "farm.zip"))
    resources = package["resources"]
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert {one["path"] for one in resources} | {"datapackage.json"} == files.keys()
    assert len({one["name"] for one in resources}) == len(resources)
    for one in resources:
        data = files[one["path"]]
        assert one["bytes"] == len(data)
        assert one["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"


TYPES = {
    "integer": int,
    "number": float,
    "boolean": lambda text: {"true": True, "false": False}[text],
    "date": date.fromisoformat,
    "array": lambda text: [*json.loads(text)],
    "string": str,
}


def test_every_cell_is_what_its_column_says(rich, tmp_path):
    """Table Schema: headings, types, choices; the key is there and differs from row to row."""
    package, files = described(export_package(rich, tmp_path / "farm.zip"))
    tables = [one for one in package["resources"] if one.get("type") == "table"]
    assert {one["name"] for one in tables} == {"journal", *(kind.name for kind in KINDS)}
    for table in tables:
        lines = list(csv.reader(io.StringIO(files[table["path"]].decode(), newline="")))
        columns = table["schema"]["fields"]
        assert lines[0] == [column["name"] for column in columns], table["name"]
        for line in lines[1:]:
            for column, cell in zip(columns, line, strict=True):
                if cell != "":
                    value = TYPES[column["type"]](cell)
                    assert value in column.get("constraints", {}).get("enum", [value])
        (key,) = table["schema"]["primaryKey"]
        keys = [line[lines[0].index(key)] for line in lines[1:]]
        assert len(set(keys)) == len(keys)
        assert "" not in keys


def test_quantities_stand_in_the_unit_their_column_names(rich, tmp_path):
    """2.0 acres, 0.80 lb, 1.40 dollars a point, as the scenario and the sale say."""
    _, files = described(export_package(rich, tmp_path / "farm.zip"))

    def row(table, **wanted):
        text = io.StringIO(files[f"tables/{table}.csv"].decode(), newline="")
        (key, value), *_ = wanted.items()
        return next(one for one in csv.DictReader(text) if one[key] == value)

    lot = row("lot", name="4 Lane")
    assert (lot["area_acre"], lot["plant_yield_lb"], lot["stock"]) == ("2", "0.8", "clone")
    assert row("bag", name="17")["moisture_percent"] == "11"
    assert row("sale", name="First")["price_point_usd_per_point_per_lb"] == "1.4"
    wage, _, unit = tomllib.loads(scenario()[0].read_text())["crew"]["wage"].partition(" ")
    assert (row("crew", entry_season="2026")["wage_usd_per_h"], unit) == (wage, "USD/h")
    assert row("field", name="River")["night_offset_f"] == "-2"


def test_no_cell_is_a_formula(rich, tmp_path):
    """What a spreadsheet would run begins with an apostrophe; negative numbers are numbers."""
    _, files = described(export_package(rich, tmp_path / "farm.zip"))
    seen = set()
    for name, data in files.items():
        if name.endswith(".csv"):
            for line in csv.reader(io.StringIO(data.decode(), newline="")):
                for cell in line:
                    seen.add(cell)
                    if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
                        float(cell)
    assert {"'=Ben", "'=wrong", "'=1+1", "''quoted"} <= seen


def test_payloads_against_jsonschema(rich, tmp_path):
    """An independent validator finds each payload right, and each with something off wrong."""
    _, files = described(export_package(rich, tmp_path / "farm.zip"))
    journal = csv.DictReader(io.StringIO(files["journal.csv"].decode(), newline=""))
    checkers = {}
    for kind in KINDS:
        schema = json.loads(files[f"schemas/{kind.name}.json"])
        jsonschema.Draft202012Validator.check_schema(schema)
        checkers[kind.name] = jsonschema.Draft202012Validator(schema)
    seen = set()
    for row in journal:
        if row["payload"]:
            checker, payload = checkers[row["kind"]], json.loads(row["payload"])
            checker.validate(payload)
            assert not checker.is_valid(payload | {"unknown": 1})
            for key, value in payload.items():
                wrong = -1e12 if isinstance(value, int | float) else 7
                assert not checker.is_valid(payload | {key: wrong}), (row["kind"], key)
            seen.add(row["kind"])
    assert len(seen) > 18


def altered(path, target, **changed):
    """A copy of a package with some of its files replaced; None leaves one out."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            change = changed.get(name.rpartition("/")[2].partition(".")[0], old.read(name))
            if change is not None:
                new.writestr(name, change)
    return target


def refusal(path, tmp_path):
    with pytest.raises(InputError) as caught:
        import_package(path, tmp_path / "new.db")
    assert list(tmp_path.glob("*new.db*")) == []
    return str(caught.value)


def test_a_package_of_an_earlier_release_is_read(filed, tmp_path):
    farm_of(filed)
    path = export_package(filed, tmp_path / "farm.zip")
    older = json.dumps(described(path)[0] | {"release": "0001"})
    altered(path, tmp_path / "older.zip", datapackage=older)
    import_package(tmp_path / "older.zip", tmp_path / "new.db")
    with open_store(tmp_path / "new.db") as store:
        assert seal(store) == seal(filed)


def test_a_package_that_was_changed_is_refused_and_nothing_is_made(filed, tmp_path):
    farm_of(filed)
    path = export_package(filed, tmp_path / "farm.zip")
    journal = described(path)[1]["journal.csv"].decode()
    package = described(path)[0]
    other = journal.replace("Ann", "Ben")
    told = refusal(altered(path, tmp_path / "a.zip", journal=other), tmp_path)
    assert told.startswith(
        "a.zip: 1 problem\n  the package must be whole and unchanged, got 'entry"
    )
    cut_off = "".join(journal.splitlines(keepends=True)[:-1])
    told = refusal(altered(path, tmp_path / "b.zip", journal=cut_off), tmp_path)
    assert "entry 4 is missing" in told
    unsound = journal.replace("3484", "-3484")
    told = refusal(altered(path, tmp_path / "c.zip", journal=unsound), tmp_path)
    assert "journal.csv, entry 4 must be a sound entry" in told
    newer = json.dumps(package | {"release": "9999"})
    told = refusal(altered(path, tmp_path / "d.zip", datapackage=newer), tmp_path)
    assert f"of release {RELEASE} or an earlier one, got '9999'" in told
    told = refusal(altered(path, tmp_path / "e.zip", datapackage=None), tmp_path)
    assert "must be a package of a farm's books" in told
    told = refusal(altered(path, tmp_path / "f.zip", journal="seq,id\r\n1,2\r\n"), tmp_path)
    assert "must be seq,id,kind" in told


def test_a_bomb_is_refused_unread(filed, tmp_path):
    """A few kilobytes that would unpack to gigabytes."""
    farm_of(filed)
    path = export_package(filed, tmp_path / "farm.zip")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("contents/zeros", b"\0" * 150_000_000)
    assert "a package of a farm's own size, got" in refusal(path, tmp_path)


def test_what_is_no_package_is_refused(tmp_path):
    other = tmp_path / "other.zip"
    other.write_bytes(b"PK not a zip")
    assert "must be a package of a farm's books" in refusal(other, tmp_path)
    with pytest.raises(StoreError, match="cannot be read"):
        import_package(tmp_path / "none.zip", tmp_path / "new.db")


def test_files_that_are_there_are_not_written_over(filed, tmp_path):
    farm_of(filed)
    path = export_package(filed, tmp_path / "farm.zip")
    with pytest.raises(StoreError, match=r"farm\.zip: is there already"):
        export_package(filed, path)
    with pytest.raises(StoreError, match=r"farm\.db: is there already"):
        import_package(path, filed.path)
