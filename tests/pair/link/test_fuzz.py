"""Random and mutated frames into the firmware's link on MicroPython, briefly; the whole run is tests.bench.fuzz."""

import pytest

from tests.bench.fuzz import __main__ as fuzz


@pytest.mark.parametrize("seed", [1, 2])
def test_no_frame_breaks_or_changes_the_probe(seed: int) -> None:
    found = fuzz.run(4000, seed)
    assert found["frames"] >= 4000
    assert found["faults"] == 0
    assert not found["state_changed"]
    assert found["heap_after"] == found["heap_before"]
    counters = found["counters"]
    assert min(counters[name] for name in counters if name not in ("faults", "frames_lost")) > 0
