"""The keys of paired benches: who may change limits and rounds, and how far each one's counter has come.

All keys stand in one two-slot value. Every change is written to both slots, so that a slot lost later can
bring back neither a revoked key nor a counter already used.
"""

from curbtick_wire import codec
from curbtick_wire._typing import Values
from curbtick_wire.errors import WireError
from curbtick_wire.messages import KEY_NAME_SIZE, KEY_ROW, KEYS_MAX, SECRET_SIZE

from curbtick_probe.store.slots import Slots

_HEAD = (("last_id", "B", 0, 255), ("count", "B", 0, KEYS_MAX))
_ROW = KEY_ROW + (("secret", "32s", 0, 0),)


class KeysFull(Exception):
    """KEYS_MAX benches are paired already: revoke one first."""


def _unpack(data: bytes) -> tuple[int, list[Values]]:
    head, offset = codec.unpack(_HEAD, data)
    return head["last_id"], codec.unpack_list(_ROW, data, head["count"], offset)[0]


def _accepts(data: bytes) -> bool:
    try:
        _unpack(data)
    except WireError:
        return False
    return True


class Keys:
    """The keys under root, at most KEYS_MAX. A key: key_id 1..255, counter, name, secret."""

    def __init__(self, root: str) -> None:
        self._slots = Slots(root, "keys", _accepts)
        newest = self._slots.newest
        self._last_id, self._rows = _unpack(newest) if newest else (0, [])

    def _write(self, last_id: int, rows: list[Values]) -> None:
        head = codec.pack(_HEAD, {"last_id": last_id, "count": len(rows)})
        payload = head + codec.pack_list(_ROW, rows)
        self._slots.put(payload)
        self._slots.put(payload)
        self._last_id, self._rows = last_id, rows

    def _row(self, key_id: int) -> Values | None:
        for row in self._rows:
            if row["key_id"] == key_id:
                return row
        return None

    def _free_id(self) -> int:
        """The next id that no key holds, after the last one given out; 1 follows 255."""
        key_id = self._last_id % 255 + 1
        while self._row(key_id):
            key_id = key_id % 255 + 1
        return key_id

    def rows(self) -> list[Values]:
        """Every key without its secret: dicts of key_id, counter, name, in the order of pairing."""
        return [{field[0]: row[field[0]] for field in KEY_ROW} for row in self._rows]

    def add(self, secret: bytes, name: bytes) -> int:
        """Keep the key of a bench being paired: its key_id. The same secret again keeps its id.

        secret: SECRET_SIZE bytes; name: at most KEY_NAME_SIZE bytes. Raises KeysFull, ValueError for a
        secret of the wrong size, OSError where flash fails. Durable on return.
        """
        if len(secret) != SECRET_SIZE:
            raise ValueError("a secret has " + str(SECRET_SIZE) + " bytes")
        for row in self._rows:
            if row["secret"] == bytes(secret):
                held_id: int = row["key_id"]
                return held_id
        if len(self._rows) >= KEYS_MAX:
            raise KeysFull()
        key_id = self._free_id()
        name = (bytes(name) + bytes(KEY_NAME_SIZE))[:KEY_NAME_SIZE]
        row = {"key_id": key_id, "counter": 0, "name": name, "secret": bytes(secret)}
        self._write(key_id, self._rows + [row])
        return key_id

    def revoke(self, key_id: int) -> bool:
        """Forget a key, durable on return. False where there is none of that id."""
        rows = [row for row in self._rows if row["key_id"] != key_id]
        if len(rows) == len(self._rows):
            return False
        self._write(self._last_id, rows)
        return True

    def secret(self, key_id: int) -> bytes | None:
        """A key's secret, or None."""
        row = self._row(key_id)
        return row["secret"] if row else None

    def counter(self, key_id: int) -> int | None:
        """The highest counter a key has used, 0 before the first; None for no such key."""
        row = self._row(key_id)
        return row["counter"] if row else None

    def advance(self, key_id: int, counter: int) -> bool:
        """Use a counter up, before the action it allows. False for one not above the last; else durable on return."""
        row = self._row(key_id)
        if row is None or counter <= row["counter"]:
            return False
        rows = [dict(one) for one in self._rows]
        rows[self._rows.index(row)]["counter"] = counter
        self._write(self._last_id, rows)
        return True
