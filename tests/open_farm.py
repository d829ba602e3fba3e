"""A farm open to its network, and browsers of each of those who may come in."""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from books_office import Quick, quick_office
from page_server import served
from tierpole.office.people import Limit, People, Role
from tierpole.records import Wanted, nouns
from tierpole.web.access import GUEST, SESSION, Gate

LOT = "1 River"  # of the books and of the plan alike


@dataclass
class OpenFarm:
    """The office, where its pages are, and a clock that a test may turn on."""

    office: Quick
    address: str
    browser: Any
    stack: ExitStack
    later: timedelta = field(default_factory=timedelta)

    def page(self, role=Role.NOBODY, language="en", width=390, **options):
        """A page in a browser of its own, of somebody who has come in already."""
        context = self.browser.new_context(viewport={"width": width, "height": 844}, **options)
        self.stack.callback(context.close)
        if role is Role.GUEST:
            context.add_cookies([self._cookie(GUEST, self.office.people.new_guest("x", LOT))])
        elif role is not Role.NOBODY:
            token = self.office.people.pair(self.office.people.new_code("Rosa", role, language))
            context.add_cookies([self._cookie(SESSION, token)])
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.troubles = []
        page.on("pageerror", lambda error: page.troubles.append(str(error)))
        return page

    def _cookie(self, name, value):
        return {"name": name, "value": value, "url": self.address, "httpOnly": True}

    def said(self, kind):
        """What the books hold of a kind."""
        return [one.noun for one in nouns(self.office.store, Wanted(kind))]


@contextmanager
def open_farm(folder, browser, make=Quick):
    """A farm's pages behind a door that counts no knocks."""
    never = Limit(100_000, 1.0, lambda: 0.0)
    with quick_office(folder, make) as office, ExitStack() as stack:
        farm = OpenFarm(office, "", browser, stack)
        office.people = People(office.people.path, lambda: datetime.now(UTC) + farm.later)
        gate = Gate(office.people, True, never, never, never, never)
        farm.address = stack.enter_context(served(office, gate, port=18_800))
        yield farm
