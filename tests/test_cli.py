"""The command line: help, exit statuses, formats, stopping; in process and as a real one."""

import gzip
import json
import os
import re
import signal
import subprocess
import sys
import urllib.request
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import click
import jsonschema
import pytest
from click.testing import CliRunner

import full_farm
import synthetic
from fake_office import FakeOffice
from full_farm import edited, write_farm, write_scenario
from published_values import load
from tierpole import web
from tierpole.cli import commands, tierpole
from tierpole.cli.layout import width_now
from tierpole.cli.options import progress
from tierpole.cli.stopping import stop_on_interrupt
from tierpole.errors import Stopped
from tierpole.scenario import demo_path

LEBANON = load("freeze")["lebanon"]["1991-2020"]["fall"]
DOCS = Path(__file__).parent.parent / "docs"
HEAVY = (
    "numpy", "scipy", "xarray", "pandas", "altair", "fastapi", "numba", "pydantic", "highspy",
    "uvicorn", "jinja2", "starlette", "vl_convert", "rich", "tierpole.farm", "tierpole.scenario",
)  # fmt: skip
QUICK = ["--draws", "50", "--seconds", "60"]


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    return write_farm(tmp_path_factory.mktemp("cli"))


def call(*arguments):
    return CliRunner().invoke(tierpole, [str(argument) for argument in arguments])


def process(code, *arguments, cache, **settings):
    """A real Python with the package, apart from this one."""
    path = os.pathsep.join([str(Path(web.__file__).parents[2]), *sys.path])
    environment = {**os.environ, "PYTHONPATH": path, "TIERPOLE_CACHE": str(cache)} | settings
    return subprocess.Popen(
        [sys.executable, *code, *map(str, arguments)], env=environment, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip


def finished(running):
    out, err = running.communicate(timeout=300)
    return running.returncode, out, err


def schema_of(name):
    return json.loads((DOCS / f"{name}.schema.json").read_text(encoding="utf-8"))


# --- help -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [None, *tierpole.commands])
def test_help_loads_nothing_heavy(tmp_path, name):
    """`--help` of every command answers before any array, chart or page library is loaded."""
    code = (
        "import sys, atexit\n"
        f"atexit.register(lambda: print(sorted(set({HEAVY!r}) & set(sys.modules))))\n"
        "from tierpole.cli import main; main()"
    )
    asked = [name, "--help"] if name else ["--help"]
    status, out, err = finished(process(["-c", code], *asked, cache=tmp_path))
    assert (status, err) == (0, "")
    assert out.startswith(f"Usage: tierpole {name or '[OPTIONS]'}")
    assert out.endswith("[]\n"), "loaded"


@pytest.mark.parametrize("name", tierpole.commands)
def test_every_option_is_explained(name):
    """Help of an option says what it does; `-h` is `--help`."""
    shown = call(name, "-h").output
    for parameter in tierpole.commands[name].params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            assert parameter.opts[0] in shown


def test_the_wheel_and_the_module_say_their_version(tmp_path):
    status, out, _ = finished(process(["-m", "tierpole"], "--version", cache=tmp_path))
    assert status == 0
    assert re.fullmatch(r"tierpole, version \d+\.\d+.*\n", out)


# --- what was typed -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        (["chek", "x"], "No such command 'chek'. Did you mean 'check'?"),
        (["zzz"], "No such command 'zzz'."),
        (["plan", "x", "--drws", "5"], "No such option '--drws'"),
        (["plan", "x", "--draws", "5"], "5 is not in the range 50<=x<=20000"),
        (["plan", "x", "--draws", "many"], "'many' is not a valid integer"),
        (["plan", "x", "--seed", "-1"], "-1 is not in the range x>=0"),
        (["plan", "x", "--seconds", "nan"], "'nan' is not a valid integer"),
        (["plan", "x", "--on", "2026-02-30"], "'2026-02-30' does not match"),
        (["plan", "x", "--units", "imperial"], "'imperial' is not one of 'us', 'metric'"),
        (["plan", "x", "--format", "xml"], "'xml' is not one of 'text', 'json'"),
        (["serve", "x", "--port", "80"], "80 is not in the range 1024<=x<=65535"),
        (["plan"], "Missing argument 'FILE'"),
        (["check", "."], "'.' is a directory"),
    ],
)
def test_slips_of_the_keyboard(typed, wanted):
    """Status 2 and what would have been right."""
    result = call(*typed)
    assert result.exit_code == 2
    assert wanted in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize("command", ["plan", "check", "serve", "weather"])
