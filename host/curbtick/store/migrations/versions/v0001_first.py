"""The first version: every record exactly once, as the statements beside this file make it."""

import time
from pathlib import Path

from alembic import op
from sqlalchemy import text

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables in an empty database."""
    connection = op.get_bind()
    statements = Path(__file__).with_name(f"v0001_{connection.dialect.name}.sql").read_text(encoding="utf-8")
    for statement in statements.split(";"):
        if statement.strip():
            connection.execute(text(statement))
    marks = {"schema_version": "1", "created_ms": str(time.time_ns() // 1_000_000)}
    for key, value in marks.items():
        connection.execute(
            text("INSERT INTO meta (key, value) VALUES (:key, :value)"), {"key": key, "value": value}
        )
