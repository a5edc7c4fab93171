"""The probe's keys: pairing, revoking, counters used once."""

from pathlib import Path

import pytest
from curbtick_probe.store.keys import Keys, KeysFull
from curbtick_wire.messages import KEYS_MAX

from tests.unit.probe.store.flashdata import flip


def secret(number: int) -> bytes:
    """A bench's secret."""
    return bytes([number]) * 32


@pytest.fixture
def keys(tmp_path: Path) -> Keys:
    return Keys(str(tmp_path))


def test_there_are_none_at_first(keys: Keys) -> None:
    assert keys.rows() == []
    assert keys.secret(1) is None
    assert keys.counter(1) is None
    assert not keys.advance(1, 1)
    assert not keys.revoke(1)


def test_keys_stay_with_their_names_and_secrets(tmp_path: Path, keys: Keys) -> None:
    assert keys.add(secret(7), b"north") == 1
    assert keys.add(secret(8), b"a name longer than the field") == 2
    for one in (keys, Keys(str(tmp_path))):
        assert one.rows() == [
            {"key_id": 1, "counter": 0, "name": b"north" + bytes(11)},
            {"key_id": 2, "counter": 0, "name": b"a name longer th"},
        ]
        assert (one.secret(1), one.secret(2)) == (secret(7), secret(8))


def test_no_row_shows_a_secret(keys: Keys) -> None:
    keys.add(secret(7), b"north")
    assert all("secret" not in row and secret(7) not in row.values() for row in keys.rows())


def test_the_same_secret_keeps_its_id(tmp_path: Path, keys: Keys) -> None:
    assert keys.add(secret(7), b"north") == keys.add(secret(7), b"north") == 1
    assert len(Keys(str(tmp_path)).rows()) == 1


@pytest.mark.parametrize("size", [0, 31, 33])
def test_a_secret_of_another_size_is_an_error(keys: Keys, size: int) -> None:
    with pytest.raises(ValueError, match="32 bytes"):
        keys.add(bytes(size), b"north")


def test_the_last_place_is_the_last(keys: Keys) -> None:
    for number in range(KEYS_MAX):
        keys.add(secret(number), b"bench")
    with pytest.raises(KeysFull):
        keys.add(secret(200), b"bench")
    assert keys.revoke(3)
    assert keys.add(secret(200), b"bench") == KEYS_MAX + 1


def test_a_revoked_key_is_gone_for_good(tmp_path: Path, keys: Keys) -> None:
    keys.add(secret(1), b"one")
    keys.add(secret(2), b"two")
    assert keys.revoke(1)
    assert not keys.revoke(1)
    for slot in "01":
        assert secret(1) not in (tmp_path / f"keys.{slot}").read_bytes()
        flip(tmp_path / f"keys.{slot}", 30)
        again = Keys(str(tmp_path))
        flip(tmp_path / f"keys.{slot}", 30)
        assert again.secret(1) is None
        assert again.secret(2) == secret(2)


def test_an_id_is_not_given_out_again_until_all_were(tmp_path: Path, keys: Keys) -> None:
    keys.add(secret(1), b"stays")
    given = []
    for number in range(260):
        key_id = keys.add(number.to_bytes(32, "big"), b"bench")
        given.append(key_id)
        assert Keys(str(tmp_path)).secret(key_id) == number.to_bytes(32, "big")
        keys.revoke(key_id)
    assert given == list(range(2, 256)) + list(range(2, 8))


def test_a_counter_is_used_once(tmp_path: Path, keys: Keys) -> None:
    key_id = keys.add(secret(1), b"one")
    other = keys.add(secret(2), b"two")
    assert keys.advance(key_id, 1)
    assert not keys.advance(key_id, 1)
    assert not keys.advance(key_id, 0)
    assert keys.advance(key_id, 50)
    assert not keys.advance(key_id, 49)
    assert keys.counter(key_id) == 50
    assert keys.counter(other) == 0
    assert not Keys(str(tmp_path)).advance(key_id, 50)


@pytest.mark.parametrize("slot", ["0", "1"])
def test_a_damaged_slot_cannot_bring_a_counter_back(tmp_path: Path, keys: Keys, slot: str) -> None:
    key_id = keys.add(secret(1), b"one")
    keys.advance(key_id, 10)
    keys.advance(key_id, 11)
    flip(tmp_path / f"keys.{slot}", 30)
    assert not Keys(str(tmp_path)).advance(key_id, 11)


def test_a_failing_flash_leaves_what_was(keys: Keys, monkeypatch: pytest.MonkeyPatch) -> None:
    from curbtick_probe.store import slots

    key_id = keys.add(secret(1), b"one")

    def refuse(path: str, mode: str) -> object:
        raise OSError(5, "the flash failed")

    monkeypatch.setattr(slots, "open", refuse, raising=False)
    with pytest.raises(OSError, match="flash"):
        keys.advance(key_id, 5)
    assert keys.counter(key_id) == 0
    with pytest.raises(OSError, match="flash"):
        keys.revoke(key_id)
    assert keys.secret(key_id) == secret(1)
