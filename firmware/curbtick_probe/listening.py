"""The heap is locked while the seal and the hiss check listen, as it is while a reading does (bumper/listen.py)."""

from curbtick_wire._typing import Ints
from micropython import heap_lock, heap_unlock

from curbtick_probe.hardware import Blocks

# What is raised where something allocates while the heap is locked, or the stack, which has the frames then, is used
# up. Kept as one, for a tuple cannot be made under the lock.
SPOILED = (MemoryError, RuntimeError)


class LockedCapture:
    """A capture that keeps the heap locked from start() to stop().

    A collection takes as long as the capture's ring lasts, so none may begin while it runs. stop() is due after one of
    SPOILED, too.
    """

    def __init__(self, capture: Blocks) -> None:
        self._capture = capture
        self._locked = False

    def start(self, source: int) -> None:
        """Start sampling an input; nothing may be allocated from here on."""
        self._capture.start(source)
        if not self._locked:
            self._locked = True
            heap_lock()

    def stop(self) -> None:
        """Stop sampling and unlock the heap, whether it was started or not."""
        try:
            self._capture.stop()
        finally:
            if self._locked:
                self._locked = False
                heap_unlock()

    def block(self) -> Ints:
        """Return the next block, as the board's capture does."""
        return self._capture.block()

    @property
    def overruns(self) -> int:
        """Blocks lost since start."""
        return self._capture.overruns
