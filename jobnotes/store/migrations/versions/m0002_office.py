"""The office's tables: drafts of invoices, approved invoices, stock, orders, closed follow-ups."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Adds the tables; those that are there stay as they are. Sums and quantities are decimals as text."""
    op.create_table(
        "invoice_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("customer", sa.String(), nullable=False),
        sa.Column("issued", sa.String(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("changed_by", sa.String(), nullable=False),
        sa.Column("changed_at", sa.String(), nullable=False),
        sa.Column("invoice", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_invoice_draft_state", "invoice_draft", ["state"])
    op.create_table(
        "invoice_draft_sheet",
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["draft_id"], ["invoice_draft.id"]),
        sa.PrimaryKeyConstraint("draft_id", "sheet"),
    )
    op.create_index("ix_invoice_draft_sheet_sheet", "invoice_draft_sheet", ["sheet"])
    op.create_table(
        "invoice_adjustment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("given", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["draft_id"], ["invoice_draft.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("draft_id", "kind", "key"),
    )
    op.create_table(
        "invoice",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("customer", sa.String(), nullable=False),
        sa.Column("customer_key", sa.String(), nullable=False),
        sa.Column("issued", sa.String(), nullable=False),
        sa.Column("net", sa.String(), nullable=False),
        sa.Column("vat", sa.String(), nullable=False),
        sa.Column("gross", sa.String(), nullable=False),
        sa.Column("printed_number", sa.String(), nullable=False),
        sa.Column("approved_by", sa.String(), nullable=False),
        sa.Column("approved_at", sa.String(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("pdf_sha256", sa.String(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=True),
        sa.Column("credits", sa.Integer(), nullable=True),
        sa.Column("credited", sa.String(), nullable=False),
        sa.Column("wholly_credited", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["chain.number"]),
        sa.ForeignKeyConstraint(["draft_id"], ["invoice_draft.id"]),
        sa.ForeignKeyConstraint(["credits"], ["invoice.number"]),
        sa.PrimaryKeyConstraint("number"),
        sa.UniqueConstraint("draft_id"),
        sa.UniqueConstraint("entry"),
        sa.UniqueConstraint("printed_number"),
    )
    op.create_index("ix_invoice_credits", "invoice", ["credits"])
    op.create_index("ix_invoice_customer_key", "invoice", ["customer_key"])
    op.create_index("ix_invoice_issued", "invoice", ["issued"])
    op.create_table(
        "invoice_sheet",
        sa.Column("invoice", sa.Integer(), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["invoice"], ["invoice.number"]),
        sa.PrimaryKeyConstraint("invoice", "sheet"),
    )
    op.create_index("ix_invoice_sheet_sheet", "invoice_sheet", ["sheet"])
    op.create_table(
        "part_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("supplier", sa.String(), nullable=False),
        sa.Column("part_number", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("van", sa.String(), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=True),
        sa.Column("place", sa.Integer(), nullable=True),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["part_order.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_part_order_order_id", "part_order", ["order_id"])
    op.create_table(
        "stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("van", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("part_number", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["order_id"], ["part_order.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_stock_van", "stock", ["van"])
    op.create_table(
        "follow_up_closing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("sheet", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("by_sheet", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.String(), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=True),
        sa.Column("undone_why", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_follow_up_closing_sheet", "follow_up_closing", ["sheet"])


def downgrade() -> None:
    """Nothing goes back: what was invoiced is in the chain."""
    raise NotImplementedError("a workshop that has invoices is not taken back to a format without them")
