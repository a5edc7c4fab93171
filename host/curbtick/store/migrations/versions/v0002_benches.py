"""Benches become known by name, with the depot each stands in; those that pulled before are entered."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add the benches, and the index that finds a probe's pulls."""
    op.create_table(
        "benches",
        sa.Column("id", _BIG, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("depot", sa.String(80)),
        sa.Column("first_seen_ms", _BIG, nullable=False),
    )
    op.create_index("pulls_by_probe", "pulls", ["probe_id", "at_ms"])
    op.execute(
        "INSERT INTO benches (name, first_seen_ms) "
        "SELECT bench, min(at_ms) FROM pulls WHERE bench IS NOT NULL GROUP BY bench"
    )
    op.execute("UPDATE meta SET value = '2' WHERE key = 'schema_version'")
