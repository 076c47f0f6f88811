"""Cards and words of every job, for lists and search; the one way in which a body may change: erasing on request."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_moment = sa.DateTime(timezone=True)
_REFUSE = "entries are only ever added"
_SAME = " AND ".join(f"NEW.{name} = OLD.{name}" for name in ("id", "job", "seq", "who", "stage", "kind"))
_ERASED = (
    f"{_SAME} AND NEW.at = OLD.at "
    "AND EXISTS (SELECT 1 FROM erasure WHERE erasure.job = OLD.job AND erasure.seq = OLD.seq)"
)
_VECTOR = "array_to_tsvector(string_to_array(words, ' '))"


def _key() -> sa.Column[int]:
    return sa.Column(
        "key", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False
    )


def upgrade() -> None:
    """Make the tables; what they hold is derived from the entries, and filled by the program."""
    texts = ("stage", "customer", "contact", "machine", "serial", "marks", "complaint", "board", "promised")
    keys = ("owner_key", "serial_key", "marks_key")
    op.create_table(
        "card",
        _key(),
        sa.Column("number", sa.String, sa.ForeignKey("job.number"), nullable=False, unique=True),
        sa.Column("created", _moment, nullable=False),
        sa.Column("changed", _moment, nullable=False),
        *(sa.Column(name, sa.String, nullable=False) for name in texts),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("waiting", sa.Integer, nullable=False),
        sa.Column("gone", sa.Boolean, nullable=False),
        *(sa.Column(name, sa.String, nullable=False) for name in keys),
    )
    for name in keys:
        op.create_index(f"ix_card_{name}", "card", [name])
    op.create_index("ix_card_queue", "card", ["gone", "promised"])
    op.create_table("job_words", _key(), sa.Column("words", sa.Text, nullable=False))
    op.create_table(
        "gram",
        sa.Column("gram", sa.String, primary_key=True),
        sa.Column("length", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("word", sa.String, primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_table("word", sa.Column("word", sa.String, primary_key=True), sqlite_with_rowid=False)
    op.create_table(
        "feature",
        sa.Column("feature", sa.String, primary_key=True),
        sa.Column("job", sa.String, primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "erasure",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job", sa.String, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("keys", sa.JSON, nullable=False),
        sa.Column("at", _moment, nullable=False),
        sa.Column("who", sa.String, nullable=False),
        sa.Column("why", sa.String, nullable=False),
    )
    op.create_index("ix_erasure_job", "erasure", ["job", "seq"])
    if op.get_bind().dialect.name == "sqlite":
        _sqlite()
    else:
        _postgresql()


def _sqlite() -> None:
    op.execute("DROP TRIGGER entry_no_update")
    op.execute(
        f"CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry WHEN NOT ({_ERASED}) "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSE}'); END"
    )
    op.execute(
        "CREATE VIRTUAL TABLE words_index USING fts5(words, content='job_words', content_rowid='key', "
        "detail=none, columnsize=0, prefix='2 3', tokenize='unicode61 remove_diacritics 0')"
    )
    add = "INSERT INTO words_index(rowid, words) VALUES (NEW.key, NEW.words);"
    drop = "INSERT INTO words_index(words_index, rowid, words) VALUES ('delete', OLD.key, OLD.words);"
    for verb, steps in (("INSERT", add), ("UPDATE", f"{drop} {add}"), ("DELETE", drop)):
        op.execute(f"CREATE TRIGGER job_words_{verb.lower()} AFTER {verb} ON job_words BEGIN {steps} END")


def _postgresql() -> None:
    op.execute(f"CREATE INDEX ix_job_words ON job_words USING gin ({_VECTOR})")
    op.execute(
        "CREATE OR REPLACE FUNCTION entry_refuse_update() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN IF {_ERASED} THEN RETURN NEW; END IF; "
        f"RAISE EXCEPTION '{_REFUSE}' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    op.execute("DROP TRIGGER entry_no_update ON entry")
    op.execute(
        "CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry "
        "FOR EACH ROW EXECUTE FUNCTION entry_refuse_update()"
    )
