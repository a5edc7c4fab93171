"""Random worlds of benches that sync: nothing is lost or doubled, and all derive the same as an oracle does.

python -m tests.bench.merge --json [--seed N] [--short]

Each world is played into histories in files, one of which stands for the server. Syncs are broken off by kill -9 at a
random moment. At the end all sync with all until nothing is sent, and then: every record and every entry that any
history held is everywhere, byte for byte and not twice; all caches are equal, and equal to a fold made anew; and the
oracle, over plain lists, agrees on which positions are open, done, proved and unread.
"""

import multiprocessing
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from curbtick.errors import CurbtickError
from curbtick.fleet import readings, rounds, vehicles
from curbtick.fleet.probes.names import describe
from curbtick.fleet.vehicles import Bumper
from curbtick.fleet.work import assign, findings, swap
from curbtick.limits import sets
from curbtick.store import keys, tables
from curbtick.store.history import Store, depots, whole
from curbtick.store.sync import union
from sqlalchemy import select

from tests.bench._common import arguments, figure, report
from tests.bench.merge import oracle as merge_oracle
from tests.bench.merge.world import STEPS, VEHICLE_NAMES, Log, World

WORLDS, SHORT_WORLDS = 500, 15
DEEDS = 60
_CONTEXT = multiprocessing.get_context("fork")
SERVER = "server"


