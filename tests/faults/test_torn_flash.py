"""The flash that tears: the contract of both doubles, and what each kind of tear may and may not leave."""

import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import powercut_contract  # noqa: E402
import torn_flash as tf  # noqa: E402


@pytest.mark.parametrize("double", sorted(powercut_contract.DOUBLES))
@pytest.mark.parametrize("case", powercut_contract.DEVICE_CASES, ids=lambda case: case.__name__)
def test_every_double_is_a_flash_device(double: str, case: Any) -> None:
    case(powercut_contract.DOUBLES[double](powercut_contract.SECTORS))


@pytest.fixture
def page_image() -> bytearray:
    return bytearray(b"\xff" * tf.SECTOR + bytes(range(256)) * 16)


def _torn(
    image: bytearray, operation: tuple[int, int, bytes], mode: str, seed: int
) -> tuple[bytes, bytes, bytes]:
    """(before, torn, done) of the bytes the operation was to change; the rest must not change."""
    kind, address, data = operation
    size = tf.SECTOR if kind == tf.ERASE else len(data)
    torn, done = bytearray(image), bytearray(image)
    tf.tear(torn, operation, mode, seed)
    tf.apply(done, operation)
    assert torn[:address] == image[:address]
    assert torn[address + size :] == image[address + size :]
    return tuple(bytes(one[address : address + size]) for one in (image, torn, done))  # type: ignore[return-value]


OPERATIONS = {
    "program": (tf.PROGRAM, 512, bytes(range(256))),
    "program over": (tf.PROGRAM, tf.SECTOR + 256, b"\x0f" * 256),
    "erase": (tf.ERASE, tf.SECTOR, b""),
}


@pytest.mark.parametrize("name", OPERATIONS)
def test_nothing_and_whole_are_the_two_ends(name: str, page_image: bytearray) -> None:
    before, torn, done = _torn(page_image, OPERATIONS[name], "nothing", 1)
    assert torn == before != done
    assert _torn(page_image, OPERATIONS[name], "whole", 1)[1] == done


@pytest.mark.parametrize("name", OPERATIONS)
@given(seed=st.integers(0, 2**40))
def test_a_prefix_is_done_and_the_rest_is_not(name: str, seed: int) -> None:
    image = bytearray(b"\xff" * tf.SECTOR + bytes(range(256)) * 16)
    before, torn, done = _torn(image, OPERATIONS[name], "prefix", seed)
    assert any(torn == done[:split] + before[split:] for split in range(1, len(done)))


@pytest.mark.parametrize("name", OPERATIONS)
@given(seed=st.integers(0, 2**40))
def test_a_subset_changes_only_bits_that_were_to_change(name: str, seed: int) -> None:
    image = bytearray(b"\xff" * tf.SECTOR + bytes(range(256)) * 16)
    before, torn, done = _torn(image, OPERATIONS[name], "subset", seed)
    assert all((old ^ now) & ~(old ^ new) == 0 for old, now, new in zip(before, torn, done, strict=True))
    changed = sum((old ^ now).bit_count() for old, now in zip(before, torn, strict=True))
    due = sum((old ^ new).bit_count() for old, new in zip(before, done, strict=True))
    assert 0.15 * due < changed < 0.85 * due


@given(seed=st.integers(0, 2**40))
def test_a_half_erased_sector(seed: int) -> None:
    image = bytearray(b"\xff" * tf.SECTOR + bytes(range(256)) * 16)
    before, torn, _done = _torn(image, OPERATIONS["erase"], "half", seed)
    half = tf.SECTOR // 2
    assert torn[:half] == b"\xff" * half
    assert all(old & now == old for old, now in zip(before[half:], torn[half:], strict=True))
    assert before[half:] != torn[half:] != b"\xff" * half


def test_a_tear_is_repeatable_and_depends_on_its_seed(page_image: bytearray) -> None:
    torn = [_torn(page_image, OPERATIONS["erase"], "subset", seed)[1] for seed in (1, 1, 2)]
    assert torn[0] == torn[1] != torn[2]


def test_a_program_has_no_half(page_image: bytearray) -> None:
    with pytest.raises(ValueError, match="half"):
        tf.tear(page_image, OPERATIONS["program"], "half", 1)


@given(operation=st.integers(0, 10**6), mode=st.sampled_from(tf.MODES[tf.ERASE]), seed=st.integers(0, 2**40))
def test_the_name_of_a_cut_gives_it_back(operation: int, mode: str, seed: int) -> None:
    assert tf.parse_cut(tf.cut_id(operation, mode, seed)) == (operation, mode, seed)


@pytest.mark.parametrize("text", ["", "1:subset", "1:quarter:2", "x:subset:1", "1:subset:2:3"])
def test_a_wrong_name_is_an_error(text: str) -> None:
    with pytest.raises(ValueError):
        tf.parse_cut(text)


@pytest.mark.parametrize("place", [0, 1, 2, 3, 4])
def test_the_cut_comes_at_its_operation_and_the_device_is_off(place: int) -> None:
    flash = tf.TornFlash(4, None, (place, "prefix", 3))
    done = []
    with pytest.raises(tf.PowerCut):
        for sector in range(4):
            flash.writeblocks(sector, bytes(tf.PAGE))
            done.append(sector)
            flash.ioctl(6, (sector + 1) % 4)
            done.append(sector)
    assert len(done) == place
    image = bytes(flash.image)
    with pytest.raises(tf.PowerCut):
        flash.readblocks(0, bytearray(4))
    with pytest.raises(tf.PowerCut):
        flash.writeblocks(0, bytes(256))
    with pytest.raises(tf.PowerCut):
        flash.ioctl(6, 0)
    flash.let_go()
    assert flash.readblocks(0, bytearray(4)) == flash.ioctl(6, 0) == flash.writeblocks(0, bytes(256)) == -5
    assert flash.ioctl(4, 0) == 4
    assert flash.image == image


def test_no_code_catches_a_power_cut_by_chance() -> None:
    assert not issubclass(tf.PowerCut, Exception)
