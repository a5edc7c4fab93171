"""The seal and hiss checks' own code as a MicroPython process, for the benchmarks: samples in, figures out."""

import subprocess
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from tests.bench._common import micropython_command, micropython_environment

RATE_HZ = 250_000
UPDATE = 48 * 1024
SETTLE = 5 * 1024
FULL_SCALE = 2047.5
# The RP2040's 8.7 effective bits (data sheet, section 4.9): its noise is 54.1 dB below a full-scale sine.
ADC_NOISE_CODES = FULL_SCALE / 2**0.5 * 10 ** (-(6.02 * 8.7 + 1.76) / 20)

Signal = NDArray[np.float64]
_PROGRAM = Path(__file__).with_name("probe.py")


def codes(volts: Signal) -> NDArray[np.uint16]:
    """ADC codes of a signal in units of full scale, rounded and clipped; its noise is the caller's."""
    rounded: NDArray[np.uint16] = np.clip(np.rint(volts * FULL_SCALE + 2048), 0, 4095).astype("<u2")
    return rounded


class Probe:
    """One process; `ask` sends a request and samples and returns a row of numbers for each line expected."""

    def __enter__(self) -> Self:
        command = [*micropython_command(), "-X", "heapsize=2m", str(_PROGRAM)]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, stdin=pipe, stdout=pipe, env=micropython_environment())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process.stdin and self._process.stdout
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()

    def tell(self, request: str) -> None:
        """Send a request that has no answer."""
        assert self._process.stdin
        self._process.stdin.write(f"{request}\n".encode())

    def ask(self, request: str, volts: Signal | None = None) -> list[int]:
        """Send a request with its samples and return the one line that answers it."""
        assert self._process.stdin and self._process.stdout
        self.tell(request)
        if volts is not None:
            self._process.stdin.write(codes(volts).tobytes())
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"the probe's program ended at {request}")
        return [int(word) for word in line.split()]

    def rows(self, request: str, volts: Signal) -> NDArray[np.int64]:
        """Send `request N` for as many updates as the signal holds, one by one; return a row for each."""
        count = len(volts) // UPDATE
        parts = volts[: count * UPDATE].reshape(count, UPDATE)
        return np.array([self.ask(f"{request} 1", part) for part in parts], dtype=np.int64)
