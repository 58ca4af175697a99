"""Signed sheets: shown, their PDFs given out, amended, withdrawn, sent back."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from jobnotes.desk.render import page
from jobnotes.desk.sessions import Form, TheDesk, Who
from jobnotes.desk.views import sheet_view
from jobnotes.errors import JobnotesError
from jobnotes.store import NotAllowedError, SignedSheet
from jobnotes.workshop import withdrawn_pdf

router = APIRouter(include_in_schema=False)
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Revision = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.get("/sheets/{number}")
def sheet_page(
    request: Request,
    desk: TheDesk,
    who: Who,
    number: Number,
    revision: Revision = None,
    others: Annotated[int, Query(alias="with", ge=0, le=500)] = 0,
) -> Response:
    """A signed sheet with its revisions and what happened to it."""
    sheets = desk.workshop.sheets
    sheet = sheets.get(number, revision)
    desk.saw(who, f"sheet {number}")
    evidence = {f"/jobs/0{pointer[4:]}": each for pointer, each in sheet.evidence.items()}
    try:
        changes = desk.workshop.drafts.history(sheet.draft_id, who)
    except NotAllowedError:
        # What another engineer put right is theirs and the office's; the sheet itself is everybody's.
        changes = None
    return page(
        request,
        "sheet.html",
        who,
        sheet=sheet,
        view=sheet_view([sheet.job], [], evidence),
        revisions=sheets.revisions(number),
        newest=sheets.get(number),
        changes=changes,
        comments=sheets.comments(number),
        others=[number + each for each in range(1, others + 1)],
        may_amend=sheet.engineer_id == who.id and who.role != "office",
        may_withdraw=sheet.engineer_id == who.id or who.role != "engineer",
    )


@router.get("/sheets/{number}/pdf")
def pdf(
    desk: TheDesk,
    who: Who,
    number: Number,
    revision: Revision = None,
    keep: bool = False,
    stamped: bool = False,
) -> Response:
    """The sealed PDF; with `keep` to be kept as a file. `stamped` is a withdrawn sheet's with WITHDRAWN over
    it, which carries no seal."""
    sheet = desk.workshop.sheets.get(number, revision)
    content = (
        withdrawn_pdf(desk.workshop, desk.settings, sheet) if stamped else desk.workshop.sheets.pdf(sheet)
    )
    desk.saw(who, f"sheet {number}", "saw the PDF of")
    how = "attachment" if keep else "inline"
    return Response(
        content,
        media_type="application/pdf",
        headers={"content-disposition": f'{how}; filename="{file_name(sheet, stamped)}"'},
    )


def file_name(sheet: SignedSheet, stamped: bool = False) -> str:
    """What a sheet's PDF is called."""
    ending = "-withdrawn" if stamped else ""
    return f"sheet-{sheet.number}-revision-{sheet.revision}{ending}.pdf"


@router.post("/sheets/{number}/do")
def do(desk: TheDesk, who: Who, form: Form, number: Number) -> Response:
    """Amends, withdraws, comments on or sends back a sheet."""
    sheets, action, text = desk.workshop.sheets, form.text("action"), form.text("text")
    if action == "amend":
        return RedirectResponse(f"/drafts/{sheets.amend(number, who).id}", 303)
    if action == "withdraw":
        sheets.withdraw(number, who, text)
    elif action == "comment":
        sheets.comment(number, who, text)
    elif action == "send_back":
        sheets.send_back(number, who, text)
    else:
        raise JobnotesError("The form asks for nothing that can be done; open the page anew.")
    return RedirectResponse(f"/sheets/{number}", 303)


@router.get("/sheets")
def sheets_list(who: Who) -> Response:
    """The signed sheets stand with the drafts."""
    return RedirectResponse("/drafts?state=signed", 303)
