"""A counter of examinations and signatures, so that what one desk signs is told by another."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the counter; it goes on from the revisions, which others followed before."""
    for table, filled in (
        ("visit", "UPDATE visit SET news = revision"),
        ("state", "UPDATE state SET news = revision"),
    ):
        op.add_column(table, sa.Column("news", sa.BigInteger(), nullable=False, server_default="0"))
        op.execute(filled)
        op.alter_column(table, "news", server_default=None)
    op.create_index("visit_news", "visit", ["news"])
