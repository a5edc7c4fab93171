"""An interactive virtual probe: keys are the buttons and the yard, the bar is drawn in the terminal."""

import os
import select
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, LONG_MS, READ, SHORT_MS, STEP, Panel
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import day
from curbtick.yard.scenes.day import Day, Place

# Key -> (buttons, how long, how often).
KEYS = {
    "r": (READ, SHORT_MS, 1),
    "R": (READ, LONG_MS, 1),
    "s": (STEP, SHORT_MS, 1),
    "S": (STEP, LONG_MS, 1),
    "d": (STEP, SHORT_MS, 2),
    "b": (BOTH, SHORT_MS, 1),
    "B": (BOTH, LONG_MS, 1),
    "D": (BOTH, SHORT_MS, 2),
}
HELP = (
    "r READ   R READ held   s STEP   S STEP held   d STEP twice   b both   B both held   D both twice",
    "n, p next or previous sensor of the yard   x take the probe away   o off and on   O the same, STEP held   q quit",
)
_REFRESH_S = 0.1


class Yard:
    """Where the probe's collar is held: at one of the demo day's places, or nowhere."""

    def __init__(self, yard: Day, seed: int) -> None:
        self._day = yard
        self._places = list(yard.places())
        self._at = 0
        self._quiet = Ear(seed=seed)
        self._away = False

    def step(self, count: int) -> None:
        """Hold the probe count places further."""
        self._at = (self._at + count) % len(self._places)
        self._away = False

    def take_away(self) -> None:
        """Hold the probe at nothing."""
        self._away = True

    @property
    def ear(self) -> Ear:
        """What is to be heard there."""
        return self._quiet if self._away else self._day.scene(self._place).ear

    @property
    def words(self) -> str:
        """Where that is."""
        place = self._place
        name = self._day.vehicle(place.vehicle).name
        return "nowhere" if self._away else f"{name} ({place.vehicle}) {place.bumper} {place.position}"

    @property
    def _place(self) -> Place:
        return self._places[self._at]


class Screen:
    """Draws the probe; update() may be called from any thread."""

    def __init__(self, live: Live, probe: VirtualProbe, yard: Yard) -> None:
        self._live = live
        self._probe = probe
        self._yard = yard
        self._pressed_at = 0
        self._words = ""

    def pressed(self) -> None:
        """A button was pressed: what the bar says from here on is the answer."""
        self._pressed_at = max(0, len(self._probe.panel.bars) - 1)
        self._words = ""

    def _said(self, panel: Panel) -> str:
        """What the bar has told; while it plays on, the beginning of one pattern can look like another."""
        if panel.mask.bit_count() == 1:
            masks = bar.shown(panel.bars[self._pressed_at :], self._probe.now_us)
            self._words = ", ".join(bar.words_of(name) for name in bar.read_bar(masks))
        return self._words

    def update(self, panel: Panel) -> None:
        """Draw the bar as it is."""
        now_us = self._probe.now_us
        beeping = bool(panel.beeps) and now_us - panel.beeps[-1].time_us < panel.beeps[-1].duration_ms * 1000
        note = "  \u266a" if beeping else ""
        lines = [
            f"USB serial  {self._probe.pty_path}",
            f"Collar      {self._yard.words}",
            "",
            f"   {bar.draw(panel.mask)}{note}",
            f"   {self._said(panel)}",
            "",
            *HELP,
        ]
        self._live.update(Group(*(Text(line) for line in lines)), refresh=True)


def run(flash: Path | None, seed: int, pair: bool) -> None:
    """Hold a probe until q or the end of the input. flash: its flash file, a passing one for None."""
    with tempfile.TemporaryDirectory(prefix="curbtick-") as folder:
        yard = Yard(day.load(seed), seed)
        held = STEP if pair else 0
        with VirtualProbe(yard.ear, flash or Path(folder) / "flash", paced=True, held=held) as probe:
            _hold(probe, yard)


def _hold(probe: VirtualProbe, yard: Yard) -> None:
    console = Console()
    with _keys() as keys, Live(console=console, auto_refresh=False, transient=False) as live:
        screen = Screen(live, probe, yard)
        probe.bus.on_panel = screen.update
        screen.update(probe.panel)
        for key in keys:
            if key == "q" or not probe.running:
                break
            if key:
                screen.pressed()
                _obey(key, probe, yard)
                screen.update(probe.panel)
    if not probe.running:
        probe.run_until_idle()


def _obey(key: str, probe: VirtualProbe, yard: Yard) -> None:
    if key in KEYS:
        buttons, hold_ms, times = KEYS[key]
        probe.press(buttons, hold_ms, times=times)
    elif key in "np":
        yard.step(1 if key == "n" else -1)
        probe.ear = yard.ear
    elif key == "x":
        yard.take_away()
        probe.ear = yard.ear
    elif key in "oO":
        probe.power_on(held=STEP if key == "O" else 0)


@contextmanager
def _keys() -> Iterator[Iterator[str]]:
    """Give the keys as they are pressed, and an empty string now and then; unbuffered where there is a terminal."""
    if not sys.stdin.isatty():
        yield _read_keys(sys.stdin.fileno())
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        yield _read_keys(descriptor)
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _read_keys(descriptor: int) -> Iterator[str]:
    while True:
        if not select.select([descriptor], [], [], _REFRESH_S)[0]:
            yield ""
            continue
        pressed = os.read(descriptor, 1)
        if not pressed:
            return
        yield pressed.decode("latin-1")
