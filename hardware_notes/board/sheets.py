"""What stands where on the schematic's sheets, in units of 2 mm.

The wiring is drawn, not taken from the table: readback.py compares the two.
"""

from curbtick.hardware import nets, pins
from curbtick.hardware.nets import AGND, AMPLIFIERS, BIAS, GND, MICROPHONE, RAIL, REFERENCE

from hardware_notes.board import symbols
from hardware_notes.board.sheet import Sheet


def _filter(sheet: Sheet, stage: str, letter: str, x: float, y: float) -> None:
    """A multiple-feedback stage: its input at (x, y), its output at (x + 32, y + 2)."""
    r1, r2, r3, c1, c2 = (f"{kind}{letter}{place}" for kind, place in ("R1", "R2", "R3", "C1", "C2"))
    sheet.part(r1, (x, y))
    sheet.wire((x + 6, y), (x + 8, y), (x + 10, y))
    sheet.wire((x + 8, y), (x + 8, y + 2))
    sheet.part(c1, (x + 8, y + 2), "d")
    sheet.tag(AGND, (x + 8, y + 8), "d")
    sheet.part(r3, (x + 10, y))
    sheet.wire((x + 16, y), (x + 18, y), (x + 22, y))
    sheet.wire((x + 8, y), (x + 8, y - 12), (x + 14, y - 12))
    sheet.part(r2, (x + 14, y - 12))
    sheet.wire((x + 20, y - 12), (x + 32, y - 12), (x + 32, y - 6), (x + 32, y + 2))
    sheet.wire((x + 18, y), (x + 18, y - 6), (x + 19, y - 6))
    sheet.part(c2, (x + 19, y - 6))
    sheet.wire((x + 25, y - 6), (x + 32, y - 6))
    sheet.amplifier(stage, (x + 22, y))
    sheet.wire((x + 22, y + 4), (x + 20, y + 4), (x + 20, y + 8))
    sheet.tag(BIAS, (x + 20, y + 8), "d")
    sheet.wire((x + 30, y + 2), (x + 32, y + 2))
    sheet.dot((x + 8, y), (x + 18, y), (x + 32, y - 6), (x + 32, y + 2))


def _gain(sheet: Sheet, stage: str, names: tuple[str, str, str], x: float, y: float) -> None:
    """A gain stage: + input at (x, y), output at (x + 12, y + 2); names: of Rg, Rf, Cg."""
    rg, rf, cg = names
    sheet.amplifier(stage, (x, y), plus_on_top=True)
    sheet.wire((x, y + 4), (x - 2, y + 4), (x - 9, y + 4), (x - 9, y + 6))
    sheet.part(rg, (x - 9, y + 6), "d")
    sheet.wire((x - 9, y + 12), (x - 9, y + 13))
    sheet.part(cg, (x - 9, y + 13), "d")
    sheet.tag(AGND, (x - 9, y + 19), "d")
    sheet.wire((x - 2, y + 4), (x - 2, y + 9), (x + 1, y + 9))
    sheet.part(rf, (x + 1, y + 9))
    sheet.wire((x + 7, y + 9), (x + 12, y + 9), (x + 12, y + 2))
    sheet.wire((x + 8, y + 2), (x + 12, y + 2))
    sheet.dot((x - 2, y + 4), (x + 12, y + 2))


def low() -> Sheet:
    """Microphone, stage M and the low chain."""
    sheet = Sheet("low", "1  Microphone, stage M and the low chain: A1, A2, B")
    wires = (("1", MICROPHONE), ("2", AGND), ("3", "MIC"))
    for ref, x in (("MK1", 14.0), ("J1", 32.0)):
        sheet.symbol(
            ref, symbols.box(((("1", "VDD"), ("2", "GND"), ("3", "OUT")), ()), 10, 4).turned("r", (x, 16))
        )
        sheet.note((x + 2, 12.6), f"{ref} {nets.instance(ref).value}")
        for number, net in wires:
            sheet.tag(net, (x, 16 + 4 * (int(number) - 1)), "l")
    sheet.part("D4", (48, 16), "d")
    sheet.tag("MIC", (48, 16), "u")
    sheet.tag(AGND, (48, 22), "d")
    sheet.tag(AMPLIFIERS, (64, 16), "l")
    sheet.part("Rs2", (64, 16))
    sheet.wire((70, 16), (74, 16), (84, 16), (90, 16))
    sheet.tag(MICROPHONE, (90, 16), "r")
    for ref, x in (("Cs4", 74.0), ("Cs5", 84.0)):
        sheet.part(ref, (x, 16), "d")
        sheet.tag(AGND, (x, 22), "d")
    sheet.dot((74, 16), (84, 16))
    sheet.tag("MIC", (8, 44), "l")
    sheet.part("Cm", (8, 44))
    sheet.wire((14, 44), (16, 44), (34, 44))
    sheet.wire((16, 44), (16, 47))
    sheet.part("Rm", (16, 47), "d")
    sheet.tag(BIAS, (16, 53), "d")
    sheet.dot((16, 44))
    _gain(sheet, "M", ("Rn1", "Rn2", "Cn1"), 34, 44)
    sheet.wire((46, 46), (50, 46))
    sheet.tag("M", (50, 46), "u")
    sheet.part("Cl", (50, 46))
    sheet.wire((56, 46), (58, 46))
    _filter(sheet, "A1", "a", 58, 46)
    sheet.wire((90, 48), (98, 48))
    _filter(sheet, "A2", "b", 98, 48)
    sheet.wire((130, 50), (134, 50))
    sheet.tag("BOUT", (134, 50), "r")
    sheet.tag("BOUT", (62, 74), "l")
    sheet.wire((62, 74), (76, 74))
    _gain(sheet, "B", ("Rg1", "Rf1", "Cg1"), 76, 74)
    sheet.wire((88, 76), (94, 76))
    sheet.tag("GOUT", (94, 76), "r")
    sheet.note((8, 78), "With the first microphone: Rn1 and Cn1 left out,")
    sheet.note((8, 80), "Rn2 a wire. With the second: all three fitted.")
    _package(sheet, "U2", "Cs2", 122, 74)
    return sheet


