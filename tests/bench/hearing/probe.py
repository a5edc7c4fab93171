"""Runs under MicroPython on the virtual board: hears the scenes that the bench puts before it, one after the other.

The bench answers each question with the next scene: a reading's limits, or the check and the presses of a story, as the
technician would press; None ends the program.
"""

import json

from curbtick_probe.app.meters.meter import HissMeter, SealMeter
from curbtick_probe.board.virtual.board import Board
from curbtick_probe.bumper import reading
from curbtick_wire import names

# Words of tests/bench/otheryard/story.py: a gesture, and what the last press of a section means.
HOLD = "hold_read"
END = "end"


class Hand:
    """Stands for the panel and the buttons: presses come at their times, and nobody looks at the bar.

    held: the buttons as the panel saw them last, let go of.
    """

    held = 0

    def __init__(self, board, presses, end_us):
        """presses: [microseconds after the scene's first sample, gesture, what it means] of each, in order."""
        self._board = board
        self._presses = list(presses)
        self._end_us = end_us
        self._start_us = board.ticks_us()
        self.capture = board.capture
        self.serial = board.serial
        self.ticks_ms = board.ticks_ms
        self.battery_mv = board.battery_mv

    def buttons(self):
        """Return READ from the time of a press on, until the press is told, and at the scene's end; else 0."""
        due_us = self._presses[0][0] if self._presses else self._end_us
        return 1 if self._board.ticks_us() - self._start_us >= due_us else 0

    def take(self, mask, now_ms):
        """Return the gesture whose time has come; END at the scene's end."""
        return self._presses.pop(0)[1] if self._presses else END

    def follow_press(self, poll):
        """Nothing is under way, and nobody asks."""

    def finish(self):
        """Nothing is shown."""

    def light(self, mask):
        """Nothing is lit."""


def hear_reading(board, asked):
    """Take one reading; return its record's values, and the sounds it kept."""
    started_us = board.ticks_us()
    taken = reading.take(board, asked["limits"], asked["limit_set"], asked["before_us"])
    taken.values["took_us"] = board.ticks_us() - started_us
    taken.values["sounds"] = [tail.hex() for _, tail in taken.sounds]
    return taken.values


def hear_story(board, asked):
    """Go through a seal or hiss check as the app does; return the values of each section, None where it was none.

    A press before there is a reference or a background takes it, whatever the technician means by it.
    """
    hand = Hand(board, asked["presses"], asked["end_us"])
    kind = SealMeter if asked["check"] == names.CHECKS[names.CHECK_SEAL] else HissMeter
    meter = kind(hand, hand, asked["limit_set"])
    sections = []
    waiting = []
    for _, gesture, means in asked["presses"]:
        if meter.next_gesture(None) == END:
            break
        values = None
        if gesture == HOLD or not meter.ready():
            for settled in meter.reference():
                sections[waiting.pop(0)] = settled
        else:
            values = meter.mark()
        if means == END:
            if values and kind is SealMeter:
                waiting.append(len(sections))
            sections.append(values)
    return sections


def serve(board):
    """Hear scenes until there are no more."""
    answer = b"{}"
    # The first look makes what every later one fills, and none may be made while a check listens.
    board.serial.any()
    while True:
        asked = json.loads(board.bus.ask(answer))
        if not asked:
            return
        heard = hear_reading(board, asked) if asked["check"] == "bumper" else hear_story(board, asked)
        answer = json.dumps(heard).encode()


serve(Board())
