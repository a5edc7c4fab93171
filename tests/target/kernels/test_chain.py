"""The kernels that find regular chains among timed events, three ways, for any events."""

from __future__ import annotations

from array import array

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core

CHAIN = "curbtick_probe/dsp/train/chain.py"
END_US = 2_740_000
BEGIN_US = 950
RULES = array("i", [28_000, 520_000, 350, 900, 1500, END_US, 300, BEGIN_US])

events = st.lists(
    st.tuples(
        st.integers(0, END_US // 50),
        st.sampled_from([-32768, -4500, -800, 600]) | st.integers(-9000, 600),
        st.sampled_from([30_000, 48_000, 80_000]) | st.integers(30_000, 80_000),
        st.sampled_from([0, 1, 65_535]) | st.integers(0, 9000),
    ),
    min_size=1,
    max_size=64,
)


def columns(rows: list[tuple[int, int, int, int]]) -> tuple[array[int], ...]:
    """Times in us, levels, frequencies and weights, in the order of time."""
    ordered = sorted((50 * time, *rest) for time, *rest in rows)
    return tuple(array("i", column) for column in zip(*ordered, strict=True))


Chain = tuple[int, int, int, int, int, int]


class Events:
    """The same search with Python's own integers and lists, as the kernel's docstring describes it."""

    def __init__(self, time: array[int], level: array[int], hz: array[int], weight: array[int]) -> None:
        self.rows = list(zip(time, level, hz, weight, strict=True))

    def best(self) -> Chain | None:
        """The chain with the highest score, the first of equals; None where none scores 0 or more."""
        chains = [self.chain(i, j) for i, j in self.seeds()]
        good = [chain for chain in chains if chain[0] >= 0]
        return max(good, key=lambda chain: chain[0]) if good else None

    def seeds(self) -> list[tuple[int, int]]:
        count = range(len(self.rows))
        pairs = [(i, j) for i in count for j in count if j > i]
        return [
            (i, j)
            for i, j in pairs
            if 28_000 <= self.rows[j][0] - self.rows[i][0] <= 520_000 and self.fits(i, j)
        ]

    def fits(self, i: int, j: int) -> bool:
        one, other = self.rows[i], self.rows[j]
        alike = abs(one[1] - other[1]) <= 900 and abs(one[2] - other[2]) <= 1500
        return bool(one[3] and other[3] and alike)

    def chain(self, i: int, j: int) -> Chain:
        step = self.rows[j][0] - self.rows[i][0]
        before, missed_before = self.walk(i, -1, step)
        after, missed_after = self.walk(j, 1, step)
        members = [*before[::-1], i, j, *after]
        misses = missed_before + missed_after
        score = sum(self.rows[k][3] for k in members) - 300 * misses
        return score, len(members), misses, self.rows[members[0]][0], self.rows[members[-1]][0], step

    def walk(self, member: int, ahead: int, step: int) -> tuple[list[int], int]:
        """Members on one side of a seed's event, nearest first, and how many were missed."""
        hits: list[int] = []
        misses, k = 0, member
        due = self.rows[member][0] + ahead * step
        while BEGIN_US < due < END_US:
            k, hit = self.next_hit(member, k, ahead, due, 350 + step // 400)
            if hit:
                hits.append(k)
                due = self.rows[k][0]
            misses += not hit
            due += ahead * step
        return hits, misses

    def next_hit(self, member: int, k: int, ahead: int, due: int, slack: int) -> tuple[int, bool]:
        while 0 <= k + ahead < len(self.rows):
            late = (self.rows[k + ahead][0] - due) * ahead
            if late > slack:
                break
            k += ahead
            if late >= -slack and self.rows[k][3] and self.fits_member(member, k):
                return k, True
        return k, False

    def fits_member(self, member: int, k: int) -> bool:
        one, other = self.rows[member], self.rows[k]
        return abs(one[1] - other[1]) <= 900 and abs(one[2] - other[2]) <= 1500


@settings(max_examples=80, deadline=None)
@given(events)
def test_best_chain_of_any_events(core: Core, rows: list[tuple[int, int, int, int]]) -> None:
    time, level, hz, weight = columns(rows)
    found = array("i", [0] * 6)
    agree(core, CHAIN, "best_chain", time, 0, level, hz, weight, RULES, len(time), found)
    expected = Events(time, level, hz, weight).best()
    assert (tuple(found) if found[0] >= 0 else None) == expected


def test_best_chain_is_a_regular_train(core: Core) -> None:
    time = array("i", range(10_000, END_US, 200_000))
    count = len(time)
    level, hz, weight = array("i", [-800] * count), array("i", [48_000] * count), array("i", [1000] * count)
    weight[5] = 0
    found = array("i", [0] * 6)
    agree(core, CHAIN, "best_chain", time, 0, level, hz, weight, RULES, count, found)
    assert list(found) == [1000 * (count - 1) - 300, count - 1, 1, 10_000, time[-1], 200_000]


def test_there_is_no_chain_without_a_pair(core: Core) -> None:
    one, found = array("i", [10_000]), array("i", [0] * 6)
    agree(core, CHAIN, "best_chain", one, 0, one, one, one, RULES, 1, found)
    assert found[0] == -1


@settings(max_examples=60, deadline=None)
@given(events, st.integers(28_000, 520_000), st.integers(0, 63))
def test_events_that_come_again(
    core: Core, rows: list[tuple[int, int, int, int]], interval: int, member: int
) -> None:
    time, evidence, hz, length = columns(rows)
    count, k, slack = len(time), member % len(time), 350
    again = any(
        abs(abs(time[n] - time[k]) - interval) <= slack and abs(hz[n] - hz[k]) <= 2500 for n in range(count)
    )
    assert agree(core, CHAIN, "comes_again", time, hz, count, k, interval, slack, 2500).result == again
    clear = [n for n in range(count) if evidence[n] >= -800 and length[n] <= 3500]
    apart = [abs(time[n] - time[k]) for n in clear]
    repeated = any(a > interval // 2 and min(a % interval, -a % interval) <= slack for a in apart)
    args = (time, evidence, length, count, k, interval, slack, -800, 3500)
    assert agree(core, CHAIN, "repeats", *args).result == repeated
