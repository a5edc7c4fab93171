"""Supplies, reference, bias, and where the amplifiers stop: in volts, and in the converter's codes.

The converter's reference is the board's 3.3 V behind a filter resistor that carries the converter's own current and
the bias divider's. The amplifiers run from the same 3.3 V behind their own filter, so their outputs end below the
converter's last code: a chain that clips shows codes near `swing_codes`, never 4095.

The divider is not even. 10.0 over 10.5 kohm rests the inputs about 50 codes above mid-scale, clear of the codes 2047
and 2048 that the converters are known to miss (converter.STEPS_CODES), with the divider's tolerance, the amplifiers'
offsets and the converter's own offset added up. A quiet input then never sits on such a step.
"""

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

from curbtick_wire.sampling import FULL_SCALE_CODES

from curbtick.hardware import amplifier, converter
from curbtick.hardware.values import SUPPLY

# How many times its own offset each output moves: the bias passes every stage at a gain of 1, and a stage adds
# its offset times its gain at rest, which what follows passes on (filter stages by R2 / R1, inverted).
_FILTER_GAIN = 2200.0 / 1600.0
_AFTER_FILTER = (_FILTER_GAIN, 1.0 + _FILTER_GAIN)
OFFSET_GAINS: dict[str, tuple[float, ...]] = {
    "padded": _AFTER_FILTER,
    "low": (*_AFTER_FILTER, 1.0),
    "high": (_FILTER_GAIN, 2.0 * _FILTER_GAIN, 1.0 + _FILTER_GAIN, 1.0),
}


@dataclass(frozen=True)
class Supplies:
    """What the supplies of one probe are. rail_v: the board's 3.3 V; reference_ma: the converter's own current;
    amplifier_ma: each amplifier's; swing_mv: how near to its rails an output goes; microphone_ma.
    """

    rail_v: float = converter.RAIL_V.nominal
    reference_ma: float = converter.REFERENCE_MA.nominal
    reference_ohm: float = converter.REFERENCE_OHM.nominal
    amplifier_ma: float = amplifier.SUPPLY_MA.nominal
    swing_mv: float = amplifier.SWING_MV.nominal
    microphone_ma: float = 0.12


@dataclass(frozen=True)
class Rails:
    """The voltages that follow: reference, amplifiers' supply, bias, and where outputs stop (low_v, high_v)."""

    rail_v: float
    reference_v: float
    amplifier_v: float
    bias_v: float
    low_v: float
    high_v: float

    def code(self, pin_v: float) -> float:
        """The converter's code of a voltage, without its own offset."""
        return pin_v / self.reference_v * converter.CODES

    @property
    def bias_code(self) -> float:
        """Where a quiet input rests, offsets left aside."""
        return self.code(self.bias_v)

    @property
    def swing_codes(self) -> tuple[float, float]:
        """The lowest and the highest code that an amplifier's output can reach."""
        return self.code(self.low_v), self.code(self.high_v)

    @property
    def full_scale_peak_v(self) -> float:
        """The peak of a sine of 0 dBFS."""
        return FULL_SCALE_CODES / converter.CODES * self.reference_v


def nominal_values() -> dict[str, float]:
    """The nominal values of the supply parts, in ohm and farad."""
    return {name: part.si for name, part in SUPPLY.items()}


def rails(supplies: Supplies | None = None, parts: Mapping[str, float] | None = None) -> Rails:
    """Ohm's law from the board's 3.3 V to the bias.

    Vref = (V - R Iadc) / (1 + R / (Rv1 + Rv2)): R carries the converter's current and the divider's.
    """
    given = supplies or Supplies()
    ohm = nominal_values() if parts is None else parts
    divider_ohm = ohm["Rv1"] + ohm["Rv2"]
    behind_v = given.rail_v - given.reference_ohm * given.reference_ma * 1e-3
    reference_v = behind_v / (1.0 + given.reference_ohm / divider_ohm)
    load_ma = amplifier.COUNT * given.amplifier_ma + given.microphone_ma
    amplifier_v = given.rail_v - ohm["Rs1"] * load_ma * 1e-3
    return Rails(
        rail_v=given.rail_v,
        reference_v=reference_v,
        amplifier_v=amplifier_v,
        bias_v=reference_v * ohm["Rv2"] / divider_ohm,
        low_v=given.swing_mv * 1e-3,
        high_v=amplifier_v - given.swing_mv * 1e-3,
    )


def bias_range_codes(output: str) -> tuple[float, float]:
    """The least and the most code at which an output rests, everything at its worst at once.

    The amplifiers' offsets enter by OFFSET_GAINS, the divider by its tolerance, the converter by its own offset.
    """
    nominal = rails()
    lower, upper = SUPPLY["Rv1"], SUPPLY["Rv2"]
    share = lower.si / (lower.si + upper.si)
    divider_codes = nominal.bias_code * share * (lower.tolerance_share + upper.tolerance_share)
    offset_v = sum(OFFSET_GAINS[output]) * amplifier.OFFSET_MV.most * 1e-3
    spread = divider_codes + nominal.code(offset_v) + converter.OFFSET_CODES.most
    return nominal.bias_code - spread, nominal.bias_code + spread


def stop_range_codes() -> tuple[tuple[float, float], tuple[float, float]]:
    """Where an output may stop below and above: (least, most) code of either end, everything at its worst at once."""
    spread = SUPPLY["Rs1"].tolerance_share
    ends = (
        converter.RAIL_V,
        converter.REFERENCE_MA,
        converter.REFERENCE_OHM,
        amplifier.SUPPLY_MA,
        amplifier.SWING_MV,
    )
    swings = [
        rails(Supplies(*corner), nominal_values() | {"Rs1": SUPPLY["Rs1"].si * (1.0 + share)}).swing_codes
        for corner in itertools.product(*((end.least, end.most) for end in ends))
        for share in (-spread, spread)
    ]
    low, high = zip(*swings, strict=True)
    offset = converter.OFFSET_CODES.most
    return (min(low) - offset, max(low) + offset), (min(high) - offset, max(high) + offset)


def clear_of_steps_codes(chip: str) -> float:
    """How far the worst resting code of any input stays from the nearest known step of a chip's converter."""
    return min(
        min(abs(step - low), abs(step - high)) if not low <= step <= high else 0.0
        for low, high in map(bias_range_codes, OFFSET_GAINS)
        for step in converter.STEPS_CODES[chip]
    )


def ripple_codes(ripple_mv: float, frequency_hz: float) -> float:
    """What a ripple on the board's 3.3 V (peak) leaves at a quiet input, in codes peak.

    The reference follows it through its filter; the bias, held by Cv1, does
    not, so the code of the bias moves. The amplifiers' supply is filtered and rejected far more than that.
    """
    turns = 2.0 * math.pi * frequency_hz * converter.REFERENCE_OHM.nominal * converter.REFERENCE_F
    through = 1.0 / math.hypot(1.0, turns)
    nominal = rails()
    return ripple_mv * 1e-3 * through / nominal.reference_v * nominal.bias_code
