"""The MicroPython half of the fuzz benchmark: random and mutated frames into the firmware's own link.

    micropython link.py FLASH_FILE FRAMES SEED      prints one JSON line

Storage is the real one on littlefs. A bench is paired first and its signed requests are taken down; the fuzz then plays
them again, whole and mutated, between noise, text, damaged frames and well-framed nonsense.
"""

import gc
import json
import random
import sys

from curbtick_probe.board.virtual import flashdisk
from curbtick_probe.link.access import hmac_sha256
from curbtick_probe.link.link import Identity, Link, Probe
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys
from curbtick_probe.store.log import Log
from curbtick_probe.store.settings.calibration import Calibration
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_wire import codec, frames, messages, names
from fake_board import FakeBoard

ROOT = "/probe"
TEXTS = (b"AT+CGMI\r", b"Traceback (most recent call last):\r\n", b">>> ", b"\r\n", b"ATE1 E0\r")
SECRET = bytes(range(32))
WARM_UP = 3000


class Serial:
    """Gives what was put in, takes everything."""

    def __init__(self):
        self.data = b""
        self.at = 0

    def put(self, data):
        self.data = data
        self.at = 0

    def read_into(self, buffer):
        count = min(len(buffer), len(self.data) - self.at)
        buffer[:count] = self.data[self.at : self.at + count]
        self.at += count
        return count

    def write(self, data):
        return len(data)


def open_probe(path):
    flashdisk.mount(flashdisk.FlashDisk(path, lambda us: None, 64), ROOT)
    board = FakeBoard()
    clock = Clock(ROOT, board)
    log = Log(ROOT, clock.boot, clock.ticks_ms)
    clock.attach(log)
    for number in range(20):
        log.event(names.EVENTS.index("start"), number)
    return Probe(log, Limits(ROOT), Rounds(ROOT), clock, Keys(ROOT), Calibration(ROOT), Identity(board))


def run_down(link, serial):
    """Poll until everything put in is read and answered."""
    while link.poll() or serial.at < len(serial.data):
        pass


def some_round():
    vehicle = {
        "vehicle": 1,
        "rear_positions": 4,
        "rear_class_khz": 48,
        "front_positions": 0,
        "front_class_khz": 0,
    }
    return codec.pack_round({"round_id": 9, "vehicles": [vehicle]})


def signed(link, kind, key_id, counter, body):
    nonce = link._access.probe_nonce
    tag = hmac_sha256(SECRET, messages.signed_text(FakeBoard.unique_id, nonce, kind, body, key_id, counter))
    return body + codec.pack(messages.SIGNATURE, {"key_id": key_id, "counter": counter, "tag": tag})


def genuine(link, serial, probe):
    """Pair a bench and have it change things: its signed requests as (kind, key_id, counter, body)."""
    key_id = probe.keys.add(SECRET, b"bench")
    limits = dict(probe.limits.current, revision=5)
    log = probe.log
    acknowledge = {"first_seq": 1, "last_seq": 10, "digest": log.digest(1, 10)}
    sent = (
        (messages.LIMITS_PUT, codec.pack_limits(limits)),
        (messages.ROUND_PUT, some_round()),
        (messages.ACKNOWLEDGE, messages.pack(messages.ACKNOWLEDGE, acknowledge)),
        (messages.ANCHOR, anchor(probe)),
    )
    greet = {"bench_version": 1, "definition": bytes(8), "bench_nonce": bytes(16)}
    serial.put(frames.encode(messages.GREET, 1, messages.pack(messages.GREET, greet)))
    run_down(link, serial)
    taken = []
    for counter, (kind, body) in enumerate(sent):
        taken.append((kind, key_id, counter + 1, body))
        serial.put(frames.encode(kind, 1, signed(link, *taken[-1])))
        run_down(link, serial)
    if link.refused or probe.limits.revision != 5 or log.acknowledged != 10:
        raise RuntimeError("the genuine requests were not obeyed")
    return taken


def anchor(probe):
    values = {
        "boot": probe.clock.boot,
        "ticks_ms": 0,
        "host_time_s": 1,
        "host_time_ms": 0,
        "uncertainty_ms": 1,
    }
    return messages.pack(messages.ANCHOR, values)


def random_bytes(most):
    return bytes([random.getrandbits(8) for _ in range(random.getrandbits(10) % (most + 1))])


