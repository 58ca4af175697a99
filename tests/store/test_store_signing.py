"""What is signed, in which form, in which chain, and what must hold before."""

from __future__ import annotations

import json
import struct
import threading
from datetime import datetime
from typing import Any

import pytest
import store_work
from conftest import Firm
from store_work import LONDON, PASSWORD, at_once, plain_pdf, signed

from jobnotes.errors import JobnotesError
from jobnotes.store import (
    AddJob,
    Confirm,
    ConflictError,
    InvalidEditError,
    MissingError,
    NotAllowedError,
    NotReadyError,
    SetValue,
    Signed,
    TooManyTriesError,
    WrongPasswordError,
    canonical,
    head,
    sha256,
    verify,
)

HOURS = "/jobs/0/machine/hours"

# -- RFC 8785: its own examples, put down from memory of the text --

FLOATS = {  # appendix B: the bits of a double, and how it is written
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), FLOATS.items())
def test_numbers_as_rfc_8785_writes_them(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number) == text.encode()


def test_the_example_of_rfc_8785() -> None:
    given = (
        '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        r' "string": "\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}'
    )
    wanted = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        r'"string":"€$\u000f\nA' + r"'B\"\\\\\"/" + '"}'
    )
    assert canonical(json.loads(given)) == wanted.encode()


def test_keys_in_the_order_of_rfc_8785() -> None:
    keys = ["€", "\r", "\ufb33", "1", "\U0001f600", "\x80", "ö"]
    order = list(json.loads(canonical(dict.fromkeys(keys))))
    # By UTF-16 code units: the emoji, a surrogate pair, comes before U+FB33.
    assert order == ["\r", "1", "\x80", "ö", "€", "\U0001f600", "\ufb33"]


@pytest.mark.parametrize("value", [2**53 + 1, float("nan"), float("inf"), "\ud800"])
def test_what_has_no_canonical_form(value: Any) -> None:
    with pytest.raises(JobnotesError, match="can't be signed"):
        canonical({"value": value})


# -- what must hold before --


def sign(firm: Firm, draft: Any, who: Any = None, password: str = PASSWORD, **more: Any) -> list[Any]:
    more = {"make_pdf": plain_pdf, "zone": LONDON, **more}
    return firm.workshop.sheets.sign(
        draft.id, draft.version, who or firm.engineer, password, Signed("Tamsin Quill"), **more
    )


def test_every_mark_must_be_looked_at(firm: Firm) -> None:
    draft = firm.draft(store_work.memo_text(1, jobs=3))
    edit = firm.workshop.drafts.edit
    with pytest.raises(NotReadyError, match="3 marked values have") as refused:
        sign(firm, draft)
    assert refused.value.pointers == tuple(f"/jobs/{n}/machine/hours" for n in range(3))
    draft = edit(draft.id, draft.version, firm.engineer, Confirm(pointer=HOURS))
    draft = edit(draft.id, draft.version, firm.engineer, SetValue(pointer="/jobs/1/machine/hours", value=7))
    with pytest.raises(NotReadyError, match=r"1 marked value has .* /jobs/2/machine/hours"):
        sign(firm, draft)
    draft = edit(draft.id, draft.version, firm.engineer, Confirm(pointer="/jobs/2/machine/hours"))
    sheets = sign(firm, draft)
    assert [(each.number, each.revision, each.record["job_number"]) for each in sheets] == [
        (1, 1, 1),
        (2, 1, 2),
        (3, 1, 3),
    ]
    assert firm.workshop.drafts.get(draft.id, firm.engineer).state == "signed"


