"""The catalogue as it began."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

TEXT = sa.Text(collation="C")


def upgrade() -> None:
    """Make all tables."""
    op.create_table(
        "alike",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("other", TEXT, nullable=True),
        sa.Column("shared", sa.BigInteger(), nullable=True),
    )
    op.create_index("alike_other", "alike", ["other"], unique=False)
    op.create_index("ix_alike_key", "alike", ["key"], unique=False)
    op.create_table(
        "answer",
        sa.Column("question", TEXT, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("made_at", TEXT, nullable=True),
        sa.Column("body", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint("question"),
    )
    op.create_table(
        "asked", sa.Column("key", TEXT, nullable=False), sa.Column("body", sa.LargeBinary(), nullable=True)
    )
    op.create_index("ix_asked_key", "asked", ["key"], unique=False)
    op.create_table(
        "concern",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=True),
        sa.Column("kind", TEXT, nullable=True),
        sa.Column("says", TEXT, nullable=True),
        sa.Column("weight", sa.BigInteger(), nullable=True),
        sa.Column("about", TEXT, nullable=True),
        sa.Column("seq", sa.BigInteger(), nullable=True),
    )
    op.create_index("ix_concern_key", "concern", ["key"], unique=False)
    op.create_table(
        "known",
        sa.Column("office", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("office", "name", "value"),
    )
    op.create_table("misheard", sa.Column("key", TEXT, nullable=False), sa.Column("heard", TEXT, nullable=True))
    op.create_index("ix_misheard_key", "misheard", ["key"], unique=False)
    op.create_table(
        "outdated",
        sa.Column("since", sa.BigInteger(), nullable=True),
        sa.Column("key", TEXT, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("day", TEXT, nullable=True),
    )
    op.create_index("ix_outdated_since", "outdated", ["since"], unique=False)
    op.create_table(
        "route",
        sa.Column("route", TEXT, nullable=False),
        sa.Column("gate", TEXT, nullable=False),
        sa.Column("title", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("route", "gate"),
    )
    op.create_table("shape", sa.Column("key", TEXT, nullable=False), sa.Column("value", TEXT, nullable=True))
    op.create_index("ix_shape_key", "shape", ["key"], unique=False)
    op.create_index("shape_value", "shape", ["value", "key"], unique=False)
    op.create_table(
        "state", sa.Column("mark", TEXT, nullable=True), sa.Column("revision", sa.BigInteger(), nullable=True)
    )
    op.create_table(
        "stop",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("why", TEXT, nullable=True),
        sa.Column("gate", TEXT, nullable=True),
    )
    op.create_index("ix_stop_key", "stop", ["key"], unique=False)
    op.create_table(
        "view", sa.Column("key", TEXT, nullable=False), sa.Column("body", sa.LargeBinary(), nullable=True)
    )
    op.create_index("ix_view_key", "view", ["key"], unique=False)
    op.create_table(
        "visit",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("folder", sa.LargeBinary(), nullable=False),
        sa.Column("light", TEXT, nullable=False),
        sa.Column("job", TEXT, nullable=False),
        sa.Column("site", TEXT, nullable=False),
        sa.Column("technician", TEXT, nullable=False),
        sa.Column("licence", TEXT, nullable=False),
        sa.Column("appliance", TEXT, nullable=False),
        sa.Column("serial", TEXT, nullable=False),
        sa.Column("instrument", TEXT, nullable=False),
        sa.Column("instrument_serial", TEXT, nullable=False),
        sa.Column("procedure", TEXT, nullable=False),
        sa.Column("version", TEXT, nullable=False),
        sa.Column("office", TEXT, nullable=False),
        sa.Column("calibrated_until", TEXT, nullable=False),
        sa.Column("day", TEXT, nullable=False),
        sa.Column("opened_at", TEXT, nullable=False),
        sa.Column("outcome", TEXT, nullable=False),
        sa.Column("summary", TEXT, nullable=False),
        sa.Column("seal", TEXT, nullable=False),
        sa.Column("sentence", TEXT, nullable=False),
        sa.Column("checksum", TEXT, nullable=False),
        sa.Column("identity", TEXT, nullable=False),
        sa.Column("device", TEXT, nullable=False),
        sa.Column("anchor", TEXT, nullable=False),
        sa.Column("anchored", TEXT, nullable=False),
        sa.Column("stamp", TEXT, nullable=False),
        sa.Column("checked_at", TEXT, nullable=False),
        sa.Column("signed", TEXT, nullable=False),
        sa.Column("entries", sa.BigInteger(), nullable=False),
        sa.Column("turns", sa.BigInteger(), nullable=False),
        sa.Column("not_done", sa.BigInteger(), nullable=False),
        sa.Column("fails", sa.BigInteger(), nullable=False),
        sa.Column("unsure", sa.BigInteger(), nullable=False),
        sa.Column("minutes", sa.Float(precision=53), nullable=False),
        sa.Column("clean", sa.Boolean(), nullable=False),
        sa.Column("danger", sa.BigInteger(), nullable=False),
        sa.Column("waits", sa.BigInteger(), nullable=False),
        sa.Column("shapes", sa.BigInteger(), nullable=False),
        sa.Column("route", TEXT, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_index("visit_day", "visit", ["day"], unique=False)
    op.create_index("visit_identity", "visit", ["identity"], unique=False)
    op.create_index(
        "visit_inbox",
        "visit",
        [
            "waits",
            sa.literal_column("danger DESC"),
            sa.literal_column("day DESC"),
            sa.literal_column("opened_at DESC"),
        ],
        unique=False,
    )
    op.create_index(
        "visit_newest", "visit", [sa.literal_column("day DESC"), sa.literal_column("opened_at DESC")], unique=False
    )
    op.create_index("visit_revision", "visit", ["revision"], unique=False)
    op.create_index("visit_route", "visit", ["route"], unique=False)
    op.create_index("visit_seal", "visit", ["seal"], unique=False)
    op.create_index("visit_serial", "visit", ["serial"], unique=False)
    op.create_index("visit_technician", "visit", ["technician"], unique=False)
