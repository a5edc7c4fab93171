"""What every Board must do, as cases that run wherever one runs: MicroPython on a PC, the chip, CPython.

The samples that the board hears are a ramp: each one more than the last, modulo 4096. A case returns None,
or what is wrong in words.
"""

import array

BLOCK = 1024
BLOCK_US = 4096
LOW, PADDED, HIGH = range(3)


def identity(board):
    if len(board.unique_id) != 8:
        return f"unique_id is {len(board.unique_id)} bytes"
    return None


def voltages(board):
    battery_mv = board.battery_mv()
    if not 3000 < battery_mv < 6000:
        return f"battery {battery_mv} mV"
    temperature_ddeg = board.temperature_ddeg()
    if not -200 < temperature_ddeg < 600:
        return f"temperature {temperature_ddeg}"
    return None


def blocks_follow_each_other(board):
    for source in (LOW, PADDED, HIGH):
        board.capture.start(source)
        last = None
        for _ in range(20):
            block = board.capture.block()
            if not isinstance(block, array.array) or len(block) != BLOCK:
                return f"a block is {type(block)!r} of {len(block)}"
            if last is not None and block[0] != (last + 1) & 4095:
                return f"input {source}: {block[0]} follows {last}"
            if block[BLOCK - 1] != (block[0] + BLOCK - 1) & 4095:
                return f"input {source}: a sample is missing in a block"
            last = block[BLOCK - 1]
        overruns = board.capture.overruns
        board.capture.stop()
        if overruns:
            return f"{overruns} overruns"
    return None


def time_is_samples(board):
    board.capture.start(LOW)
    board.capture.block()
    start_us = board.ticks_us()
    for _ in range(24):
        board.capture.block()
    took_us = board.ticks_us() - start_us
    board.capture.stop()
    if abs(took_us - 24 * BLOCK_US) > 1500:
        return f"24 blocks in {took_us} us"
    return None


def blocks_stay(board):
    board.capture.start(LOW)
    first = board.capture.block()
    kept = bytes(first)
    for _ in range(3):
        board.capture.block()
    same = bytes(first) == kept
    board.capture.stop()
    return None if same else "a block changed within three calls"


def whole_blocks_are_told(board):
    """Right after a block the last four are whole; who comes six blocks late finds none that will stay so."""
    board.capture.start(LOW)
    for _ in range(6):
        block = board.capture.block()
    kept = bytes(block)
    prompt = board.capture.whole()
    board.beep(0, 25)
    late = board.capture.whole()
    same = bytes(block) == kept
    board.capture.stop()
    if prompt < 4 or late > 1 or not same:
        return f"{prompt} blocks whole at once and {late} after 25 ms; the last one is {'' if same else 'not '}the same"
    return None


def lateness_is_counted(board):
    board.capture.start(LOW)
    board.capture.block()
    board.beep(0, 80)
    block = board.capture.block()
    overruns = board.capture.overruns
    last = block[BLOCK - 1]
    for _ in range(3):
        block = board.capture.block()
        if block[0] != (last + 1) & 4095:
            return f"after an overrun {block[0]} follows {last}"
        last = block[BLOCK - 1]
    again = board.capture.overruns - overruns
    board.capture.stop()
    if again:
        return f"{again} overruns counted again"
    if not 8 <= overruns <= 19:
        return f"{overruns} overruns after 80 ms"
    board.capture.start(LOW)
    forgotten = board.capture.overruns
    board.capture.stop()
    return "overruns outlive a start" if forgotten else None


def samples_during_a_beep(board):
    board.capture.start(HIGH)
    board.beep(4000, 10)
    for _ in range(3):
        board.capture.block()
    overruns = board.capture.overruns
    board.capture.stop()
    return f"{overruns} overruns" if overruns else None


def waiting(board):
    start_ms = board.ticks_ms()
    board.wait(50)
    took_ms = board.ticks_ms() - start_ms
    return None if 49 <= took_ms <= 60 else f"waited {took_ms} ms instead of 50"


def beeping(board):
    start_ms = board.ticks_ms()
    board.beep(2000, 30)
    took_ms = board.ticks_ms() - start_ms
    return None if 29 <= took_ms <= 45 else f"beeped {took_ms} ms instead of 30"


def panel(board):
    for mask in (0, 1, 0xFFF, 0x800):
        board.bar(mask)
    held = board.buttons()
    return f"buttons {held} though none is held" if held else None


def quiet_serial(board):
    if board.serial.any():
        return "bytes nobody sent"
    count = board.serial.read_into(bytearray(8))
    return f"read {count} bytes nobody sent" if count else None


CASES = (
    identity,
    voltages,
    blocks_follow_each_other,
    time_is_samples,
    blocks_stay,
    whole_blocks_are_told,
    lateness_is_counted,
    samples_during_a_beep,
    waiting,
    beeping,
    panel,
    quiet_serial,
)


def failures(board):
    """Run every case; return a list of "case: what is wrong"."""
    found = []
    for case in CASES:
        wrong = case(board)
        if wrong:
            found.append(f"{case.__name__}: {wrong}")
    return found
