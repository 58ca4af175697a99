"""The tables of a workshop's database. A change here needs a new file in `migrations/versions`."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, LargeBinary, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from jobnotes.store.moments import Moment


class Table(DeclarativeBase):
    """All tables."""


class PersonRow(Table):
    """An account. `key` is the name without regard to capitals."""

    __tablename__ = "person"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String, unique=True)
    name: Mapped[str]
    display_name: Mapped[str]
    role: Mapped[str]
    password_hash: Mapped[str]
    active: Mapped[bool] = mapped_column(default=True)
    created_at: Mapped[datetime] = mapped_column(Moment)


class LogInRow(Table):
    """A log-in that holds: of its token only the hash is kept."""

    __tablename__ = "log_in"
    token_sha256: Mapped[str] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    created_at: Mapped[datetime] = mapped_column(Moment)
    seen_at: Mapped[datetime] = mapped_column(Moment)
    expires_at: Mapped[datetime] = mapped_column(Moment)


class WrongTryRow(Table):
    """A password that was wrong, or (not `looked_at` yet) may be."""

    __tablename__ = "wrong_try"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String, index=True)
    at: Mapped[datetime] = mapped_column(Moment)
    looked_at: Mapped[bool]


class AuditRow(Table):
    """Who did or saw what."""

    __tablename__ = "audit"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Moment, index=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    who: Mapped[str]
    what: Mapped[str]
    on_what: Mapped[str]
    detail: Mapped[str] = mapped_column(Text)


class MemoRow(Table):
    """A recording or typed memo. `changed_ns` is the file's last change, in ns since 1970."""

    __tablename__ = "memo"
    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(String, unique=True)
    name: Mapped[str]
    file_name: Mapped[str]
    ending: Mapped[str]
    size: Mapped[int]
    changed_ns: Mapped[int]
    engineer_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    taken_by: Mapped[str]
    taken_at: Mapped[datetime] = mapped_column(Moment)
    state: Mapped[str] = mapped_column(String, index=True)
    failure: Mapped[str | None] = mapped_column(Text)
    recorded_at: Mapped[str | None]
    transcript: Mapped[str | None] = mapped_column(Text)
    forgotten_at: Mapped[datetime | None] = mapped_column(Moment)


class DraftRow(Table):
    """A draft. Its documents stand in `draft_version`; what a list shows of the newest stands here too."""

    __tablename__ = "draft"
    id: Mapped[int] = mapped_column(primary_key=True)
    memo_id: Mapped[int | None] = mapped_column(ForeignKey("memo.id"), index=True)
    memo: Mapped[str]
    engineer_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    version: Mapped[int]
    state: Mapped[str] = mapped_column(String, index=True)
    created_at: Mapped[datetime] = mapped_column(Moment)
    changed_at: Mapped[datetime] = mapped_column(Moment)
    amends: Mapped[int | None]
    returned: Mapped[bool] = mapped_column(default=False)
    marked: Mapped[int]
    jobs: Mapped[str] = mapped_column(Text)


class VersionRow(Table):
    """One state of a draft: jobs, notes and evidence as JSON.

    `back` and `forward` are the versions that undo and redo lead to. `origin` is the version that the state
    was first made by: an undo or a redo gives an earlier state a new number.
    """

    __tablename__ = "draft_version"
    draft_id: Mapped[int] = mapped_column(ForeignKey("draft.id"), primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True)
    document: Mapped[str] = mapped_column(Text)
    operation: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(Moment)
    back: Mapped[int | None]
    forward: Mapped[int | None]
    origin: Mapped[int]


