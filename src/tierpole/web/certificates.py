"""Certificates from a laboratory's file: the file, which column is which, what became of it.

A PDF or a photo is shown beside a form that says what its text may mean, to be confirmed.
"""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from tierpole.errors import InputError
from tierpole.farm.measure import Label
from tierpole.office.certificate_papers import Answer, PaperDesk, Reading
from tierpole.office.certificates import FIELDS, CertificateDesk, Sheet, guessed, read_sheet
from tierpole.office.entry.uploads import Upload, media_type
from tierpole.web.asking import Asking, Query, Sent

routes = APIRouter()


@routes.get("/certificates")
def certificates(query: Asking) -> Response:
    """Where a file is handed in."""
    return _page(query, _desk(query))


@routes.post("/certificates")
def hand_in(query: Asking, sent: Sent) -> Response:
    """Read a file whose columns are known; ask which is which when they are not."""
    desk, laboratory = _desk(query), sent.texts.get("laboratory", "").strip()
    upload = sent.uploads.get("file")
    if not _is_name(laboratory) or upload is None:
        return _page(query, desk, "Write which laboratory it is from, and choose its file.", 422)
    if media_type(upload.data) is not None:
        return _keep(query, desk, laboratory, upload)
    try:
        sheet = read_sheet(upload.data, upload.name[:60] or "the file")
    except InputError as error:
        return _page(query, desk, str(error.faults[0]), 422)
    columns = desk.columns(laboratory)
    if columns is None or desk.lacks(sheet, columns):
        return _columns_page(query, laboratory, upload.name, sheet)
    taken = desk.take_in(sheet, columns, upload.name, query.person.name)
    return query.desk_page("certificates_taken.html", view=taken, laboratory=laboratory, again="")


@routes.post("/certificates/map")
def told_columns(query: Asking, sent: Sent) -> Response:
    """Remember which column is which, and read the file by it."""
    desk, laboratory = _desk(query), sent.texts.get("laboratory", "").strip()
    name = sent.texts.get("name", "")
    if not _is_name(laboratory):
        return _page(query, desk, "Write which laboratory it is from.", 422)
    try:
        sheet = read_sheet(sent.texts.get("csv", "").encode())
    except InputError as error:
        return _page(query, desk, str(error.faults[0]), 422)
    columns = {one.key: sent.texts.get(f"column-{one.key}", "") for one in FIELDS}
    always = {one.key: sent.texts.get(f"always-{one.key}", "").strip() for one in FIELDS}
    columns = {key: column for key, column in columns.items() if column in sheet.header}
    always = {key: text for key, text in always.items() if Label(longest=200).is_sound(text)}
    told = desk.told(laboratory, columns, always)
    if lacking := desk.lacks(sheet, told):
        return _columns_page(query, laboratory, name, sheet, columns, always, lacking)
    desk.remember(told, query.person.name)
    taken = desk.take_in(sheet, told, name, query.person.name)
    return query.desk_page("certificates_taken.html", view=taken, laboratory=laboratory, again="")


@routes.get("/certificates/paper/{key}")
def paper(query: Asking, key: str, laboratory: str = "") -> Response:
    """A paper beside what its text may say."""
    reading = PaperDesk(_desk(query)).reading(key, laboratory)
    if reading is None or not _is_name(laboratory):
        raise HTTPException(404)
    return _paper_page(query, reading)


@routes.get("/certificates/paper/{key}/{page}.png")
def picture(query: Asking, key: str, page: int) -> Response:
    """A page of a paper as a picture."""
    data = PaperDesk(_desk(query)).picture(key, page)
    if data is None:
        raise HTTPException(404)
    kept = {"Cache-Control": "private, max-age=86400, immutable"}
    return Response(data, media_type="image/png", headers=kept)


@routes.post("/certificates/paper/{key}")
def confirm(query: Asking, key: str, sent: Sent) -> Response:
    """Take what a person confirmed of a paper, or say why not."""
    desk, laboratory = PaperDesk(_desk(query)), sent.texts.get("laboratory", "").strip()
    answers = {one.key: _answer(sent, one.key) for one in FIELDS}
    if not _is_name(laboratory):
        raise HTTPException(404)
    taken = desk.confirm(key, laboratory, answers, query.person.name)
    if taken is None:
        raise HTTPException(404)
    if taken.how == "refused":
        reading = desk.reading(key, laboratory, answers)
        if reading is None:
            raise HTTPException(404)
        return _paper_page(query, reading, taken.reasons, 422)
    again = f"/certificates/paper/{key}"
    return query.desk_page(
        "certificates_taken.html", view=[taken], laboratory=laboratory, again=again
    )


def _answer(sent: Sent, key: str) -> Answer:
    picked = sent.texts.get(f"pick-{key}", "")
    is_number = picked.isascii() and picked.isdecimal() and len(picked) < 6
    own = sent.texts.get(f"own-{key}", "").strip()[:200]
    return Answer(int(picked) if is_number else 0, own)


def _keep(query: Query, desk: CertificateDesk, laboratory: str, upload: Upload) -> Response:
    """Keep a PDF or photo, and lead to its page."""
    try:
        key = PaperDesk(desk).keep(upload, query.person.name)
    except InputError as error:
        return _page(query, desk, str(error.faults[0]), 422)
    return RedirectResponse(
        query.asked.link(f"/certificates/paper/{key}", laboratory=laboratory), 303
    )


def _paper_page(
    query: Query, reading: Reading, faults: tuple[str, ...] = (), code: int = 200
) -> Response:
    return query.desk_page("certificate_paper.html", code, view=reading, faults=faults)


def _desk(query: Query) -> CertificateDesk:
    desk = query.desk
    return CertificateDesk(desk.store, desk.look)


def _is_name(text: str) -> bool:
    return Label().is_sound(text)


def _page(query: Query, desk: CertificateDesk, fault: str = "", code: int = 200) -> Response:
    laboratories = desk.laboratories()
    return query.desk_page("certificates.html", code, fault=fault, laboratories=laboratories)


def _columns_page(
    query: Query, laboratory: str, name: str, sheet: Sheet,
    columns: dict[str, str] | None = None, always: dict[str, str] | None = None,
    lacking: tuple[str, ...] = (),
) -> Response:  # fmt: skip
    return query.desk_page(
        "certificates_columns.html", 422 if lacking else 200, laboratory=laboratory, name=name,
        sheet=sheet, fields=FIELDS, lacking=lacking, always=always or {},
        columns=guessed(sheet.header) if columns is None else columns,
    )  # fmt: skip
