"""An update of the seal and hiss meters: how long it listens, and the bar that it moves."""

from curbtick_wire import sampling

# Blocks of one update: 48 * 1024 samples, 5.086 updates a second.
BLOCKS = 48
UPDATE_US = BLOCKS * sampling.BLOCK_US
UPDATE_TENTHS_MS = UPDATE_US // 100

# The bar's LEDs, and the level that one of them stands for.
LEDS = 12
LED_CDB = 300

# Sections are numbered from 1; after the last number comes 1 again.
SECTION_NUMBER_MAX = 99
