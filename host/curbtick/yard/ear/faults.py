"""What can be wrong with a sensor.

Paint: thicker than 120 um gives no or wrong detection (a maker's body-repair note); what it costs in level and
frequency here, and what ice costs, are assumptions: an added mass lowers the resonance, a soft layer damps it.
"""

from dataclasses import dataclass, replace

from curbtick.yard.sounds.sensors import Sensor

NONE = "none"
SENSOR_FAULTS = (
    "dead",
    "weak",
    "off_frequency",
    "long_ringing",
    "short_ringing",
    "intermittent",
    "painted",
    "iced",
)


@dataclass(frozen=True)
class Fault:
    """A sensor's fault.

    kind: one of SENSOR_FAULTS, or NONE.
    loss_db: what it costs in level.
    shift_hz: how far it moves resonance and drive.
    missing: share of the bursts that are left out.
    pattern: which bursts are sent (1) and left out (0), over and over; empty: drawn one by one by `missing`.
    decay_us: the sensor's time constant with this fault, None where it keeps its own.
    brake_us: the time constant after the drive with this fault, None where it keeps its own.
    """

    kind: str = NONE
    loss_db: float = 0.0
    shift_hz: float = 0.0
    missing: float = 0.0
    pattern: tuple[int, ...] = ()
    decay_us: float | None = None
    brake_us: float | None = None

    def of(self, sensor: Sensor) -> Sensor:
        """Return the sensor with this fault built in."""
        return replace(
            sensor,
            resonance_hz=sensor.resonance_hz + self.shift_hz,
            decay_us=sensor.decay_us if self.decay_us is None else self.decay_us,
            brake_us=sensor.brake_us if self.brake_us is None else self.brake_us,
        )

    @property
    def silent(self) -> bool:
        """Whether the sensor sends nothing at all."""
        return self.kind == "dead"


HEALTHY = Fault()
DEAD = Fault("dead")


def weak(loss_db: float) -> Fault:
    """Return a sensor that sends loss_db less than it should."""
    return Fault("weak", loss_db=loss_db)


def off_frequency(shift_hz: float) -> Fault:
    """Return a sensor whose resonance and drive have moved by shift_hz."""
    return Fault("off_frequency", shift_hz=shift_hz)


def long_ringing(decay_us: float = 1500.0) -> Fault:
    """Return a sensor that rings too long: tau 1.5 ms is 3.5 ms to -20 dB."""
    return Fault("long_ringing", decay_us=decay_us)


def short_ringing(brake_us: float = 6.0) -> Fault:
    """Return a sensor that hardly rings: its damping circuit stops the membrane as soon as the drive ends."""
    return Fault("short_ringing", brake_us=brake_us)


def intermittent(missing: float = 0.5, pattern: tuple[int, ...] = ()) -> Fault:
    """Return a sensor that leaves out a share of its bursts, drawn one by one or in a pattern."""
    return Fault("intermittent", missing=missing, pattern=pattern)


_IN_NO_ORDER = (0, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 1, 0)


def loose_contact() -> Fault:
    """Return a sensor that leaves out every second burst on average, in no order.

    Of any nine to twelve bursts due at least 37 % are missing and at least four are sent, and no slower regular train
    has three quarters of its own among them.
    """
    return Fault("intermittent", missing=0.5, pattern=_IN_NO_ORDER)


def painted(loss_db: float = 12.0) -> Fault:
    """Return a sensor under thick paint: weaker and a little lower."""
    return Fault("painted", loss_db=loss_db, shift_hz=-60.0 * loss_db)


def iced(loss_db: float = 20.0, decay_us: float = 90.0) -> Fault:
    """Return a sensor under ice: much weaker, lower and damped."""
    return Fault("iced", loss_db=loss_db, shift_hz=-70.0 * loss_db, decay_us=decay_us)
