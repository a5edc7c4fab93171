"""A probe, a bad wire, and a bench with its history: what sessions over the wire must never break.

A session is a bench program of its own (a fork): it opens the port, pulls into the history, and may send limits or a
round. It is killed, the wire pulled out or the probe switched off at any moment; then everything must still be whole.
"""

import hashlib
import os
import random
import signal
import sys
import time
import traceback
from pathlib import Path
from typing import Any

from curbtick.errors import CurbtickError, StoreError
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import Client
from curbtick.link.keyring import Keyring
from curbtick.link.port import Link, open_wire
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick_wire import codec, messages, records
from sqlalchemy import select

from tests.faults.badwire.wire import BadWire
from tests.pair.link.harness import ProbeProcess

# The probe here answers within a few milliseconds: no need for a real one's waits.
PACE = 0.15
# On a whole wire an answer comes, however late a starved machine lets the probe run: waits end only what hangs.
WHOLE_WIRE_PACE = 20.0
_STEP_WAIT_S = 300.0
_REFUSED_BY_LINK, _BROKEN_STORE, _CRASHED = 3, 4, 5


def limits_of(revision: int) -> dict[str, Any]:
    """The limit set sent as this revision."""
    return {**codec.factory_limits(), "revision": revision, "battery_min_mv": 2000 + revision % 4000}


def round_of(round_id: int) -> dict[str, Any]:
    """The round sent under this id."""
    vehicle = {"vehicle": 1 + round_id % 99, "rear_positions": 4, "rear_class_khz": 48}
    return {"round_id": round_id, "vehicles": [{**vehicle, "front_positions": 0, "front_class_khz": 0}]}


class Violation(AssertionError):
    """Something was lost, doubled, wrongly accepted or out of step."""