def test_who_signs(firm: Firm) -> None:
    draft = firm.draft()
    draft = firm.workshop.drafts.edit(draft.id, 1, firm.engineer, Confirm(pointer=HOURS))
    for person in (firm.other, firm.office, firm.owner):
        with pytest.raises(NotAllowedError):
            sign(firm, draft, person)
    with pytest.raises(JobnotesError, match="your name"):
        firm.workshop.sheets.sign(
            *(draft.id, draft.version, firm.engineer, PASSWORD, Signed(" ")),
            make_pdf=plain_pdf,
            zone=LONDON,
        )
    for _ in range(5):
        with pytest.raises(WrongPasswordError):
            sign(firm, draft, password="not the right one")
    with pytest.raises(TooManyTriesError):
        sign(firm, draft)
    assert head(firm.workshop)[0] == 0
    assert list(firm.workshop.sheets.blobs.files()) == []


def test_a_stale_version_is_not_signed(firm: Firm) -> None:
    draft = firm.draft()
    draft = firm.workshop.drafts.edit(draft.id, 1, firm.engineer, Confirm(pointer=HOURS))
    firm.workshop.drafts.edit(draft.id, 2, firm.engineer, SetValue(pointer=HOURS, value=1))
    with pytest.raises(ConflictError, match=r"from 4001\.0 to 1\.0"):
        sign(firm, draft)

    def meanwhile(document: dict[str, Any]) -> bytes:
        firm.workshop.drafts.edit(draft.id, 3, firm.engineer, SetValue(pointer=HOURS, value=2))
        return plain_pdf(document)

    with pytest.raises(ConflictError, match=r"from 1\.0 to 2\.0"):
        sign(firm, firm.workshop.drafts.get(draft.id, firm.engineer), make_pdf=meanwhile)
    assert head(firm.workshop)[0] == 0


def test_a_pdf_that_fails_signs_nothing(firm: Firm) -> None:
    draft = firm.draft(store_work.memo_text(1, jobs=2))
    for n in (0, 1):
        draft = firm.workshop.drafts.edit(
            draft.id, draft.version, firm.engineer, Confirm(pointer=f"/jobs/{n}/machine/hours")
        )

    def second_fails(document: dict[str, Any]) -> bytes:
        if document["sheet"] == 2:
            raise JobnotesError("The page can't be set.")
        return plain_pdf(document)

    with pytest.raises(JobnotesError, match="can't be set"):
        sign(firm, draft, make_pdf=second_fails)
    assert head(firm.workshop)[0] == 0
    assert len(list(firm.workshop.sheets.blobs.files())) == 1
    firm.workshop.sweep()
    assert list(firm.workshop.sheets.blobs.files()) == []
    assert len(sign(firm, draft)) == 2


def test_a_draft_without_a_job_is_not_signed(firm: Firm) -> None:
    draft = firm.draft("nothing that could be read")
    with pytest.raises(NotReadyError, match="no job"):
        sign(firm, draft)


# -- what is signed --


def test_the_document(firm: Firm) -> None:
    draft = firm.draft()
    strokes = [[[0, 0], [40, 12]], [[50, 3], [55, 3]]]
    (sheet,) = signed(firm.workshop, firm.engineer, draft, customer=Signed("  Ada   Finch ", strokes))
    record = sheet.record
    assert canonical(record) == canonical(json.loads(canonical(record)))
    assert sha256(canonical(record)) == sheet.sha256
    assert firm.workshop.sheets.pdf(sheet) == plain_pdf(record)
    assert (record["sheet"], record["revision"], record["replaces"]) == (1, 1, None)
    assert (record["entry"], record["previous"]) == (1, "0" * 64)
    assert record["recording_sha256"] is None, "it was typed"
    memo = firm.workshop.memos.get(draft.memo_id or 0)
    assert record["memo_sha256"] == memo.sha256
    assert memo.transcript is not None
    assert record["words_sha256"] == sha256(memo.transcript.model_dump_json().encode())
    assert record["signatures"] == {
        "engineer": {"name": "Tamsin Quill", "strokes": None},
        "customer": {"name": "Ada Finch", "strokes": strokes},
    }
    at = datetime.fromisoformat(record["signed_at"])
    assert at.utcoffset() == at.astimezone(LONDON).utcoffset()
    assert abs((at - sheet.signed_at).total_seconds()) < 1
    assert sheet.job.machine.fleet_number == "WL10"
    assert sheet.evidence["/job/customer"].text == "Oddmarsh Hire"
    assert set(record["evidence"]) == {"/job/machine/fleet_number", "/job/machine/hours", "/job/customer"}


