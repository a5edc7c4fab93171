"""A depot day from end to end: bench, probe, technician, yard, and what came of it beside the truth."""

import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from curbtick_wire import names

from curbtick.device import demo_data_folder
from curbtick.exchange.pull import pull_probe
from curbtick.exchange.send import send_limits, send_round
from curbtick.fleet import rounds
from curbtick.fleet.lines import Line
from curbtick.fleet.rounds import Round
from curbtick.fleet.vehicles import Bumper
from curbtick.fleet.work import findings
from curbtick.limits import sets
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
from curbtick.report import site
from curbtick.store.history import Store
from curbtick.virtual.demo import summary
from curbtick.virtual.demo.checks import CheckSeen, LeakWalk
from curbtick.virtual.demo.technician import Seen, Technician
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import STEP
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import day
from curbtick.yard.scenes.day import Place
from curbtick.yard.scenes.vehicles import VehiclePlan, read_json

MORNING_HOUR = 8
WORKSHOP_MS = 40 * 60_000

Say = Callable[[str], None]


class DemoClock:
    """The demo's wall clock: a past morning, on which the day's simulated time has passed."""

    def __init__(self, now: datetime) -> None:
        morning = now.replace(hour=MORNING_HOUR, minute=0, second=0, microsecond=0)
        if now < morning + timedelta(hours=4):
            morning -= timedelta(days=1)
        self.day_start_ms = int(morning.replace(hour=0).timestamp() * 1000)
        self._start_ms = int(morning.timestamp() * 1000)
        self._waited_ms = 0
        self.probe: VirtualProbe | None = None

    def wait(self, duration_ms: int) -> None:
        """Let time pass in which the probe is switched off."""
        self._waited_ms += duration_ms

    def now_ms(self) -> int:
        """Milliseconds since 1970, UTC."""
        running_ms = self.probe.now_us // 1000 if self.probe else 0
        return self._start_ms + self._waited_ms + running_ms

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""
        return self.now_ms() / 1000


