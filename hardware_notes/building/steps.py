"""The steps of building, in order. A mistake names the word of the self-test that shows it, or another sign."""

from dataclasses import dataclass, field

from curbtick.hardware import converter
from curbtick.hardware.values import SUPPLY

from hardware_notes.case import dimensions as d

# What BIAS rests at while a bench supply stands on both the rail and the reference: the divider's share of it.
FIRST_BIAS_V = converter.RAIL_V.nominal * SUPPLY["Rv2"].si / (SUPPLY["Rv1"].si + SUPPLY["Rv2"].si)


@dataclass(frozen=True)
class Mistake:
    """What can go wrong in a step. word: of the self-test, or empty; sign: how it shows when the self-test cannot."""

    what: str
    word: str = ""
    sign: str = ""


@dataclass(frozen=True)
class Step:
    """One step. picture: a file of the notes; minutes: for a first build; parts: names of the parts list."""

    title: str
    picture: str
    minutes: int
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    do: tuple[str, ...]
    mistakes: tuple[Mistake, ...]
    cautions: tuple[str, ...] = field(default=())


STEPS = (
    Step(
        "Print",
        "pictures/case/printed.svg",
        20,
        ("filament", "collar", "nose", "shell", "lid", "door", "cap", "stopper"),
        ("printer with a bed of 200 mm and a nozzle of 0.4 mm", "caliper"),
        (
            "`pip install '.[solids]'`, then `python -m hardware_notes.case --out parts` writes an "
            "STL and a STEP file of each part. Measure your boards, buttons and cell holder first: their "
            "sizes stand in [dimensions.py](case/dimensions.py).",
            "Each part lies in its file as it is printed: no support, layers of 0.2 mm, three wall lines, "
            "30 % infill; the collar and the nose with five wall lines.",
            "Two caps; a second collar is worth having as the dry spare.",
        ),
        (
            Mistake("the wrong filament: PLA", sign="the shell is bent after a day in a hot cab"),
            Mistake(
                "the bayonet's grooves are full of strings",
                sign="the collar does not turn home without force",
            ),
        ),
        ("ASA smells and its fumes irritate: print in a closed, aired printer.",),
    ),
    Step(
        "Press the inserts in",
        "pictures/case/inserts.svg",
        15,
        ("M2.5 inserts", "M3 inserts", "M4 inserts"),
        ("soldering iron with a blunt tip at 240 degrees C",),
        (
            "M2.5 into the four posts of the floor, M3 into the four corner columns and the nose's back, "
            "M4 into the two columns beside the cells.",
            "Stop when an insert is flush; press the last half millimetre with something flat and cold.",
        ),
        (Mistake("an insert stands proud", sign="the lid does not lie on its seal all round"),),
        ("The iron and the insert burn; hold the part in a vice.",),
    ),
    Step(
        "Solder the front end",
        "pictures/case/boards.svg",
        240,
        (
            "perfboard",
            "resistors and capacitors",
            "amplifier, four in a package",
            "clamp",
            "suppressor",
            "adapters",
            "board connectors",
            "wire",
            "solder, flux, sleeves",
        ),
        ("soldering iron", "side cutter", "multimeter", "wrist strap", "bench supply with a limit of 50 mA"),
        (
            "Place and solder by [board.md](board.md), parts by [parts.md](parts.md): adapters with their chips, then "
            "what lies flat, then what stands, then the wires, each taken off the list. AGND comes from the "
            "controller's pad 33 through the board cable and touches no other ground.",
            f"Nothing stands higher than {d.LOWER_PARTS_HIGH:g} mm above the board, nothing lower than "
            f"{d.BOARD_STANDOFF - 1:g} mm below it.",
            "Before power, no continuity between BIAS and AGND, and AVDD and AGND.",
            "Without the controller, 3.3 V from the bench supply between J3's AGND and **both** 3V3 and ADC_VREF: "
            "without the reference there is no bias. The board draws 10 to 16 mA; BIAS and each output rest at "
            f"{FIRST_BIAS_V:.2f} V within 20 mV.",
        ),
        (
            Mistake("a bridge of solder from BIAS to AGND, or a clamp the wrong way round", "bias"),
            Mistake("AGND joined to the controller's ground at a second place", "low_floor"),
            Mistake("no solder at an ADC pad", "low_floor"),
        ),
        ("Static kills the inputs: strap on.", "No flux fumes in the face: extraction or an open window."),
    ),
    Step(
        "Solder the controller board",
        "wiring.svg",
        120,
        ("perfboard", "controller", "LEDs", "resistors and capacitors", "P-FET", "adapters", "wire", "cable"),
        ("soldering iron", "multimeter", "file"),
        (
            f"The LEDs stand in row {d.BAR_ROW + 1} from the nose, every second hole, on legs: their tips "
            f"{d.LED_TIP_Y - d.UPPER_BOARD_Y - d.BOARD_THICK:.1f} mm above the board. A strip of card of "
            "that height sets them all.",
            f"The controller lies flat on the board, its USB socket to the right, {d.CONTROLLER_INSET:.1f} mm behind "
            f"the edge, its middle {d.BOARD_Z - d.CONTROLLER_MIDDLE_Z:.1f} mm from the board's rear edge. File a notch "
            f"{d.NOTCH_WIDE:g} mm wide and {d.CONTROLLER_INSET:.1f} mm deep before the socket, between the rows of "
            "pads: the cable's plug goes through it.",
            "Wire by [board.md](board.md); nothing from the cells to VBUS. The six wires to the front end are soldered "
            "into J4's holes: a plug there does not fit below the lid.",
            "The P-FET's **drain is towards the cells**, its source at VSYS, its gate at VBUS. Measure before the "
            "cells go in: from the cells' plus to VSYS a diode's drop (about 0.6 V), the other way open.",
            "Put MicroPython 1.28 or newer on the controller: its UF2 file, BOOTSEL held while plugging in.",
        ),
        (
            Mistake("an LED the wrong way round", sign="it stays dark in the bar's first pattern"),
            Mistake("a diode in place of the P-FET, or the P-FET turned round", "battery"),
            Mistake("another MicroPython build", "rate"),
            Mistake("a worn or full controller", "flash"),
            Mistake("ADC_VREF loaded or shorted, or the probe left in the sun", "temperature"),
        ),
        ("A P-FET that is turned round charges the cells from USB: measure before the cells go in.",),
    ),
    Step(
        "Nose and microphone",
        "pictures/case/nose.svg",
        30,
        (
            "microphone",
            "microphone's board",
            "resistors and capacitors",
            "soft foam",
            "mesh",
            "cable",
            "M3 screws",
        ),
        ("screwdriver", "tweezers"),
        (
            "Cs5 at the microphone's supply, on its small board.",
            "Foam into the square seat, the microphone's board on it, its sound port outwards and flush "
            "with the nose's end: a straight edge across shows it.",
            "The cable through the hole, with a loop of slack: a taut cable carries knocks. Mesh over the "
            "port, glued outside the port's hole only.",
            "Four screws from inside the shell, with washers.",
        ),
        (
            Mistake("the microphone's port faces inwards, or its cable is open", "microphone"),
            Mistake("glue in the port", "microphone"),
            Mistake("a deaf microphone whose floor is right by chance", "beeper"),
            Mistake(
                "the board touches the nose without foam", sign="RETRY, `noisy`, when the case is tapped"
            ),
        ),
        ("Never blow compressed air or solder heat into a microphone's port.",),
    ),
    Step(
        "Boards into the shell",
        "pictures/case/in_shell.svg",
        20,
        ("M2.5 spacers and screws",),
        ("screwdriver",),
        (
            "Front end below, on the posts; spacers; controller board above. Foam washers under the lower "
            "board keep knocks out.",
            "The microphone's cable to the front end, away from the controller's inductor.",
        ),
        (
            Mistake("a wire pinched between post and board", "bias"),
            Mistake("the microphone's cable beside the beeper's or over the controller", "low_floor"),
        ),
    ),
    Step(
        "Lid: window and buttons",
        "pictures/case/lid.svg",
        30,
        ("window", "buttons", "silicone", "foam tape"),
        ("spanner", "soldering iron"),
        (
            "Silicone into the recess, the window in, a weight on it overnight.",
            "READ at the right, behind the ridge; STEP at the left. Nuts by hand and a quarter turn. A cap "
            "on each actuator.",
            "Foam tape on the shell's rim, its ends butted at the rear.",
        ),
        (
            Mistake("a button's two wires shorted, or a cap that jams in its guard", "buttons"),
            Mistake("READ and STEP swapped", sign="the first press moves on instead of reading"),
        ),
    ),
    Step(
        "Cells, switch and beeper",
        "pictures/case/bay.svg",
        30,
        ("cells", "fuse", "power switch", "beeper", "wire", "solder, flux, sleeves", "M4 screws", "silicone"),
        ("soldering iron", "multimeter"),
        (
            "The disc flat behind its slots, mesh between; the switch in its hole at the right; the holder "
            "on tape in its bay, its wires through the notch, silicone around them.",
            "Fuse in the lead at the holder's plus, in a sleeve. Cells in, cable out: VSYS 3.3 to 4.4 V, 3V3 at 3.3 V, "
            "ADC_VREF 3.2 to 3.3 V, BIAS 1.61 to 1.71 V. Compare the current idle with "
            "[power.md](power.md). Then the cable in, a meter in the cells' lead: less than 10 uA, either way.",
        ),
        (
            Mistake("cells flat, a bad contact, or one cell turned round", "battery"),
            Mistake("the disc loose, its 100 ohm missing, or its slots covered", "beeper"),
        ),
        (
            "Three NiMH cells give amperes into a short: the fuse comes first. Never four cells.",
            "Lithium only with its protection, and never charged unattended or below 0 degrees C.",
        ),
    ),
    Step(
        "Felt into the collar",
        "pictures/case/felts.svg",
        30,
        ("felt",),
        ("sharp knife", "ruler", "contact glue"),
        (
            f"Plug: a disc of {2 * d.TUBE_RADIUS:.0f} mm, {d.PLUG_BACK_Z - d.PLUG_FRONT_Z:.1f} mm thick "
            "(layers, not glued on their faces), in from behind until its back lies where the nose's ring "
            "will press it.",
            f"Lining: a strip of {d.TUBE_RADIUS - d.FREE_RADIUS:.0f} mm felt, "
            f"{d.PLUG_FRONT_Z - d.RIM_PRESSED:.0f} mm wide, glued in up to the plug.",
            f"Rim: a ring from {2 * d.FREE_RADIUS:.0f} to {2 * d.RIM_OUTER_RADIUS:.0f} mm, glued on the "
            f"flange; pressed it is {d.RIM_PRESSED:g} mm thick.",
            "Write the collar's weight inside it: weighed again it tells how wet it is ([case.md](case.md)).",
        ),
        (
            Mistake("glue on the plug's faces", sign="every sensor reads low, at 68 kHz more than at 40"),
            Mistake("plug forgotten", sign="every sensor is RETRY, `clipped`, or reads far too high"),
        ),
    ),
    Step(
        "Close, and put the collar on",
        "pictures/case/bayonet.svg",
        10,
        ("collar", "stopper"),
        ("screwdriver", "coin"),
        (
            "Lid on with four M3 screws, cell door with a coin, stopper into the USB slot.",
            "Collar on, a turn to the right until it snaps; it must not turn back by itself.",
        ),
        (Mistake("the collar is not home", sign="it wobbles, and every sensor reads low"),),
    ),
    Step(
        "Install and test",
        "pictures/case/whole.svg",
        15,
        (),
        ("computer with USB",),
        (
            "`pip install '.[install]'`, plug in, `curbtick install`. It compiles, copies beside "
            "the version in force, verifies every file on the board, restarts, greets and reads the "
            "self-test's result. `--back` returns to the version before. On a probe that runs already it "
            "asks to hold both buttons while plugging in: that is the way to MicroPython's prompt at any "
            "time.",
            "Readings in `/probe` stay. Yet MicroPython's own start formats the storage when it cannot "
            "mount it: what was not pulled is then gone, so pull first.",
            "Pair with the bench: hold STEP while switching on.",
        ),
        (
            Mistake("a noisy charger in place of the computer", "low_floor"),
            Mistake(
                "no answer after the installation",
                sign="hold both buttons, plug in, `curbtick install --back`",
            ),
        ),
    ),
    Step(
        "Calibrate",
        "pictures/case/section_long.svg",
        30,
        (),
        ("a new sensor of the class, driven", "sharp knife"),
        (
            "A vehicle known to be sound, or a function generator with the pulses of the class. Read it "
            "ten times, taking the probe off in between. The median belongs at the level in "
            "[frontend.md](frontend.md); the spread (a deviation below 0.5 dB) is the seat's.",
            "Too high in any class: a plug of 0.5 mm more (1 dB at 48 kHz), until the class that reads highest reads "
            "as the page says. Never a shorter plug than the list's: what reads too low is corrected by number, else "
            "loud sensors overload the microphone.",
            "With a calibrated measuring microphone at hand: 94 dB SPL at 20 kHz, collar off, gives the "
            "bench the probe's dBFS to dB SPL.",
            "Press both buttons twice: the self-test's record is the probe's own baseline (bias, both floors).",
        ),
        (Mistake("a plug shorter than the list's", sign="loud sensors read `clipped` or too low"),),
    ),
)