class Play:
    """One world, played into files of a folder."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.world, self.folder = World(seed), folder
        self.random = self.world.random
        self.backups: list[tuple[str, Path]] = []
        self.kills = 0
        self.done: dict[str, int] = {}
        for name in (*self.world.benches, SERVER):
            Store(self.path(name)).close()

    def path(self, name: str) -> Path:
        return self.folder / f"{name}.db"

    @property
    def histories(self) -> list[str]:
        return [*self.world.benches, SERVER]

    def run(self) -> None:
        for _ in range(DEEDS):
            deed = self.random.choice(_DEEDS)
            bench = self.random.choice(self.histories)
            try:
                deed(self, bench)
                self.done[deed.__name__] = self.done.get(deed.__name__, 0) + 1
            except CurbtickError:
                self.done["refused"] = self.done.get("refused", 0) + 1
            self.world.pass_time()

    def now_ms(self, bench: str) -> int:
        return self.world.now_ms if bench == SERVER else self.world.bench_ms(bench)

    def use(self, _bench: str) -> None:
        self.world.use()

    def pull(self, bench: str) -> None:
        self._pull(bench, self.random.choice(list(self.world.logs.values())), self.random.random() < 0.7)

    def impostor(self, bench: str) -> None:
        self._pull(bench, self.world.impostor(), False)

    def _pull(self, bench: str, log: Log, is_proved: bool) -> None:
        last = self.random.randint(0, len(log.raws))
        first = self.random.randint(0, last)
        if first == last:
            return
        with Store(self.path(bench)) as store:
            store.ingest(
                log.probe,
                log.raws[first:last],
                log_id=log.log_id,
                covered=(first + 1, last),
                received_ms=self.now_ms(bench),
                bench=bench,
                is_proved=is_proved,
            )

    def wipe(self, _bench: str) -> None:
        self.world.wipe()

    def enter(self, bench: str) -> None:
        bumper = Bumper(2, 48)
        with Store(self.path(bench)) as store, store.write() as connection:
            name = self.random.choice(VEHICLE_NAMES)
            vehicles.add(connection, name, bumper, Bumper(0, 0), self.now_ms(bench), depot="Harbour")

    def alter(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            every = sorted(vehicles.load(connection), key=lambda one: one.id)
            if not every:
                return
            one, at_ms = self.random.choice(every), self.now_ms(bench)
            chosen = self.random.randint(0, 3)
            if chosen == 0:
                vehicles.rename(connection, one.id, self.random.choice(VEHICLE_NAMES), at_ms)
            elif chosen == 1:
                vehicles.fit_bumper(connection, one.id, 0, Bumper(self.random.randint(1, 3), 58), at_ms)
            elif chosen == 2:
                vehicles.retire(connection, one.id, at_ms)
            else:
                swap.record(connection, one, 0, 1, 2, at_ms)

    def same(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            alike = vehicles.alike(connection)
            if alike:
                one, other = self.random.choice(alike)
                vehicles.say_same(connection, one.id, other.id, self.now_ms(bench))

    def make_round(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            members = [one for one in vehicles.in_use(connection) if one.retired_ms is None and one.places]
            if members:
                made = rounds.make(connection, members[:3], self.now_ms(bench))
                rounds.note_sent(connection, "e660c0d1c7302a10", made.number, self.now_ms(bench), 1)
                self.world.rounds.append((made.number, len(made.vehicles)))

    def place(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            every = sorted(vehicles.load(connection), key=lambda one: one.id)
            found = (
                connection.execute(select(tables.readings.c.id).order_by(tables.readings.c.id))
                .scalars()
                .all()
            )
            if every and found:
                chosen = self.random.sample(list(found), min(len(found), 2))
                some = list(readings.by_ids(connection, chosen).values())
                assign.to_vehicle(connection, some, self.random.choice(every), self.now_ms(bench))

    def undo(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            standing = assign.standing(connection)
            if standing:
                assign.undo(connection, self.random.choice(standing).id, self.now_ms(bench))

    def step(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            found = findings.load(connection)
            if found:
                findings.note(
                    connection,
                    self.random.choice(found).id,
                    self.random.choice(STEPS),
                    self.now_ms(bench),
                    "Ann",
                )

    def other_facts(self, bench: str) -> None:
        with Store(self.path(bench)) as store, store.write() as connection:
            at_ms = self.now_ms(bench)
            sets.save(connection, sets.factory(), "made up", at_ms)
            for row in connection.execute(select(tables.probes)).all()[:1]:
                describe(connection, row.name, f"probe {self.random.randint(1, 3)}", "Harbour", at_ms)
            for one in depots.of_benches(connection)[:1]:
                depots.place_bench(connection, one.name, self.random.choice(("North", "South")), at_ms)

    def back_up(self, bench: str) -> None:
        target = self.folder / f"backup {len(self.backups)}"
        _copy(self.path(bench), target)
        self.backups.append((bench, target))

    def set_back(self, bench: str) -> None:
        mine = [target for name, target in self.backups if name == bench]
        if mine:
            _copy(self.random.choice(mine), self.path(bench))

    def fork(self, bench: str) -> None:
        if len(self.world.benches) < 6:
            name = f"fork {len(self.world.benches)}"
            _copy(self.path(bench), self.path(name))
            self.world.benches.append(name)
            self.world.clock_ms[name] = self.world.clock_ms.get(bench, 0)

    def sync(self, bench: str) -> None:
        other = self.random.choice([name for name in self.histories if name != bench])
        if self.random.random() < 0.4:
            self._broken_off(bench, other)
        else:
            _sync(self.path(bench), self.path(other))

    def _broken_off(self, bench: str, other: str) -> None:
        process = _CONTEXT.Process(target=_sync, args=(self.path(bench), self.path(other)))
        process.start()
        process.join(self.random.uniform(0.01, 0.4))
        if process.is_alive():
            process.kill()
            self.kills += 1
        process.join()


_DEEDS: tuple[Callable[[Play, str], None], ...] = (
    *(Play.use,) * 6,
    *(Play.pull,) * 8,
    *(Play.sync,) * 6,
    *(Play.enter,) * 3,
    *(Play.make_round,) * 3,
    *(Play.place,) * 3,
    *(Play.step,) * 5,
    *(Play.alter,) * 3,
    Play.same,
    Play.undo,
    Play.undo,
    Play.other_facts,
    Play.impostor,
    Play.wipe,
    Play.back_up,
    Play.back_up,
    Play.set_back,
    Play.fork,
)


def _copy(source: Path, target: Path) -> None:
    """A file as a backup program takes it, by SQLite's own way."""
    target.unlink(missing_ok=True)
    for beside in ("-wal", "-shm"):
        target.with_name(target.name + beside).unlink(missing_ok=True)
    with sqlite3.connect(source) as from_, sqlite3.connect(target) as to:
        from_.backup(to)
    from_.close()
    to.close()


def _sync(one: Path, other: Path) -> union.Synced:
    with Store(one, busy_timeout_s=60) as mine, Store(other, busy_timeout_s=60) as theirs:
        return union.sync(mine, theirs)


def held(path: Path) -> tuple[set[tuple[Any, ...]], set[tuple[Any, ...]], int]:
    """Every entry and every record of a history, and how many rows those are."""
    with sqlite3.connect(path) as connection:
        entries = connection.execute("SELECT * FROM entries").fetchall()
        raws = connection.execute("SELECT probe, log_id, number, digest, raw FROM records").fetchall()
    connection.close()
    return set(entries), set(raws), len(entries) + len(raws)


def cached(path: Path) -> dict[str, set[str]]:
    """Every row of every table of the cache that says something."""
    skipped = {"stale", "folded", "locks"}
    with Store(path) as store, store.read() as connection:
        return {
            table.name: {repr(tuple(row)) for row in connection.execute(select(table))}
            for table in tables.cache.sorted_tables
            if table.name not in skipped
        }


