"""Pages made of the templates in templates/desk, and the files that stand beside them."""

from __future__ import annotations

import hashlib
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from jobnotes import __version__
from jobnotes.desk import office_views
from jobnotes.desk.sessions import form_token, session_token
from jobnotes.desk.state import desk_of
from jobnotes.desk.views import named
from jobnotes.errors import JobnotesError
from jobnotes.paper import words
from jobnotes.place import beside
from jobnotes.store import Person

KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}


def _folder() -> Path:
    return beside("templates/desk", "base.html")


@cache
def assets() -> dict[str, Path]:
    """The files that pages need, by name: these and no others are given out."""
    fonts = beside("templates/fonts", "IBMPlexSans-Regular.woff2")
    files = [*(_folder() / "assets").iterdir(), *fonts.glob("*.woff2")]
    return {file.name: file for file in files if file.suffix in KINDS}


@cache
def mark_of_assets() -> str:
    """Changes with any of the files, so that a browser may keep them for ever under it."""
    digest = hashlib.sha256()
    for name in sorted(assets()):
        digest.update(name.encode() + assets()[name].read_bytes())
    return digest.hexdigest()[:12]


def asset(name: str) -> str:
    """The address of a file."""
    if name not in assets():
        raise JobnotesError(f"The file {name} of templates/desk is missing; install jobnotes again.")
    return f"/assets/{mark_of_assets()}/{name}"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_folder()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        number=words.number,
        unit=words.unit,
        minutes=words.minutes,
        capital=words.capital,
        second=words.second,
        groups=words.in_groups,
        day=_day,
        plural=_plural,
        named=named,
        named_field=lambda field: words.said("field", field),
        value=_value,
        **office_views.FILTERS,
    )
    environment.globals.update(asset=asset, said=words.said, version=__version__)
    return environment


def _day(text: str) -> str:
    """A date of a sheet in words; empty where it has none."""
    try:
        return words.day(date.fromisoformat(text[:10]))
    except ValueError:
        return text


def _plural(count: int, one: str, many: str = "") -> str:
    """ "1 mark", "3 marks"."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def _value(value: Any, pointer: str = "") -> str:
    """An old or new value of a correction in words; `pointer` is the place where it stood."""
    if value is None or value == "":
        return "nothing"
    if pointer.endswith("_min") and isinstance(value, int):
        return words.minutes(value)
    if isinstance(value, dict) and value.keys() == {"value", "unit"}:
        return f"{words.number(value['value'])} {words.unit(value['unit'])}"
    if isinstance(value, bool | str):
        return words.shown(str(value))
    if isinstance(value, int | float):
        return words.number(value)
    if isinstance(value, dict):
        parts = [f"{_value(each)}" for each in value.values() if each not in (None, [], {}, "")]
        return ", ".join(part for part in parts if part) or "nothing"
    return ", ".join(_value(each) for each in value)


def page(
    request: Request, template: str, who: Person | None = None, *, status: int = 200, **given: Any
) -> HTMLResponse:
    """A page. Templates have `who` (None where nobody is logged in), `token` for their forms, and `local`,
    which gives an aware moment in the workshop's time zone in words."""
    desk = desk_of(request)
    try:
        settings = desk.settings
        firm, zone = settings.firm.name, settings.zone
    except JobnotesError:
        from zoneinfo import ZoneInfo

        firm, zone = "", ZoneInfo("UTC")

    def local(at: datetime) -> str:
        return words.moment(at.astimezone(zone))

    if trouble := given.get("trouble"):
        # Where the workshop stands on the disk is nobody's business who asks from elsewhere.
        given["trouble"] = str(trouble).replace(f"{desk.workshop.folder.path}/", "")
    html = (
        _environment()
        .get_template(template)
        .render(
            who=who,
            firm=firm,
            local=local,
            path=request.url.path,
            **{"token": form_token(session_token(request)) if who else "", **given},
        )
    )
    return HTMLResponse(html, status_code=status)


def give_asset(mark: str, name: str) -> Response:
    """A file that a page needs; 404 for any other name."""
    file = assets().get(name)
    if file is None:
        return Response("There is no such file.", 404, media_type="text/plain")
    kept = "public, max-age=31536000, immutable" if mark == mark_of_assets() else "no-cache"
    return Response(file.read_bytes(), media_type=KINDS[file.suffix], headers={"cache-control": kept})