def _package(sheet: Sheet, ref: str, capacitor: str, x: float, y: float) -> None:
    """The supply pins of a package and their capacitor."""
    sheet.symbol(ref, symbols.box(((("4", "V+"), ("11", "V-")), ()), 10, 6).turned("r", (x, y)))
    sheet.note((x + 2, y - 3.6), f"{ref} {nets.instance(ref).value}")
    sheet.tag(AMPLIFIERS, (x, y), "u")
    sheet.tag(AGND, (x, y + 6), "d")
    sheet.wire((x, y), (x - 10, y))
    sheet.part(capacitor, (x - 10, y), "d")
    sheet.wire((x - 10, y + 6), (x, y + 6))


def high() -> Sheet:
    """The high chain."""
    sheet = Sheet("high", "2  The high chain: H1, F1, F2, H2")
    sheet.tag("M", (8, 36), "l")
    sheet.part("Ch", (8, 36))
    sheet.wire((14, 36), (16, 36))
    sheet.part("Rh1", (16, 36))
    sheet.wire((22, 36), (24, 36), (28, 36))
    sheet.wire((24, 36), (24, 26), (28, 26))
    sheet.part("Rh2", (28, 26))
    sheet.wire((34, 26), (38, 26), (38, 38))
    sheet.amplifier("H1", (28, 36))
    sheet.wire((28, 40), (26, 40), (26, 44))
    sheet.tag(BIAS, (26, 44), "d")
    sheet.wire((36, 38), (38, 38), (46, 38))
    sheet.dot((24, 36), (38, 38))
    _filter(sheet, "F1", "c", 46, 38)
    sheet.wire((78, 40), (92, 40))
    _filter(sheet, "F2", "d", 92, 40)
    sheet.wire((124, 42), (130, 42))
    sheet.tag("DOUT", (130, 42), "r")
    sheet.tag("DOUT", (30, 68), "l")
    sheet.wire((30, 68), (40, 68))
    _gain(sheet, "H2", ("Rg2", "Rf2", "Cg2"), 40, 68)
    sheet.wire((52, 70), (58, 70))
    sheet.tag("EOUT", (58, 70), "r")
    _package(sheet, "U3", "Cs3", 90, 70)
    return sheet


def outputs() -> Sheet:
    """Output resistors, clamps, bias and supply filter."""
    sheet = Sheet("outputs", "3  Outputs to the converter, bias, supply filter")
    for place, (driver, net) in enumerate((("BOUT", "PADDED"), ("GOUT", "LOW"), ("EOUT", "HIGH")), start=1):
        y = 8.0 + 22.0 * place - 8.0
        sheet.tag(driver, (14, y), "l")
        sheet.part(f"Ro{place}", (14, y))
        sheet.wire((20, y), (26, y), (36, y), (50, y))
        sheet.part(f"Co{place}", (26, y), "d")
        sheet.tag(AGND, (26, y + 6), "d")
        sheet.part(f"D{place}", (36, y))
        sheet.tag(RAIL, (40, y - 6), "u")
        sheet.tag(AGND, (40, y + 6), "d")
        sheet.tag(net, (50, y), "r")
        sheet.dot((26, y), (36, y))
    _bias(sheet)
    for ref, x in (("J3", 124.0), ("J4", 139.0)):
        rows = tuple((str(place), "") for place in range(1, 7))
        sheet.symbol(ref, symbols.box((rows, ()), 8, 4).turned("r", (x, 24)))
        sheet.note((x - 2, 20.4), f"{ref} {'front end' if ref == 'J3' else 'controller'}")
        for row, net in enumerate(nets.CABLE):
            sheet.tag(net, (x, 24 + 4 * row), "l")
    sheet.note((112, 52), "One cable of six wires, pin to pin.")
    return sheet