def test_a_file_that_is_not_there(command, tmp_path):
    result = call(command, tmp_path / "none.toml")
    assert result.exit_code == 2
    assert result.stderr == f"{tmp_path}/none.toml: cannot be read (No such file or directory).\n"


def test_a_day_of_another_season(farm):
    """`--on` far away is told as what was asked for, not as a fault of the file."""
    result = call("check", farm, "--on", "2019-01-01")
    assert result.exit_code == 2
    told = "asked for: on must be a date from 2025-11-01 to 2026-12-31, got 2019-01-01."
    assert told in result.stderr


def test_problems_as_json(farm):
    """With `--format json` the faults are JSON by the published schema, on standard output."""
    broken = edited(('wage = "18 USD/h"', "wage = 18"), ("plants_set = 900", ""))
    for command in ("check", "plan"):
        result = call(command, write_scenario(farm.parent, broken), "--format", "json")
        told = json.loads(result.stdout)
        jsonschema.validate(told, schema_of("error"))
        assert (result.exit_code, told["exit_status"], told["kind"]) == (2, 2, "InputError")
        assert [problem["field"] for problem in told["problems"]] == ["plants_set", "wage"]
        assert [problem["value"] for problem in told["problems"]] == [None, "18"]
        assert told["message"].count("\n") == 2
    write_scenario(farm.parent, full_farm.TEXT)
    missing = json.loads(call("check", "none.toml", "--format", "json").stdout)
    jsonschema.validate(missing, schema_of("error"))
    assert missing["kind"] == "StoreError"


# --- check and weather ----------------------------------------------------------------------------


def test_check_says_what_it_read(farm):
    """The season in a few lines, in either units, and as seen on another day."""
    us, metric = call("check", farm).stdout, call("check", farm, "--units", "metric").stdout
    assert us.startswith("Two Lots, season 2026, seen on Thursday 10 September\n  1 acre in 2 lots")
    assert "  0.405 ha in 2 lots; 460 sticks standing" in metric
    assert "No problem found." in us
    assert 'market: flat_price is not used while form is "point".' in us
    earlier = call("check", farm, "--on", "2026-08-30").stdout
    assert "seen on Sunday 30 August" in earlier
    assert "1 row became known only after 2026-08-30" in earlier
    assert all(len(line) <= 80 for line in us.splitlines())


def test_a_place_dries_on_a_terminal(farm):
    """What hangs, how to air it and what to take care of; a place that is not there is told."""
    text = call("dry", farm, "--place", "Shed", "--draws", "50", "--on", "2026-09-02").stdout
    assert text.startswith("120 sticks of 1 River hang in Shed.")
    for heading in ("UNTIL IT IS DRY", "MOISTURE OF THE FLOWER", "AIR", "MOULD", "ROOM",
                    "TAKE CARE"):  # fmt: skip
        assert f"\n{heading}\n" in text
    assert "% of the 60 lb/ft entered on a rail." in " ".join(text.split())
    assert all(len(line) <= 80 for line in text.splitlines())
    wrong = call("dry", farm, "--place", "Bran")
    assert wrong.exit_code == 2
    assert "asked for: 1 problem" in wrong.stderr
    assert "place must be one of Shed, got 'Bran'" in wrong.stderr


