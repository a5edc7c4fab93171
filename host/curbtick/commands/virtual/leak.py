"""`curbtick leak`: the flow through a hole, for comparison."""

from typing import Annotated

import typer

from curbtick.commands.output import Json, Output
from curbtick.sound import leak_flow

FLOW_CAUTION = "An order of magnitude for comparison; the hiss check measures no flow."


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("leak")(leak)


def leak(
    hole_mm: Annotated[float, typer.Argument(help="Diameter of the hole in mm.", min=0.001, max=50.0)],
    bar: Annotated[float, typer.Argument(help="Pressure over the atmosphere in bar.", min=0.0, max=400.0)],
    jet_share: Annotated[
        float, typer.Option(help="Share of the hole that the jet fills.", min=0.05, max=1.0)
    ] = 0.65,
    as_json: Json = False,
) -> None:
    """Say what a hole of this size loses at this pressure, by the formula of choked flow."""
    output = Output(as_json)
    hole = leak_flow.Hole(hole_mm / 1e3, jet_share)
    mass_kg_s = leak_flow.mass_flow_kg_s(hole, bar * 1e5)
    choked = leak_flow.is_choked(bar * 1e5)
    litres = leak_flow.free_air_l_min(mass_kg_s)
    output.say(f"{litres:.3g} l/min of free air ({'choked' if choked else 'not choked'}). {FLOW_CAUTION}")
    output.done(
        {
            "hole_mm": hole_mm,
            "gauge_bar": bar,
            "jet_share": jet_share,
            "choked": choked,
            "mass_kg_s": mass_kg_s,
            "free_air_l_min": litres,
            "molar_mol_s": leak_flow.molar_flow_mol_s(mass_kg_s),
        }
    )
