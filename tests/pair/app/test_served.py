"""A bench that asks while the seal or the hiss check listens: it is answered, and flash and sampling never meet."""

import select
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick.link.client import Client
from curbtick.virtual.demo.technician import LONG_MS
from curbtick.virtual.probe.bus import BOTH, READ
from curbtick_wire import messages, names, records

from tests.pair.app.bench import ROUND, Bench, Steady, bench
from tests.paths import FIRMWARE

__all__ = ["bench"]

# The firmware's program on a board whose flash refuses whatever is written while the converter runs, and whose
# refusal nothing can catch.
REFUSING = """
import sys
from curbtick_probe.board.virtual import board as virtual
from curbtick_probe.board.virtual import flashdisk

sampling = [False]
_start, _stop = virtual.Capture.start, virtual.Capture.stop


def noted_start(capture, source):
    sampling[0] = True
    _start(capture, source)


def noted_stop(capture):
    sampling[0] = False
    _stop(capture)


def refusing(method):
    def refused(*arguments):
        if sampling[0]:
            sys.stderr.write("flash was written while the converter ran")
            sys.exit(3)
        return method(*arguments)

    return refused


virtual.Capture.start = noted_start
virtual.Capture.stop = noted_stop
flashdisk.FlashDisk.writeblocks = refusing(flashdisk.FlashDisk.writeblocks)
ioctl = flashdisk.FlashDisk.ioctl
flashdisk.FlashDisk.ioctl = lambda disk, operation, argument: (
    refusing(ioctl)(disk, operation, argument) if operation == 6 else ioctl(disk, operation, argument)
)
exec(open(MAIN).read())
"""

CHECKS = {"seal": 1, "hiss": 2}
UPDATE_MS = 197


@pytest.fixture
def refusing(tmp_path: Path) -> Iterator[Bench]:
    """A paired probe with a round, on the board that refuses."""
    script = tmp_path / "refusing.py"
    script.write_text(REFUSING.replace("MAIN", repr(str(FIRMWARE / "main.py"))))
    made = Bench(tmp_path, script=script)
    yield made
    made.probe.close()


def begin_section(bench: Bench, check: str) -> None:
    """Come to a check, have its reference or background taken, and begin a section."""
    bench.probe.ear = Steady(400.0 if check == "seal" else 0.0, noise=12.0)
    for _ in range(CHECKS[check]):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ, settle_ms=9000)
    if check == "seal":
        bench.probe.ear = Steady(4.0)
        bench.thumbs.meter_press(READ)


def asked(bench: Bench, client: Client, ask: Callable[[Client], Any]) -> Any:
    """What a request gets that was sent at the very moment at which the meter is held; let it run on until then."""
    answers: list[Any] = []
    thread = threading.Thread(target=lambda: answers.append(ask(client)))
    thread.start()
    assert select.select([bench.probe._master], [], [], 10)[0]
    while thread.is_alive():
        bench.probe.run_for(UPDATE_MS)
        thread.join(0.02)
    assert answers
    return answers[0]


@pytest.mark.parametrize("check", CHECKS)
def test_a_bench_is_answered_within_an_update_and_its_stop(bench: Bench, check: str) -> None:
    with bench.client() as client:
        # The ticks begin a little after the bus's time.
        later_ms = bench.probe.now_us // 1000 - client._ask(messages.TICKS)[0]["ticks_ms"]
        begin_section(bench, check)
        bench.probe.run_for(1234)
        held_ms = bench.probe.now_us // 1000 - later_ms
        answer = asked(bench, client, lambda client: client._ask(messages.TICKS))
    assert 0 <= answer[0]["ticks_ms"] - held_ms <= UPDATE_MS + 50


@pytest.mark.parametrize("check", CHECKS)
def test_what_a_bench_sends_is_written_while_the_converter_rests(refusing: Bench, check: str) -> None:
    with refusing.client() as client:
        begin_section(refusing, check)
        refusing.probe.run_for(1000)
        asked(refusing, client, lambda client: client.send_round({**ROUND, "round_id": 8}))
        pulled = asked(refusing, client, lambda client: list(client.records()))
    assert pulled and refusing.probe.running, refusing.probe.stderr_text()


@pytest.mark.parametrize(("check", "kind"), [("seal", records.SEAL), ("hiss", records.HISS)])
def test_a_section_in_which_a_bench_was_served_is_no_all_clear(bench: Bench, check: str, kind: int) -> None:
    """Nobody listened meanwhile; the next section is whole again."""
    with bench.client() as client:
        begin_section(bench, check)
        bench.probe.run_for(2000)
        asked(bench, client, lambda client: client._ask(messages.TICKS))
        bench.probe.run_for(2000)
    bench.thumbs.meter_press(READ)
    bench.probe.run_for(3000)
    bench.thumbs.meter_press(READ)
    if check == "seal":
        bench.probe.ear = Steady(400.0)
        bench.probe.run_for(500)
        bench.thumbs.meter_press(READ, LONG_MS, settle_ms=8000)
    bench.leave_checks(3 - CHECKS[check])
    marks = [mark.values for mark in bench.log(kind)]
    served, after = [mark for mark in marks if not mark["reasons"] & NO_REFERENCE][:2]
    assert (served["verdict"], served["reasons"]) == (0, SAMPLES_LOST)
    assert (after["verdict"], after["reasons"]) == (1, 0)


NO_REFERENCE = names.mask_of(names.REASONS, ["no_reference"])
SAMPLES_LOST = names.mask_of(names.REASONS, ["samples_lost"])


def test_a_pattern_plays_to_its_end_while_bytes_wait_that_nobody_reads(bench: Bench) -> None:
    """A mark whose pattern plays with a request unread: the probe comes back to listening, and answers."""
    with bench.client() as client:
        begin_section(bench, "hiss")
        bench.probe.run_for(2000)
        answers: list[Any] = []
        thread = threading.Thread(target=lambda: answers.append(client._ask(messages.TICKS)))
        thread.start()
        assert select.select([bench.probe._master], [], [], 10)[0]
        words = bench.thumbs.meter_press(READ, settle_ms=3000)
        thread.join(10)
    assert answers and words == ("quiet",)
