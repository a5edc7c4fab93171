"""How much of a board's flash the log takes, and how long. Runs on MicroPython; prints one JSON object.

micropython log_budget_probe.py SECTORS READINGS
"""

import json
import sys

from curbtick_probe.store.log import Log
from curbtick_wire import codec, records
from powercut.session import DRAWING, ROOT, format_flash, mount, zeros
from torn_flash import ERASE, PlainFlash

ERASE_US = 45_000
PROGRAM_US = 700


def largest(kind, room_bytes, item_bytes):
    """Bytes of the largest tail a record of a kind may have."""
    head = codec.size_of(records.HEADER) + codec.size_of(codec.kind_entry(kind)[2]) + codec.CRC_SIZE
    return (room_bytes - head) // item_bytes * item_bytes


def items():
    """A snippet and sounds, each as large as a record of that kind may be."""
    snippet, sounds = zeros(records.SNIPPET), zeros(records.SOUNDS)
    samples = largest(records.SNIPPET, records.SNIPPET_MAX, 1)
    heard = largest(records.SOUNDS, records.RECORD_MAX, codec.size_of(records.SOUND))
    sounds["count"] = heard // codec.size_of(records.SOUND)
    return (records.SNIPPET, snippet, bytes(samples)), (records.SOUNDS, sounds, bytes(heard))


class Meter:
    """What each step costs on a flash."""

    def __init__(self, flash):
        self._flash = flash
        self.steps = self.erases = self.most_erases = self.longest_us = self.total_us = 0

    def run(self, step, *arguments):
        """Run a step and meter it: what it gives."""
        self._flash.journal = []
        given = step(*arguments)
        kinds = [operation[0] for operation in self._flash.journal]
        erases = kinds.count(ERASE)
        took_us = erases * ERASE_US + (len(kinds) - erases) * PROGRAM_US
        self.steps += 1
        self.erases += erases
        self.total_us += took_us
        self.most_erases = max(self.most_erases, erases)
        self.longest_us = max(self.longest_us, took_us)
        return given


def main(sectors, readings):
    """Fill a log with readings and print what it took."""
    flash = PlainFlash(sectors)
    format_flash(flash)
    mount(flash)
    import os

    os.mkdir(ROOT)
    DRAWING.flash = flash
    log = Log(ROOT, 1, lambda: 0)
    meter = Meter(flash)
    values, waves = zeros(records.READING), items()
    for _ in range(readings):
        seq = meter.run(log.append, records.READING, values)
        for _kind, fields, _tail in waves:
            fields["reading_seq"] = seq
        meter.run(log.append_all, waves)
    held = sum(1 for _raw in log.iter_from(1))
    print(
        json.dumps(
            {
                "held": held,
                "dropped": log.dropped,
                "free_bytes": log.free_bytes(),
                "erases_per_step": meter.erases / meter.steps,
                "most_erases": meter.most_erases,
                "mean_ms": meter.total_us / meter.steps / 1000,
                "longest_ms": meter.longest_us / 1000,
                "record_bytes": [len(log.read(seq)) for seq in (1, 2, 3)],
            }
        )
    )


main(int(sys.argv[1]), int(sys.argv[2]))