def test_a_place_dries_as_json(farm):
    """The document follows its published schema and says what the terminal says."""
    asked = ["dry", farm, "--place", "Shed", "--draws", "50", "--on", "2026-09-02"]
    told = json.loads(call(*asked, "--format", "json").stdout)
    jsonschema.validate(told, schema_of("dry"))
    assert (told["place"], told["seen_on"], told["hanging_sticks"]) == ("Shed", "2026-09-02", 120)
    (hanging,), hours = told["watch"]["hangings"], told["watch"]["hours"]
    assert (hanging["lot"], hanging["sticks"]) == ("1 River", 120)
    assert hanging["dry_on"] <= hanging["dry_by"]
    starts = [datetime.fromisoformat(hour["starts"]) for hour in hours]
    assert starts[0].date() == date(2026, 9, 2), "what is past is not told again"
    assert {later - hour for hour, later in pairwise(starts)} == {timedelta(hours=1)}
    for hour in hours:
        low, median, high = (hour["humidity"][name] for name in ("low", "median", "high"))
        assert 0 < low <= median <= high <= 1
    text = " ".join(call(*asked).stdout.split())
    for said in (*told["watch"]["advice"]["says"], *told["notes"], *told["cautions"]):
        assert " ".join(said.split()) in text
    empty = json.loads(call(*asked[:-1], "2026-08-10", "--format", "json").stdout)
    jsonschema.validate(empty, schema_of("dry"))
    assert (empty["hanging_sticks"], empty["watch"]) == (0, None)


def test_room_is_weighed_on_a_terminal(farm):
    """Three ways with cost, earnings and what is left; a quantity without unit is refused."""
    text = call("room", farm, "--place", "Shed", "--draws", "50", "--seconds", "1", "--shed-price",
                "7.50 USD", "--rent-cost", "300 USD").stdout  # fmt: skip
    for way in ("24 ft more of Shed", "200 sticks of rented room", "Shed drying 20 % faster"):
        assert way in text
    assert "$300" in text
    assert "a guess of ours" not in text
    assert all(len(line) <= 80 for line in text.splitlines())
    wrong = call("room", farm, "--place", "Shed", "--shed", "24")
    assert wrong.exit_code == 2
    assert "it has no unit" in wrong.stderr


def test_room_is_weighed_as_json(farm):
    """The document follows its published schema; the best way first, what is left its balance."""
    asked = ["room", farm, "--place", "Shed", "--draws", "50", "--seconds", "1", "--rent", "40",
             "--rent-cost", "300 USD", "--format", "json"]  # fmt: skip
    told = json.loads(call(*asked).stdout)
    jsonschema.validate(told, schema_of("room"))
    left = [option["left_usd"] for option in told["options"]]
    assert left == sorted(left, reverse=True)
    by_name = {option["option"]: option for option in told["options"]}
    assert by_name["40 sticks of rented room like Shed"]["cost_usd"] == 300
    assumed = {name for name, option in by_name.items() if option["is_cost_assumed"]}
    assert assumed == {"24 ft more of Shed"}
    for option in told["options"]:
        assert option["left_usd"] == pytest.approx(option["earns_usd"] - option["cost_usd"])
        assert option["earns_low_usd"] - 1e-6 <= option["earns_usd"]
        assert option["earns_usd"] <= option["earns_high_usd"] + 1e-6
    wrong = json.loads(call(*asked[:3], "Bran", "--format", "json").stdout)
    jsonschema.validate(wrong, schema_of("error"))
    assert wrong["problems"][0]["allowed"] == "one of Shed"


def test_check_says_what_was_assumed():
    """Fields left out are listed with what is taken, in the units asked for."""
    result = call("check", demo_path(), "--units", "metric")
    assert result.exit_code == 0
    assert "  lots, plants_counted: nine in ten of the plants set\n" in result.stdout
    assert "  fields, night_offset (Home, Ridge top): 0 C\n" in result.stdout
    assert "critical_day_length" not in result.stdout, "Quickset is day-neutral"
    told = json.loads(call("check", demo_path(), "--format", "json").stdout)
    jsonschema.validate(told, schema_of("check"))
    assert (told["farm"], told["season"], told["remarks"]) == ("Tanner Fork", 2026, [])
    assert {"table": "crew", "rows": [], "field": "rainy_day_share", "taken": "40 %"} in (
        told["assumed"]
    )


