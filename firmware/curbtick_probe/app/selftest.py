"""The self-test: is what the probe says of a sensor to be trusted?

Bits of the `failed` mask are places in names.SELF_TESTS. After a failure the probe refuses verdicts until a test
passes. Bounds come from the standard front end in hardware_notes: bias from its divider and the ADC's offset, floors
from its noise budget.
"""

import gc
import os
from array import array

from curbtick_wire import names, records, sampling
from curbtick_wire._typing import Any, Ints, Values
from micropython import const, heap_lock, heap_unlock

from curbtick_probe.app.temperature import in_record_ddeg
from curbtick_probe.bumper import reading
from curbtick_probe.dsp import level
from curbtick_probe.hardware import Board, Capture
from curbtick_probe.link.service import Probe
from curbtick_probe.store import supply
from curbtick_probe.store.log import LogFull

# Where the standard front end rests: its divider keeps clear of the ADC's steps at mid-scale. Tolerances and offsets
# make up to 31 codes; three times as much is a drift or a fault.
BIAS_CODE = const(2098)
BIAS_SLACK_CODES = const(100)

# An ADC on a quiet low input lies at -58 dBFS (RP2040) or -61 (RP2350); a broken ground or a noisy supply lifts it, a
# stuck converter has none, which the listener gives as -68.
LOW_FLOOR_MIN_CDB = const(-6500)
LOW_FLOOR_MAX_CDB = const(-4500)

RATE_SLACK_PERMILLE = const(2)
RATE_BLOCKS = const(24)

BATTERY_MAX_MV = const(5500)
TEMPERATURE_MIN_DDEG = const(-200)
TEMPERATURE_MAX_DDEG = const(700)

# The probe's own beep, over the floor of the same samples, and where its samples lie in the blocks from start.
BEEP_HZ = const(4000)
BEEP_MS = const(12)
BEEP_BLOCKS = const(3)
BEEP_RISE_CDB = const(600)

BUTTON_WAIT_MS = const(3000)
FLOOR_BLOCKS = const(8)
SETTLE_BLOCKS = const(2)

# 1000 log10 of a full-scale sine's mean square in codes: 2047.5**2 / 2.
_FULL_SCALE_CDB = const(6321)

_PATTERN = bytes(range(256))
_NO_BLOCK = array("H", [0])


def run_and_log(board: Board, probe: Probe) -> bool:
    """Run every test and log the record; return whether all passed.

    `probe.failed` holds the mask of what failed until the next run; an event goes with a failure.
    """
    values = run(board, probe.limits.current)
    probe.failed = values["failed"]
    try:
        probe.log.append(records.SELF_TEST, values)
        if values["failed"]:
            probe.log.event(names.EVENTS.index("self_test_failed"), values["failed"])
    except LogFull:
        # The result is shown and obeyed all the same; the log has counted what it could not keep.
        return not values["failed"]
    return not values["failed"]


def run(board: Board, limit_set: Values) -> Values:
    """Run every test; return the values of a self-test record.

    board: a Board; limit_set: the set's own fields (codec.unpack_limits form).
    """
    failed: list[str] = []
    values: Values = {"battery_mv": board.battery_mv(), "temperature_ddeg": board.temperature_ddeg()}
    _judge(failed, "buttons", _released(board))
    # With too little supply to write nothing is tried; the battery's own test tells of it.
    _judge(failed, "flash", not supply.is_enough() or _flash_keeps(board.root))
    values["bias_code"] = _bias(board.capture, failed)
    values["rate_permille"] = _rate_permille(board)
    _floors(board, limit_set, values, failed)
    quiet_cdb = _level_cdb(board, 0)
    values["beep_cdb"] = _level_cdb(board, BEEP_HZ)
    _judge(failed, "beeper", values["beep_cdb"] >= quiet_cdb + BEEP_RISE_CDB)
    _judge(failed, "rate", abs(values["rate_permille"] - 1000) <= RATE_SLACK_PERMILLE)
    _judge(failed, "battery", limit_set["battery_min_mv"] <= values["battery_mv"] <= BATTERY_MAX_MV)
    _judge(failed, "temperature", TEMPERATURE_MIN_DDEG <= values["temperature_ddeg"] <= TEMPERATURE_MAX_DDEG)
    values["temperature_ddeg"] = in_record_ddeg(values["temperature_ddeg"])
    values["failed"] = names.mask_of(names.SELF_TESTS, failed)
    return values


def _judge(failed: list[str], word: str, passed: bool) -> None:
    if not passed:
        failed.append(word)


