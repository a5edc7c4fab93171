"""How the bar says where the technician is."""

from curbtick_probe.app.place import Place
from curbtick_probe.panel import patterns
from curbtick_probe.panel.panel import Panel


class Display:
    """Shows a place on the panel."""

    def __init__(self, panel: Panel, place: Place) -> None:
        self._panel = panel
        self._place = place

    def rest_on_current(self) -> None:
        """Let the bar rest on the LED of the current position."""
        self._panel.rest_on(patterns.position_mask(self._place.bumper, self._place.position))

    def show_current(self) -> None:
        """Say which vehicle is current, then rest on the LED of the bumper's position."""
        self.rest_on_current()
        if not self._place.free:
            self._panel.play(patterns.vehicle_frames(self._place.vehicle))

    def light_current(self) -> None:
        """Light the LED of the current position at once, for as long as the probe listens."""
        self._panel.light(patterns.position_mask(self._place.bumper, self._place.position))