def test_weather_of_a_station(farm):
    """What a station file holds, in either units; a broken one leaves with status 2."""
    station = farm.with_name("station.csv")
    us = call("weather", station)
    assert us.exit_code == 0
    assert us.stdout.startswith(
        "White Oak Creek basin, Ohio (MOPEX-03238500), 1 Jan 1992 to 31 Dec 2003\n"
    )
    assert "  12 whole seasons to draw from, 1992 to 2003\n" in us.stdout
    assert re.search(r"\n    32 °F +\d+ \w{3} +\d+ \w{3} +\d+ \w{3}\n", us.stdout)
    metric = call("weather", station, "--units", "metric").stdout
    assert re.search(r"\n    0 °C +\d+ \w{3}", metric)
    assert call("weather", farm).exit_code == 2


def test_weather_beside_normals(farm):
    """NOAA's dates of Lebanon, as printed, beside the station's, with the days between them."""
    station, data = farm.with_name("station.csv"), Path(__file__).parent / "data" / "weather"
    told = call("weather", station, "--normals",
                data / "USW00094765_annualseasonal_1991-2020.csv").stdout  # fmt: skip
    ours, theirs = told.split("  The normals of LEBANON MUNI AP, NH US say:\n")
    first, last = (date.fromisoformat(f"2025-{day}") for day in LEBANON["32"][::2])
    (row,) = re.findall(r"^ +32 °F +(.*)$", theirs, re.MULTILINE)
    assert row.startswith(f"{first.day} {first:%b}")
    assert row.endswith(f"{last.day} {last:%b}")
    (own,) = re.findall(r"^ +32 °F +(.*)$", ours, re.MULTILINE)
    dates = [re.findall(r"\d+ \w{3}", line) for line in (own, row)]
    days = [[datetime.strptime(f"{one} 2025", "%d %b %Y") for one in line] for line in dates]  # noqa: DTZ007
    apart = max(abs((a - b).days) for a, b in zip(*days, strict=True))
    assert int(re.search(r"At most (\d+) days? apart", theirs)[1]) >= apart > 0
    assert call("weather", station, "--normals", station).exit_code == 2


def test_a_terminal_without_the_signs_still_reads(tmp_path, farm):
    """Where "°" cannot be written, it becomes a question mark and the command still ends well."""
    station = farm.with_name("station.csv")
    running = process(
        ["-m", "tierpole"], "weather", station, cache=tmp_path, PYTHONIOENCODING="iso8859_5"
    )
    status, out, err = finished(running)
    assert (status, err) == (0, "")
    assert " ?F " in out


# --- a plan ---------------------------------------------------------------------------------------


def test_a_plan_as_json_twice(farm, tmp_path, monkeypatch):
    """The plan follows its published schema; the same seed gives the same plan in a new process."""
    monkeypatch.setenv("TIERPOLE_CACHE", str(tmp_path))
    arguments = ["plan", farm, *QUICK, "--seed", "3", "--format", "json"]
    running = process(["-m", "tierpole"], *arguments, cache=tmp_path)
    here = call(*arguments)
    status, out, err = finished(running)
    assert (here.exit_code, here.stderr, status, err) == (0, "", 0, "")
    assert json.loads(out) == json.loads(here.stdout)
    told = json.loads(out)
    jsonschema.validate(told, schema_of("plan"))
    assert (told["farm"], told["on"], told["stand_in_year"]) == ("Two Lots", "2026-09-10", 1996)
    assert not told["stopped_early"]
    assert told["money"]["draws"] == 50
    assert sum(cut["sticks"] for lot in told["lots"] for cut in lot["cuts"]) > 0


