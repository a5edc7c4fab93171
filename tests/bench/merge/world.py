"""A random world of benches and probes: what happens in it, by seed; nothing here knows how a history is stored.

2 to 5 benches, each with a clock of its own, wrong by days; probes that are wiped, read at one bench and pulled at
another, twice or in part; an impostor with a probe's id; vehicles with names that collide; entries of every kind; files
set back to an older backup, or copied and continued on both sides; syncs in random order, some broken off by kill -9.
"""

import random
from dataclasses import dataclass, field

from curbtick_wire import names, records

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, anchored, reading, record

VEHICLE_NAMES = ("Van 1", "Van 2", "Bus")
STEPS = ("clean", "replace", "inspect", "note", "repair")


@dataclass
class Log:
    """A log of a probe as the probe holds it."""

    probe: str
    log_id: int
    raws: list[bytes] = field(default_factory=list)
    boot: int = 0
    at_ms: int = 0
    newest: dict[tuple[int, int, int], int] = field(default_factory=dict)


class World:
    """Draws what happens; time passes by hours from one deed to the next."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.now_ms = NOON_MS
        self.benches = [f"bench {n}" for n in range(self.random.randint(2, 5))]
        self.clock_ms = {name: self._wrong_ms() for name in self.benches}
        self.logs = {f"e660c0d1c7302a1{n}": Log(f"e660c0d1c7302a1{n}", n + 1) for n in range(2)}
        self.next_log = 100
        # The rounds that a probe can hold, and how many vehicles are in each.
        self.rounds: list[tuple[int, int]] = []

    def _wrong_ms(self) -> int:
        return self.random.choice((0, 0, 1, -3, 5)) * DAY_MS

    def bench_ms(self, bench: str) -> int:
        """What a bench's clock says."""
        return self.now_ms + self.clock_ms[bench]

    def pass_time(self) -> None:
        """Hours go by; now and then a bench's clock is set."""
        self.now_ms += self.random.randint(1, 40) * 3_600_000
        if self.random.random() < 0.05:
            self.clock_ms[self.random.choice(self.benches)] = self._wrong_ms()

    def use(self) -> None:
        """A probe is switched on, anchored by some bench's clock or not, and reads."""
        log = self.random.choice(list(self.logs.values()))
        log.boot += 1
        ticks_ms = 0
        if self.random.random() < 0.7:
            at_ms = self.bench_ms(self.random.choice(self.benches))
            log.raws.append(
                anchored(len(log.raws) + 1, at_ms // 1000, log.boot, 0, self.random.choice((5, 20, 90)))
            )
        seqs = []
        for _ in range(self.random.randint(1, 5)):
            ticks_ms += 60_000
            seqs.append(self._read(log, ticks_ms))
        if self.random.random() < 0.3:
            self._sum(log, seqs, ticks_ms + 1000)

    def _read(self, log: Log, ticks_ms: int) -> int:
        number, members = self.random.choice(self.rounds) if self.rounds else (0, 1)
        if self.random.random() < 0.2:
            number = self.random.choice((0, 77))
        vehicle, position = self.random.randint(1, members), self.random.randint(1, 2)
        verdict = self.random.choice((names.PASS, names.PASS, names.WEAK, names.DEAD, names.RETRY))
        seq = len(log.raws) + 1
        place = (number, vehicle, position)
        again = log.newest.get(place, 0) if self.random.random() < 0.2 else 0
        values = {"round_id": number, "vehicle": vehicle, "position": position, "verdict": verdict}
        log.raws.append(reading(seq, log.boot, ticks_ms, supersedes_seq=again, **values))
        log.newest[place] = seq
        return seq

    def _sum(self, log: Log, seqs: list[int], ticks_ms: int) -> None:
        """A bumper result that keeps each verdict, so that it changes nothing."""
        some = seqs[:4]
        values = {"positions": len(some), "reading_seqs": [*some, *[0] * (6 - len(some))]}
        verdicts = [raw_verdict(log.raws[seq - 1]) for seq in some]
        padded = {"verdicts": [*verdicts, *[0] * (6 - len(some))], "reasons": [0] * 6}
        fields = {"round_id": 0, "class_khz": 48, "result": names.BUMPER_INCOMPLETE, **values, **padded}
        log.raws.append(record(records.BUMPER, len(log.raws) + 1, fields, log.boot, ticks_ms))

    def wipe(self) -> None:
        """A probe's flash is erased: it begins a new log."""
        probe = self.random.choice(list(self.logs))
        self.next_log += 1
        self.logs[probe] = Log(probe, self.next_log)

    def impostor(self) -> Log:
        """A device that says that it is one of the probes, with records of its own under the same numbers."""
        true = self.random.choice(list(self.logs.values()))
        count = self.random.randint(1, max(len(true.raws), 1))
        false = Log(true.probe, true.log_id, boot=1)
        for seq in range(1, count + 1):
            false.raws.append(reading(seq, 1, seq * 1000, position=1, verdict=names.DEAD, level_cdb=-4000))
        return false


def raw_verdict(raw: bytes) -> int:
    """The verdict in a reading's record."""
    from curbtick_wire import codec

    return int(codec.decode_record(raw)["values"]["verdict"])
