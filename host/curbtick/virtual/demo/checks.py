"""The seal and the hiss checks of the demo day: one section each of every scene, on the round's vehicles in turn."""

from collections.abc import Callable
from dataclasses import dataclass

from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, LONG_MS, READ, SHORT_MS
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.scenes import leaks
from curbtick.yard.scenes.leaks import FromTheStart, LeakScene

# Simulated time that each step takes, the bar's answer included.
CHANGE_MS = 3500
REFERENCE_MS = 2500
BACKGROUND_MS = 7500
SECTION_MS = 3600
BEGIN_MS = 900
MARK_MS = 1500
CONFIRM_MS = 4500


@dataclass(frozen=True)
class CheckSeen:
    """One section as the technician saw it: vehicle's number in the round, the verdict's word, the highest bar."""

    scene: LeakScene
    vehicle: int
    verdict: str | None
    highest: int


class LeakWalk:
    """The technician with the collar off. vehicle_of: the round's vehicles by number; say: told a line a section."""

    def __init__(
        self, thumbs: Technician, probe: VirtualProbe, vehicles: int, say: Callable[[str], None]
    ) -> None:
        self._thumbs = thumbs
        self._probe = probe
        self._vehicles = vehicles
        self._say = say
        self._vehicle = 1

    def run(self, seed: int) -> list[CheckSeen]:
        """Go through every scene; the probe must be in the bumper check at vehicle 1, and is so again."""
        found = []
        for scenes, section in ((leaks.SEAL_SCENES, self._seal), (leaks.HISS_SCENES, self._hiss)):
            self._press(BOTH, LONG_MS, CHANGE_MS)
            for place, make in enumerate(scenes.values()):
                if place:
                    self._press(BOTH, settle_ms=CHANGE_MS)
                    self._vehicle = self._vehicle % self._vehicles + 1
                found.append(section(make(seed)))
        self._probe.press(BOTH, LONG_MS)
        self._probe.run_until_idle()
        return found

    def _press(self, buttons: int, hold_ms: int = SHORT_MS, settle_ms: int = MARK_MS) -> tuple[str, ...]:
        return self._thumbs.meter_press(buttons, hold_ms, settle_ms)

    def _seal(self, scene: LeakScene) -> CheckSeen:
        """Free reference, to the seal, along it, end of the section, reference confirmed."""
        ears = scene.ears()
        self._probe.ear = ears["before"]
        self._press(READ, settle_ms=REFERENCE_MS)
        highest = self._follow(ears["section"], begin=True)
        self._press(READ)
        self._probe.ear = ears["after"]
        words = self._press(READ, LONG_MS, CONFIRM_MS)
        return self._seen(scene, words, highest)

    def _hiss(self, scene: LeakScene) -> CheckSeen:
        """Background, then along the section, and its end."""
        ears = scene.ears()
        self._probe.ear = ears["before"]
        self._press(READ, settle_ms=BACKGROUND_MS)
        highest = self._follow(ears["section"], begin=False)
        return self._seen(scene, self._press(READ, settle_ms=2 * MARK_MS), highest)

    def _follow(self, ear: FromTheStart, begin: bool) -> int:
        """Move along the section; return the longest bar seen."""
        self._probe.ear = ear
        if begin:
            self._press(READ, settle_ms=BEGIN_MS)
        first = len(self._probe.panel.bars)
        self._probe.run_for(SECTION_MS - begin * BEGIN_MS)
        masks = [change.mask for change in self._probe.panel.bars[first:]]
        status = {mask for pair in bar.probe_patterns()["METER_PATTERNS"].values() for mask in pair}
        levels = [mask for mask in masks if mask not in status]
        return max(levels or masks or [self._probe.bar], key=_length)

    def _seen(self, scene: LeakScene, words: tuple[str, ...], highest: int) -> CheckSeen:
        verdict = next((word for word in words if word in bar.SECTION_WORDS), None)
        shown = bar.words_of(verdict) if verdict else "nothing"
        self._say(f"  {scene.check} {scene.name:18} {bar.draw(highest)}  {shown}")
        return CheckSeen(scene, self._vehicle, verdict, highest)


def _length(mask: int) -> int:
    """How many LEDs are lit from the left without a gap."""
    return ((mask + 1) & ~mask).bit_length() - 1