BEFORE_A_SAMPLE = full_farm.TEXT[
    full_farm.TEXT.index('[[tests]]\nlot = "1 River"') : full_farm.TEXT.index(
        '[[tests]]\nlot = "2 Bank"'
    )
]
CALL = '[[samples]]\nlot = "1 River"\nrequested_on = 2026-08-10\nsampled_on = 2026-08-17\n'


def test_broken_rules_are_named_and_the_rest_is_planned(farm, tmp_path, monkeypatch):
    """A cut before any sample: status 3, the breach first, and a plan for what still stands."""
    monkeypatch.setenv("TIERPOLE_CACHE", str(tmp_path))
    path = write_scenario(farm.parent, edited((BEFORE_A_SAMPLE, ""), (CALL, "")))
    result = call("plan", path, *QUICK, "--on", "2026-09-11", "--units", "metric")
    write_scenario(farm.parent, full_farm.TEXT)
    assert result.exit_code == 3, result.output
    first, *rest = result.stdout.splitlines()
    assert first == ("Talk to the department first: 1 recorded fact already breaks a rule.")
    told = " ".join(" ".join(rest).split())
    assert "ALREADY AGAINST THE RULES 1 River: 120 sticks were cut on Wed 26 Aug," in told
    assert "before any official sample" in told
    assert re.search(r"CUT AND HANG\n(?:  .*\n)*  .* 2 Bank ", result.stdout)
    assert "plan of Friday 11 September 2026" in told
    assert "°C" in told
    assert "°F" not in told


# --- stopping -------------------------------------------------------------------------------------

# a driver whose progress waits at one step until Ctrl-C has come, so that nothing hangs on speed
DRIVER = """
import signal, sys, time
from contextlib import contextmanager
from tierpole.cli import main, planning

step = sys.argv.pop(1)

def wait(now, share):
    if now == step:
        asked = signal.getsignal(signal.SIGINT)
        print("waiting", file=sys.stderr, flush=True)
        while signal.getsignal(signal.SIGINT) is asked:
            time.sleep(0.01)

@contextmanager
def progress():
    yield wait

planning.progress = progress
main()
"""


def stopped_at(step, farm, cache, form):
    arguments = [step, "plan", farm, *QUICK, "--format", form]
    running = process(["-c", DRIVER], *arguments, cache=cache)
    for line in running.stderr:
        if line == "waiting\n":
            break
    running.send_signal(signal.SIGINT)
    return finished(running)


def test_ctrl_c_prints_the_best_plan(farm, tmp_path):
    """A real Ctrl-C while reasons are sought: status 4, the plan found until then with its gap."""
    status, out, err = stopped_at("reasons", farm, tmp_path, "json")
    told = json.loads(out)
    jsonschema.validate(told, schema_of("plan"))
    assert (status, told["stopped_early"]) == (4, True)
    assert 0 <= told["gap"] < 1
    assert told["rounds"]
    assert err == "Stopping with the best plan so far; Ctrl-C again ends at once.\n"


def test_ctrl_c_before_there_is_a_plan(farm, tmp_path):
    status, out, err = stopped_at("weather and potency", farm, tmp_path, "text")
    assert (status, out) == (4, "")
    assert err.endswith("The work was stopped before there was a plan.\n")


@pytest.mark.parametrize("form", ["text", "json"])
def test_a_second_ctrl_c_ends_at_once(monkeypatch, form):
    """Whatever the work is doing; status 4 all the same."""

    class Stubborn(FakeOffice):
        def stop(self):
            """Ask in vain."""

        def work(self, _tick):
            signal.raise_signal(signal.SIGINT)
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(commands, "office_of", lambda *_: Stubborn())
    result = call("plan", demo_path(), "--format", form)
    assert result.exit_code == 4
    if form == "json":
        jsonschema.validate(json.loads(result.stdout), schema_of("error"))
    assert "Stopped." in result.output


