"""The installed firmware on the emulated board against the same on the unix port: plain scenes, one reading each.

Nothing is added to what a technician's probe runs. Both hear the same samples; every record that a reading leaves must
be the same but for clocks, temperature and supply. `tests.bench.chip` does it with scenes of both yards, and for a day.
"""

import pytest

from tests.target.board.scenes.alike import BootedBoard, on_unix_port
from tests.target.board.scenes.cases import Case, chosen
from tests.target.board.scenes.day import needs_image, needs_speed, tell
from tests.target.board.scenes.heard import differences

pytestmark = [needs_image, needs_speed]

CLASS_KHZ = 48
WAITING_MOST = 5
HEAP_LEAST = 40_000
# MicroPython itself stops 256 bytes before the end (MICROPY_STACK_CHECK_MARGIN).
STACK_LEAST = 512


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory, compiler: None) -> BootedBoard:
    """The installed firmware, powered up."""
    return BootedBoard(tmp_path_factory.mktemp("alike") / "board", CLASS_KHZ)


@pytest.mark.parametrize("case", chosen(), ids=lambda case: case.name)
def test_a_scene_is_heard_alike(case: Case, board: BootedBoard) -> None:
    here = board.read(case)
    there = on_unix_port(board.folder, board.flash, case)
    figures = {name: value for name, value in vars(here).items() if name != "records"}
    tell(f"alike {case.name}", board.day, {**figures, "reading": here.reading()})
    assert differences(here, there) == []
    assert here.lost == 0 and here.waiting <= WAITING_MOST
    assert here.stack_free >= STACK_LEAST
    assert here.heap_free >= HEAP_LEAST
