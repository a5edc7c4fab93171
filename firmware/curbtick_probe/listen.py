"""One reading's listening: capture blocks, feed the kernels, collect the sounds. Knows no limits."""

import array

from micropython import const

from .dsp import baseband, floor, spectrum
from .measure import Measurer, cdb
from .sounds import Sounds

BLOCK = const(1024)
BLOCK_US = const(4096)
_VALUES = const(256)
_FRAMES = const(32)
_HISTORY = const(17)
_JOINT_OUTPUTS = const(5)
_FOUND_MOST = const(8)

# The first blocks teach the floor before they are searched.
_LEARN_BLOCKS = const(4)
_LEARN_SHIFT = const(5)
_SETTLE_SHIFT = const(7)
_FLOOR_SHIFT = const(8)

# A frame counts as excess where its smoothed power is this many quartile floors (the mean in noise is 6.95).
EXCESS_FACTOR = const(34)

# Codes this close to a rail count as clipped; that many in a row of blocks at one code is a stuck converter.
_RAIL_CODES = const(2)

ENVELOPE_BLOCKS = const(800)
WAVE_SAMPLES = const(384)
_WAVE_LEAD = const(64)

# 1000 log10 of (mean over quartile, in Q8 units) of a bin, and of how a bin's noise power sums to the band's: the
# power of a full-scale sine is 14844**2; 50 kHz holds 12.8 bins of 3906 Hz, and a Hann frame adds noise by 6 / 64 of
# a value's power while a value holds 62.5 kHz of it.
_MEAN_OVER_FLOOR_CDB = const(-1867)
_FULL_SCALE_POWER_CDB = const(8343)


class Listener:
    """Listens on one input until told to stop; all buffers are made once.

    sounds: what was heard. blocks: how many blocks were searched. clipped: samples at a rail. lowest, highest: the
    extreme codes. envelope_cdb: the loudest excess of each block as dBFS * 100.
    """

    def __init__(self, board):
        self.capture = board.capture
        self.sounds = Sounds()
        self.measurer = Measurer()
        self.ring = array.array("H", [32768] * (2 * (baseband.RING + baseband.GUARD)))
        self.joint = array.array("H", [2048] * (_HISTORY + 4 * _JOINT_OUTPUTS + 4))
        self.halves = array.array("H", [32768] * (32 * _FRAMES))
        self.power = array.array("i", [0] * (16 * _FRAMES))
        self.floor = array.array("i", [0] * spectrum.BINS)
        self.smooth = array.array("i", [0] * spectrum.BINS)
        self.best = array.array("i", [0] * (2 * _FRAMES))
        self.state = array.array("i", [0] * floor.STATE_WORDS)
        self.found = array.array("i", [0] * (floor.SEGMENT_WORDS * _FOUND_MOST))
        self.extremes = array.array("i", [0] * 3)
        self.table = spectrum.window_table()
        self.envelope_cdb = array.array("h", [0] * ENVELOPE_BLOCKS)
        self.recent = [None, None, None, None]
        self.wave = array.array("H", [0] * WAVE_SAMPLES)
        self._reset()

    def _reset(self):
        self.sounds.clear()
        self.blocks = 0
        self.folded = 0
        self.clipped = 0
        self.lowest = 4095
        self.highest = 0
        self.wave_start = -1
        self.wave_level_cdb = -32768
        for i in range(spectrum.BINS):
            self.floor[i] = floor.FLOOR_MAX
            self.smooth[i] = 0
        for i in range(floor.STATE_WORDS):
            self.state[i] = 0
        for i in range(len(self.joint)):
            self.joint[i] = 2048

    def start(self, source):
        """Start listening on an input (names.INPUT_*); the first blocks teach the floor, then are searched."""
        self._reset()
        self.capture.start(source)
        for _ in range(_LEARN_BLOCKS):
            self._fold()
            self._spectrum(self.folded - 1)
            floor.follow(self.power, 0, 0, self.floor, _FRAMES, _LEARN_SHIFT)
        for k in range(_LEARN_BLOCKS):
            self._search(k, _SETTLE_SHIFT)

    def step(self):
        """Take and search one block; return how many sounds it completed."""
        self._fold()
        return self._search(self.folded - 1, _FLOOR_SHIFT)

    def stop(self):
        """Stop capturing."""
        self.capture.stop()

    def time_us(self):
        """Return how long this reading has listened, in us of samples."""
        return self.folded * BLOCK_US

    def noise_cdb(self):
        """Return the noise's rms over 30-80 kHz in hundredths of dBFS, from the floors of the bins.

        A bin's mean power over that of a full-scale sine, summed over the bins, corrected for the window's noise
        bandwidth of 1.5 bins.
        """
        total = 0
        for k in range(spectrum.BINS):
            total += self.floor[k] >> 4
        return cdb(max(1, total)) + 1204 - _MEAN_OVER_FLOOR_CDB - 2 * _FULL_SCALE_POWER_CDB // 1 - 3728

    def _fold(self):
        block = self.capture.block()
        self.recent[self.folded & 3] = block
        joint = self.joint
        baseband.copy(block, joint, 4 * _JOINT_OUTPUTS, 0, _HISTORY)
        at = (self.folded * _VALUES) & (baseband.RING - 1)
        if at == 0:
            baseband.copy(self.ring, self.ring, 2 * baseband.GUARD, 2 * baseband.RING, 0)
        at += baseband.GUARD
        baseband.fold(joint, 0, self.ring, _JOINT_OUTPUTS, 0, at)
        baseband.fold(block, 0, self.ring, _VALUES - _JOINT_OUTPUTS, 3, at + _JOINT_OUTPUTS)
        baseband.copy(block, joint, _HISTORY, BLOCK - _HISTORY, 0)
        self.folded += 1

    def _spectrum(self, block):
        at = (block * _VALUES) & (baseband.RING - 1)
        spectrum.stage_one(self.ring, self.halves, self.table, at, _FRAMES)
        spectrum.stage_two(self.halves, self.power, 0, _FRAMES)

    def _search(self, block, shift):
        self._spectrum(block)
        floor.follow(self.power, 0, 0, self.floor, _FRAMES, shift)
        floor.excess(self.power, self.best, 0, self.smooth, self.floor, _FRAMES, EXCESS_FACTOR)
        n = floor.segment(self.best, 0, 0, self.state, self.found, _FRAMES, _FOUND_MOST)
        for k in range(n):
            self._take(k * floor.SEGMENT_WORDS)
        self.blocks += 1
        return n

    def _take(self, at):
        m = self.measurer
        m.measure(self.ring, self.found, at, self.floor)
        row = self.sounds.claim(m.evidence_cdb)
        if row < 0:
            return
        s = self.sounds
        s.time_us[row] = m.time_us
        s.level_cdb[row] = m.level_cdb
        s.frequency_hz[row] = m.frequency_hz
        s.sweep_hz[row] = m.sweep_hz
        s.length_us[row] = m.length_us
        s.ringdown_us[row] = m.ringdown_us
        s.evidence_cdb[row] = m.evidence_cdb
        s.kind[row] = 3
