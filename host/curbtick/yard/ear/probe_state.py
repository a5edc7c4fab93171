"""What can be wrong with the probe itself."""

from dataclasses import dataclass

from curbtick_wire.sampling import HIGHEST_CODE, MID_CODE

PROBE_FAULTS = ("none", "unplugged", "stuck_low", "stuck_high", "dead_code", "clipped", "battery_low")


@dataclass(frozen=True)
class ProbeState:
    """The probe's own health: a fault of PROBE_FAULTS, and its battery in mV.

    clipped: a feedback path has come open, so that the stage has 80 dB more gain than it should and its own noise
    drives every input from stop to stop.
    """

    fault: str = "none"
    battery_mv: int = 3900

    @property
    def extra_gain_db(self) -> float:
        """Gain of the front end over what it should be, in dB."""
        return 80.0 if self.fault == "clipped" else 0.0

    @property
    def stuck_code(self) -> int | None:
        """The one code the ADC gives, or None."""
        return {"stuck_low": 0, "stuck_high": HIGHEST_CODE, "dead_code": MID_CODE}.get(self.fault)
