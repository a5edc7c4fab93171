"""The field tables of protocol/SPEC.md, read from the page itself, and packing by them."""

import re
import struct
from typing import Any, NamedTuple

from tests.paths import ROOT

PAGE = ROOT / "protocol" / "SPEC.md"
CODES = {"u8": "B", "u16": "H", "u32": "I", "i8": "b", "i16": "h", "i32": "i"}
ROW = re.compile(r"\| (\d+) \| `(\w+)` \| ([^|]+) \| ([^|]+) \|")
HEADING = re.compile(r"#{3,4} (.+)")


class Field(NamedTuple):
    """A field: name, struct code, how many values, and the range (low above high for bytes)."""

    name: str
    code: str
    count: int
    low: int
    high: int

    @property
    def is_bytes(self) -> bool:
        return self.code == "s"

    def pack(self, value: Any) -> bytes:
        """A value (or a list of `count`) as bytes, without looking at its range."""
        if self.is_bytes:
            return bytes(value or b"")[: self.count].ljust(self.count, b"\0")
        values = value if isinstance(value, list) else [value] * self.count
        return struct.pack(f"<{self.count}{self.code}", *values)


Table = list[Field]


def field_of(name: str, form: str, bounds: str) -> Field:
    """A field from the words of its row."""
    if form.endswith("bytes"):
        return Field(name, "s", int(form.split(maxsplit=1)[0]), 1, 0)
    count, _, kind = form.rpartition(" ")
    low, high = re.match(r"(-?\d+)\.\.(-?\d+)", bounds).groups()  # type: ignore[union-attr]
    return Field(name, CODES[kind], int(count or 1), int(low), int(high))


def read_tables() -> dict[str, Table]:
    """Every field table by its heading: `1: greet`, `Kind 1: reading`, `Header`."""
    found: dict[str, Table] = {}
    table: Table = []
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if heading := HEADING.match(line):
            table = found.setdefault(heading[1], [])
        elif row := ROW.match(line):
            table.append(field_of(row[2], row[3].strip(), row[4].strip()))
    return found


TABLES = read_tables()
NUMBERS = {
    name: int(number)
    for number, _, name in (heading.partition(": ") for heading in TABLES)
    if name and number.isdigit()
}
"""Numbers of messages by name."""
KINDS = {
    heading.partition(": ")[2]: int(heading[5:].partition(":")[0])
    for heading in TABLES
    if heading.startswith("Kind ")
}
"""Numbers of record kinds by name."""


def table(name: str) -> Table:
    """The table of a message (`greet_reply`) or under a heading of its own (`Header`)."""
    return TABLES[f"{NUMBERS[name]}: {name}" if name in NUMBERS else name]


def record_table(name: str) -> Table:
    """The table of a record kind."""
    return TABLES[f"Kind {KINDS[name]}: {name}"]


def pack(rows: Table, values: dict[str, Any]) -> bytes:
    """Pack values by a table; what is not named is the lowest value that is not negative."""
    return b"".join(row.pack(values.get(row.name, b"" if row.is_bytes else max(row.low, 0))) for row in rows)


def size(rows: Table) -> int:
    """Bytes of a table."""
    return len(pack(rows, {}))


def unpack(rows: Table, data: bytes) -> dict[str, Any]:
    """The values of a table's bytes; a list where a field has several. Raises struct.error when data are too short."""
    values: dict[str, Any] = {}
    at = 0
    for row in rows:
        form = f"<{row.count}{row.code}"
        found = struct.unpack_from(form, data, at)
        values[row.name] = found[0] if len(found) == 1 else list(found)
        at += struct.calcsize(form)
    return values


def out_of_range(row: Field) -> list[int]:
    """Values that a field's bytes can hold and its range cannot: the nearest and the farthest on each side."""
    if row.is_bytes:
        return []
    bits = 8 * struct.calcsize(row.code)
    ends = (0, 2**bits - 1) if row.code.isupper() else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
    beyond = [ends[1], row.high + 1] if row.high < ends[1] else []
    below = [ends[0], row.low - 1] if row.low > ends[0] else []
    return sorted({*beyond, *below})
