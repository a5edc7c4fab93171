"""Whether the bar can be read in the sun: the light of a lit LED against what its surroundings throw back.

Luminance of a matt surface in daylight: reflectance times illuminance over pi. Of an LED seen along its axis:
luminous intensity over the area of its end. Contrast: (lit + thrown back) over (thrown back).
"""

import math
from dataclasses import dataclass

from hardware_notes.case import dimensions as d

# Full sun on a surface that faces it, and the open sky without the sun (common practice).
SUN_LX = 100_000.0
SKY_LX = 20_000.0

# A diffused, coloured LED that is off (from memory), and the strip before it: its two faces throw back 4 % each
# (Fresnel, refractive index 1.5).
LED_REFLECTANCE = 0.30
STRIP_TRANSMISSION = 0.92

# In the hood's shade 6:1 is the least for a display (NUREG-0700 revision 3, contrast ratio); with the sun straight on
# the bar 3:1, the least for a graphic (WCAG 2.2, success criterion 1.4.11).
CONTRAST_SHADE_LEAST, CONTRAST_SUN_LEAST = 6.0, 3.0

# What an LED of the bar must send towards the eye at the bar's current: a condition of the parts list.
LED_ASKED_CD = 0.15


@dataclass(frozen=True)
class Shade:
    """How the hood shades the bar. from_nose_deg: the sun's lowest height, before the nose, at which it still reaches
    the LEDs; from_side_deg: the same from the side, for the middle of the bar.
    """

    from_nose_deg: float
    from_side_deg: float


def shade() -> Shade:
    """The hood's shade, from the window's top up to the hood's edge."""
    depth = d.HOOD_HIGH + d.WINDOW_THICK
    across = d.WINDOW_Z / 2
    return Shade(math.degrees(math.atan2(depth, across)), math.degrees(math.atan2(depth, d.WINDOW_X / 2)))


def thrown_back_cd_m2(illuminance_lx: float, reflectance: float) -> float:
    """Luminance of a matt surface under an illuminance."""
    return reflectance * illuminance_lx / math.pi


def led_cd_m2(intensity_cd: float) -> float:
    """Luminance of a lit LED through the strip."""
    area_m2 = math.pi * (d.LED_RADIUS / d.MM) ** 2
    return STRIP_TRANSMISSION * intensity_cd / area_m2


def contrast(intensity_cd: float, illuminance_lx: float) -> float:
    """A lit LED against the same LED unlit: telling on from off is what the bar asks of the eye."""
    off = thrown_back_cd_m2(illuminance_lx, LED_REFLECTANCE) * STRIP_TRANSMISSION**2
    return (led_cd_m2(intensity_cd) + off) / off


def intensity_least_cd(least_contrast: float, illuminance_lx: float) -> float:
    """The luminous intensity, towards the eye, that just gives a contrast."""
    off = thrown_back_cd_m2(illuminance_lx, LED_REFLECTANCE) * STRIP_TRANSMISSION**2
    return (least_contrast - 1.0) * off * math.pi * (d.LED_RADIUS / d.MM) ** 2 / STRIP_TRANSMISSION
