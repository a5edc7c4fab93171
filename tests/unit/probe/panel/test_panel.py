"""The panel on a board that only keeps time: what it shows, when, and how presses cut it short."""

from curbtick_probe.panel import patterns
from curbtick_probe.panel.gestures import READ
from curbtick_probe.panel.panel import BUSY, DARK_WAITS, Panel
from curbtick_wire.virtual import IDLE_MS

from tests.target.board.doubles.fake_board import FakeBoard

END_MS = 600_000


def shown(board: FakeBoard, panel: Panel) -> None:
    try:
        panel.next_gesture(lambda: None)
    except TimeoutError:
        return


def test_a_pattern_plays_its_frames_in_time_with_its_beeps_and_then_rests() -> None:
    board = FakeBoard(end_ms=20_000)
    panel = Panel(board)
    panel.rest_on(0x010)
    panel.say("weak")
    shown(board, panel)
    frames, repeats, _ = patterns.pattern("weak")
    expected, time_ms = [], 0
    for mask, duration_ms in frames * repeats:
        if not expected or expected[-1][1] != mask:
            expected.append((time_ms, mask))
        time_ms += duration_ms
    assert board.bars[1:] == [*expected, (time_ms, 0x010)]
    assert board.beeps == [(0, 120), (600, 120)]


def test_queued_patterns_play_one_after_the_other() -> None:
    board = FakeBoard(end_ms=END_MS)
    panel = Panel(board)
    panel.play(((1, 100),))
    panel.play(((2, 100), (4, 100)), 2)
    panel.finish()
    assert [mask for _, mask in board.bars if mask] == [1, 2, 4, 2, 4]
    assert board.now_ms == 500


def test_a_press_cuts_the_pattern_short_and_shows_where_we_are() -> None:
    board = FakeBoard(presses=[(500, READ), (580, 0)], end_ms=END_MS)
    panel = Panel(board)
    panel.rest_on(0x004)
    panel.say("pass")
    assert panel.next_gesture(lambda: None) == "read"
    assert board.bars[-1] == (500, 0x004)
    assert board.now_ms == 580


def test_finishing_a_pattern_takes_note_of_a_press_and_goes_on() -> None:
    """A board's wait() returns at once while the buttons are other than it last said."""

    class Impatient(FakeBoard):
        told = 0

        def buttons(self) -> int:
            self.told = super().buttons()
            return self.told

        def wait(self, ms: int, heeds_serial: bool = True) -> None:
            assert super().buttons() == self.told, "would spin"
            assert not heeds_serial, "would spin while bytes wait that nobody reads"
            super().wait(ms, heeds_serial)

    board = Impatient([(150, READ), (700, 0)])
    panel = Panel(board)
    panel.play(((1, 100), (2, 100), (4, 100)))
    panel.finish()
    assert [mask for _, mask in board.bars if mask] == [1, 2, 4]


def test_polls_at_every_wake_and_hands_on_its_word() -> None:
    words = [None, "busy"]
    board = FakeBoard(end_ms=END_MS)
    panel = Panel(board)
    panel.play(((1, 100), (2, 100)))
    assert panel.next_gesture(lambda: words.pop(0)) == "busy"
    assert words == [] and board.now_ms == 100


def test_an_idle_panel_waits_long_and_goes_dark() -> None:
    board = FakeBoard(end_ms=IDLE_MS * (DARK_WAITS + 3))
    panel = Panel(board)
    panel.rest_on(0x020)
    shown(board, panel)
    assert board.waits == [IDLE_MS] * len(board.waits)
    assert board.bars == [(0, 0x020), (IDLE_MS * DARK_WAITS, 0)]


def test_while_a_bench_is_served_the_bar_plays_on_and_presses_are_seen() -> None:
    board = FakeBoard(presses=[(1600, READ), (2000, 0)], end_ms=END_MS)
    panel = Panel(board)
    panel.rest_on(0x010)
    panel.say("dead")

    def serve() -> str:
        board.now_ms += 30
        return BUSY

    told = [panel.next_gesture(serve) for _ in range(80)]
    assert set(told) == {BUSY, "read"} and told.count("read") == 1
    assert [mask for time_ms, mask in board.bars if time_ms < 1100] == [0x010, 0xFFF, 0, 0xFFF, 0]
    assert board.waits == []
