"""The collar's dimensions, once, and what stands around it."""

from curbtick.air import REFERENCE_SOUND_M_S
from curbtick.hardware.microphones import FIRST

LENGTH_M = 0.050
BORE_RADIUS_M = 0.020
LINING_M = 0.005
RIM_WIDTH_M = 0.010
WALL_M = 0.002
WALL_KG_PER_M3 = 1050.0

# Felt that is sold by its flow resistivity, ISO 9053-1; the plug before the microphone (as long
# as the first one asks for), the lining and the rim.
FELT_RESISTIVITY = 100_000.0
FELT_TOLERANCE = 0.20
PLUG_M = FIRST.plug_mm * 1e-3
GAP_M = 0.001

# A closed-face sensor: 14 mm face, at least 115 dB re 20 uPa at 30 cm, siblings 40 cm apart (common
# practice).
FACE_RADIUS_M = 0.007
SENSOR_DB_SPL = 115.0
SENSOR_DISTANCE_M = 0.30
NEIGHBOUR_M = 0.40

AIR_KG_PER_M3 = 1.204
SOUND_M_PER_S = REFERENCE_SOUND_M_S
