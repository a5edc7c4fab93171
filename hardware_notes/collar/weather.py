"""Rain, dust and wear in the collar: what they take off the level, and which verdict that makes of a sound sensor.

Water in the felt leaves less way for the air: relative permeability of the gas by Corey (1954), (1 - S)^2 (1 - S^2)
at a saturation S of the pores (from memory). Dust does the same to the porosity: Kozeny and Carman, permeability as
porosity^3 / (1 - porosity)^2 (GEOS documentation, Kozeny-Carman permeability model). The felt's flow resistivity grows
by the inverse, and `felt` gives the loss. Water that stands on the felt as a film is a mass: its transmission is that
of a fluid layer by transfer matrix.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from curbtick.hardware.microphones import CLASSES_HZ
from scipy.optimize import brentq

from hardware_notes.collar import felt
from hardware_notes.collar import geometry as collar

# Wool felt of this density: porosity is 1 - felt over fibre (fibre 1310 kg/m3; both from memory).
FELT_KG_PER_M3 = 200.0
WOOL_KG_PER_M3 = 1310.0
POROSITY = 1.0 - FELT_KG_PER_M3 / WOOL_KG_PER_M3

WATER_KG_PER_M3 = 998.0
WATER_M_PER_S = 1482.0

# Beyond this the formula leaves its range (rho f / sigma below 0.01); by then no level is left to speak of.
SATURATION_MOST = 0.70
DUST_KG_PER_M3 = 2650.0


@dataclass(frozen=True)
class Loss:
    """What a state of the collar takes off a sound sensor's level, by class. what: the state; loss_db: by class."""

    what: str
    loss_db: tuple[float, ...]


def wet_factor(saturation: float) -> float:
    """How many times the flow resistivity grows when water fills a share of the pores (0 to below 1)."""
    return 1.0 / ((1.0 - saturation) ** 2 * (1.0 - saturation**2))


def dusty_factor(dust_share: float) -> float:
    """How many times the flow resistivity grows when dust fills a share of the pores (0 to below 1)."""
    left = POROSITY * (1.0 - dust_share)
    return (POROSITY**3 / (1.0 - POROSITY) ** 2) / (left**3 / (1.0 - left) ** 2)


def more_loss_db(factor: float, frequency_hz: float) -> float:
    """What the plug takes beyond its own loss when its flow resistivity is so many times its own."""
    one = np.array([frequency_hz])
    dense = felt.attenuation_db(one, resistivity=factor * collar.FELT_RESISTIVITY)
    return float((dense - felt.attenuation_db(one))[0])


def film_loss_db(film_m: float, frequency_hz: float) -> float:
    """Loss of a film of water across the way, air on both sides (a fluid layer, normal incidence; Kinsler & Frey)."""
    ratio = WATER_KG_PER_M3 * WATER_M_PER_S / (collar.AIR_KG_PER_M3 * collar.SOUND_M_PER_S)
    phase = 2.0 * math.pi * frequency_hz / WATER_M_PER_S * film_m
    power = math.cos(phase) ** 2 + 0.25 * (ratio + 1.0 / ratio) ** 2 * math.sin(phase) ** 2
    return 10.0 * math.log10(power)


def _by_class(what: str, loss_db: Callable[[float], float]) -> Loss:
    return Loss(what, tuple(loss_db(hz) for hz in CLASSES_HZ))


def _filled(what: str, share: float, factor: float) -> Loss:
    return _by_class(f"{what} in {share:.0%} of the plug's pores", partial(more_loss_db, factor))


def losses() -> list[Loss]:
    """The states that a day in the yard brings, each with its loss by class."""
    wet = [_filled("water", share, wet_factor(share)) for share in (0.1, 0.2, 0.4, 0.6)]
    dusty = [_filled("dust", share, dusty_factor(share)) for share in (0.01, 0.03, 0.1)]
    films = [
        _by_class(f"a film of water of {um} um over the plug", partial(film_loss_db, um * 1e-6))
        for um in (10, 100)
    ]
    return [*wet, *dusty, *films]


def saturation_for(loss_db: float, frequency_hz: float) -> float:
    """The share of the pores that water fills when the plug loses so many dB more. Raises ValueError beyond range."""
    result: float = brentq(
        lambda s: more_loss_db(wet_factor(s), frequency_hz) - loss_db, 0.0, SATURATION_MOST
    )
    return result


def _pores_m3() -> float:
    return POROSITY * math.pi * (collar.BORE_RADIUS_M + collar.LINING_M) ** 2 * collar.PLUG_M


def water_g(saturation: float) -> float:
    """The water that is in the plug's pores then."""
    return saturation * _pores_m3() * WATER_KG_PER_M3 * 1000.0


def dust_g(dust_share: float) -> float:
    """The dust (quartz) that is in the plug's pores then."""
    return dust_share * _pores_m3() * DUST_KG_PER_M3 * 1000.0
