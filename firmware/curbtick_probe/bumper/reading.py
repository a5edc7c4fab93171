"""One reading, from the first sample to its verdict and what the log keeps of it."""

from curbtick_wire import names, records, sampling
from curbtick_wire._typing import Sequence, Values
from micropython import const

from curbtick_probe import reason
from curbtick_probe.bumper import verdict
from curbtick_probe.bumper.listen import Listener
from curbtick_probe.bumper.snippet import envelope_bytes, sound_parts, wave_bytes
from curbtick_probe.bumper.trains.desk import LONGEST_US
from curbtick_probe.bumper.trains.evidence import Evidence
from curbtick_probe.bumper.trains.loop import SLOW_INTERVAL_US
from curbtick_probe.bumper.trains.sounds import SINGLE_CDB
from curbtick_probe.dsp.burst import flat
from curbtick_probe.dsp.burst.baseband import HIGHEST, LOWEST
from curbtick_probe.dsp.extent import STOP_HIGH, STOP_LOW
from curbtick_probe.hardware import Board

# Listening ends here, so that the verdict stands within 1.5 s (3 s where the interval may be beyond 250 ms). Five
# bursts of an interval of 250 ms fall within it.
USUAL_US = const(1260000)
SLOW_US = const(2740000)
SLOW_SCORE = const(2600)

# Listening takes half of the chip's time, so that these steps of two blocks make up for four blocks of thinking.
_CATCH_UP_STEPS = const(4)

# With more sounds than these a look at them takes longer than the capture ring lasts.
_CALM_SOUNDS = const(40)

# An early PASS waits for this long: a loose contact may send the first bursts. After a look in vain ten steps of
# listening make up for it.
_EARLIEST_US = const(655360)
_LOOK_AGAIN_US = const(81920)

_PAD_CDB = const(1200)
# The pad serves a sensor that comes so near to the stops that another of its bursts may reach them: 1 dB.
_NEAR_CODES = const(200)
_HIGH_BLOCKS = const(8)

# The strongest burst's crests are cut from so many percent on (dsp/burst/flat.py). Of 550 whole ones of the second yard
# the flattest showed 27, of 30 that were cut by 4 to 5 dB the least flat 39.
_CUT_PERCENT = const(34)

# A live converter in quiet spans more codes than this; a stuck one does not.
STUCK_CODES = const(3)


class Taken:
    """What a reading left for the log.

    values: of its record. The rest is made when it is asked for, which takes a chip 80 ms that a verdict need not wait
    for; it must be asked for before the next reading.
    """

    def __init__(self, values: Values, listener: Listener | None = None) -> None:
        self.values = values
        self._listener = listener

    @property
    def snippet(self) -> tuple[Values, bytes] | None:
        """Values and tail of the strongest burst's record, or None."""
        return snippet_of(self._listener) if self._listener else None

    @property
    def sounds(self) -> Sequence[tuple[Values, bytes]]:
        """Values and tail of each record of sounds."""
        return sound_parts(self._listener.sounds, SINGLE_CDB) if self._listener else ()


