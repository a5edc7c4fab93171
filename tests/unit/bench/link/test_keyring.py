"""The bench's key file: owner-only, replaced whole, counters written before use."""

import json
import os
import stat
from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.link.keyring import Key, Keyring, default_path

PROBE = "c0b0000000000abc"


@pytest.fixture
def keyring(tmp_path: Path) -> Keyring:
    return Keyring(tmp_path / "folder" / "keys.json")


def test_keys_come_back(keyring: Keyring) -> None:
    assert keyring.get(PROBE) is None
    keyring.put(PROBE, Key(3, "ab" * 32, 7))
    keyring.put("other", Key(1, "cd" * 32))
    assert Keyring(keyring.path).get(PROBE) == Key(3, "ab" * 32, 7)
    keyring.remove("other")
    keyring.remove("other")
    assert keyring.get("other") is None
    assert keyring.get(PROBE) == Key(3, "ab" * 32, 7)


def test_a_counter_is_written_down_before_it_is_used(keyring: Keyring) -> None:
    keyring.put(PROBE, Key(3, "ab" * 32))
    assert [keyring.use(PROBE).counter for _ in range(3)] == [1, 2, 3]
    assert Keyring(keyring.path).use(PROBE).counter == 4
    assert keyring.use(PROBE, proved=90).counter == 91
    assert keyring.use(PROBE, proved=5).counter == 6


def test_no_key_says_how_to_pair(keyring: Keyring) -> None:
    with pytest.raises(InputError, match="no key") as caught:
        keyring.use(PROBE)
    assert "STEP" in caught.value.next_step


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")
def test_only_the_owner_may_read_the_file(keyring: Keyring) -> None:
    old = os.umask(0)
    try:
        keyring.put(PROBE, Key(3, "ab" * 32))
    finally:
        os.umask(old)
    assert stat.S_IMODE(keyring.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(keyring.path.parent.stat().st_mode) == 0o700


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602])
def test_a_file_that_others_can_reach_is_not_used(keyring: Keyring, mode: int) -> None:
    keyring.put(PROBE, Key(3, "ab" * 32))
    keyring.path.chmod(mode)
    with pytest.raises(InputError, match="other users"):
        keyring.get(PROBE)


def entry(**values: object) -> str:
    """The text of a key file whose one key has these values."""
    return json.dumps({PROBE: {"key_id": 3, "secret": "ab" * 32, "counter": 7, **values}})


DAMAGED = [
    entry(secret="xy" * 32),
    entry(secret=5),
    entry(key_id=0),
    entry(counter=2**32 - 1),
    entry(counter="7"),
]


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"c0b0000000000abc": {"colour": 1}}', "\ud800", "[" * 100_000, *DAMAGED]
)
def test_an_unfit_file_is_left_alone(keyring: Keyring, text: str) -> None:
    keyring.put(PROBE, Key(3, "ab" * 32))
    keyring.path.write_bytes(text.encode("utf-8", "surrogatepass"))
    before = keyring.path.read_bytes()
    with pytest.raises(InputError, match="cannot be used"):
        keyring.get(PROBE)
    assert keyring.path.read_bytes() == before


def test_a_file_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("")
    with pytest.raises(InputError, match="cannot be"):
        Keyring(tmp_path / "plain" / "keys.json").put(PROBE, Key(1, "00" * 32))


def test_nothing_is_left_beside_the_file(keyring: Keyring) -> None:
    for number in range(5):
        keyring.put(PROBE, Key(3, "ab" * 32, number))
    assert [path.name for path in keyring.path.parent.iterdir()] == ["keys.json"]


def test_where_the_file_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CURBTICK_KEYS", str(tmp_path / "mine"))
    assert default_path() == tmp_path / "mine"
    monkeypatch.delenv("CURBTICK_KEYS")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("APPDATA", str(tmp_path))
    assert default_path() == tmp_path / "curbtick" / "keys.json"
