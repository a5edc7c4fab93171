"""The virtual board against its bus: a MicroPython process with an ear, buttons, a flash file and a pty."""

import os
import select
import struct
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from curbtick.errors import InputError
from curbtick.virtual.probe.bus import BOTH, READ, STEP
from curbtick.virtual.probe.process import ProbeStoppedError, VirtualProbe, run_script
from numpy.typing import NDArray

PREAMBLE = """
import struct
from curbtick_probe.board.virtual.board import Board
board = Board()
def tell(*numbers):
    board.bus.ask(struct.pack("<%dq" % len(numbers), *numbers))
"""


class CountingEar:
    """Code = block number; remembers what was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, int, int]] = []

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        self.asked.append((count, input, start_us))
        return np.full(count, len(self.asked), dtype=np.uint16)


class Told:
    """Collects what a script tells."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, ...]] = []

    def __call__(self, payload: bytes) -> bytes:
        self.rows.append(struct.unpack(f"<{len(payload) // 8}q", payload))
        return b""


Script = Callable[[str], Path]


@pytest.fixture
def script(tmp_path: Path) -> Script:
    def write(body: str) -> Path:
        path = tmp_path / "script.py"
        path.write_text(PREAMBLE + body)
        return path

    return write


def test_blocks_come_in_order_and_take_four_microseconds_a_sample(script: Script) -> None:
    ear, told = CountingEar(), Told()
    run_script(
        script(
            "board.capture.start(2)\nfor _ in range(3): tell(board.capture.block()[1023], board.ticks_us())\n"
        ),
        ear,
        told,
    )
    assert told.rows == [(1, 4096), (2, 8192), (3, 12288)]
    assert ear.asked == [(1024, 2, 0), (1024, 2, 4096), (1024, 2, 8192)]