def random_fields(fields):
    """Values of a table, mostly within their ranges, as bytes."""
    values = {}
    for name, form, lowest, highest in fields:
        if form[-1] == "s":
            size = int(form[:-1])
            values[name] = (random_bytes(size) + bytes(size))[:size]
        else:
            values[name] = random.choice(
                (lowest, highest, lowest + random.getrandbits(30) % (highest - lowest + 1))
            )
    return codec.pack(fields, values)


def mutated(data):
    """Data with a few bytes changed, dropped, doubled or cut off."""
    data = bytearray(data)
    for _ in range(1 + random.getrandbits(2)):
        if not data:
            break
        at = random.getrandbits(16) % len(data)
        way = random.getrandbits(2)
        if way == 0:
            data[at] ^= 1 << random.getrandbits(3)
        elif way == 1:
            data[at] = random.getrandbits(8)
        elif way == 2:
            data = data[:at] + data[at + 1 :]
        else:
            data = data[:at]
    return bytes(data)


class Fuzz:
    """Makes one input after another."""

    def __init__(self, link, taken):
        self._link = link
        self._taken = taken
        self._recorded = [(one[0], signed(link, *one)) for one in taken]
        self._ways = (
            self._noise,
            self._any_message,
            self._any_message,
            self._request,
            self._request,
            self._mutated_request,
            self._damaged_frame,
            self._replayed,
            self._replayed_at_once,
            self._tampered,
            self._too_long,
            self._text,
        )

    def next(self):
        return random.choice(self._ways)()

    def _noise(self):
        return random_bytes(80)

    def _any_message(self):
        return frames.encode(random.getrandbits(8), random.getrandbits(16), random_bytes(60))

    def _entry(self):
        return random.choice(messages.REQUESTS)

    def _payload(self, entry):
        payload = random_fields(entry[2])
        if entry[4] == messages.SIGNED:
            payload += random_bytes(40) if entry[3] else b""
            payload += random_fields(messages.SIGNATURE)
        return payload

    def _request(self):
        entry = self._entry()
        return frames.encode(entry[0], random.getrandbits(16), self._payload(entry))

    def _mutated_request(self):
        entry = self._entry()
        return frames.encode(entry[0], random.getrandbits(16), mutated(self._payload(entry)))

    def _damaged_frame(self):
        return mutated(self._request())

    def _replayed(self):
        kind, payload = random.choice(self._recorded)
        return frames.encode(kind, random.getrandbits(16), payload)

    def _replayed_at_once(self):
        """A request that was obeyed before, as it would stand in the greeting that holds now."""
        kind, key_id, counter, body = random.choice(self._taken)
        return frames.encode(kind, random.getrandbits(16), signed(self._link, kind, key_id, counter, body))

    def _tampered(self):
        kind, payload = random.choice(self._recorded)
        return frames.encode(kind, random.getrandbits(16), mutated(payload))

    def _too_long(self):
        return b"\x01" * (500 + random.getrandbits(9))

    def _text(self):
        return random.choice(TEXTS)


def state(probe):
    """Everything a frame could have changed."""
    log = probe.log
    return (
        log.next_seq,
        log.acknowledged,
        log.digest(1, log.last_seq),
        probe.limits.data,
        probe.rounds.data,
        probe.keys.rows(),
        probe.self_test_wanted,
    )


def frames_seen(link):
    counted = link.counters()
    return counted["frames_good"] + counted["frames_damaged"] + counted["frames_too_long"]


def feed(link, serial, fuzz, count):
    """Feed until the link has told count more frames apart: how many those were."""
    start = frames_seen(link)
    while frames_seen(link) < start + count:
        for _ in range(100):
            serial.put(fuzz.next())
            run_down(link, serial)
    return frames_seen(link) - start


def heap_used(link, serial):
    """Bytes in use once the link is at rest."""
    serial.put(b"\0\0")
    run_down(link, serial)
    serial.put(b"")
    gc.collect()
    return gc.mem_alloc()


def main(path, count, seed):
    random.seed(seed)
    probe = open_probe(path)
    serial = Serial()
    link = Link(serial, probe)
    fuzz = Fuzz(link, genuine(link, serial, probe))
    feed(link, serial, fuzz, WARM_UP)
    before = state(probe)
    heap_before = heap_used(link, serial)
    seen = feed(link, serial, fuzz, count)
    heap_after = heap_used(link, serial)
    found = {
        "frames": seen,
        "faults": link.faults,
        "state_changed": state(probe) != before,
        "heap_before": heap_before,
        "heap_after": heap_after,
        "counters": link.counters(),
    }
    sys.stdout.write(json.dumps(found) + "\n")


main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
