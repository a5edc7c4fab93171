"""One reading's listening: capture blocks, feed the kernels, collect the sounds. Knows no limits."""

import array

from micropython import const

from .dsp import baseband, burst, extremes, fine, floor, spectrum
from .measure import CREST_TO_DBFS_CDB, Measurer, cdb
from .sounds import Sounds

BLOCK = const(1024)
BLOCK_US = const(4096)
_VALUES = const(256)
_FRAMES = const(32)
_HISTORY = const(17)
_JOINT_OUTPUTS = const(5)
_FOUND_MOST = const(8)

# A peak this many frames old is looked at while its sound goes on: the ring holds it for 256 - 25.
_PEAK_AGE = const(128)

# The first blocks teach the floor before they are searched.
_LEARN_BLOCKS = const(4)
_LEARN_SHIFT = const(5)
_SETTLE_SHIFT = const(7)
_FLOOR_SHIFT = const(9)

# A frame counts as excess where its smoothed power is this many quartile floors, Q4 (the mean in noise is 6.95 / 2):
# about ten candidates a second in white noise, few enough to look at each. Each sound lifts the guard of its bin and
# its neighbours by a quarter, so that what chatters (a supply working in packets) is not looked at for ever.
GUARD_REST = const(368)

# A sound needs this much evidence for its samples to be worth keeping.
_WAVE_EVIDENCE_CDB = const(1390)
_OTHER = const(3)

ENVELOPE_BLOCKS = const(800)
ENVELOPE_NONE = const(-32768)

# The strongest burst's samples: those of its start, some before it, kept at the full rate.
WAVE_RATE_HZ = const(250000)
WAVE_SAMPLES = const(384)
_WAVE_LEAD = const(72)
_KEPT_BLOCKS = const(4)

# The fall of a sound this far above the noise is timed from the samples themselves.
_FALL_OVER_NOISE_CDB = const(3300)
_FALL_LEAD = const(24)
_FALL_SAMPLES = const(768)

# 1000 log10 of what turns the sum of the bins' Q8 quartile floors into power over that of a full-scale sine: quartile
# to mean 3.476 / 256; frame to value 64 / 6; a bin holds a sixteenth of a value's band; a full-scale magnitude is
# 14844; the filter loses 0.45 dB in the mean of the band.
_FLOORS_TO_DBFS_CDB = const(-10341)



