"""Sales: the list, and each with its statement."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from tierpole.office.acres import acres_of
from tierpole.office.given_up import given_up
from tierpole.office.kept import mark_of
from tierpole.office.sales import SaleDesk, sale_desk
from tierpole.web.asking import Asking, Query

routes = APIRouter()


@routes.get("/sales")
def sales(query: Asking) -> Response:
    """Every sale of the season."""
    return query.desk_page("sales.html", view=_desk(query).listed())


@routes.get("/acres")
def acres(query: Asking) -> Response:
    """Did the acre pay: lot by lot, by the books, and beside the crops given up."""
    office, store = query.office, query.desk.store
    sales, plans = _desk(query).every(), office.kept_plans()
    first = office.kept(mark_of(plans[-1])) if plans else None
    view = acres_of(store, office.season, sales, first)
    beside = given_up(store, office.season, office.plan, view, sales)
    return query.desk_page("acres.html", view=view, beside=beside)


@routes.get("/sales/{name:path}")
def sale(query: Asking, name: str) -> Response:
    """One sale: what was delivered, what is owed, where the buyer's statement departs from it."""
    view = _desk(query).page(name, query.units)
    if view is None:
        raise HTTPException(404)
    return query.desk_page("sale.html", view=view)


def _desk(query: Query) -> SaleDesk:
    desk = query.desk
    if desk.year is None:
        raise HTTPException(404)
    return sale_desk(desk.store, desk.year, desk.kept_day)
