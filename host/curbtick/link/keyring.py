"""The bench's keys: one file outside the database, readable by its owner only.

A key belongs to one probe and carries the counter last used with it, which is written down before it is used.
"""

import json
import os
import re
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from curbtick.errors import InputError

_OTHERS = 0o077
# One below the highest that the wire carries: the next one must still fit.
_COUNTER_MAX = 2**32 - 2


@dataclass(frozen=True)
class Key:
    """One bench's key for one probe.

    key_id: 1 to 255 on that probe.
    secret: 64 hex digits.
    counter: the last one used.
    """

    key_id: int
    secret: str
    counter: int = 0


def default_path() -> Path:
    """CURBTICK_KEYS, or `curbtick/keys.json` in the user's configuration folder."""
    named = os.environ.get("CURBTICK_KEYS")
    if named:
        return Path(named)
    base = os.environ.get("APPDATA") if os.name == "nt" else os.environ.get("XDG_CONFIG_HOME")
    return Path(base or Path.home() / ".config") / "curbtick" / "keys.json"


def _key_of(entry: Any) -> Key:
    """A key out of the file. Raises TypeError and ValueError for what is none."""
    key = Key(**entry)
    if not isinstance(key.secret, str) or not re.fullmatch("[0-9a-f]{64}", key.secret):
        raise ValueError("secret")
    for number, low, high in ((key.key_id, 1, 255), (key.counter, 0, _COUNTER_MAX)):
        if type(number) is not int or not low <= number <= high:
            raise ValueError("number")
    return key


class Keyring:
    """The key file at path (default_path() when not given), made with the first key."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()

    def get(self, unique_id: str) -> Key | None:
        """The key for the probe with this unique id (hex), or None. Raises InputError for an unfit file."""
        entry = self._load().get(unique_id)
        if entry is None:
            return None
        try:
            return _key_of(entry)
        except (TypeError, ValueError) as error:
            raise self._unfit(f"its key for probe {unique_id} is damaged") from error

    def put(self, unique_id: str, key: Key) -> None:
        """Keep a probe's key, durable on return."""
        entries = self._load()
        entries[unique_id] = asdict(key)
        self._write(entries)

    def remove(self, unique_id: str) -> None:
        """Forget a probe's key."""
        entries = self._load()
        if entries.pop(unique_id, None) is not None:
            self._write(entries)

    def use(self, unique_id: str, proved: int | None = None) -> Key:
        """The probe's key with its next counter, written down before this returns.

        proved: the counter to go on from, higher or lower than the one kept, where the probe has proved that it is
        the highest it has seen. Raises InputError where this bench has no key for the probe.
        """
        key = self.get(unique_id)
        if key is None:
            raise InputError(
                f"This bench has no key for probe {unique_id}.",
                "Nothing was changed on the probe; its records can be pulled without a key.",
                "Switch the probe off, hold STEP while switching it on, and run `curbtick probes pair`.",
            )
        key = replace(key, counter=(key.counter if proved is None else proved) + 1)
        self.put(unique_id, key)
        return key

    def _load(self) -> dict[str, dict[str, Any]]:
        try:
            self._check_owner_only()
            entries = json.loads(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
            raise self._unfit(str(error)) from error
        if not isinstance(entries, dict):
            raise self._unfit("it does not hold keys")
        return entries

    def _check_owner_only(self) -> None:
        if os.name == "posix" and self.path.stat().st_mode & _OTHERS:
            raise InputError(
                f"The key file {self.path} can be read by other users.",
                "No key was used; whoever has read it can change the probes paired with this bench.",
                f"Run `chmod 600 {self.path}`; if others may have read it, pair the probes anew.",
            )

    def _unfit(self, why: str) -> InputError:
        return InputError(
            f"The key file {self.path} cannot be used: {why}.",
            "No key was used, and the file was left as it is.",
            "Restore it from a copy, or move it away and pair the probes anew.",
        )

    def _write(self, entries: dict[str, dict[str, Any]]) -> None:
        """Replace the file whole; mkstemp makes it readable and writable by its owner only."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle, temporary = tempfile.mkstemp(dir=self.path.parent, prefix=".keys-")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(entries, file, indent=1, sort_keys=True)
                file.flush()
                os.fsync(file.fileno())
            os.replace(temporary, self.path)
        except OSError as error:
            raise InputError(
                f"The key file {self.path} cannot be written ({error}).",
                "Nothing was sent to the probe.",
                "See that its folder exists, belongs to you and has space left.",
            ) from error
