"""One reading's listening: capture blocks, feed the kernels, collect the sounds. Knows no limits."""

import array

from curbtick_wire import names
from curbtick_wire._typing import Ints
from curbtick_wire.sampling import BLOCK, BLOCK_US, HIGHEST_CODE, MID_CODE
from micropython import const, heap_lock, heap_unlock

from curbtick_probe.bumper import tables
from curbtick_probe.bumper.measure import SUMS_WORDS, Measurer
from curbtick_probe.bumper.trains.sounds import SINGLE_CDB, Sounds
from curbtick_probe.dsp.burst import baseband, closeup, fine, floor, spectrum
from curbtick_probe.dsp.burst.floor import FOUND_LAST, FOUND_POWER
from curbtick_probe.dsp.level import cdb
from curbtick_probe.hardware import Board

# Baseband values of a block.
_VALUES = const(256)

# Blocks are folded one by one, and searched two at a time.
BLOCKS_A_STEP = const(2)
_FRAMES = const(64)

# The floor learns fast from the first step, which is then searched too, and settles over the next ones: steps of
# 2**-_LEARN_SHIFT, and 2**-(_SETTLE_SHIFT), ... up to 2**-_FLOOR_SHIFT.
_LEARN_TIMES = const(3)
_LEARN_SHIFT = const(5)
_SETTLE_SHIFTS = b"\x06\x06\x07\x07\x08\x08\x08\x08"
_SETTLE_BLOCKS = const(16)
_FLOOR_SHIFT = const(9)

# A frame counts as excess where its smoothed power is this many quartile floors, Q3 (the mean in noise is 13.9):
# about ten candidates a second in white noise, few enough to look at each.
GUARD_REST = const(400)
_GUARD_FIRST = const(552)

# Sounds found wait to be measured. What measuring may cost is metered: each step earns _EARNED, up to _SAVED_MOST, and
# each sound takes _PRICE; the strongest go first, and one that waits past _KEEP_FRAMES is lost, for the ring has only
# a little more.
_WAITING_MOST = const(12)
_WAITING_KEPT = const(4)
_EARNED = const(1)
_PRICE = const(1)
_SAVED_MOST = const(4)
_KEEP_FRAMES = const(96)

# The strongest burst's samples: those of its start, some before it, kept at the full rate.
WAVE_SAMPLES = const(384)
_WAVE_LEAD = const(72)
_KEPT_BLOCKS = const(4)

# The fall of a sound this far above the noise is timed from the samples themselves.
_FALL_OVER_NOISE_CDB = const(2700)
_FALL_LEAD = const(24)
_FALL_SAMPLES = const(768)

# 1000 log10 of what turns the sum of the bins' Q8 quartile floors into power over that of a full-scale sine: quartile
# to mean 3.476 / 256; frame to value 64 / 6; a bin holds a sixteenth of a value's band; a full-scale magnitude is
# 14844; the filter loses 0.45 dB in the mean of the band.
_FLOORS_TO_DBFS_CDB = const(-10341)

# floor.SEGMENT_WORDS: a loop whose step is no constant of its own module allocates its range.
_WORDS = const(5)


