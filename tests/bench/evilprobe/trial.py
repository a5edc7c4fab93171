"""One trial: a lie or a mutated session, then the true probe, and what may not have happened."""

import copy
import json
import os
from typing import Any, NamedTuple

from tests.bench.evilprobe.bench import Bench, Done, Template
from tests.bench.evilprobe.probe import Probe
from tests.bench.evilprobe.server import Tell
from tests.bench.evilprobe.tables import KINDS, record_table, table, unpack
from tests.bench.evilprobe.ways import READING_BYTES, Lie

DEADLINE_S = 75.0
"""protocol/SPEC.md, Deadlines: 15 s for an exchange, 60 s more than 1 s for each 500 B for a whole pull."""
DISK_BYTES = 8 * 2**20
"""Four times the flash of the probe's board: a record is stored raw and in fields."""
LATER = 3


class Finding(NamedTuple):
    """What must not be: which figure it counts for, in which trial, and what was seen."""

    figure: str
    trial: str
    seen: str


class Trial:
    """Runs lies against a bench and keeps what it finds; `peak_mb` is the command line's peak memory."""

    def __init__(self, bench: Bench, paired: Template, unpaired: Template) -> None:
        self._bench = bench
        self._templates = {True: paired, False: unpaired}
        self.findings: list[Finding] = []
        self.slowest_s = self.peak_mb = 0.0
        self.disk_most = 0
        self._name = ""

    def lie(self, lie: Lie, paired: bool) -> None:
        """Begin from a template, meet the lie, then the true probe."""
        self._name = f"{lie.name} ({'paired' if paired else 'unpaired'})"
        template = self._templates[paired]
        self._bench.reset(template)
        true = copy.deepcopy(template.probe)
        liar = copy.deepcopy(template.probe)
        liar.take(LATER)
        if lie.knows_key:
            true = liar
        else:
            without_key(liar)
        lie.fill(liar)
        command = ("pull",) if lie.command[0] == "limits" and not self._fetched(true) else lie.command
        self.meet(liar, lie.tell, *command)
        # More than the liar has: a true reading that the liar sent too would hide one that is missed.
        true.take(2 * LATER)
        self.afterwards(true, paired)

    def mutated(self, sessions: list[tuple[int, Tell]], paired: bool) -> None:
        """A run of mutated sessions over one history, then the true probe. sessions: the seed and script of each."""
        template = self._templates[paired]
        self._bench.reset(template)
        true = copy.deepcopy(template.probe)
        without = copy.deepcopy(true)
        without_key(without)
        for seed, tell in sessions:
            self._name = f"mutated session {seed} ({'paired' if paired else 'unpaired'})"
            true.take(1)
            liar = without if seed % 2 else true
            liar.records = dict(true.records)
            self.meet(liar, tell, "pull")
        self._name = (
            f"mutated sessions {[seed for seed, _ in sessions]} ({'paired' if paired else 'unpaired'})"
        )
        true.take(LATER)
        self.afterwards(true, paired)

    def _fetched(self, true: Probe) -> bool:
        """Whether the history has a limit set to send: one more pull of the true probe fetches it."""
        return self._bench.at(true, "pull").code in (0, 1)

    def meet(self, liar: Probe, tell: Tell, *words: str) -> None:
        """Run a command at a liar, and look at what it did to keys, disk, memory and time."""
        keys, size, signed = self._bench.keys(), self._bench.disk_bytes(), liar.signed_seen
        done = self._bench.at(liar, *words, tell=tell)
        self._ended(done, " ".join(words))
        self._keys_kept(keys, liar.signed_seen - signed, words)
        grown = self._bench.disk_bytes() - size
        self.disk_most = max(self.disk_most, grown)
        self.peak_mb = max(self.peak_mb, done.peak_mb)
        if grown > DISK_BYTES:
            self._found("disk_unbounded", f"{grown} B")

    def afterwards(self, true: Probe, paired: bool) -> None:
        """The true probe is pulled, exported and reported: nothing falls over, and no reading of it is missed.

        Without a key nobody can tell a forged reading from a true one of the same number: there both are kept, and
        either may be exported. With it the true one is.
        """
        for words in (("pull",), ("probes",)):
            self._ended(self._bench.at(true, *words), f"{words[0]} of the true probe")
        path = self._bench.folder / "readings.json"
        for offline in (("report", "--out", str(self._bench.folder / "report")), ("export", str(path))):
            done = self._bench.run(*offline)
            if done.failed or done.code is None:
                self._found("exit_70", f"{offline[0]}: {done.said[-1500:]}")
        missed = readings_of(true) - (exported(path) if paired else kept(self._bench.raw_records()))
        if missed:
            self._found("readings_missed", f"{len(missed)}: {sorted(missed)[:5]}")

    def _found(self, figure: str, seen: str) -> None:
        self.findings.append(Finding(figure, self._name, seen))

    def _ended(self, done: Done, what: str) -> None:
        self.slowest_s = max(self.slowest_s, done.seconds)
        if done.seconds > DEADLINE_S:
            self._found("hangs", f"{what}: {done.seconds:.0f} s")
        if done.failed:
            self._found("exit_70", f"{what}: {done.said[-1500:]}")

    def _keys_kept(self, before: dict[str, Any], signed: int, words: tuple[str, ...]) -> None:
        """No key changed, none came, and no counter rose by more than what was signed; pairing may add one."""
        after = self._bench.keys()
        for probe, key in before.items():
            now = after.get(probe, {})
            same = {**now, "counter": 0} == {**key, "counter": 0}
            if words != ("probes", "pair") and not (same and 0 <= now["counter"] - key["counter"] <= signed):
                self._found("keys_changed", f"{key['counter']} -> {now.get('counter')}, signed {signed}")
        if after.keys() - before.keys() and words != ("probes", "pair"):
            self._found("keys_changed", "a key came")


def without_key(liar: Probe) -> None:
    """Give it secrets of its own in place of the true ones."""
    for key in liar.keys.values():
        key[0] = os.urandom(32)


def readings_of(probe: Probe) -> set[tuple[int, int]]:
    """Number and level of each plain reading of a probe."""
    head = table("Header")
    found = {seq: unpack(head, raw) for seq, raw in probe.records.items() if len(raw) == READING_BYTES}
    return {
        (seq, level_of(probe.records[seq]))
        for seq, values in found.items()
        if values["kind"] == KINDS["reading"] and probe.records[seq][16:82] == probe.records[2][16:82]
    }


def kept(raws: set[bytes]) -> set[tuple[int, int]]:
    """Number and level of each reading among raw records."""
    whole = [raw for raw in raws if len(raw) == READING_BYTES and raw[0] == KINDS["reading"]]
    return {(unpack(table("Header"), raw)["seq"], level_of(raw)) for raw in whole}


def level_of(raw: bytes) -> int:
    """A reading's level in centidecibels."""
    level: int = unpack(record_table("reading"), raw[16:])["level_cdb"]
    return level


def exported(path: Any) -> set[tuple[int, int]]:
    """Number and level of each exported reading; none where there is no file."""
    if not path.exists():
        return set()
    rows = (json.loads(line) for line in path.read_text().splitlines())
    return {(row["seq"], row["level_cdb"]) for row in rows}
