"""A NOR flash that loses power in the middle of an operation, as a MicroPython block device.

Runs on MicroPython and on CPython. An operation is one page programmed (256 B) or one sector erased (4096
B), the units of the chip. Programming only clears bits; erasing sets them all. A cut at operation N leaves N
in one of these ways, the choice of bits drawn from the cut's seed:

    nothing   as before it
    prefix    its first bytes done, the rest as before
    subset    a random subset of the bits it was to change
    half      of a sector to be erased: the first half done, a random subset of the rest
    whole     all of it, without the return

A cut is named "operation:mode:seed". After it the device is off: nothing more is read or written.
"""

SECTOR = 4096
PAGE = 256
ERASE = 0
PROGRAM = 1
_ERROR = -5
MODES = (("nothing", "prefix", "subset", "half", "whole"), ("nothing", "prefix", "subset", "whole"))


class PowerCut(BaseException):
    """The power went: no code of the session may catch this."""


class Dice:
    """A small repeatable generator (linear congruential, upper bits), the same on both Pythons."""

    def __init__(self, seed):
        self._state = (seed * 2654435761 + 12345) & 0xFFFFFFFF

    def below(self, limit):
        """A number 0..limit-1, limit at most 65536."""
        self._state = (self._state * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self._state >> 16) * limit >> 16

    def mask(self, density):
        """A byte of random bits: density 0 sets a quarter of them, 1 a half, 2 three quarters."""
        one = self.below(256)
        if density == 1:
            return one
        return one & self.below(256) if density == 0 else one | self.below(256)


def cut_id(operation, mode, seed):
    """The name of a cut."""
    return f"{operation}:{mode}:{seed}"


def parse_cut(text):
    """(operation, mode, seed) of a cut's name. Raises ValueError."""
    operation, mode, seed = text.split(":")
    if mode not in MODES[ERASE]:
        raise ValueError(mode + " is not a way to cut")
    return int(operation), mode, int(seed)


def apply(image, operation):
    """Do an operation (kind, address, data) on a bytearray in full; an erase has no data."""
    kind, address, data = operation
    if kind == ERASE:
        image[address : address + SECTOR] = b"\xff" * SECTOR
        return
    for place in range(len(data)):
        image[address + place] &= data[place]


def _tear_bits(image, operation, start, end, dice):
    """Change a random subset of the bits that the operation was to change from byte start to byte end."""
    kind, address, data = operation
    density = dice.below(3)
    for place in range(start, end):
        old = image[address + place]
        new = 0xFF if kind == ERASE else old & data[place]
        image[address + place] = old ^ ((old ^ new) & dice.mask(density))


def tear(image, operation, mode, seed):
    """Do an operation on a bytearray as far as a cut lets it. Raises ValueError for a mode it has not."""
    kind, address, data = operation
    if mode not in MODES[kind]:
        raise ValueError(mode + " does not fit this operation")
    size = SECTOR if kind == ERASE else len(data)
    dice = Dice(seed)
    if mode == "nothing":
        return
    before = bytes(image[address : address + size])
    if mode == "subset":
        _tear_bits(image, operation, 0, size, dice)
        return
    done = {"prefix": 1 + dice.below(size - 1), "half": size // 2, "whole": size}[mode]
    apply(image, operation)
    image[address + done : address + size] = before[done:]
    if mode == "half":
        _tear_bits(image, operation, done, size, dice)


class PlainFlash:
    """The same device without cuts: what a cut may not change is compared with it.

    blocks: number of sectors; image: bytes to start from, else erased. `image`: the contents. `operations`:
    pages programmed and sectors erased so far. `rewrites`: pages programmed that asked a cleared bit to be
    set again, which a chip cannot do. `journal`: a list to which every operation is added, or None.
    """

    def __init__(self, blocks, image=None):
        self.blocks = blocks
        self.image = bytearray(image) if image else bytearray(b"\xff" * SECTOR * blocks)
        self.operations = 0
        self.rewrites = 0
        self.journal = None

    def _do(self, operation):
        if self.journal is not None:
            self.journal.append(operation)
        self.operations += 1
        self._perform(operation)

    def _perform(self, operation):
        kind, address, data = operation
        apply(self.image, operation)
        if kind == PROGRAM and self.image[address : address + len(data)] != data:
            self.rewrites += 1

    def readblocks(self, block, buffer, offset=0):
        """Fill buffer from a sector's offset on."""
        address = block * SECTOR + offset
        buffer[:] = memoryview(self.image)[address : address + len(buffer)]

    def writeblocks(self, block, data, offset=0):
        """Program whole pages."""
        if offset % PAGE or len(data) % PAGE:
            raise ValueError("flash is programmed in whole pages")
        address = block * SECTOR + offset
        for start in range(0, len(data), PAGE):
            self._do((PROGRAM, address + start, bytes(data[start : start + PAGE])))

    def ioctl(self, request, argument):
        """MicroPython's block protocol: 4 number of sectors, 5 their size, 6 erase one, others nothing."""
        if request == 4:
            return self.blocks
        if request == 5:
            return SECTOR
        if request == 6:
            self._do((ERASE, argument * SECTOR, b""))
        return 0


class TornFlash(PlainFlash):
    """The device with one cut to come, or none.

    cut: (operation, mode, seed) as from parse_cut. A mode that an operation has not counts as "subset".
    `off`: the cut came. Then everything raises PowerCut; once let_go() was called, it fails with an error
    number, so that what the dead session still holds open can be thrown away in silence.
    """

    def __init__(self, blocks, image=None, cut=None):
        super().__init__(blocks, image)
        self._cut = cut
        self.off = self._let_go = False

    def let_go(self):
        """The session is over: whatever still reaches for the device gets an error."""
        self.off = self._let_go = True

    def _dead(self):
        if self.off and not self._let_go:
            raise PowerCut()
        return self.off

    def _perform(self, operation):
        if self._cut is None or self.operations <= self._cut[0]:
            super()._perform(operation)
            return
        _place, mode, seed = self._cut
        tear(self.image, operation, mode if mode in MODES[operation[0]] else "subset", seed)
        self.off = True
        raise PowerCut()

    def readblocks(self, block, buffer, offset=0):
        """Fill buffer from a sector's offset on, unless the device is off."""
        return _ERROR if self._dead() else super().readblocks(block, buffer, offset)

    def writeblocks(self, block, data, offset=0):
        """Program whole pages, unless the device is off."""
        return _ERROR if self._dead() else super().writeblocks(block, data, offset)

    def ioctl(self, request, argument):
        """MicroPython's block protocol; an erase fails where the device is off."""
        if request == 6 and self._dead():
            return _ERROR
        return super().ioctl(request, argument)