class Listener:
    """Listens on one input until told to stop; all buffers are made once.

    The heap is locked from start() to unlock(): a collection takes as long as the ring lasts, and MicroPython puts a
    frame of more than 11 words on the heap unless that is locked, then on the C stack, which is quicker. An allocation
    raises MemoryError, a stack that is used up RuntimeError; stop() and unlock() are due after either.

    sounds: what was heard.
    loud: how many of them were at least as loud as asked.
    blocks: how many blocks of BLOCK_US were searched. folded: how many were taken.
    lowest, highest: the extreme codes.
    crests: floor.segment's, one for each block.
    wave: samples of the strongest clear burst. wave_start_us: time of the first of them; -1: none.
    waiting: how many sounds wait to be measured, in `found`. saved: how many of them the meter allows.
    """

    def __init__(self, board: Board) -> None:
        self.capture = board.capture
        self.sounds = Sounds()
        self.ring = array.array("H", [baseband.ZERO] * (2 * (baseband.RING + baseband.GUARD)))
        self.joint = array.array("H", [MID_CODE] * baseband.JOINT)
        self.halves = array.array("H", [baseband.ZERO] * (32 * _FRAMES))
        # As many as the frames' powers take, 16 a frame, and as Measurer wants.
        self.power = array.array("i", [0] * max(16 * _FRAMES, SUMS_WORDS))
        # Frames are searched before sounds are measured, so that both may use the same memory.
        self.measurer = Measurer(self.halves, self.power)
        self.floor = array.array("i", [0] * spectrum.BINS)
        self.smooth = array.array("i", [0] * spectrum.BINS)
        self.guard = array.array("i", [GUARD_REST] * spectrum.BINS)
        self.best = array.array("i", [0] * (2 * _FRAMES))
        self.state = array.array("i", [0] * floor.STATE_WORDS)
        self.found = array.array("i", [0] * (floor.SEGMENT_WORDS * _WAITING_MOST))
        self.crests = array.array("i", [0] * floor.CRESTS)
        self.extremes = array.array("i", [0] * 2)
        self.recent = [array.array("H")] * _KEPT_BLOCKS
        self.wave = array.array("H", [MID_CODE] * WAVE_SAMPLES)
        self.fall_shape = array.array("i", [0] * closeup.SHAPE_WORDS)
        self.quadratures_q8 = tables.quadratures_q8()
        self.pad_cdb = 0
        self.loud_cdb = 0
        self._locked = False
        self._reset()

    def _reset(self) -> None:
        self.sounds.clear()
        self.loud = 0
        self.blocks = 0
        self.folded = 0
        self.waiting = 0
        self.saved = _SAVED_MOST
        self.extremes[baseband.LOWEST] = HIGHEST_CODE
        self.extremes[baseband.HIGHEST] = 0
        self.wave_start_us = -1
        self.wave_level_cdb = -32768
        for i in range(spectrum.BINS):
            self.floor[i] = floor.FLOOR_MAX
            self.smooth[i] = 0
            self.guard[i] = _GUARD_FIRST
        for i in range(floor.STATE_WORDS):
            self.state[i] = 0
        for i in range(baseband.HISTORY):
            self.joint[i] = MID_CODE
        # What the last reading left in the ring would be heard before this one's first sound.
        self.ring[0] = baseband.ZERO
        baseband.copy(self.ring, self.ring, len(self.ring) - 1, 0, 1)

    @property
    def lowest(self) -> int:
        """Lowest code so far."""
        return self.extremes[baseband.LOWEST]

    @property
    def highest(self) -> int:
        """Highest code so far."""
        return self.extremes[baseband.HIGHEST]

    def start(self, source: int, pad_cdb: int = 0, loud_cdb: int = 0) -> None:
        """Start listening on an input (names.INPUT_*); the first blocks teach the floor, then are searched.

        pad_cdb: what the input takes off every level. loud_cdb: level from which sounds count as `loud`.
        """
        self.pad_cdb = pad_cdb
        self.loud_cdb = loud_cdb
        self._reset()
        self._begin(source)
        self._learn()
        self._search()

    def step(self) -> int:
        """Take and search BLOCKS_A_STEP blocks; return how many sounds were measured."""
        self._transform()
        shift = _SETTLE_SHIFTS[self.blocks // BLOCKS_A_STEP] if self.blocks < _SETTLE_BLOCKS else _FLOOR_SHIFT
        floor.follow(self.power, 0, self.floor, _FRAMES, shift)
        self._search()
        if self.waiting:
            return self._measure_some()
        if self.saved < _SAVED_MOST:
            self.saved += _EARNED
        return 0

    def settle(self) -> None:
        """Measure what still waits."""
        while self.waiting:
            self._measure_strongest()

    def _begin(self, source: int) -> None:
        # Setting up the ring allocates.
        self.unlock()
        self.capture.start(source)
        heap_lock()
        self._locked = True

    def stop(self) -> None:
        """Stop capturing, however far listening came; what still waits is left to settle()."""
        self.capture.stop()

    def unlock(self) -> None:
        """Unlock the heap: what was heard is decided on, too."""
        if self._locked:
            self._locked = False
            heap_unlock()

    def time_us(self) -> int:
        """Return how long this reading has listened, in us of samples."""
        return self.folded * BLOCK_US

    def noise_cdb(self) -> int:
        """Return the noise's rms over 30-80 kHz in hundredths of dBFS, from the floors of the bins."""
        return cdb(floor.total(self.floor)) + _FLOORS_TO_DBFS_CDB

    def floor_of(self, source: int, blocks: int) -> int:
        """Listen on another input for some blocks and return its noise (noise_cdb); keeps sounds and wave as they are.

        The floors, the ring and the extreme codes are overwritten: ask for this reading's noise_cdb first. The heap
        stays locked: unlock() is due.
        """
        for i in range(spectrum.BINS):
            self.floor[i] = floor.FLOOR_MAX
        try:
            self._begin(source)
            for _ in range(0, blocks, BLOCKS_A_STEP):
                self._learn()
        finally:
            self.stop()
        return self.noise_cdb()

    def _learn(self) -> None:
        self._transform()
        for _ in range(_LEARN_TIMES):
            floor.follow(self.power, 0, self.floor, _FRAMES, _LEARN_SHIFT)

    def _transform(self) -> None:
        """Take the next blocks, and turn them into the powers of their frames."""
        at = (self.folded * _VALUES) & (baseband.RING - 1)
        if at == 0:
            baseband.copy(self.ring, self.ring, 2 * baseband.GUARD, 2 * baseband.RING, 0)
        self._fold(at + baseband.GUARD)
        self._fold(at + baseband.GUARD + _VALUES)
        spectrum.stage_one(self.ring, self.halves, at, _FRAMES)
        spectrum.stage_two(self.halves, 0, self.power, _FRAMES)

    def _fold(self, at: int) -> None:
        block = self.capture.block()
        self.recent[self.folded % _KEPT_BLOCKS] = block
        baseband.fold(block, 0, self.ring, self.joint, self.extremes, _VALUES, at)
        self.folded += 1

    def _search(self) -> None:
        floor.excess(self.power, 0, self.best, self.smooth, self.floor, self.guard, _FRAMES, GUARD_REST)
        self.waiting = floor.segment(
            self.best,
            0,
            self.state,
            self.found,
            self.guard,
            self.crests,
            _FRAMES,
            self.waiting,
            _WAITING_MOST,
        )
        self.blocks += BLOCKS_A_STEP

    def _measure_some(self) -> int:
        """Measure sounds that wait, as many as the meter allows; return how many."""
        n = 0
        self.saved += _EARNED
        while self.waiting and self.saved >= _PRICE:
            self._measure_strongest()
            self.saved -= _PRICE
            n += 1
        if self.waiting:
            self._forget_some()
        return n

    def _measure_strongest(self) -> None:
        strongest = 0
        for k in range(_WORDS, self.waiting * _WORDS, _WORDS):
            if self.found[k + FOUND_POWER] > self.found[strongest + FOUND_POWER]:
                strongest = k
        self._take(strongest)
        self._remove(strongest)

    def _forget_some(self) -> None:
        """Lose sounds that are too old, and the weakest of those that are too many."""
        oldest = self.state[floor.FRAME] - _KEEP_FRAMES
        for k in range((self.waiting - 1) * _WORDS, -1, -_WORDS):
            if self.found[k + FOUND_LAST] < oldest:
                self._remove(k)
                self.sounds.dropped += 1
        while self.waiting > _WAITING_KEPT:
            weakest = 0
            for k in range(_WORDS, self.waiting * _WORDS, _WORDS):
                if self.found[k + FOUND_POWER] < self.found[weakest + FOUND_POWER]:
                    weakest = k
            self._remove(weakest)
            self.sounds.dropped += 1

    def _remove(self, at: int) -> None:
        last = (self.waiting - 1) * floor.SEGMENT_WORDS
        if at != last:
            for k in range(floor.SEGMENT_WORDS):
                self.found[at + k] = self.found[last + k]
        self.waiting -= 1

    def _take(self, at: int) -> None:
        m = self.measurer
        m.measure(self.ring, self.found, at, self.floor, self.folded * _VALUES)
        row = self.sounds.claim(m.evidence_cdb, max(0, m.time_us))
        if row < 0:
            return
        if m.over_noise_cdb > _FALL_OVER_NOISE_CDB:
            self._time_fall(m)
        s = self.sounds
        s.level_cdb[row] = m.level_cdb + self.pad_cdb
        s.frequency_hz[row] = m.frequency_hz
        s.sweep_hz[row] = m.sweep_hz
        s.length_us[row] = m.length_us
        s.ringdown_us[row] = m.ringdown_us
        s.evidence_cdb[row] = m.evidence_cdb
        s.kind[row] = names.OTHER
        if s.level_cdb[row] >= self.loud_cdb:
            self.loud += 1
        if m.evidence_cdb > SINGLE_CDB and m.level_cdb > self.wave_level_cdb:
            self._keep_wave(m)

    def _time_fall(self, m: Measurer) -> None:
        """Time a strong sound's fall at the full rate: the baseband's filter is as long as a short ring-down."""
        first = max(0, m.peak_us // 4 - _FALL_LEAD)
        samples = m.values  # as long, and done with, as are the sums
        if not self._gather(samples, first, _FALL_SAMPLES):
            return
        n = _FALL_SAMPLES - fine.EXTRA
        power = m.sums
        fine.envelope(samples, 0, power, n, tables.at_line(self.quadratures_q8, m.frequency_hz))
        closeup.shape(power, 0, self.fall_shape, 0, 2 * _FALL_LEAD, n)
        if self.fall_shape[closeup.RING] >= 0:
            m.ringdown_us = (self.fall_shape[closeup.RING] >> 2) - 4 * self.fall_shape[closeup.TOP_AT]

    def _keep_wave(self, m: Measurer) -> None:
        """Keep the samples around a sound's start."""
        first = max(0, m.time_us // 4 - _WAVE_LEAD)
        if self._gather(self.wave, first, WAVE_SAMPLES):
            self.wave_start_us = first * 4
            self.wave_level_cdb = m.level_cdb

    def _gather(self, target: Ints, first: int, count: int) -> bool:
        """Copy samples from the kept blocks; False where they do not hold them all, or will be written over."""
        newest = self.folded * BLOCK
        if first < newest - min(_KEPT_BLOCKS, self.capture.whole()) * BLOCK or first + count > newest:
            return False
        done = 0
        while done < count:
            at = first + done
            part = min(count - done, BLOCK - at % BLOCK)
            baseband.copy(self.recent[at // BLOCK % _KEPT_BLOCKS], target, part, at % BLOCK, done)
            done += part
        return True
