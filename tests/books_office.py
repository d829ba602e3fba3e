"""An office on real books whose planning is the synthetic plan, ready at once."""

from __future__ import annotations

import re
import threading
from contextlib import contextmanager

import synthetic
from full_farm import write_farm
from tierpole.office import FarmOffice
from tierpole.office.office import Made
from tierpole.office.sources import keep_scenario
from tierpole.records import entries, open_store


class Quick(FarmOffice):
    """Works through a season at once; remembers which seasons it saw."""

    def __init__(self, store):
        super().__init__(store, tables={})
        self.worked = []
        self.ready = threading.Event()

    def _worked(self, season, report):
        report("weather", 0.5)
        self.worked.append(season)
        return Made(synthetic.season(), synthetic.outlook(), synthetic.plan())

    def _make_views(self):
        """Views are made when they are asked for: here nobody waits for them."""

    def _note(self, season):
        super()._note(season)
        self.ready.set()

    def wait(self):
        """Wait for the next plan to be kept."""
        assert self.ready.wait(10)
        self.ready.clear()


@contextmanager
def quick_office(folder, make=Quick):
    """Books of the farm that writes every field, seen on 10 September 2026, and their office."""
    keep_scenario(str(write_farm(folder)), str(folder / "farm.db"), "Ann", keep_day=True)
    with open_store(folder / "farm.db") as store:
        office = make(store)
        office.start()
        office.wait()
        yield office
        office.stop()


def written(office):
    """How many entries people and programs have made; the office itself keeps plans meanwhile."""
    return sum(entry.kind != "plan" for entry in entries(office.store, limit=1_000_000))


def form_of(client, path):
    """The hidden fields of a page's form: its token, the entry's id, the entry that was seen."""
    text = client.get(path).text
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', text))
