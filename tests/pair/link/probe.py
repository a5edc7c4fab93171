"""A MicroPython program for tests of the wire: the firmware's log, limits, keys and link on an invented board.

    micropython wire_probe.py FD_OR_PATH FLASH_FILE [pairing] [later] [altered]

It serves the link on a file descriptor or path, and obeys lines on standard input: `append N` logs N records of
several kinds and answers with the log's last number, `tell N` with their numbers and digests; `stats` answers with
the link's counters. With `later` it is a probe of a later protocol version, whose log has a record kind that
today's bench does not know; with `altered` only its tables differ, the version being the same.
"""

import binascii
import hashlib
import json
import math
import select
import sys
import time

from curbtick_wire import messages, names, records

LATER_KIND = 99
if "later" in sys.argv or "altered" in sys.argv:
    # What a later version changes, before the firmware has looked: its number, and a new record kind.
    messages.PROTOCOL_VERSION = 9 if "later" in sys.argv else 1
    records.KINDS += ((LATER_KIND, "later", (("novelty", "I", 0, 9),), None),)

from curbtick_probe.board.virtual import flashdisk  # noqa: E402
from curbtick_probe.board.virtual.board import Serial  # noqa: E402
from curbtick_probe.link import service  # noqa: E402
from curbtick_probe.link.link import Identity, Link, Probe  # noqa: E402
from curbtick_probe.store.clock import Clock  # noqa: E402
from curbtick_probe.store.keys import Keys  # noqa: E402
from curbtick_probe.store.log import Log  # noqa: E402
from curbtick_probe.store.settings.calibration import Calibration  # noqa: E402
from curbtick_probe.store.settings.limits import Limits  # noqa: E402
from curbtick_probe.store.settings.rounds import Rounds  # noqa: E402
from fake_board import FakeBoard  # noqa: E402

ROOT = "/probe"
_ZERO = {}
for _kind, _name, _fields, _tail in records.KINDS:
    _ZERO[_kind] = {}
    for _field in _fields:
        _many = int(_field[1][:-1] or 1)
        _ZERO[_kind][_field[0]] = (_field[2],) * _many if _many > 1 else _field[2]


class Board(FakeBoard):
    """A board whose time is the computer's."""

    unique_id = bytes.fromhex("c0b0000000000abc")

    def ticks_ms(self):
        return time.ticks_ms()


def open_probe(board, flash_path, pairing):
    flashdisk.mount(flashdisk.FlashDisk(flash_path, lambda us: None), ROOT)
    clock = Clock(ROOT, board)
    log = Log(ROOT, clock.boot, clock.ticks_ms)
    clock.attach(log)
    log.event(names.EVENTS.index("start"))
    return Probe(
        log, Limits(ROOT), Rounds(ROOT), clock, Keys(ROOT), Calibration(ROOT), Identity(board), pairing
    )


def waveform(number):
    """A burst as a snippet's tail: 512 samples of a 48 kHz burst with some noise, 180 values of its envelope."""
    samples = bytearray(692)
    noise = number * 2654435761 % 4294967296 | 1
    for place in range(512):
        noise = (noise * 1664525 + 1013904223) % 4294967296
        rise = min(1.0, place / 60) * math.exp(-max(0, place - 100) / 70)
        level = 100 * rise * math.sin(2 * math.pi * 48000 * place / 250000) + (noise >> 24) / 40 - 3
        samples[place] = int(level) & 255
        if place < 180:
            samples[512 + place] = int(200 * rise) + (noise >> 30)
    return bytes(samples)


def append(log, count):
    """Log a reading with its snippet and sounds, and a bumper result after every fourth: count records in all."""
    for number in range(count):
        turn = number % 4
        if turn == 0:
            values = dict(_ZERO[records.READING], frequency_hz=48000 + number, vehicle=number % 90)
            reading = log.append(records.READING, values)
        elif turn == 1:
            values = dict(_ZERO[records.SNIPPET], reading_seq=reading, sample_count=512, envelope_count=180)
            log.append(records.SNIPPET, values, waveform(number))
        elif turn == 2:
            log.append(records.SOUNDS, dict(_ZERO[records.SOUNDS], reading_seq=reading, count=3), bytes(27))
        else:
            log.append(records.BUMPER, dict(_ZERO[records.BUMPER], reading_seqs=(reading,) * 6))


def digest_of(record):
    return binascii.hexlify(hashlib.sha256(record).digest()).decode()


def obey(line, probe, link):
    word, _, rest = line.strip().partition(" ")
    if word == "append":
        append(probe.log, int(rest))
        return str(probe.log.last_seq)
    if word == "tell":
        first = probe.log.last_seq + 1
        append(probe.log, int(rest))
        told = [(seq, digest_of(probe.log.read(seq))) for seq in range(first, probe.log.last_seq + 1)]
        return json.dumps(told)
    if word == "later":
        return str(probe.log.append(LATER_KIND, {"novelty": 7}))
    if word == "wants_self_test":
        return str(probe.self_test_wanted)
    if word == "stats":
        return json.dumps(link.counters())
    return "?"


def main(where, flash_path, words):
    if "later" in words:
        service.OLDEST_VERSION = messages.PROTOCOL_VERSION
    serial = Serial(where)
    probe = open_probe(Board(), flash_path, "pairing" in words)
    link = Link(serial, probe)
    commands = select.poll()
    commands.register(sys.stdin, select.POLLIN)
    both = select.poll()
    both.register(sys.stdin, select.POLLIN)
    both.register(serial.stream, select.POLLIN)
    sys.stdout.write("ready\n")
    while True:
        if not link.poll():
            both.poll(100)
        if commands.poll(0):
            line = sys.stdin.readline()
            if not line:
                return
            sys.stdout.write(obey(line, probe, link) + "\n")


main(sys.argv[1], sys.argv[2], sys.argv[3:])
