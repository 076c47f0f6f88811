"""Links between jobs on the same board, and what learning needs of every finished job."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the tables; what they hold is derived from the entries, and filled by the program."""
    op.create_table(
        "comeback",
        sa.Column("earlier", sa.String, primary_key=True),
        sa.Column("job", sa.String, primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "lesson",
        sa.Column("job", sa.String, primary_key=True),
        sa.Column("board", sa.String, nullable=False, index=True),
        sa.Column("log_minutes", sa.Float),
        sa.Column("log_ratio", sa.Float),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "lesson_remedy",
        sa.Column("remedy", sa.String, primary_key=True),
        sa.Column("job", sa.String, primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "lesson_stage",
        sa.Column("stage", sa.String, primary_key=True),
        sa.Column("minutes", sa.Float, primary_key=True),
        sa.Column("job", sa.String, primary_key=True),
        sqlite_with_rowid=False,
    )
    for name in ("comeback", "lesson_remedy", "lesson_stage"):
        op.create_index(f"ix_{name}_job", name, ["job"])
