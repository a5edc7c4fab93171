"""One call, four ways that must agree: both chips' cores, checked CPython, MicroPython's unix port."""

import copy
from functools import cache
from pathlib import Path

from tests.target import shim
from tests.target.core import Buffer, Core, Run
from tests.target.core33 import Core33
from tests.target.shim import Mode
from tests.target.unix import port as unix

# What fits in a word beside MicroPython's tag on a 32-bit chip.
SMALL_INTEGER = 2**30

Args = tuple[Buffer | int, ...]


def _buffers(args: Args) -> list[bytes]:
    return [bytes(memoryview(a).cast("B")) for a in args if not isinstance(a, int)]


def _copied(args: Args) -> Args:
    """A copy in which a buffer given twice is still one buffer."""
    return copy.deepcopy(args)


@cache
def _rp2350() -> Core33:
    """One for all calls of a process."""
    return Core33()


class Disagreement(AssertionError):
    """Two ways of running a kernel gave different buffers or results."""


def agree(core: Core, source: str | Path, function: str, *args: Buffer | int) -> Run:
    """Runs a kernel every way and returns the chip's run; `args` then hold the chip's buffers.

    Raises Disagreement where two ways differ, and shim.Headroom where an intermediate leaves 32 bits.
    """
    outcomes: dict[str, tuple[int, list[bytes]]] = {}
    for mode in Mode:
        trial = _copied(args)
        outcomes[mode.value] = (shim.run(source, function, mode, trial), _buffers(trial))
    trial = _copied(args)
    outcomes["unix port"] = (unix.run(source, function, trial), _buffers(trial))
    trial = _copied(args)
    other = _rp2350().load(source, function)
    result = other(*trial).result
    outcomes["an RP2350's core"] = (result if other.returns else 0, _buffers(trial))
    kernel = core.load(source, function)
    run = kernel(*args)
    if kernel.returns and not -SMALL_INTEGER <= run.result < SMALL_INTEGER:
        raise Disagreement(
            f"{function} returns {run.result}: the chip would put it on its heap, so use a ptr32"
        )
    reference = (run.result if kernel.returns else 0, _buffers(args))
    for way, outcome in outcomes.items():
        if outcome != reference:
            raise Disagreement(_difference(f"{function}: {way} and the emulated chip", outcome, reference))
    return run


def _difference(who: str, one: tuple[int, list[bytes]], other: tuple[int, list[bytes]]) -> str:
    if one[0] != other[0]:
        return f"{who} return {one[0]} and {other[0]}"
    for number, (a, b) in enumerate(zip(one[1], other[1], strict=True)):
        if a != b:
            at = next(i for i in range(len(a)) if a[i] != b[i])
            return (
                f"{who} differ in buffer {number} from byte {at}: {a[at:].hex()[:16]} and {b[at:].hex()[:16]}"
            )
    return who
