"""The scripted technician: walks the yard, holds the probe over a sensor, presses, and reads the bar."""

from collections.abc import Callable
from dataclasses import dataclass

from curbtick_wire import names

from curbtick.errors import InputError
from curbtick.virtual.panel import bar
from curbtick.virtual.panel.bar import Shown
from curbtick.virtual.probe.bus import BOTH, LONG_MS, READ, SHORT_MS, STEP, BarChange, Ear
from curbtick.virtual.probe.process import VirtualProbe

# A technician who sees RETRY holds the probe better and presses again, so many times, as the panel's card says.
TRIES = 1
_ROUND_MAX = 60


@dataclass(frozen=True)
class Seen:
    """What one press showed: the words of the bar's patterns in order, the masks themselves, the beeps' count."""

    words: tuple[str, ...]
    masks: tuple[Shown, ...]
    beeps: int

    @property
    def verdict(self) -> str | None:
        """The verdict the bar told, or None."""
        return next((word for word in self.words if word in names.VERDICTS), None)

    @property
    def strip(self) -> str:
        """The rhythm of the first pattern as a strip of time, a block for each tenth of a second of light."""
        if not self.words:
            return ""
        return bar.strip(bar.pattern(self.words[0])[0])


def _no_place(vehicle: int) -> InputError:
    return InputError(
        f"The bar does not come to that place of vehicle {vehicle}.",
        "No reading was made there.",
        "See that the round on the probe is the one that was made.",
    )


class Technician:
    """Two thumbs and a pair of eyes at a probe. on_seen: told of every press's outcome."""

    def __init__(self, probe: VirtualProbe, on_seen: Callable[[Seen], None] = lambda seen: None) -> None:
        self._probe = probe
        self._on_seen = on_seen

    def press(self, buttons: int, hold_ms: int = SHORT_MS, times: int = 1) -> Seen:
        """Press, wait until the probe has said all it has to say, and read the bar."""
        probe = self._probe
        first_bar, first_beep = len(probe.panel.bars), len(probe.panel.beeps)
        before = BarChange(probe.now_us, probe.bar)
        probe.press(buttons, hold_ms, times=times)
        probe.run_until_idle()
        masks = bar.shown([before, *probe.panel.bars[first_bar:]], probe.now_us)
        seen = Seen(tuple(bar.read_bar(masks)), tuple(masks), len(probe.panel.beeps) - first_beep)
        self._on_seen(seen)
        return seen

    def read(self, ear: Ear, tries: int = TRIES) -> list[Seen]:
        """Hold the probe where the ear is and read; again after a RETRY."""
        probe = self._probe
        probe.ear = ear
        outcomes: list[Seen] = []
        while len(outcomes) <= tries:
            outcomes.append(self.press(READ))
            if outcomes[-1].verdict != "retry":
                break
        return outcomes

    def next_vehicle(self) -> None:
        """Press both buttons."""
        self.press(BOTH)

    def next_position(self) -> Seen:
        """Press STEP; past a bumper's last position its result may be due."""
        return self.press(STEP)

    def go_to(self, vehicle: int, bumper: int, position: int) -> None:
        """Step to a place of the round, by what the bar shows.

        Raises InputError when the round has no such place.
        """
        for _ in range(_ROUND_MAX):
            if bar.read_vehicle(self.press(BOTH).masks) == vehicle:
                break
        else:
            raise _no_place(vehicle)
        if bumper:
            self.press(STEP, LONG_MS)
        for _ in range(bar.LEDS):
            if self._probe.bar == bar.position_mask(bumper, position):
                return
            self.press(STEP)
        raise _no_place(vehicle)

    def next_check(self, settle_ms: int = 8000) -> None:
        """Hold both buttons, to the next check."""
        self._meter_press(BOTH, LONG_MS, settle_ms)

    def meter_press(self, buttons: int, hold_ms: int = SHORT_MS, settle_ms: int = 4000) -> tuple[str, ...]:
        """Press in the seal or hiss check, whose meter never rests; return the words that the bar told meanwhile."""
        return self._meter_press(buttons, hold_ms, settle_ms)

    def _meter_press(self, buttons: int, hold_ms: int, settle_ms: int) -> tuple[str, ...]:
        probe = self._probe
        first_bar = len(probe.panel.bars)
        probe.press(buttons, hold_ms)
        probe.run_for(settle_ms)
        return tuple(bar.read_bar(bar.shown(probe.panel.bars[first_bar:], probe.now_us)))
