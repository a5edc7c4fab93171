"""Every 16-bit encoding in random situations: the C core against the package's and against Unicorn's Cortex-M0.

Where the package departs from the ARMv6-M architecture the C core follows the architecture; each such departure is
named here, must be seen, and is confirmed by Unicorn. `A5` and `A6` are chapters of the ARMv6-M Architecture Reference
Manual (ARM DDI 0419); cycles are the Cortex-M0+ Technical Reference Manual's (ARM DDI 0484), from memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from random import Random

import pytest

from tests.target.fastcore.core import ChipFault
from tests.target.fastcore.situations import (
    CARRY,
    ENCODINGS,
    REGISTER_SHIFTS,
    WINDOW,
    CCore,
    OneCore,
    Outcome,
    PackageCore,
    Situation,
    UnicornCore,
    attempt,
    code_of,
    encodings,
    situations,
    window_of,
)

Departures = dict[str, tuple[Callable[[Situation], bool], set[str]]]

SEED = 20261130
HALVES = encodings(Random(SEED))
CODE = code_of(HALVES)
ROUNDS = 4
PARTS = 8


def shifts_by_nothing_or_too_much(one: Situation) -> bool:
    """LSLS, LSRS, ASRS, RORS by a register that says 0 (the carry stays) or more than 32 (A6.7)."""
    return one.op >> 6 in REGISTER_SHIFTS and not 1 <= one.low(3) & 255 <= 32


def carries_into_the_sign(one: Situation) -> bool:
    """ADCS, SBCS: the package adds the carry (the borrow) to an operand first, which then has the other sign."""
    adds = one.op >> 6 == 0x105 and one.low(0) == 0x7FFFFFFF and bool(one.flags & CARRY)
    return adds or one.op >> 6 == 0x106 and one.low(3) == 0x7FFFFFFF and not one.flags & CARRY


def calls_lr(one: Situation) -> bool:
    """BLX lr jumps to lr as it was; the package writes lr first."""
    return one.op == 0x47F0


def pushes_lr(one: Situation) -> bool:
    """PUSH takes one cycle and one for each register, lr too."""
    return one.op >> 8 == 0xB5


def stores_its_base(one: Situation) -> bool:
    """STM counts its base on though the list holds it (A6.7 STM)."""
    return one.op >> 11 == 24 and bool(one.op >> (one.op >> 8 & 7) & 1)


def moves_to_sp(one: Situation) -> bool:
    """ADD, MOV to sp: its two lowest bits are always 0 (B1.4); Unicorn keeps them."""
    return one.op >> 8 in (0x44, 0x46) and one.op & 0x87 == 0x85


# Where the package departs from the architecture: which situations, and in what.
DEPARTURES: Departures = {
    "carry of register shifts by 0 or past 32": (shifts_by_nothing_or_too_much, {"flags"}),
    "overflow of adcs and sbcs": (carries_into_the_sign, {"flags"}),
    "blx lr": (calls_lr, {"pc"}),
    "cycles of a push of lr": (pushes_lr, {"cycles"}),
    "stm of its base": (stores_its_base, {"registers"}),
}
UNICORNS_DEPARTURES: Departures = {"low bits of sp": (moves_to_sp, {"registers"})}


def is_left_to_the_package(op: int, second: int) -> bool:
    """Encodings that the C core never does: undefined, unpredictable, exceptions, sleep, hints (A5.2, A5.3)."""
    if op >> 8 == 0x47:
        # sp is always even.
        return bool(op & 7) or op >> 3 & 15 in (13, 15)
    if op >> 11 in (24, 25):
        base, list_ = op >> 8 & 7, op & 255
        return not list_ or op >> 11 == 24 and bool(list_ >> base & 1 and list_ & (1 << base) - 1)
    if op >> 12 == 0xB:
        return not _is_miscellaneous(op)
    if op >> 11 == 30:
        return not _is_wide(op, second)
    return op >> 9 == 0x6F or op >> 11 in (29, 31)


def _is_miscellaneous(op: int) -> bool:
    is_reverse = op >> 8 == 0xBA and op >> 6 & 3 != 2
    is_stack = op >> 9 in (0x5A, 0x5E) and op & 0x1FF != 0
    return is_reverse or is_stack or op >> 8 in (0xB0, 0xB2) or op in (0xB662, 0xB672, 0xBF00)


def _is_wide(op: int, second: int) -> bool:
    """BL, the barriers, MRS of PRIMASK and IPSR, MSR of PRIMASK."""
    if second & 0xD000 == 0xD000:
        return True
    is_barrier = op == 0xF3BF and 0x8F40 <= second < 0x8F70
    is_read = (
        op == 0xF3EF and second >> 12 == 8 and second & 255 in (5, 16) and second >> 8 & 15 not in (13, 15)
    )
    return is_barrier or is_read or op >> 4 == 0xF38 and second == 0x8810 and op & 15 < 13


def is_faulty(one: Situation, window: bytes) -> bool:
    """Whether the chip answers with a hard fault: an unaligned access (A3.2.1), or a branch to an even address."""
    kind = one.op >> 11
    if kind in (10, 11):
        return bool((one.low(3) + one.low(6)) % (4, 2, 1, 1, 4, 2, 1, 2)[one.op >> 9 & 7])
    if kind in WIDTHS:
        return bool(one.low(8 if kind >= 24 else 3) % WIDTHS[kind])
    if one.op >> 8 == 0x47:
        return not one.registers[one.op >> 3 & 15] & 1
    if one.op >> 8 == 0xBD:
        place = one.registers[13] + 4 * (one.op & 255).bit_count() - WINDOW
        return not window[place] & 1
    return False


# Bytes of a load's or store's width by the first five bits.
WIDTHS = {12: 4, 13: 4, 16: 2, 17: 2, 24: 4, 25: 4}


class Comparison:
    """The C core and another, and what doing the same on both found."""

    def __init__(self, ours: CCore, other: OneCore, known: Departures) -> None:
        self._ours, self._other, self._known = ours, other, known
        self.done: set[int] = set()
        self.faults = 0
        self.departures: Counter[str] = Counter()
        self.wrong: list[str] = []

    def run(self, places: Sequence[int], random: Random, rounds: int = 1) -> Comparison:
        """Do each place so often."""
        window = window_of(random)
        for _ in range(rounds):
            for one in situations(HALVES, random, places):
                self._do(one, window)
        return self

    def _do(self, one: Situation, window: bytes) -> None:
        outcome = attempt(self._ours, one, window)
        is_fault = isinstance(outcome, ChipFault)
        if outcome and is_fault != is_faulty(one, window):
            self.wrong.append(f"{'a fault' if is_fault else 'no fault'}: {one}")
        if is_fault:
            self.faults += 1
        elif isinstance(outcome, Outcome):
            self.done.add(one.place)
            self._judge(one, _differences(outcome, self._other.do(one, window)))

    def _judge(self, one: Situation, differences: set[str]) -> None:
        """Count a departure that is known, complain of any other difference."""
        if not differences:
            return
        for name, (concerns, fields) in self._known.items():
            if concerns(one) and differences <= fields:
                self.departures[name] += 1
                return
        self.wrong.append(f"{sorted(differences)} differ: {one}")


def _differences(ours: Outcome, theirs: Outcome | None) -> set[str]:
    if theirs:
        return ours.differences(theirs)
    return set() if is_execute_never(ours.pc) else {"whether it runs"}


def is_execute_never(address: int) -> bool:
    """Where an instruction fetch faults, as it does in Unicorn: peripherals and the system's space (B3.1)."""
    return 0x40000000 <= address < 0x60000000 or address >= 0xA0000000


