"""The sheet a technician carries."""

from curbtick_wire import names

from curbtick.dates import when
from curbtick.fleet.rounds import Round
from curbtick.fleet.vehicles import Bumper
from curbtick.report.pages.frame import ENVIRONMENT


def round_sheet(round_: Round) -> str:
    """The round sheet as a page for the printer: bar numbers, vehicles, what their bumpers carry."""
    rows = [
        {
            "place": place,
            "name": vehicle.name,
            "type": vehicle.type,
            **{word: fitted_words(vehicle.bumper(number)) for number, word in enumerate(names.BUMPERS)},
        }
        for place, vehicle in enumerate(round_.vehicles, 1)
    ]
    return ENVIRONMENT.get_template("round.html").render(
        number=round_.number,
        name=round_.name,
        technician=round_.technician,
        made=when(round_.made_ms),
        rows=rows,
    )


def fitted_words(bumper: Bumper) -> str:
    """What a bumper carries."""
    if not bumper.positions:
        return "no sensors"
    return f"{bumper.positions} x {f'{bumper.class_khz} kHz' if bumper.class_khz else 'custom class'}"