class Demo:
    """One demo day. store: an empty history; say: told every line for people; seed: of everything random."""

    def __init__(self, store: Store, folder: Path, seed: int, say: Say) -> None:
        self._store = store
        self._folder = folder
        self._seed = seed
        self._say = say
        self._day = day.load(seed)
        self._depot = str(read_json(demo_data_folder() / "depot.json")["depot"])
        self._walker = str(read_json(demo_data_folder() / "day.json")["technician"])
        self._clock = DemoClock(datetime.now())
        self._keyring: Keyring
        self._probe: VirtualProbe
        self._technician: Technician
        self._seen: dict[tuple[Place, bool], list[Seen]] = {}

    def run(self) -> dict[str, Any]:
        """Live through the day, write the report, and return the summary."""
        with tempfile.TemporaryDirectory(prefix="curbtick-demo-") as folder:
            self._keyring = Keyring(Path(folder) / "keys.json")
            quiet = Ear(seed=self._seed)
            with VirtualProbe(quiet, Path(folder) / "flash", held=STEP) as probe:
                self._probe = self._clock.probe = probe
                self._technician = Technician(probe)
                probe.run_until_idle()
                round_ = self._morning()
                self._walk()
                checks = self._leaks()
                self._pull("The bench pulls the day.")
                self._repair(round_)
                self._pull("The bench pulls again.")
        built = site.build(
            self._store, self._folder / "report", self._clock.day_start_ms, self._clock.now_ms()
        )
        self._say(f"Report: {built.index}")
        return summary.summary(self._store, self._day, self._seen, checks, self._seed)

    def _connected(self) -> Client:
        client = connect(self._probe.pty_path, self._keyring)
        client.clock = self._clock.now_s
        return client

    def _morning(self) -> Round:
        """Pair bench and probe, send limits and the round, and hand the probe over."""
        self._say("Bench and probe are paired: STEP was held at power-up.")
        at_ms = self._clock.now_ms()
        with self._store.write() as connection:
            members = rounds.enter(
                connection, [_line(plan, self._depot) for plan in self._day.vehicles], at_ms
            )
            round_ = rounds.make(connection, members, at_ms, name="Demo day", technician=self._walker)
            limit_set = sets.save(connection, sets.factory(), "standard front end", at_ms)
        with self._connected() as client:
            client.pair("demo bench")
            send_limits(self._store, client, limit_set)
            send_round(self._store, client, round_)
        self._say(
            f"The bench sent limit set {limit_set['revision']} and a round of {len(round_.vehicles)} vehicles."
        )
        self._probe.power_on()
        self._probe.run_until_idle()
        return round_

    def _walk(self) -> None:
        vehicle = 0
        for place in self._day.places():
            if place.vehicle != vehicle:
                vehicle = place.vehicle
                plan = self._day.vehicle(vehicle)
                self._say(f"{plan.name}, {plan.type}")
            self._read(place)

    def _read(self, place: Place, repaired: bool = False) -> None:
        """Read one place, and step on where the probe stays after a RETRY."""
        before = self._probe.bar
        seen = self._technician.read(self._day.scene(place, repaired).ear)
        for one in seen:
            self._say(_line_of(place, one))
        plan = self._day.vehicle(place.vehicle).bumpers[place.bumper]
        if self._probe.bar == before and plan.positions > 1:
            seen.append(self._technician.next_position())
        self._seen[place, repaired] = seen
        self._say_result(place, plan.positions, seen[-1])

    def _say_result(self, place: Place, positions: int, seen: Seen) -> None:
        """Say the bumper result, where the bar showed one after a press."""
        if "not_transmitting" in seen.words:
            self._say(f"  {place.bumper:5} result: {bar.words_of('not_transmitting')}")
        verdicts = bar.read_result(seen.masks, names.BUMPERS.index(place.bumper), positions)
        if verdicts:
            words = " ".join("-" if number is None else names.VERDICTS[number].upper() for number in verdicts)
            self._say(f"  {place.bumper:5} result: {words}")

    def _leaks(self) -> list[CheckSeen]:
        """The seal and hiss checks, collar off, on the round's vehicles in turn."""
        self._say("Seal check and hiss check: the collar is off.")
        vehicles = len(self._day.vehicles)
        return LeakWalk(self._technician, self._probe, vehicles, self._say).run(self._seed)

    def _pull(self, words: str) -> None:
        with self._connected() as client:
            pulled = pull_probe(self._store, client, clock_ms=self._clock.now_ms)
        self._say(f"{words} {pulled.new} records are new.")

    def _repair(self, round_: Round) -> None:
        """Replace the sensors of the day's second part, note it, and read them again."""
        self._clock.wait(WORKSHOP_MS)
        for place in self._day.repairs:
            vehicle = round_.vehicles[place.vehicle - 1]
            self._note_repair(vehicle.id, place)
            self._say(f"{vehicle.name} {place.bumper} {place.position}: the workshop replaced the sensor.")
        self._probe.power_on()
        self._probe.run_until_idle()
        for place in self._day.repairs:
            self._technician.go_to(place.vehicle, names.BUMPERS.index(place.bumper), place.position)
            self._read(place, repaired=True)

    def _note_repair(self, vehicle_id: int, place: Place) -> None:
        bumper = names.BUMPERS.index(place.bumper)
        with self._store.write() as connection:
            for finding in findings.load(connection, vehicle_id=vehicle_id):
                if (finding.bumper, finding.position) == (bumper, place.position):
                    findings.note(connection, finding.id, "replace", self._clock.now_ms(), by=self._walker)


def _line(plan: VehiclePlan, depot: str) -> Line:
    carried = (plan.bumpers.get(bumper) for bumper in names.BUMPERS)
    rear, front = (Bumper(one.positions, one.class_khz) if one else Bumper(0, 0) for one in carried)
    return Line(plan.name, rear, front, plan.type, depot)


def _line_of(place: Place, seen: Seen) -> str:
    """One reading as the technician saw it: the place's LED, the rhythm of the bar, the verdict in words."""
    led = bar.draw(bar.position_mask(names.BUMPERS.index(place.bumper), place.position))
    words = ", ".join(bar.words_of(word) for word in seen.words)
    return f"  {place.bumper:5} {place.position}  {led}  {seen.strip:20}  {words}"
