"""The front end as one probe has it: nominal, or drawn within the tolerances of its parts.

This is what the yard needs to feed the firmware as the hardware would: gains from sound pressure to each input, where
each input rests and where it clips in codes, the floors with and without a microphone, the corners of its band.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from curbtick_wire.sampling import FULL_SCALE_CODES

from curbtick.hardware import amplifier, converter, noise, response
from curbtick.hardware.components import Component, Figure
from curbtick.hardware.microphones import FIRST, SHAPE_HZ, Microphone
from curbtick.hardware.rails import OFFSET_GAINS, Rails, Supplies
from curbtick.hardware.rails import rails as rails_of
from curbtick.hardware.values import OUTPUTS, SIGNAL, SUPPLY, fitted, nominal, unplugged

SINE_PEAK_DB = 3.0103
UNITY_HZ = 50_000.0
_NOISE_HZ = np.geomspace(25_000.0, 90_000.0, 400)
_CORNER_HZ = np.geomspace(500.0, 400_000.0, 2001)


@dataclass(frozen=True)
class FrontEnd:
    """One front end.

    values: the signal path in ohm, farad and hertz (values.nominal gives the keys); rails: its supplies;
    sensitivity_db: the microphone's output at 1 Pa and 1 kHz; shape_db: its response over that at SHAPE_HZ;
    noise_db: its own noise below 1 Pa; overload_db: sound pressure level at which it distorts by 10 %;
    offset_codes: the converter's offset; offsets_mv: the amplifiers' offsets that reach each output, summed up there.
    """

    microphone: Microphone = FIRST
    values: Mapping[str, float] = field(default_factory=nominal)
    rails: Rails = field(default_factory=rails_of)
    sensitivity_db: float = FIRST.sensitivity_db.nominal
    shape_db: tuple[float, ...] = FIRST.shape_db
    noise_db: float = FIRST.noise_db.nominal
    overload_db: float = FIRST.overload_db.nominal
    offset_codes: float = 0.0
    offsets_mv: Mapping[str, float] = field(default_factory=lambda: dict.fromkeys(OUTPUTS, 0.0))

    def gain_db(self, output: str, frequency_hz: float) -> float:
        """Gain from the microphone's voltage to the converter's pin of an output ("padded", "low", "high")."""
        return float(response.decibels(response.responses(self.values, np.array([frequency_hz]))[output])[0])

    def step_db(self, output: str, frequency_hz: float = UNITY_HZ) -> float:
        """Gain of an output over the low one: about -12 (padded) and +40 (high)."""
        return self.gain_db(output, frequency_hz) - self.gain_db("low", frequency_hz)

    def microphone_db(self, frequency_hz: float) -> float:
        """The microphone's output in dBV (rms) at 1 Pa; its response is interpolated between those of SHAPE_HZ."""
        return self.sensitivity_db + float(np.interp(frequency_hz, SHAPE_HZ, self.shape_db))

    def dbfs(self, level_db_spl: float, output: str, frequency_hz: float) -> float:
        """Level at an output of a tone of so many dB SPL at the microphone; 0 dBFS is 2047.5 codes peak."""
        peak_dbv = level_db_spl - 94.0 + self.microphone_db(frequency_hz) + SINE_PEAK_DB
        return (
            peak_dbv
            + self.gain_db(output, frequency_hz)
            - 20.0 * float(np.log10(self.rails.full_scale_peak_v))
        )

    def full_scale_db_spl(self, output: str, frequency_hz: float) -> float:
        """The tone at the microphone that is 0 dBFS at an output."""
        return -self.dbfs(0.0, output, frequency_hz)

    def rest_code(self, output: str) -> float:
        """The code at which an output rests."""
        return self.rails.code(self.rails.bias_v + self.offsets_mv[output] * 1e-3) + self.offset_codes

    def clip_codes(self) -> tuple[float, float]:
        """The lowest and the highest code that any input shows, however loud it is; never outside 0 to 4095."""
        low, high = self.rails.swing_codes
        return max(0.0, low + self.offset_codes), min(converter.CODES - 1.0, high + self.offset_codes)

    def clip_dbfs(self, output: str) -> float:
        """The level of a sine whose nearer peak just meets the end of the amplifier's swing."""
        low, high = self.clip_codes()
        rest = self.rest_code(output)
        return 20.0 * float(np.log10(min(high - rest, rest - low) / FULL_SCALE_CODES))

    def front_floor_dbfs(self, live: bool = True) -> float:
        """The high input's floor over 30-80 kHz without the converter's, with a live microphone or none."""
        if live:
            source = noise.microphone_density(self.microphone, self.noise_db)
            source *= 10.0 ** ((self.sensitivity_db - self.microphone.sensitivity_db.nominal) / 10.0)
            shape = 10.0 ** (np.interp(_NOISE_HZ, SHAPE_HZ, self.shape_db) / 10.0)
            density = noise.high_density(self.values, _NOISE_HZ, source * shape)
        else:
            density = noise.high_density(unplugged(dict(self.values)), _NOISE_HZ)
        return noise.in_band_dbfs(density, _NOISE_HZ, self.rails.full_scale_peak_v)

    def floor_dbfs(self, chip: str, live: bool = True) -> float:
        """The high input's floor over 30-80 kHz, the converter's included; chip: "RP2040" or "RP2350"."""
        return noise.add_dbfs(self.front_floor_dbfs(live), noise.adc_dbfs(converter.EFFECTIVE_BITS[chip]))

    def corners_hz(self, output: str) -> tuple[float, float]:
        """Where an output's gain has fallen by 3 dB from that at 50 kHz, below and above."""
        gain_db = response.decibels(response.responses(self.values, _CORNER_HZ)[output])
        inside = _CORNER_HZ[gain_db >= self.gain_db(output, UNITY_HZ) - SINE_PEAK_DB]
        return float(inside[0]), float(inside[-1])


