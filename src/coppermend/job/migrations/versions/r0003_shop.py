"""Entries of the shop that belong to no job: its settings, and what moves on its shelf."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "shop_entry",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String, nullable=False),
        sa.Column("about", sa.String, nullable=False, index=True),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("body", sa.JSON, nullable=False),
    )
