"""The first tables: people, memos, drafts, the chain, signed sheets, the register, learned words, search."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Makes the tables. Times are text in UTC, see `jobnotes.store.moments`."""
    op.create_table(
        "chain",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("number"),
        sa.UniqueConstraint("sha256"),
    )
    op.create_table(
        "learned_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("heard", sa.String(), nullable=False),
        sa.Column("meant", sa.String(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("accepted", sa.Boolean(), nullable=False),
        sa.Column("decided_by", sa.String(), nullable=False),
        sa.Column("decided_at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key", "meant"),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("display_name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "register_file",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("loaded_at", sa.String(), nullable=False),
        sa.Column("loaded_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "wrong_try",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("looked_at", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_wrong_try_key", "wrong_try", ["key"])
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("on_what", sa.String(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_audit_at", "audit", ["at"])
    op.create_table(
        "log_in",
        sa.Column("token_sha256", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("seen_at", sa.String(), nullable=False),
        sa.Column("expires_at", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
        ),
        sa.PrimaryKeyConstraint("token_sha256"),
    )
    op.create_index("ix_log_in_person_id", "log_in", ["person_id"])
    op.create_table(
        "memo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("ending", sa.String(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("changed_ns", sa.Integer(), nullable=False),
        sa.Column("engineer_id", sa.Integer(), nullable=True),
        sa.Column("taken_by", sa.String(), nullable=False),
        sa.Column("taken_at", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("failure", sa.Text(), nullable=True),
        sa.Column("recorded_at", sa.String(), nullable=True),
        sa.Column("transcript", sa.Text(), nullable=True),
        sa.Column("forgotten_at", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["engineer_id"],
            ["person.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sha256"),
    )
    op.create_index("ix_memo_state", "memo", ["state"])
    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("memo_id", sa.Integer(), nullable=True),
        sa.Column("memo", sa.String(), nullable=False),
        sa.Column("engineer_id", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("changed_at", sa.String(), nullable=False),
        sa.Column("amends", sa.Integer(), nullable=True),
        sa.Column("returned", sa.Boolean(), nullable=False),
        sa.Column("marked", sa.Integer(), nullable=False),
        sa.Column("jobs", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["engineer_id"],
            ["person.id"],
        ),
        sa.ForeignKeyConstraint(
            ["memo_id"],
            ["memo.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_draft_engineer_id", "draft", ["engineer_id"])
    op.create_index("ix_draft_memo_id", "draft", ["memo_id"])
    op.create_index("ix_draft_state", "draft", ["state"])
    op.create_table(
        "comment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=True),
        sa.Column("sheet", sa.Integer(), nullable=True),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("returned", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["draft_id"],
            ["draft.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_comment_draft_id", "comment", ["draft_id"])
    op.create_index("ix_comment_sheet", "comment", ["sheet"])
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("pointer", sa.String(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("heard", sa.Text(), nullable=False),
        sa.Column("undone", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["draft_id"],
            ["draft.id"],
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("correction_of_draft", "correction", ["draft_id", "version"])
    op.create_table(
        "draft_version",
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("operation", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("back", sa.Integer(), nullable=True),
        sa.Column("forward", sa.Integer(), nullable=True),
        sa.Column("origin", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["draft_id"],
            ["draft.id"],
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
        ),
        sa.PrimaryKeyConstraint("draft_id", "version"),
    )
    op.create_table(
        "sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("memo_id", sa.Integer(), nullable=True),
        sa.Column("engineer_id", sa.Integer(), nullable=True),
        sa.Column("engineer", sa.String(), nullable=False),
        sa.Column("signed_at", sa.String(), nullable=False),
        sa.Column("pdf_sha256", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("withdrawn_entry", sa.Integer(), nullable=True),
        sa.Column("withdrawn_why", sa.Text(), nullable=True),
        sa.Column("returned", sa.Boolean(), nullable=False),
        sa.Column("fleet_number", sa.String(), nullable=False),
        sa.Column("customer", sa.String(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("date", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["draft_id"],
            ["draft.id"],
        ),
        sa.ForeignKeyConstraint(
            ["engineer_id"],
            ["person.id"],
        ),
        sa.ForeignKeyConstraint(
            ["entry"],
            ["chain.number"],
        ),
        sa.ForeignKeyConstraint(
            ["memo_id"],
            ["memo.id"],
        ),
        sa.ForeignKeyConstraint(
            ["withdrawn_entry"],
            ["chain.number"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("entry"),
        sa.UniqueConstraint("number", "revision"),
    )
    op.create_index("ix_sheet_draft_id", "sheet", ["draft_id"])
    op.create_index("ix_sheet_fleet_number", "sheet", ["fleet_number"])
    op.create_index("ix_sheet_memo_id", "sheet", ["memo_id"])
    op.create_index("ix_sheet_state", "sheet", ["state"])
    op.execute(
        "CREATE VIRTUAL TABLE search USING fts5(title UNINDEXED, machine, customer, site, part, words, "
        "tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3')"
    )


def downgrade() -> None:
    """There is nothing before the first."""
    raise NotImplementedError("the first migration has none before it")