@pytest.mark.parametrize("strokes", [[], [[]], [[[1, 2]]], [[[1, 2], [3]]], [[[0.5, 1], [2, 3]]], "abc"])
def test_a_drawing_that_is_none(firm: Firm, strokes: Any) -> None:
    with pytest.raises(JobnotesError, match="no drawing"):
        signed(firm.workshop, firm.engineer, firm.draft(), customer=Signed("Ada Finch", strokes))


def test_an_amendment_is_a_new_revision(firm: Firm) -> None:
    draft = firm.draft(store_work.memo_text(1, jobs=2))
    first, second = signed(firm.workshop, firm.engineer, draft)
    sheets, drafts = firm.workshop.sheets, firm.workshop.drafts
    with pytest.raises(NotAllowedError):
        sheets.amend(2, firm.other)
    amending = sheets.amend(2, firm.engineer)
    assert amending.amends == 2 and [job.machine.fleet_number for job in amending.read.jobs] == ["WL11"]
    assert sheets.amend(2, firm.engineer).id == amending.id, "there is one amendment at a time"
    with pytest.raises(InvalidEditError, match="one job"):
        drafts.edit(amending.id, 1, firm.engineer, AddJob())
    amending = drafts.edit(amending.id, 1, firm.engineer, SetValue(pointer=HOURS, value=4242))
    (after,) = signed(firm.workshop, firm.engineer, amending)
    assert (after.number, after.revision) == (2, 2)
    assert after.record["replaces"] == {"revision": 1, "sha256": second.sha256}
    assert (after.record["job_number"], after.record["jobs_in_memo"]) == (2, 2)
    assert [(each.revision, each.state) for each in sheets.revisions(2)] == [(1, "replaced"), (2, "signed")]
    assert sheets.get(2).job.machine.hours == 4242
    assert sheets.get(2, 1).job.machine.hours == second.job.machine.hours
    assert sheets.get(1) == first
    assert list(verify(firm.workshop)) == []
    (fresh,) = signed(firm.workshop, firm.engineer, firm.draft(store_work.memo_text(9), "next"))
    assert fresh.number == 3, "an amendment takes no new number"


def test_withdrawing(firm: Firm) -> None:
    (sheet,) = signed(firm.workshop, firm.engineer, firm.draft())
    sheets = firm.workshop.sheets
    with pytest.raises(NotAllowedError):
        sheets.withdraw(1, firm.other, "not mine")
    with pytest.raises(JobnotesError, match="reason"):
        sheets.withdraw(1, firm.office, "")
    amending = sheets.amend(1, firm.engineer)
    gone = sheets.withdraw(1, firm.office, "wrong machine")
    assert (gone.state, gone.withdrawn_why, gone.record) == ("withdrawn", "wrong machine", sheet.record)
    by, _ = sheets.withdrawal(gone)
    assert by == "Prudence Able"
    assert firm.workshop.drafts.get(amending.id, firm.engineer).state == "withdrawn"
    for act in (
        lambda: sheets.withdraw(1, firm.office, "again"),
        lambda: sheets.amend(1, firm.engineer),
        lambda: sheets.send_back(1, firm.office, "look"),
    ):
        with pytest.raises(NotAllowedError):
            act()
    assert head(firm.workshop)[0] == 2
    assert list(verify(firm.workshop)) == []
    with pytest.raises(MissingError):
        sheets.get(2)
    with pytest.raises(MissingError):
        sheets.get(1, 2)


