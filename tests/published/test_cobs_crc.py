"""COBS and CRC-32 against published vectors."""

import crcmod.predefined
import pytest
from curbtick_wire import cobs, codec
from hypothesis import given
from hypothesis import strategies as st


def run(first, last):
    """The bytes first..last."""
    return bytes(range(first, last + 1))


# Examples of S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2),
# 1999, as tabulated for the algorithm in public references; recomputed with PyPI `cobs`.
COBS = [
    (bytes.fromhex("00"), bytes.fromhex("0101")),
    (bytes.fromhex("0000"), bytes.fromhex("010101")),
    (bytes.fromhex("11220033"), bytes.fromhex("0311220233")),
    (bytes.fromhex("11223344"), bytes.fromhex("0511223344")),
    (bytes.fromhex("11000000"), bytes.fromhex("0211010101")),
    (run(1, 254), b"\xff" + run(1, 254)),
    (run(0, 254), b"\x01\xff" + run(1, 254)),
    (run(1, 255), b"\xff" + run(1, 254) + b"\x02\xff"),
    (run(2, 255) + b"\0", b"\xff" + run(2, 255) + b"\x01\x01"),
]


@pytest.mark.parametrize(("plain", "stuffed"), COBS)
def test_cobs_of_the_paper(plain, stuffed):
    assert cobs.encode(plain) == stuffed
    assert cobs.decode(stuffed) == plain


@given(st.binary(max_size=2000))
def test_cobs_overhead_of_the_paper(data):
    """At most one byte for each 254 begun, at least one in all."""
    overhead = len(cobs.encode(data)) - len(data)
    assert 1 <= overhead <= max(1, -(-len(data) // 254))


def test_crc32_of_the_catalogue():
    """The check value of CRC-32/ISO-HDLC in G. Cook's RevEng catalogue of parametrised CRC algorithms."""
    assert codec.crc32(b"123456789") == 0xCBF43926


@given(st.binary(max_size=300))
def test_crc32_is_the_independent_one(data):
    assert codec.crc32(data) == crcmod.predefined.mkCrcFun("crc-32")(data)