def _released(board: Board) -> bool:
    """Return whether no button is held, or both let go within BUTTON_WAIT_MS."""
    until_ms = board.ticks_ms() + BUTTON_WAIT_MS
    while board.buttons() and board.ticks_ms() < until_ms:
        board.wait(until_ms - board.ticks_ms(), False)
    return not board.buttons()


def _flash_keeps(root: str) -> bool:
    """Return whether a small file comes back from flash as it went; the data directory is as before afterwards."""
    path = root + "/selftest"
    try:
        with open(path, "wb") as file:
            file.write(_PATTERN)
        with open(path, "rb") as file:
            kept: bool = file.read() == _PATTERN
        os.remove(path)
    except OSError:
        return False
    return kept


def _bias(capture: Capture, failed: list[str]) -> int:
    """Return the mean code of the low input; all three inputs must rest at the bias."""
    means = []
    for source in (names.INPUT_LOW, names.INPUT_PADDED, names.INPUT_HIGH):
        kept = [_NO_BLOCK]
        _start(capture, source)
        _take(capture, SETTLE_BLOCKS + 1, kept)
        capture.stop()
        means.append(sum(kept[0]) // len(kept[0]))
    _judge(failed, "bias", all(abs(mean - BIAS_CODE) <= BIAS_SLACK_CODES for mean in means))
    return means[0]


def _start(capture: Capture, source: int) -> None:
    """Start sampling with the garbage just collected: the few objects made meanwhile bring no collection on."""
    gc.collect()
    capture.start(source)


def _take(capture: Capture, count: int, kept: list[Ints]) -> None:
    """Take so many blocks with the heap locked, the last ones into `kept`.

    Where something allocates meanwhile the rest is not taken, which the tests see by what is kept, and by the time.
    """
    heap_lock()
    try:
        for taken in range(count):
            kept[taken % len(kept)] = capture.block()
    except MemoryError:
        kept[0] = _NO_BLOCK
    finally:
        heap_unlock()


def _rate_permille(board: Board) -> int:
    """Return how long RATE_BLOCKS blocks should take over how long they took by the tick clock, in permille."""
    capture = board.capture
    kept = [_NO_BLOCK]
    _start(capture, names.INPUT_LOW)
    capture.block()
    start_us = board.ticks_us()
    _take(capture, RATE_BLOCKS, kept)
    took_us = board.ticks_us() - start_us
    lost = capture.overruns
    capture.stop()
    if lost or took_us <= 0:
        return 0
    return min(65535, RATE_BLOCKS * sampling.BLOCK_US * 1000 // took_us)


def _floors(board: Board, limit_set: Values, values: Values, failed: list[str]) -> None:
    listener = _listener(board)
    try:
        low_cdb = listener.floor_of(names.INPUT_LOW, FLOOR_BLOCKS)
        high_cdb = listener.floor_of(names.INPUT_HIGH, FLOOR_BLOCKS)
    except MemoryError:
        low_cdb = high_cdb = records.NONE_I16
    finally:
        listener.unlock()
    values["low_floor_cdb"] = low_cdb
    values["high_floor_cdb"] = high_cdb
    _judge(failed, "low_floor", LOW_FLOOR_MIN_CDB <= low_cdb <= LOW_FLOOR_MAX_CDB)
    _judge(
        failed, "microphone", limit_set["high_floor_min_cdb"] <= high_cdb <= limit_set["high_floor_max_cdb"]
    )


def _listener(board: Board) -> Any:
    """Return the readings' own listener, made now if none was taken yet: its buffers are large, and kept."""
    return reading.reader(board).listener


def _level_cdb(board: Board, frequency_hz: int) -> int:
    """Return the level at the high input, all frequencies together, during a beep of this frequency (0: silence)."""
    capture = board.capture
    _start(capture, names.INPUT_HIGH)
    if frequency_hz:
        board.beep(frequency_hz, BEEP_MS)
    # Summing up a block takes longer than the ring keeps one, so sampling ends first.
    blocks = [_NO_BLOCK] * BEEP_BLOCKS
    _take(capture, BEEP_BLOCKS, blocks)
    capture.stop()
    most = max([_mean_square(block) for block in blocks])
    level_cdb: int = max(-9000, level.power_cdb(most) - _FULL_SCALE_CDB)
    return level_cdb


def _mean_square(block: Ints) -> int:
    """Return the mean square of a block around its mean, in codes squared."""
    mean = sum(block) // len(block)
    return sum((code - mean) * (code - mean) for code in block) // len(block)
