"""What is left to do, which machines are due, which faults came back, and what each machine costs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.charts import bars
from jobnotes.desk.invoice_pages import refuse_engineer
from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, TheDesk, Who
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.store import NotAllowedError, Person

router = APIRouter(include_in_schema=False)
MOST = 200
MOST_BARS = 12


@router.get("/office/follow-ups")
def follow_ups(
    request: Request,
    desk: TheDesk,
    who: Who,
    look: Annotated[str, Query(max_length=100)] = "",
    state: Annotated[str, Query(pattern="^(open|closed)$")] = "open",
    older: Annotated[str, Query(max_length=20)] = "",
) -> Response:
    """What sheets left to do, the oldest first; those older than so many days, if given."""
    days = older.strip()
    if days and not (days.isascii() and days.isdigit() and len(days) < 6):
        trouble = f"Older than is {older!r}; give a number of days, such as 30."
        return _follow_ups(request, desk, who, look=look, state=state, trouble=trouble, status=422)
    return _follow_ups(request, desk, who, look=look, state=state, older=int(days or 0))


def _follow_ups(
    request: Request,
    desk: Desk,
    who: Person,
    *,
    look: str = "",
    state: str = "open",
    older: int = 0,
    trouble: str = "",
    status: int = 200,
) -> Response:
    wanted = look.casefold().split()
    found = [
        each
        for each in desk.billing.follow_ups()
        if each.open == (state == "open")
        and (not older or each.age_days > older)
        and all(
            word in f"{each.text} {each.fleet_number} {each.machine} {each.customer} {each.site}".casefold()
            for word in wanted
        )
    ]
    return page(
        request,
        "office_follow_ups.html",
        who,
        status=status,
        found=found[:MOST],
        more=max(0, len(found) - MOST),
        look=look,
        state=state,
        older=older,
        trouble=trouble,
    )


@router.post("/office/follow-ups")
def close(request: Request, desk: TheDesk, who: Who, form: Form) -> Response:
    """Closes a follow-up, by a later sheet or with a reason, or opens it again."""
    store, action = desk.workshop.follow_ups, form.text("action")
    try:
        if action == "close":
            by = form.number("by_sheet") if form.text("by_sheet") else None
            store.close(form.number("sheet"), form.text("text"), who, by_sheet=by, reason=form.text("reason"))
        elif action == "reopen":
            store.reopen(form.number("closing"), who, form.text("reason"))
        else:
            raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
    except NotAllowedError as error:
        return _follow_ups(request, desk, who, trouble=str(error), status=403)
    except JobnotesError as error:
        return _follow_ups(request, desk, who, trouble=str(error), status=422)
    return RedirectResponse("/office/follow-ups", 303)


@router.get("/office/fleet")
def fleet(request: Request, desk: TheDesk, who: Who) -> Response:
    """Services that are due, faults that came back, and what was spent on each machine."""
    refuse_engineer(who)
    spent = desk.billing.spend()
    trouble, services, returns = "", [], []
    try:
        services, returns = desk.billing.services()[:MOST], desk.billing.returns()[:MOST]
    except JobnotesError as error:
        trouble = str(error)
    return page(
        request,
        "office_fleet.html",
        who,
        trouble=trouble,
        services=services,
        returns=returns,
        spent=spent[:MOST],
        spend_chart=bars(
            "Net spend by machine",
            [(each.machine_key or "no machine", float(each.net)) for each in spent[:MOST_BARS]],
        )
        if spent
        else None,
    )
