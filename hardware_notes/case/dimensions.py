"""Every dimension of the case, once, in mm.

The collar's come from `hardware_notes.collar.geometry`, where the acoustics are computed. The axes: z along the
collar, 0 at the bumper's surface and growing towards the hand; x to the technician's right; y up, towards the bar,
0 at the inner face of the shell's floor. Sizes of bought parts name their source or say that they are from memory;
check those with a caliper before printing.
"""

from hardware_notes.board import footprints
from hardware_notes.collar import geometry as collar

MM = 1000.0

# How it is printed: a nozzle of 0.4 mm, so walls of three lines or more; slopes up to 45 degrees need no support
# (common practice). Our own slopes keep a margin: this many mm up for each mm outwards, 42 degrees.
NOZZLE = 0.4
WALL_LEAST = 3 * NOZZLE
SLOPE = 1.1
OVERHANG_MAX_DEG = 45.0
BED_Z = 0.05

# Gaps: for what slides or turns, for what is put in by hand, and for what is only to stay clear.
GAP_TURNING = 0.30
GAP_PLACED = 0.50
GAP_CLEAR = 0.80

# The collar, from the bumper to the seat on the nose.
FREE_RADIUS = collar.BORE_RADIUS_M * MM
TUBE_RADIUS = FREE_RADIUS + collar.LINING_M * MM
TUBE_OUTER_RADIUS = TUBE_RADIUS + collar.WALL_M * MM
RIM_OUTER_RADIUS = FREE_RADIUS + collar.RIM_WIDTH_M * MM
RIM_PRESSED = 4.0
FLANGE = 3.0
PLUG_FRONT_Z = collar.LENGTH_M * MM
PLUG_BACK_Z = PLUG_FRONT_Z + collar.PLUG_M * MM
END_Z = PLUG_BACK_Z + collar.GAP_M * MM
SPIGOT = 10.0
SEAT_Z = END_Z + SPIGOT
PLUG_RING = 2.0

# The bayonet. Heights are counted from the seat towards the bumper.
LUGS = 3
LUG_DEG = 24.0
TURN_DEG = 32.0
SPIGOT_RADIUS = TUBE_RADIUS - GAP_TURNING
LUG_REACH = 2.0
LUG_LOW, LUG_HIGH = 2.5, 6.5
GROOVE_RADIUS = SPIGOT_RADIUS + LUG_REACH + 0.4
GROOVE_AXIAL_GAP = 0.25
SOCKET_OUTER_RADIUS = GROOVE_RADIUS + 2.4
SOCKET = 10.0
DETENT_RADIUS = 1.2
DETENT_BITE = 0.3

# The nose. Its disc is what the collar's end rests on.
NOSE_RADIUS = RIM_OUTER_RADIUS
NOSE_DISC = 5.0
NOSE_BACK_Z = SEAT_Z + NOSE_DISC
NOSE_SCREW_X, NOSE_SCREW_Y = 16.5, 9.5
MICROPHONE_BOARD = 16.0
MICROPHONE_BOARD_THICK = 1.6
MICROPHONE_FOAM = 1.5
CABLE_HOLE_RADIUS = 5.0

# The two boards, each a perfboard of the common size 50 x 70 mm, 18 x 24 holes of 2.54 mm (common practice), lying
# across; one above the other on spacers. The front end is the lower one.
BOARD_X, BOARD_Z, BOARD_THICK = 70.0, 50.0, 1.6
HOLE_PITCH = footprints.PITCH_MM
BOARD_HOLES_X, BOARD_HOLES_Z = footprints.COLUMNS, footprints.ROWS
BOARD_SCREW_X, BOARD_SCREW_Z = 66.0, 46.0
BOARD_STANDOFF = 5.0
BOARD_SPACER = 12.0
LOWER_PARTS_HIGH = 10.0
UPPER_PARTS_HIGH = 6.0

# The controller: 51 x 21 mm, 1 mm thick, the USB socket over one short edge, two rows of pads 17.78 mm apart
# (Raspberry Pi Pico data sheet, chapter 2, mechanical specification).
CONTROLLER_LONG, CONTROLLER_WIDE, CONTROLLER_THICK = 51.0, 21.0, 1.0
USB_HIGH = 2.8

# Where the board's holes put the controller: its short edge with the socket behind the board's right edge, its middle
# before the board's rear edge. The cable's plug (overmould at most 10.6 x 8.5 mm, from memory) reaches the socket
# through a notch in the board, between the two rows of pads.
_FIRST_HOLE_X = (BOARD_X - (BOARD_HOLES_X - 1) * HOLE_PITCH) / 2
_FIRST_HOLE_Z = (BOARD_Z - (BOARD_HOLES_Z - 1) * HOLE_PITCH) / 2
_LAST_PAD = footprints.CONTROLLER_HOLE[0] + footprints.CONTROLLER_PADS - 1
_PAD_TO_EDGE = (CONTROLLER_LONG - (footprints.CONTROLLER_PADS - 1) * HOLE_PITCH) / 2
CONTROLLER_INSET = BOARD_X - _FIRST_HOLE_X - _LAST_PAD * HOLE_PITCH - _PAD_TO_EDGE
CONTROLLER_MIDDLE_Z = (
    _FIRST_HOLE_Z + (footprints.CONTROLLER_HOLE[1] + footprints.CONTROLLER_ROWS / 2) * HOLE_PITCH
)
NOTCH_WIDE = 12.0
PLUG_WIDE, PLUG_HIGH = 10.6, 8.5

