"""An index by which a kind is read on from where a page of it ended."""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make it."""
    op.create_index("ix_current_kind_first", "current", ["kind", "first"])
