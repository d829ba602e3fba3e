"""What a request asks of the office, and how it is answered."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import Response
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from tierpole.documents import Language
from tierpole.documents.crew_words import crew_head, crew_words
from tierpole.errors import InputError
from tierpole.office.entry import Desk
from tierpole.office.entry.uploads import Upload
from tierpole.office.ledger import Ledger
from tierpole.office.people import Person
from tierpole.office.views import NotHereError
from tierpole.units import System
from tierpole.web.access import check_form
from tierpole.web.office import Office
from tierpole.web.render import Asked, desk_page, page, plain_json, state_page


@dataclass(frozen=True)
class Query:
    """What every page takes besides its name: `units` (us, metric) and `format` (html, json)."""

    office: Office
    asked: Asked

    @property
    def units(self) -> System:
        """The units the reader chose, else the office's own."""
        return self.asked.units

    @property
    def person(self) -> Person:
        """Who asks."""
        return self.asked.person

    @property
    def language(self) -> Language:
        """The language of whoever asks."""
        return "es" if self.person.language == "es" else "en"

    @property
    def desk(self) -> Desk:
        """Where entries are made; a scenario takes none."""
        if self.office.desk is None:
            raise HTTPException(404, "A scenario takes no entries: put it into books first.")
        return self.office.desk

    @property
    def ledger(self) -> Ledger:
        """Where entries are looked up; a scenario has none."""
        if self.office.ledger is None:
            raise HTTPException(404, "A scenario keeps no books: put it into books first.")
        return self.office.ledger

    def desk_page(self, template: str, code: int = 200, **context: Any) -> Response:
        """A page that needs no plan, as a page or as JSON of its `view`."""
        if self.asked.as_json and "view" in context:
            return plain_json(context["view"])
        season = self.office.season
        head = crew_head(season, crew_words(self.language))
        return desk_page(
            self.asked, template, code, farm=season.farm.name, invented=head["invented"], **context
        )

    def show(self, template: str, view: str, *args: Any) -> Response:
        """The view as a page or as JSON; a page that says what is awaited when there is no plan."""

        def shown() -> Response:
            model = self.office.view(view, *args)
            if self.asked.as_json:
                return plain_json(model)
            return page(self.asked, self.office, template, model)

        return self.given(shown)

    def given(self, make: Callable[[], Response]) -> Response:
        """An answer that needs a plan, or the page that says what is awaited; 404 by its error."""
        if self.office.plan is None:
            return state_page(self.asked, self.office)
        try:
            return make()
        except (NotHereError, InputError):
            raise HTTPException(404) from None


def query_of(request: Request, units: System | None = None, format: str = "html") -> Query:  # noqa: A002
    """What a request asks for by its address."""
    office: Office = request.app.state.office
    chosen = units or office.system
    return Query(office, Asked(request, chosen, chosen != office.system, format == "json"))


async def _query(request: Request, units: System | None = None, format: str = "html") -> Query:  # noqa: A002
    """The same without a thread of its own, which would take longer than the work."""
    return query_of(request, units, format)


@dataclass(frozen=True)
class Answers:
    """A form that was sent: its texts and its files."""

    texts: Mapping[str, str]
    uploads: Mapping[str, Upload]


async def answers_of(request: Request) -> Answers:
    """A form, if it is one of ours; files without content are left out."""
    async with request.form(max_files=4, max_fields=200, max_part_size=200_000) as form:
        texts = {key: value for key, value in form.items() if isinstance(value, str)}
        files = [(key, one) for key, one in form.items() if isinstance(one, UploadFile)]
        uploads = {key: Upload(one.filename or "", await one.read()) for key, one in files}
    check_form(request, texts.get("token", ""))
    return Answers(texts, {key: one for key, one in uploads.items() if one.data})


Asking = Annotated[Query, Depends(_query)]
Sent = Annotated[Answers, Depends(answers_of)]