class Reader:
    """Takes readings one after another; its buffers are made once."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.listener = Listener(board)
        self.heard = Evidence()
        self.ruling = verdict.Ruling()
        self.source = names.INPUT_LOW
        self.noise_cdb = 0
        self.listened_us = 0
        self.before_us = 0

    def take(self, limits: dict[str, int], limit_set: dict[str, int], before_us: int) -> Taken:
        """Listen, decide, and return what was Taken.

        limits: the class's limits, limit_set: the set's own fields (codec.unpack_limits form). before_us: the interval
        of this bumper's own PASS or WEAK in this visit, 0 for none (verdict.decide).
        """
        high_cdb = records.NONE_I16
        self.before_us = before_us
        capture = self.board.capture
        try:
            try:
                self._listen(limits)
                if not capture.overruns:
                    high_cdb = self._rule(limits, limit_set)
            finally:
                self.listener.unlock()
        except (MemoryError, RuntimeError):
            # Something allocated while it listened, or the stack, which has the frames then, was used up.
            return refused(reason.SAMPLES_LOST, limits["class_khz"])
        if capture.overruns:
            self.ruling.set(names.RETRY, reason.SAMPLES_LOST, 0)
        return self._taken(limits, high_cdb)

    def _rule(self, limits: dict[str, int], limit_set: dict[str, int]) -> int:
        """Decide on what was heard whole; return the floor of the high input, NONE_I16 where it was not needed."""
        high_cdb = records.NONE_I16
        if self.listener.highest - self.listener.lowest <= STUCK_CODES:
            self.ruling.set(names.RETRY, reason.MICROPHONE_FAULT, 0)
        elif self._is_clipped() or self._is_cut():
            self.ruling.set(names.RETRY, reason.CLIPPED, 0)
        else:
            live = False
            if verdict.asks_for_floor(self.heard.train, limits):
                # Only a live microphone has a floor there.
                high_cdb = self.listener.floor_of(names.INPUT_HIGH, _HIGH_BLOCKS)
                live = limit_set["high_floor_min_cdb"] <= high_cdb <= limit_set["high_floor_max_cdb"]
            verdict.decide(self.ruling, self.heard, limits, limit_set, self.noise_cdb, live, self.before_us)
        return high_cdb

    def _listen(self, limits: dict[str, int]) -> None:
        """Listen on the low input, and once more through the pad where a sensor's first burst clips."""
        self.source = names.INPUT_LOW
        used_us = self._run(limits, 0)
        # A sensor that clips does so at its first burst, which comes within the longest interval; later it is a knock.
        if self._is_clipped(_NEAR_CODES) and not self.board.capture.overruns and used_us <= LONGEST_US:
            self.source = names.INPUT_PADDED
            self._run(limits, used_us)
        self.noise_cdb = self.listener.noise_cdb()
        if self.source == names.INPUT_PADDED:
            self.noise_cdb += _PAD_CDB
        self.listened_us = self.listener.time_us()

    def _run(self, limits: dict[str, int], used_us: int) -> int:
        """Listen on the source until enough was heard; all in one, for each call in between takes C stack."""
        listener = self.listener
        pad_cdb = _PAD_CDB if self.source == names.INPUT_PADDED else 0
        enough = verdict.BURSTS_LEAST
        look_us = _EARLIEST_US
        end_us = USUAL_US - used_us
        slow_us = SLOW_US - used_us
        near = _NEAR_CODES if self.source == names.INPUT_LOW else 0
        codes = listener.extremes
        capture = self.board.capture
        self.heard.forget()
        try:
            listener.start(self.source, pad_cdb, limits["pass_cdb"])
            # Clipped or broken: nothing that is heard from there on can be trusted.
            while (
                STOP_LOW + near < codes[LOWEST] < codes[HIGHEST] - STUCK_CODES
                and codes[HIGHEST] < STOP_HIGH - near
                and not capture.overruns
            ):
                # Every sound found is measured first: it may speak against an early PASS.
                if listener.loud >= enough and not listener.waiting and listener.time_us() >= look_us:
                    if self._is_enough(limits):
                        break
                    enough = listener.loud + (listener.loud >> 1)
                    look_us = listener.time_us() + _LOOK_AGAIN_US
                if listener.time_us() >= end_us:
                    if end_us == slow_us or not self._is_slow(limits):
                        break
                    end_us = slow_us
                listener.step()
                if near and listener.time_us() > LONGEST_US:
                    near = 0
        finally:
            listener.stop()
        listener.settle()
        self.heard.sort(listener.sounds, limits, listener.time_us())
        return listener.time_us()

    def _is_enough(self, limits: dict[str, int]) -> bool:
        """Tell whether the evidence is enough for an early PASS; where much is heard there is no time to look.

        Most looks that find it is not end after their first part, which is shorter than the capture ring.
        """
        heard = self.heard
        sounds = self.listener.sounds
        if sounds.count > _CALM_SOUNDS:
            return False
        heard.find_held(sounds, self.listener.time_us())
        held = heard.train
        if held.due != held.count or not verdict.stands_out(held, limits):
            return False
        heard.find_cycle(sounds, self.listener.time_us())
        return verdict.clearly_passes(heard, limits, self.before_us)

    def _is_slow(self, limits: dict[str, int]) -> bool:
        """Tell whether the bursts heard come more than 250 ms apart, so that more time is worth while.

        Bursts with others missing between them are no sign of it, nor a few among many alike. It is worked out in
        parts, between which the blocks that came meanwhile are taken.
        """
        heard = self.heard
        held = heard.train
        beside = heard.siblings
        sounds = self.listener.sounds
        heard.find_held(sounds, self.listener.time_us())
        if held.pair_us > SLOW_INTERVAL_US and held.level_cdb < limits["dead_cdb"]:
            return True
        if held.count >= 2 and held.interval_us > SLOW_INTERVAL_US:
            if held.rivals > 2 * held.count:
                return False
            self._catch_up()
            heard.find_cycle(sounds, self.listener.time_us())
        else:
            heard.cycle.interval_us = held.interval_us
        interval_us = heard.cycle.interval_us
        if held.count >= 2 and interval_us <= SLOW_INTERVAL_US:
            return False
        self._catch_up()
        heard.look_faintly(sounds, self.listener.time_us())
        if verdict.sibling_proof(beside, limits, 0) and beside.interval_us <= SLOW_INTERVAL_US:
            return False
        if held.count >= 2:
            return held.count >= verdict.BURSTS_LEAST or held.count == heard.cycle.due and not held.rivals
        return (
            beside.interval_us > SLOW_INTERVAL_US
            and beside.score >= SLOW_SCORE
            and beside.count == beside.due
        )

    def _catch_up(self) -> None:
        for _ in range(_CATCH_UP_STEPS):
            self.listener.step()

    def _heard_singly(self) -> int:
        sounds = self.listener.sounds
        n = 0
        for row in range(sounds.count):
            if sounds.evidence_cdb[row] >= SINGLE_CDB:
                n += 1
        return n

    def _is_clipped(self, near: int = 0) -> bool:
        """Tell whether an amplifier may have stopped, or would have with so many codes more."""
        listener = self.listener
        return listener.lowest <= STOP_LOW + near or listener.highest >= STOP_HIGH - near

    def _is_cut(self) -> bool:
        """Tell whether an amplifier stopped where none should: a probe's fault that no other input mends."""
        wave = self.listener.wave
        return self.listener.wave_start_us >= 0 and flat.percent(wave, len(wave)) >= _CUT_PERCENT

    def _taken(self, limits: dict[str, int], high_cdb: int) -> Taken:
        return Taken(self._values(limits, high_cdb), self.listener)

    def _values(self, limits: dict[str, int], high_cdb: int) -> Values:
        values = empty_values(limits["class_khz"])
        values["verdict"] = self.ruling.verdict
        values["reasons"] = self.ruling.reasons
        values["proofs"] = self.ruling.proofs
        values["input"] = self.source
        values["noise_cdb"] = min(600, self.noise_cdb)
        values["high_floor_cdb"] = high_cdb
        values["sound_count"] = self._heard_singly()
        values["listened_ms"] = self.listened_us // 1000
        values["single_cdb"] = self._most_evidence()
        values["train_cdb"] = min(20000, self.heard.siblings.score)
        values["blocks_lost"] = min(255, self.board.capture.overruns)
        if self.heard.train.count >= 2:
            self._add_train(values)
        return values

    def _add_train(self, values: Values) -> None:
        held = self.heard.train
        values["level_cdb"] = min(600, held.level_cdb)
        values["frequency_hz"] = held.frequency_hz
        values["sweep_hz"] = held.sweep_hz
        values["interval_us"] = self.heard.cycle.interval_us
        values["burst_us"] = min(65535, held.burst_us)
        values["ringdown_us"] = min(65535, max(0, held.ringdown_us))
        values["burst_count"] = held.count
        values["due_count"] = min(255, self.heard.cycle.due)

    def _most_evidence(self) -> int:
        sounds = self.listener.sounds
        most = 0
        for row in range(sounds.count):
            most = max(most, sounds.evidence_cdb[row])
        return most


