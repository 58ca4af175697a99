"""Machines: all that sheets were signed for, and the page of one."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from jobnotes.desk.charts import over_time
from jobnotes.desk.machine_story import machine_story
from jobnotes.desk.render import page
from jobnotes.desk.sessions import TheDesk, Who
from jobnotes.errors import JobnotesError
from jobnotes.paper import words
from jobnotes.register.lookup import code_key
from jobnotes.store import MissingError

router = APIRouter(include_in_schema=False)
MOST_SHEETS = 2_000


@router.get("/machines")
def machines(
    request: Request, desk: TheDesk, who: Who, look: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    """The machines that have a sheet, the latest visit first."""
    wanted = look.casefold().split()
    rows = [
        (last, len(visits))
        for visits in desk.billing.machines().values()
        if (last := visits[-1]).machine_key
        and all(
            each in f"{last.fleet_number} {last.machine} {last.customer} {last.site}".casefold()
            for each in wanted
        )
    ]
    rows.sort(key=lambda row: (row[0].date, row[0].sheet), reverse=True)
    return page(request, "machines.html", who, rows=rows[:300], look=look)


@router.get("/machine")
def machine(
    request: Request, desk: TheDesk, who: Who, fleet: Annotated[str, Query(min_length=1, max_length=100)]
) -> Response:
    """One machine: its sheets, hours and readings over time, parts, what is open, what came back."""
    sheets = desk.workshop.sheets.lines(fleet_number=fleet, limit=MOST_SHEETS)
    if not sheets or not code_key(fleet):
        raise MissingError("There is no sheet for a machine of that fleet number.")
    story = machine_story(fleet, sheets)
    desk.saw(who, f"machine {story.fleet_number}"[:200])
    hours = None
    if len({point.day for point in story.hours}) > 1:
        hours = over_time(f"Hour meter of {story.fleet_number} over time", "h", story.hours)
    charts = [
        over_time(
            f"{series.name} over time, in {words.unit(series.unit)}", words.unit(series.unit), series.points
        )
        if series.placed and len({point.day for point in series.points}) > 1
        else None
        for series in story.readings
    ]
    key = code_key(fleet)
    closed = {
        (each.sheet, words.capital(each.text))
        for each in desk.billing.machine_follow_ups(key)
        if not each.open
    }
    story.open = [each for each in story.open if (each.sheet, each.text) not in closed]
    office = who.role != "engineer"
    service, returned, trouble = None, [], ""
    try:
        service, returned = desk.billing.machine_service(key), desk.billing.machine_returns(key)
    except JobnotesError as error:  # office.toml can't be read; all else of the machine can
        trouble = str(error) if office else ""
    return page(
        request,
        "machine.html",
        who,
        story=story,
        hours=hours,
        charts=charts,
        trouble=trouble,
        service=service,
        returned=returned,
        spent=desk.billing.machine_spend(key) if office else None,
    )