def test_a_program_that_dawdles_while_sampling_overruns(script: Script) -> None:
    told = Told()
    run_script(
        script(
            "board.capture.start(0)\nboard.beep(4000, 60)\nboard.capture.block()\ntell(board.capture.overruns)\n"
        ),
        CountingEar(),
        told,
    )
    lost = -(-(60_000 - 7 * 4096) // 4096)
    assert told.rows == [(lost,)]


def test_a_flash_write_takes_its_typical_time_and_survives_a_power_cycle(
    script: Script, tmp_path: Path
) -> None:
    told = Told()
    body = "start = board.ticks_us()\nf = open('/probe/x', 'ab')\nf.write(b'a' * 2000)\nf.close()\n"
    path = script(body + "tell(board.ticks_us() - start, len(open('/probe/x', 'rb').read()))\n")
    for _ in range(2):
        run_script(path, None, told, flash_path=tmp_path / "flash")
    assert [size for _, size in told.rows] == [2000, 4000]
    assert all(45_000 <= took <= 250_000 for took, _ in told.rows)


def test_a_flash_file_that_is_no_littlefs_is_never_formatted(script: Script, tmp_path: Path) -> None:
    flash = tmp_path / "flash"
    flash.write_bytes(b"\x5a" * 4096 * 352)
    with pytest.raises(InputError, match="not the flash file of a probe"):
        run_script(script(""), flash_path=flash)
    assert flash.read_bytes() == b"\x5a" * 4096 * 352
    flash.write_bytes(b"littlefs" + b"\x5a" * (4096 * 352 - 8))
    with pytest.raises(ProbeStoppedError):
        run_script(script(""), flash_path=flash)
    assert flash.read_bytes()[8:] == b"\x5a" * (4096 * 352 - 8)


def test_what_cannot_be_a_flash_file_is_said_before_the_program_starts(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("vehicle\n")
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "r.csv", tmp_path, tmp_path / "pipe"):
        with pytest.raises(InputError, match="not the flash file of a probe") as caught:
            VirtualProbe(flash_path=path)
        assert "Traceback" not in str(caught.value)
    with pytest.raises(InputError, match="cannot be used: No such file"):
        VirtualProbe(flash_path=tmp_path / "nowhere" / "flash")
    assert (tmp_path / "r.csv").read_text() == "vehicle\n"


BUTTON_LOG = """
last = board.buttons()
tell(last, board.ticks_ms())
while True:
    board.wait(60000)
    now = board.buttons()
    if now != last:
        tell(now, board.ticks_ms())
        last = now
"""


def test_presses_arrive_in_simulated_time(script: Script) -> None:
    told = Told()
    with VirtualProbe(script=script(BUTTON_LOG), on_ask=told) as probe:
        probe.run_until_idle()
        probe.press(READ, hold_ms=80)
        probe.press(STEP, hold_ms=900, after_ms=500)
        probe.run_until_idle()
        assert [mask for mask, _ in told.rows] == [0, READ, 0, STEP, 0]
        times = [ms for _, ms in told.rows]
        assert times[2] - times[1] == 80 and times[4] - times[3] == 900


def test_buttons_can_be_held_at_power_up(script: Script) -> None:
    told = Told()
    with VirtualProbe(script=script(BUTTON_LOG), on_ask=told, held=BOTH, hold_ms=1500) as probe:
        probe.run_until_idle()
    assert told.rows == [(BOTH, 0), (0, 1500)]


METER = """
board.capture.start(0)
while not board.buttons():
    board.capture.block()
tell(board.ticks_ms())
board.capture.stop()
while True:
    board.wait(60000)
"""


def test_a_program_that_listens_for_ever_can_be_run_for_a_time(script: Script) -> None:
    told = Told()
    with VirtualProbe(CountingEar(), script=script(METER), on_ask=told) as probe:
        probe.run_for(2000)
        assert 2_000_000 <= probe.now_us < 2_010_000
        probe.run_for(1000)
        probe.press(READ, after_ms=100)
        probe.run_until_idle()
    assert 3100 <= told.rows[0][0] < 3200


ECHO = """
buffer = bytearray(64)
while True:
    board.wait(60000)
    count = board.serial.read_into(buffer)
    if count:
        board.serial.write(buffer[:count])
"""


def test_the_serial_is_binary_safe_and_wakes_a_waiting_program(script: Script) -> None:
    data = bytes(range(256)) * 8
    with VirtualProbe(script=script(ECHO)) as probe:
        probe.run_until_idle()
        port = os.open(probe.pty_path, os.O_RDWR | os.O_NOCTTY)
        os.write(port, data)
        received = b""
        while len(received) < len(data) and select.select([port], [], [], 5)[0]:
            received += os.read(port, 4096)
        os.close(port)
    assert received == data


def test_a_write_that_nobody_reads_ends_in_bounded_time(script: Script) -> None:
    told = Told()
    run_script(script("tell(board.serial.write(bytes(100000)))\n"), None, told)
    assert 0 < told.rows[0][0] < 100_000


def test_reset_starts_the_program_again_at_time_zero(script: Script) -> None:
    told = Told()
    body = "tell(board.ticks_ms())\nboard.wait(500)\nif len(open({0!r}).read()) < 3:\n"
    marks = script("").with_name("marks")
    marks.write_text("")
    body += "    f = open({0!r}, 'a'); f.write('x'); f.close()\n    board.reset()\n"
    run_script(script(body.format(str(marks))), None, told)
    assert told.rows == [(0,)] * 4


def processor_s(pid: int) -> float:
    """Processor time of a process so far, as Linux tells it (proc(5)), in seconds; 0 elsewhere."""
    stat = Path(f"/proc/{pid}/stat")
    if not stat.exists():
        return 0.0
    fields = stat.read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test_an_idle_probe_takes_no_processor_time(script: Script) -> None:
    with VirtualProbe(script=script(BUTTON_LOG), on_ask=Told()) as probe:
        probe.run_until_idle()
        assert probe._process is not None
        own, others = time.process_time(), processor_s(probe._process.pid)
        time.sleep(0.5)
        assert time.process_time() - own < 0.1
        assert processor_s(probe._process.pid) - others < 0.1


def test_a_program_that_fails_is_reported_with_its_traceback(script: Script) -> None:
    with pytest.raises(ProbeStoppedError, match="ZeroDivisionError"):
        run_script(script("1 // 0\n"))
