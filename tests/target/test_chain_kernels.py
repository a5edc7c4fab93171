"""The kernels that find regular chains among timed events, three ways, for any events."""

from __future__ import annotations

from array import array

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core

CHAIN = "curbtick_probe/dsp/chain.py"
END_US = 2_740_000
RULES = array("i", [28_000, 520_000, 350, 900, 1500, END_US, 300])

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


@settings(max_examples=80, deadline=None)
@given(events, st.integers(-520_000, 520_000).filter(lambda step: abs(step) >= 28_000), st.integers(0, 63))
def test_walk_any_events(
    core: Core, rows: list[tuple[int, int, int, int]], step_us: int, member: int
) -> None:
    time, level, hz, weight = columns(rows)
    tally = array("i", [0, 0, 0, 0, step_us, member % len(time)])
    agree(core, CHAIN, "walk", time, 0, 0, level, hz, weight, RULES, len(time), tally)
    assert 0 <= tally[1] < len(time)
    assert tally[0] <= sum(weight)


def test_walk_follows_a_regular_train(core: Core) -> None:
    time = array("i", range(10_000, END_US, 200_000))
    count = len(time)
    level, hz, weight = array("i", [-800] * count), array("i", [48_000] * count), array("i", [1000] * count)
    weight[5] = 0
    tally = array("i", [0, 0, 0, 0, 200_000, 0])
    agree(core, CHAIN, "walk", time, 0, 0, level, hz, weight, RULES, count, tally)
    hits, misses = count - 2, 1
    assert list(tally[:4]) == [1000 * hits - 300 * misses, hits, misses, time[-1]]


@settings(max_examples=60, deadline=None)
@given(events)
def test_next_pair_finds_every_pair_once(core: Core, rows: list[tuple[int, int, int, int]]) -> None:
    time, level, hz, weight = columns(rows)
    count = len(time)
    pair, found = array("i", [0, 0]), []
    for _ in range(6):
        agree(core, CHAIN, "next_pair", time, 0, 0, level, hz, weight, RULES, count, pair)
        if pair[0] == count:
            break
        found.append(tuple(pair))
    expected = [
        (i, j)
        for i in range(count)
        for j in range(i + 1, count)
        if 28_000 <= time[j] - time[i] <= 520_000
        and weight[i]
        and weight[j]
        and abs(level[i] - level[j]) <= 900
        and abs(hz[i] - hz[j]) <= 1500
    ]
    assert found == expected[:6]
