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
from micropython import heap_lock, heap_unlock

LIMITS = {"revision": 1, "seal_leak_cdb": 2400, "hiss_rise_cdb": 50, "high_floor_min_cdb": -5000}
VALUES = ("verdict", "reasons", "measured_hz", "level_cdb", "noise_cdb", "below_reference_cdb")


# Blocks that fill the seal check's filters after each start.
SETTLE_BLOCKS = 5


class Capture:
    """Blocks from standard input, whatever the input that was asked for; after a start first `filling` at mid-scale."""

    overruns = 0

    def __init__(self):
        self._block = array("H", bytes(2048))
        self._quiet = array("H", [2048] * 1024)
        self.filling = 0
        self._left = 0

    def start(self, source):
        """Begin with the filling."""
        self._left = self.filling

    def stop(self):
        """Nothing to end."""

    def block(self):
        """The next block."""
        if self._left:
            self._left -= 1
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
        self.listening = False

    def update_once(self):
        """Make an update. Updates on end follow each other without a gap; between them the heap serves the answers."""
        if self.listening:
            heap_lock()
        else:
            self.check.start()
        self.listening = True
        self.check.update()
        heap_unlock()

    def rest(self):
        """End listening."""
        if self.listening:
            heap_lock()
            self.check.stop()
        self.listening = False

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
        self.rest()
        self.board.capture.filling = SETTLE_BLOCKS
        self.check = SealCheck(self.board, hz, LIMITS, switch_input=False)

    def reference(self):
        self.rest()
        settled = self.check.reference()
        answer(self.check.status, len(settled), *(settled[0][name] for name in VALUES if settled))

    def update(self, count):
        for _ in range(count):
            self.update_once()
            answer(self.check.status, self.check.leds, self.check.dot)

    def mark(self):
        self.rest()
        values = self.check.mark()
        answer(*(values[name] for name in VALUES))

    def hiss(self):
        self.rest()
        self.board.capture.filling = 0
        self.check = HissCheck(self.board, LIMITS)

    def background(self, count, choose):
        self.rest()
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
            self.update_once()
            tones = self.check.section.tones
            hz = tones.hz[0] if tones.count else 0
            answer(self.check.status, self.check.rise.rise_cdb, hz)

    def forget(self):
        self.rest()
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
