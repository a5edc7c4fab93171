"""What the log keeps of a reading: samples in a byte each, the envelope in half dB, the list of sounds."""

import struct
from array import array
from dataclasses import replace

import numpy as np
import pytest
from curbtick.sound import snippet
from curbtick_probe.bumper.snippet import ENVELOPE_MOST, SOUNDS_MOST, envelope_bytes, sound_parts, wave_bytes
from curbtick_wire import codec, records
from curbtick_wire.names import HELD, OTHER
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.probe.bumper.readingdata import Sound, filled

HEADER = {"seq": 1, "boot": 1, "ticks_ms": 0}
BLOCK_US = 4096


def unpacked(shift: int, packed: bytes) -> np.ndarray:
    """The samples as the bench decodes them, in codes."""
    fields = {
        "sample_count": len(packed),
        "envelope_count": 0,
        "rate_hz": 250_000,
        "start_us": 0,
        "shift": shift,
        "envelope_step_us": BLOCK_US,
    }
    return snippet.decode(fields, packed).samples + 2048


@given(st.lists(st.integers(0, 4095), min_size=1, max_size=400))
def test_samples_come_back_within_half_a_step(codes: list[int]) -> None:
    """Half a step; at the very top, where a byte ends, less than one."""
    shift, packed = wave_bytes(array("H", codes))
    error = np.array(codes) - unpacked(shift, packed)
    at_the_top = np.frombuffer(packed, np.uint8) == 255
    assert np.abs(error[~at_the_top]).max(initial=0) <= (1 << shift) / 2
    assert np.abs(error[at_the_top]).max(initial=0) < max(1, 1 << shift)


@pytest.mark.parametrize(
    ("swing", "shift"),
    [(0, 0), (127, 0), (128, 1), (255, 1), (256, 2), (511, 2), (512, 3), (1024, 4), (2047, 4)],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_the_step_is_the_finest_that_holds_the_swing(swing: int, shift: int, sign: int) -> None:
    assert wave_bytes(array("H", [2048, 2048 + sign * swing]))[0] == shift


levels = st.one_of(st.just(-32768), st.integers(-6500, 300))


def crest(level_cdb: int) -> int:
    """The smoothed excess of a sine at a level: 4 times its power, 14844**2 at full scale; 0 for nothing."""
    return 0 if level_cdb == -32768 else max(1, round(4 * 14844**2 * 10 ** (level_cdb / 1000)))


@given(st.lists(levels, min_size=1, max_size=800), st.integers(0, 900))
def test_the_envelope_is_the_loudest_of_each_step_within_half_a_db(
    envelope_cdb: list[int], blocks: int
) -> None:
    step_us, packed = envelope_bytes([crest(level) for level in envelope_cdb], blocks)
    blocks = min(blocks, len(envelope_cdb))
    each = step_us // BLOCK_US
    assert step_us % BLOCK_US == 0 and len(packed) == -(-blocks // each) <= ENVELOPE_MOST
    for i, byte in enumerate(packed):
        loudest = max(envelope_cdb[i * each : min(blocks, (i + 1) * each)])
        if loudest == -32768:
            assert byte == 255
        else:
            held = min(0, max(-12_700, loudest))
            # The logarithm is good to 2 hundredths.
            assert -2 <= -50 * byte - held < 52 or byte == 254


def parts_of(sounds: list[Sound], kinds: dict[int, int] | None = None) -> list[tuple[dict[str, int], bytes]]:
    held = filled(sounds)
    for row in range(held.count):
        held.kind[row] = (kinds or {}).get(row, OTHER)
    return list(sound_parts(held, 1390))


def test_sounds_are_kept_that_were_heard_singly_or_belong_to_a_train() -> None:
    sounds = [Sound(1000 * i, evidence_cdb=e) for i, e in enumerate((1389, 1390, 1000, 5000))]
    values, tail = parts_of(sounds, {2: HELD})[0]
    rows = [struct.unpack_from("<HhHHB", tail, 9 * i) for i in range(values["count"])]
    assert [(row[0], row[4]) for row in rows] == [(20, OTHER), (40, HELD), (60, OTHER)]


@given(st.lists(st.integers(0, 1_290_000), max_size=192))
def test_parts_hold_every_sound_once_in_time_order(times_us: list[int]) -> None:
    parts = parts_of([Sound(time_us) for time_us in times_us])
    assert [values["first"] for values, _ in parts] == list(range(0, len(times_us), SOUNDS_MOST))
    rows = [row for _, tail in parts for row in struct.iter_unpack("<HhHHB", tail)]
    assert [row[0] for row in rows] == [time_us // 50 for time_us in sorted(times_us)]
    for values, tail in parts:
        assert codec.encode_record(records.SOUNDS, HEADER, values, tail)


@pytest.mark.parametrize(
    "sound",
    [
        Sound(-400, level_cdb=-40_000, frequency_hz=-5, length_us=0),
        Sound(4_000_000, level_cdb=9_000, frequency_hz=200_000, length_us=4_000_000),
    ],
)
def test_numbers_beyond_the_records_ranges_are_held_at_them(sound: Sound) -> None:
    values, tail = parts_of([replace(sound, evidence_cdb=3000)])[0]
    row = struct.unpack("<HhHHB", tail)
    for value, (name, _, low, high) in zip(row, records.SOUND, strict=True):
        assert low <= value <= high, name
    assert codec.encode_record(records.SOUNDS, HEADER, values, tail)
