"""The working sessions that power cuts are tried on, and the diary of what they were promised. Runs on MicroPython.

The rooms are the firmware's own, on littlefs. A Diary keeps, beside each thing the rooms were asked to keep,
the count of flash operations before it was begun and after it was promised, so that for a cut at any
operation it is known what must be there, what may be there, and what must not.
"""

import hashlib
import os

import vfs
from curbtick_probe.store import scan, shelf, slots, state
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys
from curbtick_probe.store.log import Log, LogFull
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_wire import codec, messages, names, records
from fake_board import FakeBoard
from torn_flash import ERASE, PlainFlash

MOUNT = "/probe"
ROOT = MOUNT + "/data"
_PAGE = 256


class Opened:
    """The files the rooms opened, so that a session that the power cut short leaves none behind it."""

    def __init__(self):
        self._files = []
        for room in (scan, shelf, slots):
            room.open = self._open

    def _open(self, *arguments):
        file = open(*arguments)  # noqa: SIM115
        self._files.append(file)
        return file

    def close(self):
        """Close them all, whatever their flash says to that."""
        while self._files:
            try:
                self._files.pop().close()
            except OSError:
                continue


OPENED = Opened()


class Drawing:
    """Draws log ids that the same session draws alike, and another one at another operation.

    flash: counts operations; None before a session began. starts: how many starts the session's diary knows of.
    """

    flash = None
    starts = 0

    def __init__(self):
        state.draw_log_id = self._draw

    def _draw(self):
        # A folder, or a flash that nobody cuts, counts nothing.
        operations = getattr(self.flash, "operations", 0)
        return (operations * 2654435761 + self.starts * 40503 + 12345) & 0xFFFFFFFF or 1


DRAWING = Drawing()


def zeros(kind):
    """Values of a record kind, each the lowest that is not "not measured"."""
    return {
        name: max(low, 0) if len(form) == 1 else (max(low, 0),) * int(form[:-1])
        for name, form, low, _high in codec.kind_entry(kind)[2]
    }


def format_flash(flash):
    """Make a file system, as the board's first start does."""
    vfs.VfsLfs2.mkfs(flash, progsize=_PAGE)


class Stamps:
    """Whether littlefs stamps files with the time, as a board's own start-up mounts it.

    Off, the same session leaves the same bytes each time; on, it takes the same operations with other stamps in them.
    """

    on = False


def mount(flash):
    """Mount the file system as the board does."""
    vfs.mount(vfs.VfsLfs2(flash, progsize=_PAGE, mtime=Stamps.on), MOUNT)


def unmount():
    """Let go of every file and of the file system, whatever state it is in."""
    OPENED.close()
    try:
        vfs.umount(MOUNT)
    except OSError:
        pass


SETTINGS = ("limits", "round", "keys", "acknowledged", "boot", "log_id")


class Entry:
    """Something the rooms were asked to keep. began, done: counts of flash operations; done None: not promised."""

    def __init__(self, value, began, done):
        self.value, self.began, self.done = value, began, done


class Diary:
    """What a session asked for and was promised.

    `records`: by sequence number, the raw record as an Entry. `settings`: by name ("limits", "round", "keys",
    "acknowledged", "boot", "log_id"), the Entries of its values in order.
    """

    def __init__(self):
        self.records = {}
        self.settings = {name: [] for name in SETTINGS}

    def child(self, cut_at):
        """The diary as it stands for a cut at that operation, all promised then at operation 0."""
        diary = Diary()
        for seq, entry in self.records.items():
            if entry.began <= cut_at:
                promised = entry.done is not None and entry.done <= cut_at
                diary.records[seq] = Entry(entry.value, 0, 0 if promised else None)
        for name, entries in self.settings.items():
            for entry in entries:
                if entry.began <= cut_at:
                    promised = entry.done is not None and entry.done <= cut_at
                    diary.settings[name].append(Entry(entry.value, 0, 0 if promised else None))
        return diary


