"""The limit set, the round and the calibration: what the bench sends to the probe.

Same field form as records.py. Each is a table of fields, one of which counts the rows of another table that
follow: a limit set is LIMIT_SET, then one LIMIT_CLASS for each class; a round is ROUND, then one ROUND_VEHICLE for
each vehicle; a calibration is CALIBRATION, then one CALIBRATION_GAIN for each class and input.
"""

from curbtick_wire.records import NONE_U32

# The factory classes, and room for more: so many fit a message and a probe's memory.
CLASSES_MAX = 12

LIMIT_SET = (
    ("revision", "I", 1, NONE_U32 - 1),
    ("class_count", "B", 1, CLASSES_MAX),
    ("noise_max_cdb", "h", -9000, 0),
    ("battery_min_mv", "H", 2000, 6000),
    ("below_siblings_cdb", "h", 300, 3000),
    ("high_floor_min_cdb", "h", -9000, 0),
    ("high_floor_max_cdb", "h", -9000, 0),
    ("seal_leak_cdb", "h", 100, 9000),
    ("hiss_rise_cdb", "h", 50, 3000),
)

LIMIT_CLASS = (
    ("class_khz", "B", 0, 80),
    ("centre_hz", "I", 30000, 80000),
    ("window_hz", "H", 500, 20000),
    ("pass_cdb", "h", -6000, 0),
    ("dead_cdb", "h", -6000, 0),
    ("neighbour_cdb", "h", -9000, 0),
    ("interval_min_ms", "H", 10, 1000),
    ("interval_max_ms", "H", 10, 1000),
    ("missing_permille", "H", 50, 900),
    ("ringdown_min_us", "H", 0, 20000),
    ("ringdown_max_us", "H", 50, 20000),
    ("burst_max_us", "H", 100, 20000),
)

# A neighbour of 40 kHz reaches this in the collar: a lower dead limit would hear it for the sensor itself.
DEAD_LEAST_CDB = -3800
# A microphone that is not there leaves the amplifiers' and the converter's own noise on the high input: -53.5 dBFS, and
# within all tolerances at most -53.0.
LIVE_LEAST_CDB = -5200

ROUND = (
    ("round_id", "I", 1, NONE_U32),
    ("vehicle_count", "B", 1, 60),
)

ROUND_VEHICLE = (
    ("vehicle", "B", 1, 99),
    ("rear_positions", "B", 0, 6),
    ("rear_class_khz", "B", 0, 80),
    ("front_positions", "B", 0, 6),
    ("front_class_khz", "B", 0, 80),
)

# A class and an input each have one gain at most.
GAINS_MAX = 3 * CLASSES_MAX

CALIBRATION = (
    ("revision", "H", 1, 65535),
    ("host_time_s", "I", 1, NONE_U32),
    ("uncertainty_cdb", "H", 0, 3000),
    ("gain_count", "B", 1, GAINS_MAX),
)

CALIBRATION_GAIN = (
    ("class_khz", "B", 0, 80),
    ("input", "B", 0, 2),
    ("gain_cdb", "h", 0, 20000),
)

# The set a probe judges by until a bench sends another: revision 1, for the standard front end of hardware_notes.
# The classes of it are those of classes.py.
FACTORY_REVISION = 1
FACTORY_SET = {
    "revision": FACTORY_REVISION,
    "noise_max_cdb": -3000,
    "battery_min_mv": 3300,
    "below_siblings_cdb": 800,
    "high_floor_min_cdb": -5000,
    "high_floor_max_cdb": -1000,
    "seal_leak_cdb": 2400,
    "hiss_rise_cdb": 50,
}
