"""The first tables: journal, current state, rivals, head of the chain, contents."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

SEQ = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Make them."""
    _journal()
    _current()
    op.create_table(
        "rival",
        sa.Column("seq", SEQ, autoincrement=False),
        sa.Column("noun", sa.Uuid, nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_rival"),
        sa.ForeignKeyConstraint(["seq"], ["entry.seq"], name="fk_rival_seq_entry"),
    )
    op.create_index("ix_rival_noun", "rival", ["noun"])
    op.create_table(
        "head",
        sa.Column("id", sa.Integer, autoincrement=False),
        sa.Column("farm", sa.Uuid, nullable=False),
        sa.Column("seq", SEQ, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_head"),
    )
    op.create_table(
        "content",
        sa.Column("hash", sa.String(64)),
        sa.Column("size", SEQ, nullable=False),
        sa.Column("bytes", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_content"),
    )


def _journal() -> None:
    op.create_table(
        "entry",
        sa.Column("seq", SEQ, autoincrement=False),
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("kind", sa.String(24), nullable=False),
        sa.Column("noun", sa.Uuid, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("corrects", sa.Text, nullable=False),
        sa.Column("payload", sa.Text),
        sa.Column("season", sa.Integer),
        sa.Column("known_on", sa.Date, nullable=False),
        sa.Column("entered_at", sa.String(27), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("is_contested", sa.Boolean, nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_entry"),
        sa.UniqueConstraint("id", name="uq_entry_id"),
    )
    op.create_index("ix_entry_noun", "entry", ["noun"])


def _current() -> None:
    op.create_table(
        "current",
        sa.Column("noun", sa.Uuid),
        sa.Column("seq", SEQ, nullable=False),
        sa.Column("first", SEQ, nullable=False),
        sa.Column("kind", sa.String(24), nullable=False),
        sa.Column("season", sa.Integer),
        sa.Column("is_withdrawn", sa.Boolean, nullable=False),
        sa.Column("name", sa.Text),
        sa.Column("lot", sa.Text),
        sa.Column("place", sa.Text),
        sa.Column("day", sa.Date),
        sa.PrimaryKeyConstraint("noun", name="pk_current"),
        sa.ForeignKeyConstraint(["seq"], ["entry.seq"], name="fk_current_seq_entry"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_current_kind_day_first", "current", ["kind", "day", "first"])
    for name in ("name", "lot", "place"):
        has = sa.text(f"{name} IS NOT NULL")
        op.create_index(
            f"ix_current_kind_{name}_day", "current", ["kind", name, "day"],
            sqlite_where=has, postgresql_where=has,
        )  # fmt: skip