class Session:
    """The rooms of a started probe, each use of which is entered in the diary.

    flash: the block device mounted at MOUNT; diary: a Diary to go on with.
    """

    def __init__(self, flash, diary):
        self._flash = DRAWING.flash = flash
        self.diary = diary
        DRAWING.starts = len(diary.settings["boot"])
        self._board = FakeBoard()
        began = flash.operations
        if "data" not in os.listdir(MOUNT):
            os.mkdir(ROOT)
        self.clock = Clock(ROOT, self._board)
        self._enter("boot", self.clock.boot, began)
        began = flash.operations
        self.log = Log(ROOT, self.clock.boot, self.clock.ticks_ms)
        self._enter("log_id", self.log.log_id, began)
        self.limits = Limits(ROOT)
        self.rounds = Rounds(ROOT)
        self.keys = Keys(ROOT)
        self.full = 0
        self._seen = self.log.next_seq

    def _enter(self, name, value, began):
        self.diary.settings[name].append(Entry(value, began, self._flash.operations))

    def _enter_records(self, own, began):
        """Enter the records just appended: own, by number, as encoded here; others as the log made them itself."""
        done = self._flash.operations
        for seq in range(self._seen, self.log.next_seq):
            raw = own.get(seq) or self.log.read(seq)
            if raw:
                self.diary.records[seq] = Entry(raw, began, done)
        self._seen = self.log.next_seq

    def observe(self):
        """Enter what the rooms hold at this start: whatever was seen once may not go away again."""
        for name, value in (
            ("limits", self.limits.data),
            ("round", self.rounds.data),
            ("keys", self.keys.rows()),
            ("acknowledged", self.log.acknowledged),
            ("log_id", self.log.log_id),
        ):
            self._enter(name, value, 0)
        for raw in self.log.iter_from(1):
            self.diary.records[codec.record_header(raw)["seq"]] = Entry(raw, 0, self._flash.operations)

    def append_all(self, items):
        """Append records: their numbers, 0 for what found no room."""
        self._board.now_ms += 10
        began = self._flash.operations
        try:
            numbers = self.log.append_all(items)
        except LogFull:
            self.full += 1
            numbers = [0] * len(items)
        own = {}
        for place, (kind, values, tail) in enumerate(items):
            seq = numbers[place]
            if seq:
                header = {"seq": seq, "boot": self.clock.boot, "ticks_ms": self._board.now_ms}
                own[seq] = codec.encode_record(kind, header, values, tail)
        self._enter_records(own, began)
        return numbers

    def event(self, word, value=0):
        """Append an event by its word."""
        fields = {"event": names.EVENTS.index(word), "value": value, "extra": 0}
        return self.append_all([(records.EVENT, fields, b"")])[0]

    def reading(self, number, snippet_bytes, sounds):
        """Append a reading, then its snippet and sounds: the reading's sequence number, 0 where the log is full."""
        values = zeros(records.READING)
        values.update({"vehicle": number % 100, "listened_ms": number, "level_cdb": -800 - number % 900})
        seq = self.append_all([(records.READING, values, b"")])[0]
        if seq and snippet_bytes:
            snippet, part = zeros(records.SNIPPET), zeros(records.SOUNDS)
            snippet.update({"reading_seq": seq})
            part.update({"reading_seq": seq, "count": sounds})
            samples = bytes([(number * 7 + place) & 0xFF for place in range(snippet_bytes)])
            tail = bytes(codec.size_of(records.SOUND) * sounds)
            self.append_all([(records.SNIPPET, snippet, samples), (records.SOUNDS, part, tail)])
        return seq

    def put_limits(self):
        """Put a limit set of the next revision in force."""
        limits = codec.factory_limits()
        limits["revision"] = self.limits.revision + 1
        data = codec.pack_limits(limits)
        began = self._flash.operations
        self.limits.put(data)
        self._enter("limits", data, began)

    def put_round(self, round_id, vehicles):
        """Send a round of so many vehicles."""
        row = {"rear_positions": 4, "rear_class_khz": 48, "front_positions": 6, "front_class_khz": 58}
        rows = [dict(row, vehicle=place + 1) for place in range(vehicles)]
        data = codec.pack_round({"round_id": round_id, "vehicles": rows})
        began = self._flash.operations
        self.rounds.put(data)
        self._enter("round", data, began)

    def pair(self, number):
        """Pair a bench."""
        began = self._flash.operations
        self.keys.add(bytes([number]) * 32, b"bench")
        self._enter("keys", self.keys.rows(), began)

    def advance(self):
        """Use up one count of the first key, as every signed request does."""
        row = self.keys.rows()[0]
        began = self._flash.operations
        if not self.keys.advance(row["key_id"], row["counter"] + 1):
            raise AssertionError("a fresh counter was refused")
        self._enter("keys", self.keys.rows(), began)

    def acknowledge(self):
        """Acknowledge all that the log holds."""
        last = self.log.last_seq
        total = hashlib.sha256()
        for raw in self.log.iter_from(self.log.acknowledged + 1):
            total.update(raw)
        began = self._flash.operations
        if not self.log.acknowledge(last, messages.log_digest(self.log.log_id, total.digest())):
            raise AssertionError("a right digest was refused")
        self._enter("acknowledged", last, began)

    def start_event(self):
        """What the app records at each start."""
        return self.event("start")