class World:
    """Everything of one run under folder. `sessions`, `killed`, `failed`: counts."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder = folder
        self.random = random.Random(seed)
        self.wire = BadWire()
        self.probe = ProbeProcess(self.wire.probe.slave, folder / "flash", "pairing")
        self.truth: dict[int, str] = {}
        self.revisions, self.round_ids = {1}, {0}
        self.next_revision, self.next_round = 2, 1
        self.sessions = self.killed = self.failed = 0
        self.damage_done: dict[str, int] = {}
        Store(self._database()).close()
        with self._client() as client:
            client.greet()
            client.pair("bench")

    def _database(self) -> Path:
        return self.folder / "curbtick.db"

    def _client(self, pace: float = WHOLE_WIRE_PACE) -> Client:
        path = self.wire.bench.path
        return Client(Link(open_wire(path), pace), Keyring(self.folder / "keys.json"), path)

    def take_readings(self, count: int) -> None:
        """The technician takes readings: count records, remembered by what they hold."""
        self.truth.update(self.probe.append_told(count))

    def reboot(self) -> None:
        """Take the probe's power away and give it back."""
        self.probe.kill()
        self.probe.start()

    def session(self, *, send: str, mean_gap_bytes: int, trouble: str) -> None:
        """One bench program over a damaged wire.

        send: "", "limits" or "round"; mean_gap_bytes: between faults, 0 for none; trouble: "", "kill", "unplug" or
        "power" at a moment of its own.
        """
        self.sessions += 1
        if mean_gap_bytes:
            self.wire.damage(self.random.randrange(1 << 30), mean_gap_bytes)
        child = self._fork(send)
        self._make(trouble, child)
        status = self._wait(child)
        for name, count in self.wire.mend().items():
            self.damage_done[name] = self.damage_done.get(name, 0) + count
        self._judge(status)
        self.check()

    def _fork(self, send: str) -> int:
        revision, round_id = self.next_revision, self.next_round
        if send == "limits":
            self.revisions.add(revision)
            self.next_revision += 1
        elif send == "round":
            self.round_ids.add(round_id)
            self.next_round += 1
        child = os.fork()
        if child == 0:
            os._exit(self._bench_program(send, revision, round_id))
        return child

    def _bench_program(self, send: str, revision: int, round_id: int) -> int:
        """What the bench does, in its own process: the exit code."""
        try:
            with Store(self._database()) as store, self._client(PACE) as client:
                client.greet()
                pull_probe(store, client)
                if send == "limits":
                    client.send_limits(limits_of(revision))
                elif send == "round":
                    client.send_round(round_of(round_id))
        except StoreError as error:
            sys.stderr.write(f"{error}\n")
            return _BROKEN_STORE
        except CurbtickError:
            return _REFUSED_BY_LINK
        except BaseException:
            traceback.print_exc()
            return _CRASHED
        return 0

    def _make(self, trouble: str, child: int) -> None:
        if not trouble:
            return
        time.sleep(self.random.random() * 0.15)
        if trouble == "kill":
            os.kill(child, signal.SIGKILL)
        elif trouble == "unplug":
            self.wire.unplug()
        elif trouble == "power":
            self.reboot()

    def _wait(self, child: int) -> int:
        deadline_s = time.monotonic() + _STEP_WAIT_S
        while time.monotonic() < deadline_s:
            found, status = os.waitpid(child, os.WNOHANG)
            if found:
                return status
            time.sleep(0.002)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        raise Violation("a bench program did not come to an end")

    def _judge(self, status: int) -> None:
        if os.WIFSIGNALED(status):
            self.killed += 1
            return
        code = os.WEXITSTATUS(status)
        self.failed += code == _REFUSED_BY_LINK
        if code in (_BROKEN_STORE, _CRASHED):
            raise Violation(f"the bench program ended with {code}")

    def check(self) -> None:
        """After a session, on a whole wire: back in step at once, and nothing wrong was accepted."""
        with self._client() as client:
            link = client._link
            request = link.next_id()
            link.send(messages.TICKS, request, b"")
            if link.receive(request, 5.0) is None:
                raise Violation("not back in step within one frame")
            greeting = client.greet()
            limits, round_ = client.limits(), client.round()
            stats = client.stats()
        if stats["faults"]:
            raise Violation(f"{stats['faults']} failures in the probe")
        if limits["revision"] not in self.revisions:
            raise Violation(f"limits revision {limits['revision']} was never sent")
        expected = codec.factory_limits() if limits["revision"] == 1 else limits_of(limits["revision"])
        if limits != expected or (round_ or {"round_id": 0})["round_id"] not in self.round_ids:
            raise Violation("limits or round in force are not what was sent")
        if round_ and round_ != round_of(round_["round_id"]):
            raise Violation("the round in force is not what was sent")
        self.revisions = {revision for revision in self.revisions if revision >= limits["revision"]}
        self._check_history(greeting.acknowledged_seq)

    def _check_history(self, acknowledged_seq: int) -> None:
        stored = self.stored()
        for seq, digest in self.truth.items():
            if seq <= acknowledged_seq and seq not in stored:
                raise Violation(f"record {seq} was acknowledged and is not stored")
            if seq in stored and stored[seq] != digest:
                raise Violation(f"record {seq} is stored wrong")

    def stored(self) -> dict[int, str]:
        """Every record in the history, by number: a digest of what it holds. Raises Violation for one stored twice."""
        with Store(self._database()) as store, store.read() as connection:
            rows = [bytes(row.raw) for row in connection.execute(select(tables.log.c.raw))]
        found: dict[int, str] = {}
        for raw in rows:
            record = codec.decode_record(raw)
            if record["seq"] in found:
                raise Violation(f"record {record['seq']} is stored twice")
            found[record["seq"]] = hashlib.sha256(raw).hexdigest()
            if record["seq"] not in self.truth and record["kind"] != records.EVENT:
                raise Violation(f"record {record['seq']} was never taken")
        return found

    def finish(self) -> int:
        """Pull what is left over a whole wire: how many records are stored, each of them once."""
        with Store(self._database()) as store, self._client() as client:
            client.greet()
            pull_probe(store, client)
        stored = self.stored()
        lost = [seq for seq in self.truth if seq not in stored]
        if lost:
            raise Violation(f"records {lost[:5]} were lost")
        self._check_history(max(self.truth, default=0))
        return len(stored)

    def close(self) -> None:
        """Switch everything off."""
        self.probe.kill()
        self.wire.close()