def snippet_of(listener: Listener) -> tuple[Values, bytes] | None:
    """Return values and tail of the record of what was heard strongest; None where nothing was clear."""
    if listener.wave_start_us < 0:
        return None
    shift, wave = wave_bytes(listener.wave)
    step, envelope = envelope_bytes(listener.crests, listener.blocks)
    values = {
        "reading_seq": 1,
        "rate_hz": sampling.RATE_HZ,
        "start_us": listener.wave_start_us,
        "shift": shift,
        "sample_count": len(wave),
        "envelope_step_us": step,
        "envelope_count": len(envelope),
    }
    return values, wave + envelope


def empty_values(class_khz: int) -> Values:
    """Return a reading record's values with nothing measured; the app adds vehicle, position and circumstances."""
    values = {}
    _kind, _name, fields, _tail = records.KINDS[records.READING - 1]
    for name, form, _lowest, _highest in fields:
        values[name] = records.NONE_I16 if form == "h" else 0
    values["class_khz"] = class_khz
    values["sweep_hz"] = records.NONE_I32
    return values


def refused(reasons: int, class_khz: int = 0) -> Taken:
    """Return what was Taken of a reading that was not begun, for these reasons (a mask)."""
    values = empty_values(class_khz)
    values["reasons"] = reasons
    return Taken(values)


_readers: list[Reader] = []


def reader(board: Board) -> Reader:
    """Return the board's Reader; its buffers are made at the first call and kept until release()."""
    if not _readers:
        _readers.append(Reader(board))
    return _readers[0]


def release() -> None:
    """Give the Reader's buffers back, for a check that needs the room."""
    _readers.clear()


def take(board: Board, limits: dict[str, int], limit_set: dict[str, int], before_us: int) -> Taken:
    """Take one reading on a board (Reader.take)."""
    if board.battery_mv() < limit_set["battery_min_mv"]:
        return refused(reason.BATTERY_LOW, limits["class_khz"])
    return reader(board).take(limits, limit_set, before_us)
