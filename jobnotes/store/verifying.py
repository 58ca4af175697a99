"""Everything held against everything: database, chain, sheets, PDFs, corrections, recordings, invoices."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from jobnotes.errors import JobnotesError
from jobnotes.store import chain
from jobnotes.store.canonical import canonical
from jobnotes.store.draft_rows import document_at
from jobnotes.store.faults import Fault
from jobnotes.store.moments import written
from jobnotes.store.signer import PDF
from jobnotes.store.signing import digest_of_corrections, digest_of_words, evidence_of
from jobnotes.store.tables import DraftRow, EntryRow, MemoRow, PersonRow, SheetRow
from jobnotes.store.values import Entry
from jobnotes.store.verifying_office import office_faults

if TYPE_CHECKING:
    from jobnotes.store.workshop import Workshop

CheckPdf = Callable[[bytes, bytes], str | None]
"""Given a sheet's PDF and the canonical JSON that it should carry: what is wrong with it, in a sentence, None
where nothing is."""


def verify(
    workshop: Workshop, check_pdf: CheckPdf | None = None, *, expect: str | None = None
) -> Iterator[Fault]:
    """All that does not fit, in this order: database, chain, sheets' rows, PDFs, drafts, corrections,
    recordings, invoices, stock, orders, closed follow-ups.

    The chain alone can't tell that its end was cut off; `expect` is a hash, kept elsewhere, that must still
    be one of its entries. Without `check_pdf` the PDFs are held against their hashes and not looked into.
    """
    try:
        yield from _all(workshop, check_pdf, expect)
    except (JobnotesError, ArithmeticError, LookupError, TypeError, ValueError) as error:
        yield Fault("database", f"The database holds what was never written to it: {error}.")


def _all(workshop: Workshop, check_pdf: CheckPdf | None, expect: str | None) -> Iterator[Fault]:
    with workshop.database.reading() as session:
        try:
            faults = [str(row[0]) for row in session.execute(text("PRAGMA integrity_check(3)"))]
        except DatabaseError as error:
            faults = [str(error.orig)]
        if faults != ["ok"]:
            yield Fault("database", f"The database is damaged: {faults[0]}.")
            return
        known: dict[int, Entry] = {}
        yield from _chain(session, known)
        if expect is not None and expect not in {entry.sha256 for entry in known.values()}:
            yield Fault("chain", f"No entry of the chain has the hash {expect}: entries were removed.")
        yield from _sheets(session, known)
        for row in session.scalars(select(SheetRow).order_by(SheetRow.entry)):
            yield from _pdf(workshop, row, known, check_pdf)
            yield from _draft(session, row, known)
            yield from _corrections(session, row, known)
        yield from _memos(workshop, session, known)
        yield from office_faults(workshop, session, known)


def head(workshop: Workshop) -> tuple[int, str]:
    """The number and the hash of the chain's newest entry; 0 and noughts for an empty chain."""
    with workshop.database.reading() as session:
        number, previous = chain.next_place(session)
        return number - 1, previous


def _chain(session: Session, known: dict[int, Entry]) -> Iterator[Fault]:
    previous = chain.BEGINNING
    sheets: dict[int, int] = {}
    for number, entry in enumerate(chain.entries(session), 1):
        if fault := chain.fault_in(entry, number, previous):
            yield Fault(
                f"chain entry {entry.number}", f"The chain is broken at entry {entry.number}: {fault}."
            )
            return
        known[number] = entry
        previous = entry.sha256
        content = chain.content_of_entry(entry)
        if fault := _at_another_time(entry, content):
            yield Fault(f"chain entry {number}", fault)
        if entry.kind == "sheet" and (fault := _out_of_order(content, sheets)):
            yield Fault(f"chain entry {number}", f"At entry {number} of the chain {fault}.")


def _at_another_time(entry: Entry, content: dict[str, Any]) -> str | None:
    if entry.kind == "sheet":
        same = _signed_at(content) == entry.at.replace(microsecond=0)
    else:
        same = content.get("at") == written(entry.at)
    return None if same else f"The list says another time of chain entry {entry.number} than stands in it."


