"""What is bought and put in, as plain bodies in the probe's axes: enough to see and to check that it fits."""

from build123d import Align, Box, Part, Pos, Rot

from hardware_notes.case import dimensions as d
from hardware_notes.case.assembly import in_shell, on_axis
from hardware_notes.case.collar import FRONT_Z
from hardware_notes.case.shapes import UPWARDS, ring, rod
from hardware_notes.case.shell import RIGHT, along

MIDDLE = (Align.CENTER, Align.CENTER, Align.MIN)


def _tube(inner: float, outer: float, low: float, high: float) -> Part:
    return ring([(inner, low), (outer, low), (outer, high), (inner, high)])


def rim_felt() -> Part:
    """The felt rim, pressed."""
    return on_axis(0) * _tube(d.FREE_RADIUS, d.RIM_OUTER_RADIUS, 0.0, FRONT_Z)


def lining() -> Part:
    """The felt that lines the tube."""
    return on_axis(0) * _tube(d.FREE_RADIUS, d.TUBE_RADIUS, FRONT_Z, d.PLUG_FRONT_Z)


def plug() -> Part:
    """The felt plug before the microphone."""
    return on_axis(d.PLUG_FRONT_Z) * rod(d.TUBE_RADIUS, d.PLUG_BACK_Z - d.PLUG_FRONT_Z)


def microphone() -> Part:
    """The microphone's board, its sound port flush with the spigot's end."""
    wide, thick = d.MICROPHONE_BOARD, d.MICROPHONE_BOARD_THICK
    return on_axis(d.END_Z) * Box(wide, wide, thick, align=UPWARDS)


def _board(y: float) -> Part:
    board = Box(d.BOARD_X, d.BOARD_Z, d.BOARD_THICK, align=MIDDLE)
    return in_shell(y) * Pos(0, along(d.BOARDS_Z + d.BOARD_Z / 2), 0) * board


def lower_board() -> Part:
    """The front end's board."""
    return _board(d.LOWER_BOARD_Y)


def upper_board() -> Part:
    """The board of controller and bar, with its notch for the cable's plug."""
    x = RIGHT * (d.BOARD_X - d.CONTROLLER_INSET) / 2
    notch = Box(d.CONTROLLER_INSET, d.NOTCH_WIDE, 2 * d.BOARD_THICK, align=MIDDLE)
    place = in_shell(d.UPPER_BOARD_Y - d.BOARD_THICK / 2) * Pos(x, along(d.USB_PORT_Z), 0)
    return _board(d.UPPER_BOARD_Y) - place * notch


def lower_parts() -> Part:
    """The room that the front end's parts may fill."""
    room = Box(d.BOARD_X, d.BOARD_Z - 1.0, d.LOWER_PARTS_HIGH, align=MIDDLE)
    return in_shell(d.LOWER_BOARD_Y + d.BOARD_THICK) * Pos(0, along(d.BOARDS_Z + d.BOARD_Z / 2), 0) * room


def controller() -> Part:
    """The controller with its USB socket towards the right wall."""
    board = Box(d.CONTROLLER_LONG, d.CONTROLLER_WIDE, d.CONTROLLER_THICK, align=MIDDLE)
    deep = 6.0
    socket_x = RIGHT * (d.CONTROLLER_LONG / 2 + d.USB_OVERHANG - deep / 2)
    socket = Pos(socket_x, 0, d.CONTROLLER_THICK) * Box(deep, 8.0, d.USB_HIGH, align=MIDDLE)
    x = RIGHT * ((d.BOARD_X - d.CONTROLLER_LONG) / 2 - d.CONTROLLER_INSET)
    return in_shell(d.UPPER_BOARD_Y + d.BOARD_THICK) * Pos(x, along(d.USB_PORT_Z), 0) * (board + socket)


def leds() -> Part:
    """The twelve LEDs, raised on their legs to the window."""
    row = Part()
    for place in range(d.LEDS):
        x = (place - (d.LEDS - 1) / 2) * d.LED_PITCH
        row += Pos(x, along(d.BAR_Z), 0) * rod(d.LED_RADIUS, d.LED_HIGH)
    return in_shell(d.LED_TIP_Y - d.LED_HIGH) * row


def window() -> Part:
    """The clear strip over the bar."""
    strip = Box(d.WINDOW_X - 0.6, d.WINDOW_Z - 0.6, d.WINDOW_THICK, align=MIDDLE)
    return in_shell(d.TOP_Y - d.WINDOW_THICK) * Pos(0, along(d.BAR_Z), 0) * strip


def _button(side: int) -> Part:
    body = Pos(0, 0, -d.BUTTON_DEEP) * rod(d.BUTTON_HOLE_RADIUS - 0.1, d.BUTTON_DEEP + d.PLATE)
    nut = Pos(0, 0, -3.0) * rod(d.BUTTON_NUT_RADIUS, 3.0)
    actuator = Pos(0, 0, d.PLATE) * rod(d.ACTUATOR_RADIUS, d.CAP_TRAVEL + d.ACTUATOR_HIGH)
    return in_shell(d.PLATE_Y) * Pos(side * d.BUTTON_X, along(d.BUTTON_Z), 0) * (body + nut + actuator)


def read_button() -> Part:
    """READ, at the right."""
    return _button(RIGHT)


def step_button() -> Part:
    """STEP, at the left."""
    return _button(-RIGHT)


def cells() -> Part:
    """Three cells in their holder."""
    holder = Box(d.HOLDER_X, d.HOLDER_Z, d.HOLDER_Y, align=MIDDLE)
    return in_shell(d.HOLDER_TAPE) * Pos(0, along(d.BAY_Z + d.BAY / 2), 0) * holder


def beeper() -> Part:
    """The piezo disc behind its slots in the left wall."""
    disc = rod(d.BEEPER_RADIUS, 0.6)
    place = Pos(-RIGHT * (d.INNER_X / 2 - 0.6), along(d.BEEPER_Z), d.SWITCH_Y) * Rot(0, 90, 0)
    return in_shell(0.0) * place * disc


BOUGHT = {
    "rim felt": rim_felt,
    "lining": lining,
    "felt plug": plug,
    "microphone board": microphone,
    "front-end board": lower_board,
    "front-end parts": lower_parts,
    "controller board": upper_board,
    "controller": controller,
    "LEDs": leds,
    "window": window,
    "READ button": read_button,
    "STEP button": step_button,
    "cells": cells,
    "beeper": beeper,
}