def violations(play: Play) -> list[str]:
    """What does not hold after all have synced with all."""
    before = [held(play.path(name)) for name in play.histories]
    wanted_entries = set().union(*(one[0] for one in before))
    wanted_raws = set().union(*(one[1] for one in before))
    for _ in range(2):
        for name in play.world.benches:
            _sync(play.path(name), play.path(SERVER))
    wrong = []
    for name in play.world.benches:
        again = _sync(play.path(name), play.path(SERVER))
        if again.sent.entries + again.sent.records + again.got.entries + again.got.records:
            wrong.append(f"{name}: a sync of the same again sends {again}")
    after = [held(play.path(name)) for name in play.histories]
    for name, (entries, raws, count) in zip(play.histories, after, strict=True):
        if wanted_entries - entries or wanted_raws - raws:
            wrong.append(
                f"{name} lacks {len(wanted_entries - entries)} entries, {len(wanted_raws - raws)} records"
            )
        if (entries, raws) != after[-1][:2] or count != len(entries) + len(raws):
            wrong.append(f"{name} does not hold what the server holds, or some of it twice")
        with Store(play.path(name)) as store:
            wrong += [f"{name}: {words}" for words in whole.check(store)]
        if cached(play.path(name)) != cached(play.path(SERVER)):
            wrong.append(f"{name} derives something else than the server")
    return wrong + _against_the_oracle(play.path(SERVER))


def _against_the_oracle(path: Path) -> list[str]:
    entries, raws, _ = held(path)
    plain = [
        (o, n, bytes(d).hex(), at, kind, seen, payload)
        for o, n, d, at, _u, _w, kind, seen, payload in entries
    ]
    expected = merge_oracle.state(plain, [(p, log, n, bytes(raw)) for p, log, n, _digest, raw in raws])
    found = derived(path)
    return [
        f"vehicle {sorted(ref[:8] for ref in vehicle)}: {found.get(vehicle)} where {expected.get(vehicle)} is due"
        for vehicle in sorted({*expected, *found}, key=sorted)
        if expected.get(vehicle) != found.get(vehicle)
    ]


def derived(path: Path) -> merge_oracle.State:
    """What the product says, in the oracle's form."""
    found: merge_oracle.State = {}
    with Store(path) as store, store.read() as connection:
        entered = {
            keys.of_entry(bytes(row.digest)): bytes(row.digest).hex()
            for row in connection.execute(
                select(tables.entries).where(tables.entries.c.kind == "vehicle_entered")
            )
        }
        members: dict[int, set[str]] = {}
        for row in connection.execute(select(tables.aliases)):
            members.setdefault(row.vehicle_id, set()).add(entered[row.entered_id])
        for vehicle in vehicles.load(connection):
            columns = tables.findings.c
            mine = connection.execute(
                select(tables.findings).where(columns.vehicle_id == vehicle.id, columns.position > 0)
            ).all()
            places = {
                state: {(row.bumper, row.position) for row in mine if row.state == state}
                for state in ("open", "done")
            }
            unread = {
                place
                for place in vehicle.places
                if not readings.of_place(connection, vehicle.id, *place, newest=1)
            }
            proved = sum(row.state == "proved" for row in mine)
            found[frozenset(members[vehicle.id])] = {**places, "proved": proved, "unread": unread}
    return found


def play_world(seed: int) -> tuple[list[str], Play]:
    """One world from its seed: what was violated, and the world."""
    with tempfile.TemporaryDirectory(prefix="curbtick-merge-") as folder:
        play = Play(seed, Path(folder))
        play.run()
        return violations(play), play


def main() -> None:
    one = ("--world", {"type": int, "help": "play this world alone"})
    options = arguments(__doc__ or "", one)
    count = 1 if options.world is not None else SHORT_WORLDS if options.short else WORLDS
    begun_s = time.monotonic()
    wrong: dict[int, list[str]] = {}
    kills, deeds, planned = 0, {}, []
    for number in range(count):
        seed = options.world if options.world is not None else options.seed * 1000 + number
        found, play = play_world(seed)
        kills += play.kills
        for name, times in play.done.items():
            deeds[name] = deeds.get(name, 0) + times
        planned.append(seed)
        if found:
            wrong[seed] = found[:5]
            print(f"world {seed}: {found[:3]}", flush=True)
    report(
        [
            figure("violations", len(wrong), "= 0", not wrong),
            figure("worlds", len(planned), f">= {count}", len(planned) >= count),
            figure("killed_syncs", kills, ">= 1", kills >= 1 or options.world is not None),
        ],
        options,
        benchmark="merge",
        deeds=deeds,
        failed=wrong,
        seconds_of_play=round(time.monotonic() - begun_s, 1),
    )


if __name__ == "__main__":
    main()
