"""The two microphones that the front end is laid out for, and what their data sheets say.

A figure without a document that was read says so: it is from memory, with a range wide enough to cover that, and the
first board's calibration is what counts.
"""

from dataclasses import dataclass

from curbtick_wire.classes import CLASSES

from curbtick.hardware.components import Figure, figure

CLASSES_HZ = tuple(float(row["centre_hz"]) for row in CLASSES)
# Where a microphone's response is stated; in between it is interpolated.
SHAPE_HZ = (40e3, 48e3, 58e3, 68e3)
_MEMORY = "from memory"
_FIRST_SHEET = (
    "MP23ABS1 data sheet, DocID031167 Rev 6, October 2020, page 1 (its audio sister; own sheet not read)"
)
_SECOND_SHEET = "SPU0410LR5H-1 data sheet, Revision D, 1/26/2014, sheet 2"


@dataclass(frozen=True)
class Microphone:
    """An analogue microphone.

    sensitivity_db: output at 1 Pa, 1 kHz, in dBV; noise_db: A-weighted noise below 1 Pa in dB; overload_db: sound
    pressure level in dB of 10 % distortion; load_min_ohm: the least load of its test conditions; output_ohm: its own
    resistance; supply_ma; shape_db: response over that at 1 kHz at SHAPE_HZ; shape_spread_db: half the range that
    each of these may have from part to part and from mounting to mounting; gain_stage: whether M amplifies;
    plug_mm: the felt before it that keeps the loudest sensor 6 dB below its overload (tests.bench.chain).
    """

    name: str
    maker: str
    sensitivity_db: Figure
    noise_db: Figure
    overload_db: Figure
    load_min_ohm: Figure
    output_ohm: Figure
    supply_ma: Figure
    supply_low_v: Figure
    supply_high_v: Figure
    shape_db: tuple[float, float, float, float]
    shape_spread_db: float
    shape_source: str
    gain_stage: bool
    plug_mm: float


FIRST = Microphone(
    name="IMP23ABSU",
    maker="STMicroelectronics",
    sensitivity_db=figure(-38.0, -39.0, -37.0, _FIRST_SHEET),
    noise_db=figure(64.0, 62.0, 65.0, f"{_FIRST_SHEET}: 64 dB typical; the range {_MEMORY}"),
    overload_db=figure(130.0, 128.0, 131.0, f"{_FIRST_SHEET}: 130 dB typical at 1 kHz; the range {_MEMORY}"),
    load_min_ohm=figure(3000.0, 3000.0, 3000.0, f"{_MEMORY}; taken as the other maker's"),
    output_ohm=figure(380.0, 300.0, 460.0, _MEMORY),
    supply_ma=figure(0.12, 0.10, 0.15, f"{_FIRST_SHEET}: 150 uA maximum; typical {_MEMORY}"),
    supply_low_v=figure(1.52, 1.52, 1.52, _FIRST_SHEET),
    supply_high_v=figure(3.6, 3.6, 3.6, _FIRST_SHEET),
    shape_db=(0.0, 0.0, 0.0, 0.0),
    shape_spread_db=6.0,
    shape_source="bandwidth up to 80 kHz: UM3098 Rev 1, May 2023; no curve was found, so the whole range is left open",
    gain_stage=False,
    plug_mm=18.0,
)

SECOND = Microphone(
    name="SPU0410LR5H",
    maker="Knowles",
    sensitivity_db=figure(
        -38.0, -39.0, -37.0, f"{_SECOND_SHEET}: -39 minimum, -38 typical; upper end {_MEMORY}"
    ),
    noise_db=figure(63.0, 61.0, 64.0, f"{_SECOND_SHEET}: 63 dB(A) typical; the range {_MEMORY}"),
    overload_db=figure(
        115.0, 115.0, 118.0, f"{_MEMORY}; 115 dB stands in SPA2410LR5H-B, Revision D, 5/20/2013"
    ),
    load_min_ohm=figure(3000.0, 3000.0, 3000.0, f"{_SECOND_SHEET}: test condition above 3 kohm"),
    output_ohm=figure(380.0, 300.0, 460.0, f"{_MEMORY}: 400 ohm maximum"),
    supply_ma=figure(0.12, 0.10, 0.16, f"{_SECOND_SHEET}: 120 uA typical; maximum of SPA2410LR5H-B"),
    supply_low_v=figure(1.5, 1.5, 1.5, _SECOND_SHEET),
    supply_high_v=figure(3.6, 3.6, 3.6, f"{_SECOND_SHEET}: overload stated at 3.6 V"),
    shape_db=(3.0, 0.0, -4.0, -3.0),
    shape_spread_db=4.0,
    shape_source=(
        "a peak near 23 kHz and a wide dip near 60 kHz: makecahoots.net, page on this microphone, read as text; "
        "the figures from memory"
    ),
    gain_stage=True,
    plug_mm=26.5,
)

MICROPHONES = (FIRST, SECOND)
