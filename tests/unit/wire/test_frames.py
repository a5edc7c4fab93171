"""Frames against the golden vectors on CPython and MicroPython, and against PyPI cobs on arbitrary bytes."""

import json
import subprocess

import pytest
from cobs import cobs as reference
from curbtick_wire import cobs, frames
from curbtick_wire.errors import WireError
from hypothesis import given
from hypothesis import strategies as st

from tests.bench._common import micropython_command, micropython_environment
from tests.vectors import check_frames, make_frames

CASES = make_frames.cases()


def test_vector_file_is_what_its_maker_writes():
    assert make_frames.PATH.read_text(encoding="utf-8") == make_frames.text()


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_vectors_on_cpython(case):
    assert check_frames.reads_right(case)
    assert check_frames.writes_right(case)


def test_vectors_on_micropython():
    script = str(make_frames.PATH.with_name("check_frames.py"))
    command = [*micropython_command(), script, str(make_frames.PATH)]
    done = subprocess.run(
        command, env=micropython_environment(), capture_output=True, text=True, timeout=60, check=False
    )
    assert json.loads(done.stdout) == {"cases": len(CASES), "wrong": []}, done.stderr


@given(
    st.lists(st.sampled_from([b"\0", b"\1", b"\xff" * 253, b"\xff" * 254, b"\x7f" * 255, b"ab"]), max_size=6)
)
def test_cobs_is_the_reference_coder_around_its_run_length(parts):
    data = b"".join(parts)
    assert cobs.encode(data) == reference.encode(data)
    assert cobs.decode(cobs.encode(data)) == data


@given(st.binary(max_size=1100))
def test_cobs_is_the_reference_coder(data):
    assert cobs.encode(data) == reference.encode(data)


@given(st.binary(max_size=40))
def test_cobs_takes_only_what_the_reference_decoder_takes(data):
    try:
        expected = reference.decode(data) if data else None
    except reference.DecodeError:
        expected = None
    if expected is None:
        with pytest.raises(WireError):
            cobs.decode(data)
    else:
        assert cobs.decode(data) == expected


@given(st.lists(st.binary(max_size=30), max_size=8), st.integers(1, 7))
def test_noise_costs_no_frame_behind_a_delimiter(noises, step):
    message = (9, 513, b"\0\1\2")
    data = b"".join(noise + b"\0" + frames.encode(*message) for noise in noises)
    reader = frames.FrameReader()
    found = [frame for at in range(0, len(data), step) for frame in reader.feed(data[at : at + step])]
    assert [frame for frame in found if frame == message] == [message] * len(noises)


def test_reader_holds_no_more_than_its_limit():
    reader = frames.FrameReader(16)
    for _ in range(1000):
        reader.feed(b"\x55" * 100)
        assert len(reader._held) <= frames.wire_size(16)
    assert reader.too_long == 1


def test_every_single_bit_error_in_a_frame_is_noticed():
    data = frames.encode(5, 77, b"some payload\0with a zero")
    for place in range(8 * (len(data) - 1)):
        damaged = bytearray(data)
        damaged[place // 8] ^= 1 << place % 8
        reader = frames.FrameReader()
        assert reader.feed(bytes(damaged)) == []
        assert reader.damaged in (1, 2)


@pytest.mark.parametrize("size", [63, 64, 65, 127, 128, 129, 512])
def test_frame_overhead_is_head_crc_stuffing_and_delimiter(size):
    assert len(frames.encode(1, 1, b"\1" * size)) <= frames.wire_size(size) + 1
