"""MicroPython program: the seal and hiss checks' own code over samples from standard input, numbers to standard output.

Requests are lines: `tone HZ` makes a tone meter, `search`, `track UHZ`, `meter N` makes N updates; `seal HZ` makes a
seal check, `reference`, `update N`, `mark`; `hiss` makes a hiss check, `background N CHOOSE`, `listen N`, `forget`.
The samples that a request needs follow it.
"""

import sys
from array import array

from curbtick_probe.hiss.check import HissCheck
from curbtick_probe.seal.check import SealCheck
from curbtick_probe.seal.meter import ToneMeter
from fake_board import FakeBoard

LIMITS = {"revision": 1, "seal_leak_cdb": 2400, "hiss_rise_cdb": 50}
VALUES = ("verdict", "reasons", "measured_hz", "level_cdb", "noise_cdb", "below_reference_cdb")


class Capture:
    """Blocks from standard input, whatever the input that was asked for; mid-scale while at rest."""

    def __init__(self):
        self._block = array("H", bytes(2048))
        self._quiet = array("H", [2048] * 1024)
        self.at_rest = False

    def start(self, source):
        """Nothing to begin."""

    def stop(self):
        """Nothing to end."""

    def block(self):
        """The next block."""
        if self.at_rest:
            return self._quiet
        if sys.stdin.buffer.readinto(self._block) != 2048:
            sys.exit(0)
        return self._block


def answer(*numbers):
    """Send one line."""
    sys.stdout.write(" ".join(str(int(number)) for number in numbers) + "\n")


class Server:
    """The request words, a method each."""

    def __init__(self):
        self.board = FakeBoard(Capture())
        self.meter = self.check = None

    def tone(self, hz):
        self.meter = ToneMeter(self.board.capture, hz)

    def search(self):
        self.meter.search()

    def track(self, offset_uhz):
        self.meter.track(offset_uhz)

    def meter_(self, count):
        for _ in range(count):
            m = self.meter
            m.update()
            answer(
                m.heard,
                m.level_cdb,
                m.noise_cdb,
                m.snr_cdb,
                m.offset_uhz,
                m.pure,
                m.blanked_permille,
                m.clipped,
            )

    def seal(self, hz):
        self.check = SealCheck(self.board, hz, LIMITS, switch_input=False)
        self.board.capture.at_rest = True
        self.check.start()
        self.board.capture.at_rest = False

    def reference(self):
        settled = self.check.reference()
        answer(self.check.status, len(settled), *(settled[0][name] for name in VALUES if settled))

    def update(self, count):
        for _ in range(count):
            self.check.update()
            answer(self.check.status, self.check.leds, self.check.dot)

    def mark(self):
        values = self.check.mark()
        answer(*(values[name] for name in VALUES))

    def hiss(self):
        self.check = HissCheck(self.board, LIMITS)

    def background(self, count, choose):
        taken = self.check.background(count, choose)
        known = self.check.known
        low_hz, high_hz = self.check.band_hz()
        figures = (0, 0, 0, 0)
        if known:
            unrest = known.unrest
            figures = (unrest.level_cdb, unrest.threshold_cdb, unrest.stationary, unrest.decides)
        answer(taken, self.check.status, low_hz, high_hz, *figures)

    def listen(self, count):
        for _ in range(count):
            self.check.update()
            loudest = self.check.section.loudest()
            answer(self.check.status, self.check.rise.rise_cdb, *loudest)

    def forget(self):
        values = self.check.mark()
        answer(values["verdict"], values["reasons"], values["above_background_cdb"], values["tone_hz"])


def serve():
    """Serve until standard input ends."""
    server = Server()
    while True:
        words = sys.stdin.readline().split()
        if not words:
            return
        name = "meter_" if words[0] == "meter" else words[0]
        getattr(server, name)(*(int(word) for word in words[1:]))


serve()