def day(session):
    """A day: paired, a round, limits, 44 readings with snippets, limits again, an acknowledgement, more readings."""
    session.start_event()
    session.pair(1)
    session.put_limits()
    session.put_round(7, 12)
    for number in range(28):
        session.reading(number, 640, 10)
    session.advance()
    session.put_limits()
    session.event("limits_changed", session.limits.revision)
    session.pair(2)
    for number in range(28, 36):
        session.reading(number, 700, 8)
    session.advance()
    session.acknowledge()
    session.put_round(8, 60)
    for number in range(36, 44):
        session.reading(number, 720, 10)


def first(session):
    """The first start of a new device: its log's id is drawn, and one reading stands under it."""
    session.start_event()
    session.reading(0, 300, 3)


def full(session):
    """A small device read until it is full, twice turned away, then pulled and read on; limits in between."""
    session.start_event()
    session.pair(1)
    number = 0
    while session.full < 2:
        session.reading(number, 600, 6)
        number += 1
    session.put_limits()
    session.advance()
    session.acknowledge()
    for more in range(6):
        session.reading(number + more, 600, 6)
    return number


def tail(session):
    """What a technician does after a restart: goes on, has all pulled, and reads once more: that reading's number."""
    session.start_event()
    session.reading(90, 500, 5)
    session.put_limits()
    session.acknowledge()
    return session.reading(91, 500, 5)


def _moves_a_block(flash, seen):
    """Whether the operations in the flash's journal erased a sector never seen before; adds what they erased."""
    erased = {operation[1] for operation in flash.journal if operation[0] == ERASE}
    fresh = erased - seen
    seen.update(erased)
    return bool(fresh)


def begin(session):
    """A probe paired with one bench."""
    session.start_event()
    session.pair(1)
    return session


def advances_before_move(sectors):
    """How many signed requests a new device takes before littlefs has worn a pair of sectors enough to move it."""
    flash = PlainFlash(sectors)
    format_flash(flash)
    mount(flash)
    session = begin(Session(flash, Diary()))
    seen = set()
    for count in range(3000):
        flash.journal = []
        session.advance()
        if _moves_a_block(flash, seen) and count > 100:
            unmount()
            return count
    raise AssertionError("littlefs never moved a sector")


def old(session):
    """The move of worn sectors, among readings and settings."""
    for number in range(12):
        session.advance()
        session.reading(number, 600, 8)
    session.put_limits()
    session.put_round(3, 20)
    session.acknowledge()


# name: (sectors of the device, whether it is worn before cuts begin, the session, whether files are stamped)
SESSIONS = {
    "first": (20, False, first, False),
    "day": (40, False, day, False),
    "full": (20, False, full, False),
    "old": (20, True, old, False),
    "stamped": (40, False, day, True),
    "stamped_full": (20, False, full, True),
}
