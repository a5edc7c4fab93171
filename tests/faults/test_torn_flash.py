"""The flash that tears: the contract of both doubles, and what each kind of tear may and may not leave."""

import sys
import zlib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import torn_flash as tf  # noqa: E402
from powercut import contract  # noqa: E402

DICE_NUMBERS = [44, 92, 0, 34754]
DICE_MASKS = [61, 15, 182, 128, 128, 254]
TEARS_CRC = 254522641


@pytest.mark.parametrize("double", sorted(contract.DOUBLES))
@pytest.mark.parametrize("case", contract.DEVICE_CASES, ids=lambda case: case.__name__)
def test_every_double_is_a_flash_device(double: str, case: Any) -> None:
    case(contract.DOUBLES[double](contract.SECTORS))


def test_the_dice_never_change() -> None:
    """A cut's id must replay it for ever, on both Pythons: the generator's first numbers stand here."""
    dice = tf.Dice(7)
    assert [dice.below(limit) for limit in (256, 256, 3, 65536)] == DICE_NUMBERS
    assert [dice.mask(density) for density in (0, 1, 2, 0, 1, 2)] == DICE_MASKS


@given(seed=st.integers(0, 2**40), limit=st.integers(1, 65536))
def test_the_dice_stay_below_their_limit(seed: int, limit: int) -> None:
    dice = tf.Dice(seed)
    assert all(0 <= dice.below(limit) < limit for _ in range(20))


@pytest.mark.parametrize(("density", "share"), [(0, 0.25), (1, 0.5), (2, 0.75)])
def test_masks_have_the_share_of_bits_they_should(density: int, share: float) -> None:
    dice = tf.Dice(11)
    bits = sum(dice.mask(density).bit_count() for _ in range(4000))
    assert bits / 32000 == pytest.approx(share, abs=0.01)


def test_tears_never_change() -> None:
    """The bytes that each kind of tear leaves for a seed, by their CRC-32."""
    image = bytearray(b"\xff" * tf.SECTOR + bytes(range(256)) * 16)
    found = []
    for operation in OPERATIONS.values():
        for mode in tf.MODES[operation[0]]:
            for seed in (1, 2, 3, 4):
                torn = bytearray(image)
                tf.tear(torn, operation, mode, seed)
                found.append(zlib.crc32(torn))
    assert zlib.crc32(str(found).encode()) == TEARS_CRC


def test_a_prefix_may_be_any_but_nothing_and_whole() -> None:
    splits = set()
    for seed in range(4000):
        image = bytearray(b"\xff" * tf.SECTOR)
        tf.tear(image, (tf.PROGRAM, 0, bytes(tf.PAGE)), "prefix", seed)
        splits.add(image.count(0))
    assert splits == set(range(1, tf.PAGE))


@pytest.mark.parametrize("mode", tf.MODES[tf.ERASE])
def test_a_cut_device_is_torn_as_its_id_says(mode: str) -> None:
    image = bytes(range(256)) * 64
    for sector_erase in (True, False):
        flash = tf.TornFlash(4, image, (0, mode, 99))
        assert flash.image == image
        operation = (tf.ERASE, tf.SECTOR, b"") if sector_erase else (tf.PROGRAM, 0, b"\x35" * tf.PAGE)
        with pytest.raises(tf.PowerCut):
            flash.ioctl(6, 1) if sector_erase else flash.writeblocks(0, b"\x35" * tf.PAGE)
        expected = bytearray(image)
        tf.tear(expected, operation, mode if mode in tf.MODES[operation[0]] else "subset", 99)
        assert flash.image == expected


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
