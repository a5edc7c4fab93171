"""The two-slot value: the newest whole one wins, whatever stands in the other."""

from pathlib import Path

import pytest
from curbtick_probe.store import slots
from curbtick_probe.store.slots import Slots, seal, unseal
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.probe.store.flashdata import flip


def _files(root: Path) -> list[bytes]:
    return [path.read_bytes() for path in (root / "value.0", root / "value.1")]


def test_nothing_is_held_at_first(tmp_path: Path) -> None:
    held = Slots(str(tmp_path / "new"), "value")
    assert (held.newest, held.older(), held.generation, held.damaged) == (None, None, 0, 0)
    assert (tmp_path / "new").is_dir()


def test_values_take_turns(tmp_path: Path) -> None:
    held = Slots(str(tmp_path), "value")
    for number, payload in enumerate((b"one", b"two", b"three", b""), 1):
        held.put(payload)
        for one in (held, Slots(str(tmp_path), "value")):
            assert one.newest == payload
            assert one.generation == number
            assert one.damaged == 0
    assert held.older() == b"three"
    assert Slots(str(tmp_path), "value").older() == b"three"


def test_the_newest_is_never_written_over(tmp_path: Path) -> None:
    held = Slots(str(tmp_path), "value")
    held.put(b"one")
    for payload in (b"two", b"three", b"four"):
        before = seal(held.generation, held.newest)
        held.put(payload)
        assert before in _files(tmp_path)


@given(payload=st.binary(max_size=512), generation=st.integers(1, 2**32 - 1))
def test_a_slot_gives_back_what_was_sealed(payload: bytes, generation: int) -> None:
    assert unseal(seal(generation, payload)) == (generation, payload)


@given(payload=st.binary(max_size=40), data=st.data())
def test_a_slot_with_a_changed_byte_is_none(payload: bytes, data: st.DataObject) -> None:
    sealed = bytearray(seal(7, payload))
    sealed[data.draw(st.integers(0, len(sealed) - 1))] ^= data.draw(st.integers(1, 255))
    assert unseal(bytes(sealed)) is None


@given(payload=st.binary(max_size=40), data=st.data())
def test_a_slot_of_another_length_is_none(payload: bytes, data: st.DataObject) -> None:
    sealed = seal(7, payload)
    assert unseal(sealed[: data.draw(st.integers(0, len(sealed) - 1))]) is None
    assert unseal(sealed + data.draw(st.binary(min_size=1, max_size=9))) is None


def test_the_largest_payload_fits(tmp_path: Path) -> None:
    payload = bytes(range(256)) * 2
    Slots(str(tmp_path), "value").put(payload)
    assert Slots(str(tmp_path), "value").newest == payload
    with pytest.raises(ValueError, match="at most 512"):
        Slots(str(tmp_path), "value").put(payload + b"x")


@pytest.mark.parametrize("slot", ["0", "1"])
def test_a_damaged_slot_is_counted_and_the_other_wins(tmp_path: Path, slot: str) -> None:
    held = Slots(str(tmp_path), "value")
    held.put(b"one")
    held.put(b"two")
    left = Slots(str(tmp_path), "value")
    flip(tmp_path / f"value.{slot}", 3)
    again = Slots(str(tmp_path), "value")
    assert again.damaged == 1
    assert {again.newest, again.older()} == {None, b"one"} if again.newest == b"one" else {None, b"two"}
    again.put(b"three")
    assert Slots(str(tmp_path), "value").newest == b"three"
    assert Slots(str(tmp_path), "value").damaged == 0
    assert left.newest == b"two"


def test_what_is_not_accepted_counts_as_damaged(tmp_path: Path) -> None:
    held = Slots(str(tmp_path), "value")
    held.put(b"good")
    held.put(b"bad")
    choosy = Slots(str(tmp_path), "value", lambda payload: payload == b"good")
    assert (choosy.newest, choosy.older(), choosy.damaged) == (b"good", None, 1)


def test_a_slot_that_reads_back_wrong_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held = Slots(str(tmp_path), "value")
    held.put(b"one")

    def forgetful(path: str, mode: str) -> object:
        return open("/dev/null" if mode == "wb" else path, mode)

    (tmp_path / "value.0").write_bytes(b"x")
    (tmp_path / "value.1").write_bytes(b"x")
    monkeypatch.setattr(slots, "open", forgetful, raising=False)
    with pytest.raises(OSError, match="read back"):
        held.put(b"two")
    assert (held.newest, held.generation) == (b"one", 1)


def test_the_magic_is_as_documented(tmp_path: Path) -> None:
    sealed = seal(0x01020304, b"AB")
    assert sealed[:10] == b"CS\x04\x03\x02\x01\x02\x00AB"
    assert len(sealed) == 14