def against_package(places: Sequence[int], ours: CCore) -> Comparison:
    """Compare with the package."""
    return Comparison(ours, PackageCore(CODE), DEPARTURES).run(places, Random(SEED), ROUNDS)


def against_unicorn(places: Sequence[int], ours: CCore, rounds: int = 1) -> Comparison:
    """Compare with Unicorn."""
    return Comparison(ours, UnicornCore(CODE), UNICORNS_DEPARTURES).run(
        places, Random(SEED + places[0]), rounds
    )


def test_every_encoding_against_the_package() -> None:
    found = against_package(range(len(HALVES)), CCore(CODE))
    assert found.wrong == []
    assert set(found.departures) == set(DEPARTURES)
    never = {place for place in range(len(HALVES)) if is_left_to_the_package(*HALVES[place])}
    assert set(range(len(HALVES))) - found.done == never
    assert len(found.done) > ENCODINGS * 3 // 4


@pytest.mark.parametrize("part", range(PARTS))
def test_every_encoding_against_unicorn(part: int) -> None:
    """None of the package's departures is allowed here: what the C core does is the architecture's."""
    places = range(part, len(HALVES), PARTS)
    found = against_unicorn(places, CCore(CODE))
    assert found.wrong == []
    assert len(found.done) > len(places) * 3 // 4


def test_unicorn_takes_no_branch_to_an_even_address_either() -> None:
    branches = [place for place in range(ENCODINGS) if place >> 8 in (0x47, 0xBD)] * 16
    ours, unicorn, random = CCore(CODE), UnicornCore(CODE), Random(SEED)
    window = window_of(random)
    even = [one for one in situations(HALVES, random, branches) if is_refused(ours, one, window)]
    assert len(even) > 100
    assert not any(unicorn.do(one, window) for one in even)


def is_refused(ours: CCore, one: Situation, window: bytes) -> bool:
    """Whether the C core calls it a fault."""
    return isinstance(attempt(ours, one, window), ChipFault)
