"""The operational amplifier of the front end: two packages of four, OPA4322 or its like.

Sheets: OPA322, OPA2322, OPA4322, SBOS538F, January 2011, revised December 2016 (first page and specifications).
"""

from curbtick.hardware.components import figure

_SHEET = "OPA4322 data sheet SBOS538F, page 1"
_MEMORY = "from memory"

COUNT = 8
NOISE_NV_PER_RT_HZ = figure(
    8.5, 7.0, 8.5, f"{_SHEET}: 8.5 nV per root Hz at 1 kHz, taken for all frequencies"
)
SUPPLY_MA = figure(1.5, 1.3, 1.9, f"{_SHEET}: 1.5 mA a channel; the range {_MEMORY}")
OFFSET_MV = figure(0.0, -2.0, 2.0, f"{_SHEET}: 2 mV maximum")
SWING_MV = figure(
    30.0,
    10.0,
    80.0,
    f"distance of the output from each rail at 1 to 3 kohm of load; {_MEMORY}, to be measured",
)
SLEW_V_PER_US = figure(10.0, 8.0, 12.0, f"{_SHEET}: 10 V per us; the range {_MEMORY}")
GBW_TOLERANCE_SHARE = 0.40
DC_GAIN = 1e6
SUPPLY_LOW_V, SUPPLY_HIGH_V = 1.8, 5.5
