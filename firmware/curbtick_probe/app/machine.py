"""The probe's state machine: what each gesture does, and what the link serves in between."""

from curbtick_wire import names

from curbtick_probe.app import modules, restart
from curbtick_probe.app.checks import Checks
from curbtick_probe.app.display import Display
from curbtick_probe.app.doubts import Doubts
from curbtick_probe.app.place import Place
from curbtick_probe.app.readings import Readings
from curbtick_probe.hardware import Board
from curbtick_probe.link.link import Link
from curbtick_probe.link.service import Identity, Probe
from curbtick_probe.panel import gestures
from curbtick_probe.panel.panel import BUSY, Panel
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys
from curbtick_probe.store.log import Log
from curbtick_probe.store.settings.calibration import Calibration
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.rounds import Rounds

_START = names.EVENTS.index("start")
# What a bench wants, by the words of poll(), and the action that does it.
_WISHES = {"bench_self_test": "self_test", "new_round": restart.TAKE_ROUND}


def make_probe(board: Board, pairing: bool = False) -> Probe:
    """Open everything that stands in flash, and record this start. Raises OSError where flash fails."""
    clock = Clock(board.root, board)
    log = Log(board.root, clock.boot, clock.ticks_ms, board.feed)
    clock.attach(log)
    rounds, limits, keys = Rounds(board.root), Limits(board.root), Keys(board.root)
    log.event(_START, limits.revision, rounds.current["round_id"] if rounds.current else 0)
    return Probe(log, limits, rounds, clock, keys, Calibration(board.root), Identity(board), pairing)


class App:
    """The probe between power-up and power-down: run() never returns.

    board: a Board; probe: as make_probe() gives it.
    """

    def __init__(self, board: Board, probe: Probe) -> None:
        self._board = board
        self._probe = probe
        self._panel = Panel(board)
        self._link = Link(board.serial, probe)
        self._place = Place()
        self._display = Display(self._panel, self._place)
        doubts = Doubts(board, probe, self._panel)
        self._checks = Checks(board, probe, self._panel, self._place, doubts)
        self._readings = Readings(board, probe, self._panel, self._place, self._display, doubts)
        self._enter_round()
        if probe.pairing:
            self._panel.say("pairing")
        self._display.show_current()

    def _enter_round(self) -> None:
        """Start on the round in hand, at the place where its newest reading left off."""
        self._round = self._probe.rounds.current
        self._place.enter_round(self._round)
        self._readings.enter_round()

    def take_round(self) -> None:
        """Leave the round in hand, with the result that is due in it, and start on the one that came."""
        self._readings.leave_bumper()
        self._enter_round()
        self._checks.enter_vehicle()
        self._display.show_current()

    def run(self) -> None:
        """Do what the technician and the bench want, for ever."""
        while True:
            self._do(self._checks.next_gesture(self._poll) or self._panel.next_gesture(self._poll))
            self._board.note(restart.WAITING)

    def _poll(self) -> str | None:
        """Serve the link once; return a word for next_gesture(): BUSY, a key of _WISHES, or None."""
        if self._panel.resting:
            self._readings.after_verdict()
        paired = self._pairings()
        self._board.note(restart.LINK)
        busy = self._link.poll()
        self._board.note(restart.WAITING)
        if self._pairings() > paired:
            self._panel.cut()
            self._panel.say("paired")
        if self._probe.self_test_wanted:
            self._probe.self_test_wanted = False
            return "bench_self_test"
        if self._probe.rounds.current is not self._round:
            return "new_round"
        return BUSY if busy else None

    def _pairings(self) -> int:
        return len(self._probe.keys.rows()) if self._probe.pairing else 0

    def _do(self, gesture: str) -> None:
        """Do what a gesture means in the current check."""
        if gesture == BUSY:
            return
        self._readings.after_verdict()
        action = _WISHES.get(gesture) or gestures.action(names.CHECKS[self._checks.current], gesture)
        if action:
            self._act(action)
        else:
            self._panel.say("refused")

    def _act(self, action: str) -> None:
        """Do an action of gestures.GESTURE_TABLE: a method of this class, or of the one part that it concerns."""
        self._board.note(restart.number_of(action))
        for part in (self, self._readings, self._checks, self._display):
            if hasattr(part, action):
                getattr(part, action)()
                return

    # The actions that concern several parts.

    def next_position(self) -> None:
        """Go to the next position, past the last one to the next bumper."""
        if self._place.at_last():
            self._readings.leave_bumper()
        self._place.next_position()
        self._display.show_current()

    def previous_position(self) -> None:
        """Go to the previous position of the bumper."""
        self._place.previous_position()
        self._display.show_current()

    def next_bumper(self) -> None:
        """Go to the vehicle's other bumper."""
        self._readings.leave_bumper()
        self._place.next_bumper()
        self._display.show_current()

    def next_vehicle(self) -> None:
        """Go to the round's next vehicle."""
        self._readings.leave_bumper()
        self._place.next_vehicle()
        self._checks.enter_vehicle()
        self._display.show_current()

    def next_check(self) -> None:
        """Change between the bumper, the seal and the hiss check."""
        self._checks.next_check()
        self._readings.end_stay()
        self._display.show_current()

    def test_at_power_up(self) -> None:
        """Run the self-test and log it; the bar says only a failure."""
        if not self._passes():
            self._panel.say("self_test_failed")

    def self_test(self) -> None:
        """Run the self-test, log it and show how it went."""
        self._panel.say("self_test")
        self._panel.finish()
        passed = self._passes()
        self._panel.say("self_test_passed" if passed else "self_test_failed")
        self._display.show_current()

    def _passes(self) -> bool:
        """Run the self-test and log it; its module is in memory for that alone."""
        kept = modules.loaded()
        from curbtick_probe.app import selftest

        passed = selftest.run_and_log(self._board, self._probe)
        modules.give_back(kept)
        return passed
