"""The record that a probe had come to when it was sent a round: what it read before belongs to other rounds."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the column; sends noted before have none, and their rounds go on counting whatever the record."""
    number = sa.BigInteger().with_variant(sa.Integer, "sqlite")
    op.add_column("sends", sa.Column("above_seq", number, nullable=True))
    op.execute("UPDATE meta SET value = '4' WHERE key = 'schema_version'")
