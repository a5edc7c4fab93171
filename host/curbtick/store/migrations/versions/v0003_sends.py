"""An index that finds what was sent to which probe: a round counts only for the probes that got it from here."""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the index."""
    op.create_index("sends_by_number", "sends", ["what", "number"])
    op.execute("UPDATE meta SET value = '3' WHERE key = 'schema_version'")