def _signed_at(content: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(str(content.get("signed_at")))


def _out_of_order(content: dict[str, Any], newest: dict[int, int]) -> str | None:
    """Whether a sheet's number and revision follow on those before it; `newest` is kept up."""
    sheet, revision = content.get("sheet"), content.get("revision")
    if not isinstance(sheet, int) or not isinstance(revision, int):
        return "the sheet has no number"
    if revision != newest.get(sheet, 0) + 1:
        return f"sheet {sheet} has revision {revision} out of its turn"
    if sheet not in newest and sheet != len(newest) + 1:
        return f"sheet {sheet} has its number out of its turn"
    newest[sheet] = revision
    return None


def _sheets(session: Session, known: dict[int, Entry]) -> Iterator[Fault]:
    """Whether lists and chain tell the same."""
    rows = {row.entry: row for row in session.scalars(select(SheetRow))}
    withdrawn = {
        content.get("sha256"): (entry.number, content.get("reason"))
        for entry in known.values()
        if entry.kind == "withdrawal" and (content := chain.content_of_entry(entry))
    }
    accounts = {row.id: row.name for row in session.scalars(select(PersonRow))}
    memos = {row.id: row.sha256 for row in session.scalars(select(MemoRow))}
    newest = {
        row.number: max(r.revision for r in rows.values() if r.number == row.number) for row in rows.values()
    }
    for number, entry in known.items():
        row = rows.get(number)
        if entry.kind == "sheet" and row is None:
            yield Fault(
                f"chain entry {number}", f"The sheet of chain entry {number} is missing from the list."
            )
        if row is None or entry.kind != "sheet":
            continue
        name = f"sheet {row.number}, revision {row.revision}"
        content = chain.content_of_entry(entry)
        listed = (
            *(row.number, row.revision, row.engineer, row.customer, row.site, row.date, row.fleet_number),
            *(accounts.get(row.engineer_id or 0), row.draft_id, memos.get(row.memo_id or 0)),
            row.signed_at.replace(microsecond=0),
        )
        if listed != _as_listed(content):
            yield Fault(name, f"What the list says of {name} is not what was signed.")
        state = "withdrawn" if entry.sha256 in withdrawn else "signed"
        if row.revision < newest[row.number]:
            state = "replaced"
        if row.state != state:
            yield Fault(name, f"The list says that {name} is {row.state}; by the chain it is {state}.")
        if (row.withdrawn_entry, row.withdrawn_why) != withdrawn.get(entry.sha256, (None, None)):
            yield Fault(name, f"The list says of the withdrawal of {name} what the chain does not.")
    for number, row in rows.items():
        entry_row = session.get(EntryRow, number)
        if entry_row is None or entry_row.kind != "sheet":
            name = f"sheet {row.number}, revision {row.revision}"
            yield Fault(name, f"The chain has no entry for {name}.")


def _as_listed(content: dict[str, Any]) -> tuple[Any, ...] | None:
    """What a list should say of a signed document, None for one that no sheet has."""
    try:
        job = content["job"]
        place = (job["customer"] or "", job["site"] or "", job["date"] or "")
        fleet_number = job["machine"]["fleet_number"] or ""
        return (
            *(content["sheet"], content["revision"], content["signed_by"], *place, fleet_number),
            *(content["account"], content["draft"], content["memo_sha256"], _signed_at(content)),
        )
    except (KeyError, TypeError):
        return None


def _pdf(
    workshop: Workshop, row: SheetRow, known: dict[int, Entry], check_pdf: CheckPdf | None
) -> Iterator[Fault]:
    name = f"PDF of sheet {row.number}, revision {row.revision}"
    blobs = workshop.sheets.blobs
    if fault := blobs.fault(row.pdf_sha256, PDF):
        yield Fault(name, f"The {name} {fault}.")
    elif check_pdf is not None and (entry := known.get(row.entry)) is not None:
        content = blobs.path(row.pdf_sha256, PDF).read_bytes()
        if trouble := check_pdf(content, entry.content):
            yield Fault(name, f"The {name} does not hold: {trouble}")


def _draft(session: Session, row: SheetRow, known: dict[int, Entry]) -> Iterator[Fault]:
    """Whether the draft that a sheet came from still says what was signed."""
    entry, draft = known.get(row.entry), session.get(DraftRow, row.draft_id)
    if entry is None:
        return
    content = chain.content_of_entry(entry)
    amends = content["sheet"] if content["replaces"] else None
    same = draft is not None and (draft.state, draft.version, draft.amends) == (
        "signed",
        content["version"],
        amends,
    )
    if same:
        document = document_at(session, row.draft_id, content["version"])
        place = content["job_number"] - 1 if amends is None else 0
        held = {"job": document["jobs"][place], "evidence": evidence_of(document, place)}
        same = canonical(held) == canonical({name: content[name] for name in held})
    if not same:
        name = f"draft of sheet {row.number}, revision {row.revision}"
        yield Fault(name, f"The {name} is not what was signed.")


def _corrections(session: Session, row: SheetRow, known: dict[int, Entry]) -> Iterator[Fault]:
    entry = known.get(row.entry)
    if entry is None:
        return
    signed = chain.content_of_entry(entry).get("corrections_sha256")
    if digest_of_corrections(session, row.draft_id) != signed:
        name = f"corrections of sheet {row.number}, revision {row.revision}"
        yield Fault(name, f"The {name} are not those that were signed.")


def _memos(workshop: Workshop, session: Session, known: dict[int, Entry]) -> Iterator[Fault]:
    forgotten = {
        chain.content_of_entry(entry).get("memo_sha256")
        for entry in known.values()
        if entry.kind == "forgotten"
    }
    for row in session.scalars(select(MemoRow).order_by(MemoRow.id)):
        name = f"recording of {row.name}"
        if (row.forgotten_at is not None) != (row.sha256 in forgotten):
            yield Fault(name, f"List and chain do not agree on whether the {name} was deleted on purpose.")
        elif row.forgotten_at is None and (fault := workshop.memos.blobs.fault(row.sha256, row.ending)):
            yield Fault(name, f"The {name} {fault}.")
    listed = {row.sha256: row for row in session.scalars(select(MemoRow))}
    for number, entry in known.items():
        if entry.kind == "sheet" and (content := chain.content_of_entry(entry))["memo_sha256"] is not None:
            memo = listed.get(content["memo_sha256"])
            name = f"memo of sheet {content['sheet']}, revision {content['revision']}"
            if memo is None:
                yield Fault(name, f"The {name} (chain entry {number}) is not in the list of memos.")
            elif (content["words_sha256"], content["recorded_at"]) != (
                digest_of_words(memo),
                memo.recorded_at,
            ):
                yield Fault(name, f"What the list says was heard in the {name} is not what it was.")
