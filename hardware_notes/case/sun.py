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

# A matt black wall; a diffused, coloured LED that is off, behind a clear strip; a strip's two mirrored faces (from
# memory: 4 % each for a refractive index of 1.5, Fresnel).
WALL_REFLECTANCE = 0.05
LED_REFLECTANCE = 0.30
STRIP_TRANSMISSION = 0.92

# 6:1 is the least for a display, 10:1 is preferred (NUREG-0700 revision 3, contrast ratio).
CONTRAST_LEAST = 6.0

# The technician looks along the case, from behind, at this angle off the bar's normal.
LOOK_DEG = 30.0


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


def intensity_least_cd(illuminance_lx: float) -> float:
    """The luminous intensity, towards the eye, that just gives the contrast."""
    off = thrown_back_cd_m2(illuminance_lx, LED_REFLECTANCE) * STRIP_TRANSMISSION**2
    return (CONTRAST_LEAST - 1.0) * off * math.pi * (d.LED_RADIUS / d.MM) ** 2 / STRIP_TRANSMISSION
