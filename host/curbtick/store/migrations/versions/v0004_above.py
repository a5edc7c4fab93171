"""The record that a probe had come to when it was sent a round: what it read before belongs to other rounds."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the column; sends noted before have none, and their rounds go on counting whatever the record.

    Without a round the probe takes every vehicle for the same one, so a reading of it that belongs to no vehicle
    replaces none: by the marks that version 3 made, a bad one was left out where such readings are counted and listed.
    """
    number = sa.BigInteger().with_variant(sa.Integer, "sqlite")
    op.add_column("sends", sa.Column("above_seq", number, nullable=True))
    op.execute(
        "UPDATE readings SET superseded = 0 WHERE round_id = 0 AND vehicle_id IS NULL AND superseded <> 0"
    )
    op.execute("UPDATE meta SET value = '4' WHERE key = 'schema_version'")
