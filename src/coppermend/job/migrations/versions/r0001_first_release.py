"""The schema as first released. Makes what is missing, so that it also adopts records older than this step.

Columns are written out here and never taken from ``job.tables``: a step must stay what it was when the tables go on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_metadata = sa.MetaData()
_moment = sa.DateTime(timezone=True)


def _text(name: str, *, index: bool | None = None) -> sa.Column[str]:
    return sa.Column(name, sa.String, nullable=False, index=index)


sa.Table("meta", _metadata, sa.Column("key", sa.String, primary_key=True), _text("value"))
sa.Table(
    "job",
    _metadata,
    sa.Column("number", sa.String, primary_key=True),
    sa.Column("year", sa.Integer, nullable=False),
    sa.Column("counter", sa.Integer, nullable=False),
    sa.Column("created", _moment, nullable=False),
    sa.UniqueConstraint("year", "counter"),
)
sa.Table(
    "entry",
    _metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("job", sa.ForeignKey("job.number"), nullable=False),
    sa.Column("seq", sa.Integer, nullable=False),
    sa.Column("at", _moment, nullable=False),
    _text("who"),
    _text("stage"),
    _text("kind", index=True),
    sa.Column("body", sa.JSON, nullable=False),
    sa.UniqueConstraint("job", "seq"),
)
sa.Table(
    "attachment",
    _metadata,
    sa.Column("sha256", sa.String, primary_key=True),
    sa.Column("size", sa.Integer, nullable=False),
    _text("media_type"),
    _text("name"),
    sa.Column("added", _moment, nullable=False),
)
sa.Table(
    "board",
    _metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _text("name", index=True),
    sa.Column("sha256", sa.ForeignKey("attachment.sha256"), nullable=False),
    sa.Column("added", _moment, nullable=False),
)
sa.Table(
    "reference_image",
    _metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _text("name"),
    sa.Column("sums", sa.JSON, nullable=False),
    _text("note"),
    _text("who"),
    sa.Column("added", _moment, nullable=False),
)
sa.Table(
    "person",
    _metadata,
    sa.Column("name", sa.String, primary_key=True),
    _text("phrase_hash"),
    sa.Column("added", _moment, nullable=False),
)
sa.Table(
    "signed_in",
    _metadata,
    sa.Column("token_sha256", sa.String, primary_key=True),
    sa.Column("person", sa.ForeignKey("person.name"), nullable=False),
    sa.Column("since", _moment, nullable=False),
    sa.Column("used", _moment, nullable=False),
)

_REFUSE = "entries are only ever added"


def upgrade() -> None:
    """Make the tables that are missing, and have the database itself refuse to change or delete an entry."""
    connection = op.get_bind()
    _metadata.create_all(connection)
    if connection.dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER IF NOT EXISTS entry_no_{verb.lower()} BEFORE {verb} ON entry "
                f"BEGIN SELECT RAISE(ABORT, '{_REFUSE}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION entry_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_REFUSE}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    for verb, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        op.execute(
            f"CREATE TRIGGER entry_no_{verb.lower()} BEFORE {verb} ON entry "
            f"FOR EACH {each} EXECUTE FUNCTION entry_refuse()"
        )