class Listener:
    """Listens on one input until told to stop; all buffers are made once.

    sounds: what was heard. blocks: how many blocks of BLOCK_US were searched. lowest, highest: the extreme codes.
    envelope_cdb: the loudest excess of each block in hundredths of dBFS, ENVELOPE_NONE where there was none. wave:
    the samples of the strongest clear burst, the first at wave_start_us (-1: none).
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
        self.guard = array.array("i", [GUARD_REST] * spectrum.BINS)
        self.best = array.array("i", [0] * (2 * _FRAMES))
        self.state = array.array("i", [0] * floor.STATE_WORDS)
        self.found = array.array("i", [0] * (floor.SEGMENT_WORDS * _FOUND_MOST))
        self.extremes = array.array("i", [0] * 3)
        self.table = spectrum.window_table()
        self.envelope_cdb = array.array("h", [0] * ENVELOPE_BLOCKS)
        self.recent = [None] * _KEPT_BLOCKS
        self.wave = array.array("H", [2048] * WAVE_SAMPLES)
        self.fall = array.array("H", [2048] * _FALL_SAMPLES)
        self.fall_power = array.array("i", [0] * _FALL_SAMPLES)
        self.fall_shape = array.array("i", [0] * 5)
        self._reset()

    def _reset(self):
        self.sounds.clear()
        self.blocks = 0
        self.folded = 0
        self.extremes[0] = 4095
        self.extremes[1] = 0
        self.wave_start_us = -1
        self.wave_level_cdb = ENVELOPE_NONE
        for i in range(spectrum.BINS):
            self.floor[i] = floor.FLOOR_MAX
            self.smooth[i] = 0
            self.guard[i] = GUARD_REST
        for i in range(floor.STATE_WORDS):
            self.state[i] = 0
        self.measurer.kept_frame = -1
        for i in range(len(self.joint)):
            self.joint[i] = 2048
        # What the last reading left in the ring would be heard before this one's first sound.
        self.ring[0] = 32768
        baseband.copy(self.ring, self.ring, len(self.ring) - 1, 0, 1)

    @property
    def lowest(self):
        """Lowest code so far."""
        return self.extremes[0]

    @property
    def highest(self):
        """Highest code so far."""
        return self.extremes[1]

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
        """Return the noise's rms over 30-80 kHz in hundredths of dBFS, from the floors of the bins."""
        total = 0
        for k in range(spectrum.BINS):
            total += self.floor[k]
        return cdb(total) + _FLOORS_TO_DBFS_CDB

    def floor_of(self, source, blocks):
        """Listen on another input for some blocks and return its noise (noise_cdb); keeps sounds and wave as they are.

        The floors, the ring and the extreme codes are overwritten: ask for this reading's noise_cdb first.
        """
        for i in range(spectrum.BINS):
            self.floor[i] = floor.FLOOR_MAX
        self.capture.start(source)
        for k in range(blocks):
            self._fold()
            self._spectrum(self.folded - 1)
            floor.follow(self.power, 0, 0, self.floor, _FRAMES, _LEARN_SHIFT)
        self.capture.stop()
        return self.noise_cdb()

    def _fold(self):
        block = self.capture.block()
        self.recent[self.folded % _KEPT_BLOCKS] = block
        extremes.extremes(block, 0, 0, self.extremes, BLOCK)
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
        floor.excess(self.power, self.best, 0, self.smooth, self.floor, self.guard, _FRAMES, GUARD_REST)
        n = floor.segment(self.best, 0, 0, self.state, self.found, _FRAMES, _FOUND_MOST)
        for k in range(n):
            self._take(k * floor.SEGMENT_WORDS)
            self._lift_guard(self.found[k * floor.SEGMENT_WORDS + 3])
        self._watch_long()
        self._note_crest()
        self.blocks += 1
        return n

    def _lift_guard(self, peak_bin):
        for k in range(max(0, peak_bin - 1), min(spectrum.BINS, peak_bin + 2)):
            self.guard[k] = min(floor.GUARD_MOST, self.guard[k] + (self.guard[k] >> 2))

    def _watch_long(self):
        """Look at the peak of a sound that goes on before the ring loses it."""
        state = self.state
        peak_frame = state[floor.PEAK_FRAME]
        age = state[floor.FRAME] - peak_frame
        if state[floor.ACTIVE] == 1 and _PEAK_AGE <= age < _PEAK_AGE + _FRAMES:
            self.measurer.keep_peak(self.ring, peak_frame, state[floor.PEAK_BIN], self.floor)

    def _note_crest(self):
        if self.blocks < ENVELOPE_BLOCKS:
            crest = self.state[floor.CREST]
            self.envelope_cdb[self.blocks] = cdb(crest) + CREST_TO_DBFS_CDB if crest else ENVELOPE_NONE

    def _take(self, at):
        m = self.measurer
        m.measure(self.ring, self.found, at, self.floor, self.folded * _VALUES)
        row = self.sounds.claim(m.evidence_cdb)
        if row < 0:
            return
        if m.level_cdb > self.noise_cdb() + _FALL_OVER_NOISE_CDB:
            self._time_fall(m)
        s = self.sounds
        s.time_us[row] = m.time_us
        s.level_cdb[row] = m.level_cdb
        s.frequency_hz[row] = m.frequency_hz
        s.sweep_hz[row] = m.sweep_hz
        s.length_us[row] = m.length_us
        s.ringdown_us[row] = m.ringdown_us
        s.evidence_cdb[row] = m.evidence_cdb
        s.kind[row] = _OTHER
        if m.evidence_cdb > _WAVE_EVIDENCE_CDB and m.level_cdb > self.wave_level_cdb:
            self._keep_wave(m)

    def _time_fall(self, m):
        """Time a strong sound's fall at the full rate: the baseband's filter is as long as a short ring-down."""
        first = max(0, m.peak_us // 4 - _FALL_LEAD)
        if not self._gather(self.fall, first, _FALL_SAMPLES):
            return
        n = _FALL_SAMPLES - fine.EXTRA
        fine.envelope(self.fall, self.fall_power, 0, n, fine.quadrature_q8(m.frequency_hz))
        burst.shape(self.fall_power, 0, 0, self.fall_shape, 0, 2 * _FALL_LEAD, n)
        if self.fall_shape[burst.RING] >= 0:
            m.ringdown_us = (self.fall_shape[burst.RING] >> 2) - 4 * self.fall_shape[burst.TOP_AT]

    def _keep_wave(self, m):
        """Keep the samples around a sound's start."""
        first = max(0, m.time_us // 4 - _WAVE_LEAD)
        if self._gather(self.wave, first, WAVE_SAMPLES):
            self.wave_start_us = first * 4
            self.wave_level_cdb = m.level_cdb

    def _gather(self, target, first, count):
        """Copy samples from the kept blocks; False where they do not hold them all."""
        newest = self.folded * BLOCK
        if first < newest - _KEPT_BLOCKS * BLOCK or first + count > newest:
            return False
        done = 0
        while done < count:
            at = first + done
            part = min(count - done, BLOCK - at % BLOCK)
            baseband.copy(self.recent[at // BLOCK % _KEPT_BLOCKS], target, part, at % BLOCK, done)
            done += part
        return True
