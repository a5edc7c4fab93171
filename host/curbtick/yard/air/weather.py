"""Weather of a yard: what the air does to sound, drawn at random."""

import numpy as np

from curbtick.yard.air.acoustics import Air


def random_air(random: np.random.Generator) -> Air:
    """Draw a day's air: -10 to 40 degrees Celsius, 20 to 95 % relative humidity, 95 to 104 kPa."""
    return Air(
        temperature_c=float(random.uniform(-10.0, 40.0)),
        humidity_percent=float(random.uniform(20.0, 95.0)),
        pressure_kpa=float(random.uniform(95.0, 104.0)),
    )