def _bias(sheet: Sheet) -> None:
    sheet.tag(REFERENCE, (72, 20), "u")
    sheet.part("Rv1", (72, 20), "d")
    sheet.wire((72, 26), (72, 30), (72, 32))
    sheet.part("Rv2", (72, 32), "d")
    sheet.tag(AGND, (72, 38), "d")
    sheet.wire((72, 30), (86, 30), (97, 30), (106, 30))
    for ref, x in (("Cv1", 86.0), ("Cv2", 97.0)):
        sheet.wire((x, 30), (x, 32))
        sheet.part(ref, (x, 32), "d")
        sheet.tag(AGND, (x, 38), "d")
    sheet.tag(BIAS, (106, 30), "r")
    sheet.dot((72, 30), (86, 30), (97, 30))
    sheet.tag(RAIL, (72, 62), "l")
    sheet.part("Rs1", (72, 62))
    sheet.wire((78, 62), (84, 62), (94, 62))
    sheet.part("Cs1", (84, 62), "d")
    sheet.tag(AGND, (84, 68), "d")
    sheet.tag(AMPLIFIERS, (94, 62), "r")
    sheet.dot((84, 62))


def power() -> Sheet:
    """Cells, fuse, switch, P-FET and the controller board."""
    sheet = Sheet("power", "4  Cells, P-FET and the controller board")
    sheet.tag(GND, (12, 36), "d")
    sheet.part("BT1", (12, 30), "d")
    sheet.wire((12, 30), (12, 26), (14, 26))
    sheet.part("F1", (14, 26))
    sheet.wire((20, 26), (24, 26))
    sheet.part("S1", (24, 26))
    sheet.wire((30, 26), (34, 26))
    sheet.tag("BATT", (32, 26), "u")
    sheet.dot((32, 26))
    sheet.part("Q1", (34, 26))
    sheet.wire((43, 26), (50, 26), (56, 26))
    sheet.tag("VSYS", (56, 26), "r")
    sheet.part("Cq1", (50, 26), "d")
    sheet.tag(GND, (50, 32), "d")
    sheet.wire((38.5, 31), (38.5, 34), (38.5, 38))
    sheet.wire((38.5, 34), (32, 34))
    sheet.tag("VBUS", (32, 34), "l")
    sheet.part("Rq1", (38.5, 38), "d")
    sheet.tag(GND, (38.5, 44), "d")
    sheet.dot((50, 26), (38.5, 34))
    sheet.note((8, 54), "Drain to the cells, source to VSYS: the body diode can never charge them.")
    sheet.note((8, 56), "The cable's 5 V at the gate switches the cells off.")
    _controller(sheet, 96, 16)
    return sheet


def _controller(sheet: Sheet, x: float, y: float) -> None:
    part = nets.instance("U1")
    named = tuple((pin.number, pin.name) for pin in pins.PINS["controller"])
    pitch = 3.7
    sides = (named[:20], tuple(reversed(named[20:])))
    sheet.symbol("U1", symbols.box(sides, 24, pitch).turned("r", (x, y)))
    sheet.note((x + 4, y - 2.6), "U1 controller board, from above, USB at the top")
    for side, (numbers, direction) in enumerate(zip(sides, "lr", strict=True)):
        for row, (number, _) in enumerate(numbers):
            place = (x + 24.0 * side, y + pitch * row)
            net = part.net(number)
            if net == nets.FREE:
                sheet.free(place)
            else:
                sheet.tag(net, place, direction)


def panel() -> Sheet:
    """LEDs, buttons, beeper, serial connector."""
    sheet = Sheet("panel", "5  Bar, buttons, beeper, serial connector")
    for led in range(1, nets.LEDS + 1):
        column, row = (led - 1) % 6, (led - 1) // 6
        x, y = 10.0 + 22.0 * column, 18.0 + 24.0 * row
        sheet.tag(f"BAR_{led}", (x, y), "u")
        sheet.part(f"Rl{led}", (x, y), "d")
        sheet.wire((x, y + 6), (x, y + 8))
        sheet.part(f"LED{led}", (x, y + 14), "u")
        sheet.tag(GND, (x, y + 14), "d")
    for place, (ref, net) in enumerate((("S2", "READ"), ("S3", "STEP"))):
        sheet.tag(net, (14 + 30 * place, 76), "l")
        sheet.part(ref, (14 + 30 * place, 76))
        sheet.wire((20 + 30 * place, 76), (23 + 30 * place, 76))
        sheet.tag(GND, (23 + 30 * place, 76), "d")
    sheet.tag("BEEPER", (76, 76), "l")
    sheet.part("Rz1", (76, 76))
    sheet.wire((82, 76), (84, 76))
    sheet.part("BZ1", (84, 76))
    sheet.wire((90, 76), (93, 76))
    sheet.tag(GND, (93, 76), "d")
    sheet.symbol(
        "J2", symbols.box(((("1", "GND"), ("2", "TX"), ("3", "RX")), ()), 12, 4).turned("r", (112, 74))
    )
    sheet.note((114, 70.6), "J2 serial header, optional")
    for row, net in enumerate((GND, "UART_TX", "UART_RX")):
        sheet.tag(net, (112, 74 + 4 * row), "l")
    return sheet


def sheets() -> tuple[Sheet, ...]:
    """All sheets in their order."""
    return low(), high(), outputs(), power(), panel()