def of(microphone: Microphone = FIRST) -> FrontEnd:
    """The nominal front end with a microphone."""
    return FrontEnd(
        microphone=microphone,
        values=nominal(microphone),
        sensitivity_db=microphone.sensitivity_db.nominal,
        shape_db=microphone.shape_db,
        noise_db=microphone.noise_db.nominal,
        overload_db=microphone.overload_db.nominal,
    )


def _part(generator: np.random.Generator, part: Component) -> float:
    return part.si * (1.0 + part.tolerance_share * float(generator.uniform(-1.0, 1.0)))


def _value(generator: np.random.Generator, of_part: Figure) -> float:
    return float(generator.uniform(of_part.least, of_part.most))


def _supplies(generator: np.random.Generator, microphone: Microphone) -> Supplies:
    return Supplies(
        rail_v=_value(generator, converter.RAIL_V),
        reference_ma=_value(generator, converter.REFERENCE_MA),
        reference_ohm=_value(generator, converter.REFERENCE_OHM),
        amplifier_ma=_value(generator, amplifier.SUPPLY_MA),
        swing_mv=_value(generator, amplifier.SWING_MV),
        microphone_ma=_value(generator, microphone.supply_ma),
    )


def drawn_values(generator: np.random.Generator, microphone: Microphone = FIRST) -> dict[str, float]:
    """The signal path of one probe, each part uniform within its tolerance."""
    values = {name: _part(generator, part) for name, part in SIGNAL.items()}
    return fitted({**values, "Rmic": _value(generator, microphone.output_ohm)}, microphone)


def drawn(generator: np.random.Generator, microphone: Microphone = FIRST) -> FrontEnd:
    """One probe's front end, everything uniform within its range and independent of the rest."""
    spread = microphone.shape_spread_db
    supply_parts = {name: _part(generator, part) for name, part in SUPPLY.items()}
    offsets = {
        output: sum(gain * _value(generator, amplifier.OFFSET_MV) for gain in gains)
        for output, gains in OFFSET_GAINS.items()
    }
    return FrontEnd(
        microphone=microphone,
        values=drawn_values(generator, microphone),
        rails=rails_of(_supplies(generator, microphone), supply_parts),
        sensitivity_db=_value(generator, microphone.sensitivity_db),
        shape_db=tuple(shape + float(generator.uniform(-spread, spread)) for shape in microphone.shape_db),
        noise_db=_value(generator, microphone.noise_db),
        overload_db=_value(generator, microphone.overload_db),
        offset_codes=_value(generator, converter.OFFSET_CODES),
        offsets_mv=offsets,
    )