def test_only_the_first_ctrl_c_is_caught():
    """Afterwards Ctrl-C is again what it was."""
    before, asked = signal.getsignal(signal.SIGINT), []
    with stop_on_interrupt(lambda: asked.append(1)):
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert asked == [1]
    assert signal.getsignal(signal.SIGINT) is before


class Working(FakeOffice):
    """An office whose work ends as a test wishes."""

    def work(self, tick):
        tick("half", 0.5)
        if self.plan is None:
            raise Stopped("The work was stopped.", self.best)
        return self.plan

    def adopt(self, best):
        self.plan = best
        return best

    def stop(self):
        """Nothing to stop."""

    def start(self):
        """Nothing to wait for."""


def test_demo_prints_and_serves(monkeypatch):
    """The plan comes first, then the pages; `--no-pages` and a stop leave them out."""
    served = []

    def serve(office, port, announce, door):
        served.append(port)
        announce(f"http://127.0.0.1:{port}/")

    monkeypatch.setattr(web, "serve", serve)
    monkeypatch.setattr(commands, "office_of", lambda *_: Working())
    result = call("demo", "--port", "8123")
    assert (result.exit_code, served) == (0, [8123])
    assert result.stdout.endswith("Pages at http://127.0.0.1:8123/ (Ctrl-C ends)\n")
    assert call("demo", "--no-pages").exit_code == 0
    stopped = Working(plan=None)
    stopped.best = synthetic.plan()
    monkeypatch.setattr(commands, "office_of", lambda *_: stopped)
    call("demo")
    assert served == [8123] or stopped.plan.stopped_early is False
    served.clear()
    assert call("serve", demo_path(), "--port", "8124").exit_code == 0
    assert served == [8124]


def test_ctrl_c_ends_the_pages(farm, tmp_path):
    """A real Ctrl-C while pages are served and the plan is still made: status 0, nothing amiss."""
    running = process(["-m", "tierpole"], "serve", farm, *QUICK, "--port", "8711", cache=tmp_path)
    address = running.stdout.readline().split()[2]
    with urllib.request.urlopen(f"{address}health", timeout=60) as answer:
        assert json.load(answer)["state"] in ("working", "ready")
    running.send_signal(signal.SIGINT)
    status, out, err = finished(running)
    assert (status, out, err) == (0, "", "Pages closed.\n")


def test_progress_is_silent_in_a_pipe_and_moves_on_a_terminal(monkeypatch, capsys):
    with progress() as tick:
        tick("weather", 0.5)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with progress() as tick:
        tick("weather", 0.5)
    assert "weather" in capsys.readouterr().err


def test_width_follows_the_terminal_within_reason(monkeypatch):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    for columns, width in (("40", 60), ("90", 90), ("200", 100)):
        monkeypatch.setenv("COLUMNS", columns)
        assert width_now() == width
    monkeypatch.setattr(sys.stdout, "isatty", lambda: False)
    assert width_now() == 80


def test_the_farm_is_of_this_year():
    """The day the tests plan on is the one its file says."""
    assert f"on = {date(2026, 9, 10)}" in full_farm.TEXT


def test_weather_beside_a_typical_year(farm):
    """The hours of Pittsburgh's typical year (EPW, its own mean of September) by the month."""
    data = Path(__file__).parent / "data" / "weather" / "pittsburgh.epw.gz"
    told = call("weather", farm.with_name("station.csv"), "--typical", data).stdout
    rows = [
        line.split(",") for line in gzip.decompress(data.read_bytes()).decode().splitlines()[8:]
    ]
    own = [row for row in rows if row[1] == "9"]
    warm = sum(float(row[6]) for row in own) / len(own) * 1.8 + 32
    damp = 24 * sum(float(row[8]) >= 90 for row in own) / len(own)
    (row,) = re.findall(r"^ +Sep +(.*)$", told.partition("A typical year")[2], re.MULTILINE)
    assert row.startswith(f"{warm:.0f} °F")
    assert row.endswith(f"{damp:.1f} h")
