"""What every flash device, and the log on any of them, must do: one table of cases for all doubles.

Runs on CPython for the device cases, and on MicroPython for both: `micropython -m powercut.contract DOUBLE PATH` runs
all cases against PlainFlash, TornFlash, the virtual board's FlashDisk (the cases that it can meet, its files under
PATH) or a folder of the machine ("folder", under PATH), on a littlefs twice, with and without stamps of the time, and
prints each case it passed.
"""

import sys

from torn_flash import PAGE, SECTOR, PlainFlash, TornFlash

SECTORS = 24
DOUBLES = {"PlainFlash": PlainFlash, "TornFlash": TornFlash}


def must(holds, words):
    """Raise AssertionError with words unless holds."""
    if not holds:
        raise AssertionError(words)


def says_its_size(flash):
    """Sectors and their size by the block protocol."""
    must(flash.ioctl(4, 0) == SECTORS, "number of sectors")
    must(flash.ioctl(5, 0) == SECTOR, "size of a sector")
    must(
        flash.ioctl(1, 0) == flash.ioctl(2, 0) == flash.ioctl(3, 0) == 0, "start, stop and sync need nothing"
    )


def read(flash, sector, size=SECTOR, offset=0):
    """Bytes of a sector."""
    buffer = bytearray(size)
    flash.readblocks(sector, buffer, offset)
    return bytes(buffer)


def is_erased_at_first(flash):
    """Every bit is set."""
    must(all(read(flash, sector) == b"\xff" * SECTOR for sector in range(SECTORS)), "all ones")


def keeps_a_page(flash):
    """A page reads back, at its place and nowhere else."""
    page = bytes(range(256))
    flash.writeblocks(3, page, 2 * PAGE)
    must(read(flash, 3, PAGE, 2 * PAGE) == page, "the page")
    flash.writeblocks(9, page)
    start = bytearray(PAGE)
    flash.readblocks(9, start)
    must(start == page, "a page at the start, where the offset is left out")
    must(read(flash, 3, 10, 2 * PAGE + 100) == page[100:110], "a part of it")
    must(read(flash, 3, 2 * PAGE) == b"\xff" * (2 * PAGE), "what is before it")
    must(read(flash, 3, SECTOR - 3 * PAGE, 3 * PAGE) == b"\xff" * (SECTOR - 3 * PAGE), "what is after it")
    must(read(flash, 2) == read(flash, 4) == b"\xff" * SECTOR, "its neighbours")


def counts_pages_and_sectors(flash):
    """A write of three pages is three operations, an erase is one."""
    flash.writeblocks(1, bytes(3 * PAGE), PAGE)
    must(flash.operations == 3, "three pages")
    flash.ioctl(6, 1)
    must(flash.operations == 4, "and an erase")
    read(flash, 1)
    for request in (1, 2, 3, 4, 5):
        flash.ioctl(request, 1)
    must(flash.operations == 4, "nothing else costs any")


def only_clears_bits(flash):
    """Programming twice leaves what both left set, and the asking is counted."""
    flash.writeblocks(0, b"\xf0" * PAGE)
    flash.writeblocks(0, b"\xc0" * PAGE)
    must(read(flash, 0, PAGE) == b"\xc0" * PAGE and flash.rewrites == 0, "clearing more bits")
    flash.writeblocks(0, b"\x3f" * PAGE)
    must(read(flash, 0, PAGE) == b"\x00" * PAGE and flash.rewrites == 1, "no bit comes back")


def erases_a_whole_sector(flash):
    """An erase sets every bit of its sector and of no other."""
    for sector in (4, 5, 6):
        flash.writeblocks(sector, bytes(SECTOR))
    flash.ioctl(6, 5)
    must(read(flash, 5) == b"\xff" * SECTOR, "the sector")
    must(read(flash, 4) == read(flash, 6) == bytes(SECTOR), "its neighbours")


def takes_whole_pages_only(flash):
    """A part of a page is an error and changes nothing."""
    for data, offset in ((bytes(10), 0), (bytes(PAGE), 10), (bytes(PAGE + 1), 0)):
        try:
            flash.writeblocks(0, data, offset)
        except ValueError:
            continue
        must(False, "a part of a page was taken")
    must(flash.operations == 0 and read(flash, 0) == b"\xff" * SECTOR, "nothing changed")


def keeps_a_journal(flash):
    """Every operation is in the journal; played on the image before, it gives the image after."""
    from torn_flash import apply

    before = bytearray(flash.image)
    flash.journal = []
    flash.writeblocks(2, bytes(range(256)) * 2, PAGE)
    flash.ioctl(6, 7)
    flash.ioctl(6, 2)
    flash.writeblocks(2, b"\x55" * PAGE)
    must(len(flash.journal) == flash.operations == 5, "five operations")
    for operation in flash.journal:
        apply(before, operation)
    must(before == flash.image, "the same image")


