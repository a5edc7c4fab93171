"""What a bench grants a probe that sends its log: so much time, so many bytes, so long without a step forward."""

import time

from curbtick.errors import LinkError

# The flash of the probe's board, of which the log is a part: no probe holds more.
LOG_BYTES_MAX = 2 * 2**20
STALL_S = 20.0
START_S = 60.0
# Slower than any line on which a pull is of use.
RATE_MIN_BYTES_PER_S = 500.0

_KEPT = "What was received whole is kept; the probe keeps everything that is not acknowledged."


class Allowance:
    """The bounds of one pass over the log. It begins when it is made."""

    def __init__(self) -> None:
        self._began_s = self._stepped_s = time.monotonic()
        self._bytes = 0

    def step(self, count: int) -> None:
        """Count bytes of slices that were missing. Raises LinkError where no flash holds so many."""
        self._stepped_s = time.monotonic()
        self._bytes += count
        if self._bytes > LOG_BYTES_MAX:
            raise LinkError(
                f"The probe sends more than its flash of {LOG_BYTES_MAX // 2**20} MB can hold.",
                _KEPT,
                "Ask what is plugged in: it is faulty, or not the probe that it says it is.",
            )

    def left_s(self) -> float:
        """Seconds until the pass is out of time: it stalls, or is slower over all than any line of use."""
        whole_s = self._began_s + START_S + self._bytes / RATE_MIN_BYTES_PER_S
        return min(self._stepped_s + STALL_S, whole_s) - time.monotonic()

    def check(self, next_seq: int) -> None:
        """Raise LinkError where the time is up. next_seq: the record that is waited for."""
        if self.left_s() <= 0:
            raise LinkError(
                f"The probe sends something, and hardly anything of record {next_seq} or what follows it.",
                _KEPT,
                "Pull again; if it stays so, switch the probe off and on, and ask what is plugged in.",
            )
