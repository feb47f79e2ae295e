"""What was told in free words, to search in."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

TEXT = sa.Text(collation="C")


def upgrade() -> None:
    """Add the column; visits that were examined before are examined again, since nothing else would fill it."""
    op.add_column("visit", sa.Column("told", TEXT, nullable=False, server_default=""))
    op.alter_column("visit", "told", server_default=None)
    op.execute("UPDATE visit SET light = ''")