DEVICE_CASES = (
    says_its_size,
    is_erased_at_first,
    keeps_a_page,
    counts_pages_and_sectors,
    only_clears_bits,
    erases_a_whole_sector,
    takes_whole_pages_only,
    keeps_a_journal,
)

# The virtual board's flash is a file: it counts time instead of operations, and trusts littlefs to erase first.
FLASHDISK_CASES = (says_its_size, is_erased_at_first, keeps_a_page, erases_a_whole_sector)


def make(double, path):
    """A new device of a double's name; FlashDisk keeps itself in the file at path."""
    if double != "FlashDisk":
        return DOUBLES[double](SECTORS)
    from curbtick_probe.board.virtual.flashdisk import FlashDisk

    return FlashDisk(path, lambda us: None, SECTORS)


class Rooms:
    """A place for the log: a littlefs on a double, stamping files or not, or a folder."""

    def __init__(self, double, path, stamps=False):
        if double == "folder":
            self.flash, self.root = None, path
            return
        from powercut.session import ROOT, Stamps, format_flash

        Stamps.on = stamps
        self.flash, self.root = make(double, path), ROOT
        format_flash(self.flash)

    def start(self, boot):
        """The log as that boot finds it."""
        import os

        from curbtick_probe.store.log import Log

        if self.flash:
            from powercut.session import MOUNT, mount

            mount(self.flash)
            if "data" not in os.listdir(MOUNT):
                os.mkdir(self.root)
        return Log(self.root, boot, lambda: boot * 100)

    def stop(self, log):
        """End that start."""
        log.close()
        if self.flash:
            from powercut.session import unmount

            unmount()


def _items(number):
    from curbtick_wire import records
    from powercut.session import zeros

    reading, snippet, part = zeros(records.READING), zeros(records.SNIPPET), zeros(records.SOUNDS)
    reading["listened_ms"] = number
    snippet["reading_seq"] = part["reading_seq"] = number + 1
    return (
        (records.READING, reading, b""),
        (records.SNIPPET, snippet, bytes(500)),
        (records.SOUNDS, part, b""),
    )


def goes_on_after_each_start(rooms):
    """Five starts of four readings: every record held once, in order, as it was when it was stored."""
    expected = {}
    for boot in range(1, 6):
        log = rooms.start(boot)
        must(log.next_seq == len(expected) + 1, "the next number")
        for number in range(4):
            for seq in log.append_all(_items(number)):
                expected[seq] = log.read(seq)
        must(list(log.iter_from(1)) == [expected[seq] for seq in range(1, len(expected) + 1)], "all records")
        rooms.stop(log)
    must(len(expected) == 60, "five starts of twelve records")


def acknowledges_across_starts(rooms):
    """What was acknowledged stays so."""
    log = rooms.start(1)
    log.append_all(_items(1))
    must(not log.acknowledge(3, bytes(32)), "a wrong digest")
    must(log.acknowledge(3, log.digest(1, 3)), "the right one")
    rooms.stop(log)
    log = rooms.start(2)
    must(log.acknowledged == 3 and log.next_seq == 4, "after a start")
    rooms.stop(log)


def numbers_outlive_their_records(rooms):
    """Pulled again and again on a device too small for it all, numbers only rise."""
    log = rooms.start(1)
    last = 0
    for number in range(300):
        stored = log.append_all(_items(number))
        must(stored[0] > last, "numbers rise")
        last = stored[0]
        if number % 10 == 9:
            must(log.acknowledge(log.last_seq, log.digest(log.acknowledged + 1, log.last_seq)), "a pull")
    next_seq = log.next_seq
    must(log.dropped == 0, "nothing was given up")
    rooms.stop(log)
    log = rooms.start(2)
    must(log.next_seq == next_seq, "after a start")
    rooms.stop(log)


LOG_CASES = (goes_on_after_each_start, acknowledges_across_starts, numbers_outlive_their_records)


def cases_of(double):
    """The device cases a double has to meet."""
    return {"folder": (), "FlashDisk": FLASHDISK_CASES}.get(double, DEVICE_CASES)


def main(arguments):
    """Run every case against the double named; an exception ends it."""
    double, folder = arguments
    for case in cases_of(double):
        case(make(double, folder + "/" + case.__name__))
        print(case.__name__)
    for stamps in (False,) if double == "folder" else (False, True):
        for case in LOG_CASES:
            case(Rooms(double, folder + "/" + case.__name__ + str(int(stamps)), stamps))
            print(case.__name__)


if __name__ == "__main__":
    main(sys.argv[1:])
