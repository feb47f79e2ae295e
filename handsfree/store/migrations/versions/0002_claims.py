"""Who looks at a visit just now."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

TEXT = sa.Text(collation="C")


def upgrade() -> None:
    """Add the table of claims."""
    op.create_table(
        "claim",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("who", TEXT, nullable=False),
        sa.Column("until", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("key", "who"),
    )