# The shell.
WALL = 3.0
FLOOR = 3.0
CORNER = 6.0
INNER_X = BOARD_X + 2 * 0.6
INNER_Y = 29.0
OUTER_X = INNER_X + 2 * WALL
FRONT_INNER_Z = NOSE_BACK_Z + WALL
BOARDS_Z = FRONT_INNER_Z + 9.0
BUTTON_ZONE = 30.0
PARTITION = 2.4
PARTITION_Z = BOARDS_Z + BOARD_Z + BUTTON_ZONE
BAY_Z = PARTITION_Z + PARTITION
BAY = 59.6
REAR_INNER_Z = BAY_Z + BAY
REAR_Z = REAR_INNER_Z + WALL
COLUMN = {"M3": 8.0, "M4": 9.6}
NOSE_Y = (INNER_Y + FLOOR + 1.0) / 2 - FLOOR + 1.5

# Brass inserts pressed in hot: hole and depth (common practice for M2.5, M3 and M4).
INSERT_RADIUS = {"M2.5": 1.75, "M3": 2.0, "M4": 2.8}
INSERT_DEEP = {"M2.5": 4.5, "M3": 6.0, "M4": 8.5}
SCREW_RADIUS = {"M2.5": 1.4, "M3": 1.7, "M4": 2.2}
HEAD_RADIUS = {"M2.5": 2.5, "M3": 3.1, "M4": 4.2}

# The covers: foam tape on the shell's rim, then the plate.
GASKET = 1.0
PLATE = 3.0
COVER_GAP = 0.4
LID_SCREW_Z = (FRONT_INNER_Z + COLUMN["M3"] / 2, PARTITION_Z - COLUMN["M3"] / 2)
DOOR_SCREW_Z = BAY_Z + BAY / 2

# The bar: twelve LEDs of 3 mm, two holes apart, in the board's third row from the nose.
LEDS = 12
LED_PITCH = 2 * HOLE_PITCH
LED_RADIUS = 1.5
LED_HIGH = 5.3
BAR_ROW = 2
BAR_Z = BOARDS_Z + _FIRST_HOLE_Z + BAR_ROW * HOLE_PITCH
BAR_SLOT_X = (LEDS - 1) * LED_PITCH + 2 * LED_RADIUS + 1.0
BAR_SLOT_Z = 2 * LED_RADIUS + 0.8
WINDOW_THICK = 1.5
WINDOW_X, WINDOW_Z = BAR_SLOT_X + 4.0, BAR_SLOT_Z + 5.0
HOOD_HIGH, HOOD_WALL = 9.0, 2.0

# The buttons: sealed, for a panel hole of 12 mm; 20 mm deep behind the panel (from memory).
BUTTON_X = 17.0
BUTTON_Z = (BOARDS_Z + BOARD_Z + PARTITION_Z) / 2 - 1.0
BUTTON_HOLE_RADIUS = 6.1
BUTTON_DEEP = 20.0
BUTTON_NUT_RADIUS = 8.0
ACTUATOR_RADIUS, ACTUATOR_HIGH = 4.5, 4.0
CAP_RADIUS, CAP_HIGH = 10.0, 6.0
CAP_TRAVEL = 1.5
GUARD_RADIUS, GUARD_WALL, GUARD_HIGH = 12.0, 2.0, 5.0

# A glove's finger needs a button of 19 mm, and 13 mm between the edges of two (MIL-STD-1472E, section 5.4.3.1.3.3
# and table VII).
GLOVE_BUTTON_LEAST, GLOVE_BETWEEN_LEAST = 19.0, 13.0

# Three AA cells of at most 14.5 x 50.5 mm (IEC 60086-2, size R6; from memory) in an open holder (from memory).
HOLDER_X, HOLDER_Y, HOLDER_Z = 48.0, 16.0, 58.0
HOLDER_TAPE = 1.0

# In the right wall: the USB socket's slot, open to the rim so that nothing hangs, its stopper, and the power switch.
USB_PORT_Z, USB_PORT_WIDE, USB_PORT_BELOW = BOARDS_Z + CONTROLLER_MIDDLE_Z, 13.0, 4.5
STOPPER_GAP, STOPPER_DEEP, STOPPER_LIP, STOPPER_LIP_THICK = 0.2, 1.5, 2.5, 1.6
USB_OVERHANG = 1.3
SWITCH_RADIUS, SWITCH_Y = 3.2, 15.0

# In the left wall: the beeper's slots, the disc behind them.
BEEPER_SLOTS, BEEPER_SLOT_WIDE, BEEPER_SLOT_HIGH = 3, 2.0, 10.0
BEEPER_RADIUS = 10.0
BEEPER_Z = BOARDS_Z + BOARD_Z + BEEPER_RADIUS + 1.0

LOWER_BOARD_Y = BOARD_STANDOFF
UPPER_BOARD_Y = LOWER_BOARD_Y + BOARD_THICK + BOARD_SPACER
LED_TIP_Y = INNER_Y - GAP_PLACED
PLATE_Y = INNER_Y + GASKET
TOP_Y = PLATE_Y + PLATE
USB_Y = UPPER_BOARD_Y + BOARD_THICK + CONTROLLER_THICK + USB_HIGH / 2

# ASA: it stands the sun in a vehicle's window and the weather (glass transition near 100 degrees C; from memory).
MATERIAL = "ASA"
MATERIAL_KG_PER_M3 = 1070.0

# The printed parts: how each lies on the printer's bed, and how many.
LIES = {
    "collar": "flange down",
    "nose": "disc down",
    "shell": "floor down",
    "lid": "inner face down",
    "door": "inner face down",
    "cap": "top down",
    "stopper": "lip down",
}
COPIES = {name: 2 if name == "cap" else 1 for name in LIES}