class CorrectionRow(Table):
    """One change to a draft. `old` and `new` are JSON."""

    __tablename__ = "correction"
    __table_args__ = (Index("correction_of_draft", "draft_id", "version"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    draft_id: Mapped[int] = mapped_column(ForeignKey("draft.id"))
    version: Mapped[int]
    at: Mapped[datetime] = mapped_column(Moment)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    who: Mapped[str]
    kind: Mapped[str]
    pointer: Mapped[str]
    old: Mapped[str] = mapped_column(Text)
    new: Mapped[str] = mapped_column(Text)
    heard: Mapped[str] = mapped_column(Text)
    undone: Mapped[bool] = mapped_column(default=False)


class CommentRow(Table):
    """A word to a draft or a sheet."""

    __tablename__ = "comment"
    id: Mapped[int] = mapped_column(primary_key=True)
    draft_id: Mapped[int | None] = mapped_column(ForeignKey("draft.id"), index=True)
    sheet: Mapped[int | None] = mapped_column(index=True)
    at: Mapped[datetime] = mapped_column(Moment)
    who: Mapped[str]
    text: Mapped[str] = mapped_column(Text)
    returned: Mapped[bool] = mapped_column(default=False)


class EntryRow(Table):
    """An entry of the chain."""

    __tablename__ = "chain"
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str]
    content: Mapped[bytes] = mapped_column(LargeBinary)
    sha256: Mapped[str] = mapped_column(String, unique=True)
    previous: Mapped[str]
    at: Mapped[datetime] = mapped_column(Moment)


class SheetRow(Table):
    """A signed sheet. What stands here beside the entry's content is for lists."""

    __tablename__ = "sheet"
    __table_args__ = (UniqueConstraint("number", "revision"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[int]
    revision: Mapped[int]
    entry: Mapped[int] = mapped_column(ForeignKey("chain.number"), unique=True)
    draft_id: Mapped[int] = mapped_column(ForeignKey("draft.id"), index=True)
    memo_id: Mapped[int | None] = mapped_column(ForeignKey("memo.id"), index=True)
    engineer_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    engineer: Mapped[str]
    signed_at: Mapped[datetime] = mapped_column(Moment)
    pdf_sha256: Mapped[str]
    state: Mapped[str] = mapped_column(String, index=True)
    withdrawn_entry: Mapped[int | None] = mapped_column(ForeignKey("chain.number"))
    withdrawn_why: Mapped[str | None] = mapped_column(Text)
    returned: Mapped[bool] = mapped_column(default=False)
    fleet_number: Mapped[str] = mapped_column(String, index=True)
    customer: Mapped[str]
    site: Mapped[str]
    date: Mapped[str]


class RegisterFileRow(Table):
    """One file of the register, byte for byte as it was loaded."""

    __tablename__ = "register_file"
    name: Mapped[str] = mapped_column(primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary)
    loaded_at: Mapped[datetime] = mapped_column(Moment)
    loaded_by: Mapped[str]


class LearnedWordRow(Table):
    """What a person decided on a misheard word. `key` is `heard` without regard to capitals."""

    __tablename__ = "learned_word"
    __table_args__ = (UniqueConstraint("key", "meant"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str]
    heard: Mapped[str]
    meant: Mapped[str]
    field: Mapped[str]
    accepted: Mapped[bool]
    decided_by: Mapped[str]
    decided_at: Mapped[datetime] = mapped_column(Moment)


class InvoiceDraftRow(Table):
    """A draft of an invoice. `issued` is YYYY-MM-DD, None for the day of approval; `invoice` the number that
    it got."""

    __tablename__ = "invoice_draft"
    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[int]
    state: Mapped[str] = mapped_column(String, index=True)
    customer: Mapped[str]
    issued: Mapped[str | None]
    note: Mapped[str] = mapped_column(Text)
    created_by: Mapped[str]
    created_at: Mapped[datetime] = mapped_column(Moment)
    changed_by: Mapped[str]
    changed_at: Mapped[datetime] = mapped_column(Moment)
    invoice: Mapped[int | None]


class InvoiceDraftSheetRow(Table):
    """A sheet that a draft of an invoice charges."""

    __tablename__ = "invoice_draft_sheet"
    draft_id: Mapped[int] = mapped_column(ForeignKey("invoice_draft.id"), primary_key=True)
    sheet: Mapped[int] = mapped_column(primary_key=True, index=True)


class AdjustmentRow(Table):
    """What the office changed on a draft of an invoice; one of a kind for each line. `given` is JSON."""

    __tablename__ = "invoice_adjustment"
    __table_args__ = (UniqueConstraint("draft_id", "kind", "key"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    draft_id: Mapped[int] = mapped_column(ForeignKey("invoice_draft.id"))
    kind: Mapped[str]
    key: Mapped[str]
    given: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    who: Mapped[str]
    at: Mapped[datetime] = mapped_column(Moment)


class InvoiceRow(Table):
    """An approved invoice or credit note. What stands here beside the entry's content is for lists.

    Sums are decimals as text. `customer_key` is the name without regard to capitals and spaces. `credits` is
    the invoice that a credit note credits; `credited` and `wholly_credited` tell an invoice's credits so far.
    """

    __tablename__ = "invoice"
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str]
    customer: Mapped[str]
    customer_key: Mapped[str] = mapped_column(String, index=True)
    issued: Mapped[str] = mapped_column(String, index=True)
    net: Mapped[str]
    vat: Mapped[str]
    gross: Mapped[str]
    printed_number: Mapped[str] = mapped_column(String, unique=True)
    approved_by: Mapped[str]
    approved_at: Mapped[datetime] = mapped_column(Moment)
    entry: Mapped[int] = mapped_column(ForeignKey("chain.number"), unique=True)
    sha256: Mapped[str]
    pdf_sha256: Mapped[str]
    draft_id: Mapped[int | None] = mapped_column(ForeignKey("invoice_draft.id"), unique=True)
    credits: Mapped[int | None] = mapped_column(ForeignKey("invoice.number"), index=True)
    credited: Mapped[str]
    wholly_credited: Mapped[bool]


class InvoiceSheetRow(Table):
    """A sheet, in the revision that stood then, on an approved invoice or credit note."""

    __tablename__ = "invoice_sheet"
    invoice: Mapped[int] = mapped_column(ForeignKey("invoice.number"), primary_key=True)
    sheet: Mapped[int] = mapped_column(primary_key=True, index=True)
    revision: Mapped[int]


class OrderRow(Table):
    """An order for a part, or what became of one: `order_id` is then the order's row. Never changed."""

    __tablename__ = "part_order"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Moment)
    who: Mapped[str]
    kind: Mapped[str]
    order_id: Mapped[int | None] = mapped_column(ForeignKey("part_order.id"), index=True)
    supplier: Mapped[str]
    part_number: Mapped[str]
    description: Mapped[str]
    quantity: Mapped[str]
    unit: Mapped[str]
    van: Mapped[str]
    sheet: Mapped[int | None]
    place: Mapped[int | None]
    reference: Mapped[str]
    reason: Mapped[str] = mapped_column(Text)


class StockRow(Table):
    """A count, a delivery or a correction of a part in a van. Never changed."""

    __tablename__ = "stock"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Moment)
    who: Mapped[str]
    van: Mapped[str] = mapped_column(String, index=True)
    kind: Mapped[str]
    part_number: Mapped[str]
    description: Mapped[str]
    quantity: Mapped[str]
    reason: Mapped[str] = mapped_column(Text)
    order_id: Mapped[int | None] = mapped_column(ForeignKey("part_order.id"))


class ClosingRow(Table):
    """Work advised on a sheet that needs nobody any more; the last three say who opened it again."""

    __tablename__ = "follow_up_closing"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Moment)
    who: Mapped[str]
    sheet: Mapped[int] = mapped_column(index=True)
    text: Mapped[str] = mapped_column(Text)
    by_sheet: Mapped[int | None]
    reason: Mapped[str] = mapped_column(Text)
    undone_at: Mapped[datetime | None] = mapped_column(Moment)
    undone_by: Mapped[str | None]
    undone_why: Mapped[str | None] = mapped_column(Text)