def test_the_office_sends_a_sheet_back(firm: Firm) -> None:
    signed(firm.workshop, firm.engineer, firm.draft())
    sheets = firm.workshop.sheets
    with pytest.raises(NotAllowedError):
        sheets.send_back(1, firm.engineer, "hm")
    with pytest.raises(NotAllowedError):
        sheets.comment(1, firm.other, "nice work")
    with pytest.raises(MissingError):
        sheets.comment(7, firm.office, "where is it?")
    sheets.send_back(1, firm.office, "The order number, please.")
    sheets.comment(1, firm.engineer, "It is coming.")
    assert sheets.get(1).returned
    amending = sheets.amend(1, firm.engineer)
    signed(firm.workshop, firm.engineer, amending)
    assert [each.returned for each in sheets.revisions(1)] == [False, False]
    assert [each.text for each in sheets.comments(1)] == ["The order number, please.", "It is coming."]


def test_several_sign_at_once_in_one_chain(firm: Firm) -> None:
    drafts = [firm.draft(store_work.memo_text(n), f"memo{n}") for n in range(6)]
    failures: list[BaseException] = []

    def work(draft: Any) -> None:
        try:
            signed(firm.workshop, firm.engineer, draft)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(draft,)) for draft in drafts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert sorted(each.number for each in firm.workshop.sheets.lines()) == [1, 2, 3, 4, 5, 6]
    assert list(verify(firm.workshop)) == []


def test_one_draft_is_signed_once_though_two_press(firm: Firm) -> None:
    draft = firm.draft()
    draft = firm.workshop.drafts.edit(draft.id, 1, firm.engineer, Confirm(pointer=HOURS))
    ends: list[str] = []

    def work() -> None:
        try:
            ends.append(f"sheet {sign(firm, draft)[0].number}")
        except NotAllowedError:
            ends.append("refused")

    at_once(work)
    assert sorted(ends) == ["refused", "refused", "sheet 1"]
    with pytest.raises(NotAllowedError, match="signed"):
        firm.workshop.drafts.edit(draft.id, 2, firm.engineer, SetValue(pointer=HOURS, value=1))


def test_sheets_of_a_machine(firm: Firm) -> None:
    signed(firm.workshop, firm.engineer, firm.draft("WX31 hours 1 customer A\nWL7 hours 2 customer B"))
    lines = firm.workshop.sheets.lines
    assert [each.number for each in lines(fleet_number="wx 31")] == [1]
    assert [each.number for each in lines()] == [2, 1]
    assert lines("withdrawn") == []


# -- what is new in the chain --


def test_the_newest_entry_moves_with_all_that_is_chained(firm: Firm) -> None:
    sheets = firm.workshop.sheets
    assert sheets.newest_entry() == 0
    signed(firm.workshop, firm.engineer, firm.draft(store_work.memo_text(1, jobs=2)))
    assert sheets.newest_entry() == 2 == head(firm.workshop)[0]
    sheets.withdraw(1, firm.office, "wrong machine")
    assert sheets.newest_entry() == 3 == head(firm.workshop)[0]


def test_what_was_signed_or_withdrawn_since(firm: Firm) -> None:
    sheets = firm.workshop.sheets

    def since(entry: int) -> list[tuple[int, int, str]]:
        return [(each.number, each.revision, each.state) for each in sheets.since(entry)]

    assert since(0) == []
    signed(firm.workshop, firm.engineer, firm.draft(store_work.memo_text(1, jobs=2)))
    assert since(0) == [(1, 1, "signed"), (2, 1, "signed")] and since(1) == [(2, 1, "signed")]
    assert since(2) == []
    signed(firm.workshop, firm.engineer, sheets.amend(1, firm.engineer))
    assert since(2) == [(1, 2, "signed")]
    sheets.withdraw(2, firm.office, "wrong machine")
    assert since(3) == [(2, 1, "withdrawn")], "signed long before, withdrawn since"
    assert since(0) == [(1, 1, "replaced"), (2, 1, "withdrawn"), (1, 2, "signed")]
    assert [each.record["entry"] for each in sheets.since(0)] == [1, 2, 3]
