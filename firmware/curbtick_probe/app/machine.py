"""The probe's state machine: what each gesture does, and what the link serves in between."""

from curbtick_wire import names

from curbtick_probe import reason
from curbtick_probe.app import selftest
from curbtick_probe.app.checks import Checks
from curbtick_probe.app.place import Place
from curbtick_probe.app.readings import Readings
from curbtick_probe.app.visits import Visits
from curbtick_probe.link.link import Identity, Link, Probe
from curbtick_probe.panel import gestures, patterns
from curbtick_probe.panel.panel import BUSY, Panel
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys
from curbtick_probe.store.limits import Limits
from curbtick_probe.store.log import Log
from curbtick_probe.store.rounds import Rounds

_START = names.EVENTS.index("start")
# What a bench wants, by the words of poll(), and the action that does it.
_WISHES = {"bench_self_test": "self_test", "new_round": "take_round"}


def make_probe(board, pairing=False):
    """Open everything that stands in flash, and record this start. Raises OSError where flash fails."""
    clock = Clock(board.root, board)
    log = Log(board.root, clock.boot, clock.ticks_ms)
    clock.attach(log)
    rounds, limits, keys = Rounds(board.root), Limits(board.root), Keys(board.root)
    log.event(_START, limits.revision, rounds.current["round_id"] if rounds.current else 0)
    return Probe(log, limits, rounds, clock, keys, Identity(board), pairing)


class App:
    """The probe between power-up and power-down: run() never returns.

    board: a Board; probe: as make_probe() gives it.
    """

    def __init__(self, board, probe):
        self.board = board
        self.probe = probe
        self.panel = Panel(board)
        self.link = Link(board.serial, probe)
        self.checks = Checks(self)
        self.readings = Readings(self)
        self.enter_round()
        if probe.pairing:
            self.panel.say("pairing")
        self.show_current()

    def enter_round(self):
        """Start on the round in hand, at the place where its newest reading left off."""
        self.round = self.probe.rounds.current
        self.place = Place(self.round)
        self.readings.forget()
        self.visits = Visits(self.probe.log, self.place.round_id)
        newest = self.visits.resume()
        if newest and self.place.find(newest["vehicle"], newest["bumper"], newest["position"]):
            decided = newest["verdict"] != names.RETRY
            self.readings.resume(self.visits.unsettled, decided)
            if decided:
                self.place.next_position()

    def take_round(self):
        """Leave the round in hand, with the result that is due in it, and start on the one that came."""
        self.readings.leave_bumper()
        self.enter_round()
        self.checks.enter_vehicle()
        self.show_current()

    def doubts(self):
        """Return the mask of what lets the probe judge nothing: it failed its self-test, or its battery is low."""
        low = self.board.battery_mv() < self.probe.limits.in_force["battery_min_mv"]
        found = reason.BATTERY_LOW if low else 0
        return found | reason.MICROPHONE_FAULT if self.probe.failed else found

    def say_doubts(self, reasons):
        """Say what lies behind a RETRY for such a reason."""
        if reasons & reason.BATTERY_LOW:
            self.panel.say("battery_low")
        if self.probe.failed:
            self.panel.say("self_test_failed")

    def rest_on_current(self):
        """Let the bar rest on the LED of the current position."""
        self.panel.rest_on(patterns.position_mask(self.place.bumper, self.place.position))

    def show_current(self):
        """Say which vehicle is current, then rest on the LED of the bumper's position."""
        self.rest_on_current()
        if not self.place.free:
            self.panel.play(patterns.vehicle_frames(self.place.vehicle))

    def run(self):
        """Do what the technician and the bench want, for ever."""
        while True:
            self.do(self.checks.next_gesture() or self.panel.next_gesture(self.poll))

    def poll(self):
        """Serve the link once; return a word for next_gesture(): BUSY, a key of _WISHES, or None."""
        if self.panel.resting:
            self.readings.after_verdict()
        paired = self._pairings()
        busy = self.link.poll()
        if self._pairings() > paired:
            self.panel.cut()
            self.panel.say("paired")
        if self.probe.self_test_wanted:
            self.probe.self_test_wanted = False
            return "bench_self_test"
        if self.probe.rounds.current is not self.round:
            return "new_round"
        return BUSY if busy else None

    def _pairings(self):
        return len(self.probe.keys.rows()) if self.probe.pairing else 0

    def do(self, gesture):
        """Do what a gesture means in the current check."""
        if gesture == BUSY:
            return
        self.readings.after_verdict()
        action = _WISHES.get(gesture) or gestures.action(names.CHECKS[self.checks.current], gesture)
        if action:
            getattr(self, action)()
        else:
            self.panel.say("refused")

    # The actions of gestures.GESTURE_TABLE.

    def read(self):
        """Read the current position."""
        self.readings.read()

    def read_again(self):
        """Read the position of the last reading again; the new reading supersedes the old one."""
        self.readings.read_again()

    def next_position(self):
        """Go to the next position, past the last one to the next bumper."""
        if self.place.at_last():
            self.readings.leave_bumper()
        self.place.next_position()
        self.show_current()

    def previous_position(self):
        """Go to the previous position of the bumper."""
        self.place.previous_position()
        self.show_current()

    def next_bumper(self):
        """Go to the vehicle's other bumper."""
        self.readings.leave_bumper()
        self.place.next_bumper()
        self.show_current()

    def next_vehicle(self):
        """Go to the round's next vehicle."""
        self.readings.leave_bumper()
        self.place.next_vehicle()
        self.checks.enter_vehicle()
        self.show_current()

    def next_check(self):
        """Change between the bumper, the seal and the hiss check."""
        self.checks.next_check()

    def test_at_power_up(self):
        """Run the self-test and log it; the bar says only a failure."""
        if not selftest.run_and_log(self.board, self.probe):
            self.panel.say("self_test_failed")

    def self_test(self):
        """Run the self-test, log it and show how it went."""
        self.panel.say("self_test")
        self.panel.finish()
        passed = selftest.run_and_log(self.board, self.probe)
        self.panel.say("self_test_passed" if passed else "self_test_failed")
        self.show_current()

    def mark(self):
        """Take the reference or the background first, after that mark a section."""
        self.checks.mark()

    def reference(self):
        """Take the reference or the background again."""
        self.checks.reference()

    def response(self):
        """Change between slow and fast response of the meter."""
        self.checks.response()
