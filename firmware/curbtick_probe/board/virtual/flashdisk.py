"""The virtual board's flash: a littlefs block device over a file, with erase and program time charged.

Geometry and granularity are those of a stock 2 MB board: 352 blocks of 4096 B, programmed in pages of 256 B.
Times are the typical values that serial NOR flash data sheets of this size state (4 kB sector erase 45 ms, 256 B
page program 0.7 ms; from memory, worst cases are about ten times that); reads are not charged.
"""

import os

import vfs
from curbtick_wire._typing import Callable
from curbtick_wire.virtual import FLASH_BLOCK_BYTES, FLASH_BLOCKS

PAGE_SIZE = 256
ERASE_US = 45_000
PROGRAM_US = 700

_ERASED = b"\xff" * FLASH_BLOCK_BYTES


class FlashDisk:
    """A block device over one file of FLASH_BLOCK_BYTES * block_count bytes.

    path: the file, created erased when missing; charge: called with the microseconds each operation takes.
    """

    def __init__(self, path: str, charge: Callable[[int], None], block_count: int = FLASH_BLOCKS) -> None:
        self.block_count = block_count
        self._charge = charge
        self.fresh = not _exists(path)
        if self.fresh:
            _make_erased(path, block_count)
        self._file = open(path, "r+b")  # noqa: SIM115 - open as long as the disk

    def readblocks(self, block: int, buffer: bytearray, offset: int = 0) -> None:
        """Fill a buffer from an offset into a block."""
        self._file.seek(block * FLASH_BLOCK_BYTES + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block: int, buffer: bytearray, offset: int = 0) -> None:
        """Program a buffer at an offset into a block, and charge the pages' time."""
        self._file.seek(block * FLASH_BLOCK_BYTES + offset)
        self._file.write(buffer)
        self._charge((len(buffer) + PAGE_SIZE - 1) // PAGE_SIZE * PROGRAM_US)

    def ioctl(self, operation: int, argument: int) -> int:
        """Sync, tell the geometry, or erase a block, as MicroPython's block device protocol numbers them."""
        if operation == 4:
            return self.block_count
        if operation == 5:
            return FLASH_BLOCK_BYTES
        if operation == 6:
            self._file.seek(argument * FLASH_BLOCK_BYTES)
            self._file.write(_ERASED)
            self._charge(ERASE_US)
        elif operation == 3:
            self._file.flush()
        return 0


def mount(disk: FlashDisk, point: str) -> None:
    """Mount a disk's littlefs at a path such as "/probe"; a file just made is formatted first, any other never.

    Raises OSError when the littlefs in an existing file cannot be mounted.
    """
    if disk.fresh:
        vfs.VfsLfs2.mkfs(disk, progsize=PAGE_SIZE)
        disk.fresh = False
    vfs.mount(vfs.VfsLfs2(disk, progsize=PAGE_SIZE), point)


def _exists(path: str) -> bool:
    try:
        os.stat(path)
        return True
    except OSError:
        return False


def _make_erased(path: str, block_count: int) -> None:
    with open(path, "wb") as file:
        while file.tell() < block_count * FLASH_BLOCK_BYTES:
            file.write(_ERASED)
