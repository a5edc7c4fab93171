"""`curbtick study`: plan and evaluate a repeatability study."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.errors import InputError
from curbtick.fleet import readings
from curbtick.limits import study
from curbtick.limits.study import Appraiser, Component, Levels, Share
from curbtick.store.history import open_store

group = typer.Typer(
    help="A repeatability study: several technicians, sensors, repeats.", no_args_is_help=True
)
Plan = Annotated[Path, typer.Argument(help="The study's CSV file.")]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="study")


@group.command("plan")
def plan(
    out: Plan,
    technician: Annotated[list[str], typer.Option(help="A technician; give it for each.")],
    part: Annotated[
        list[str], typer.Option(help="A sensor and its truth, such as A=pass or B=dead; for each.")
    ],
    trials: Annotated[int, typer.Option(help="How often each reads each.")] = 3,
    seed: Annotated[int, typer.Option(help="Order of the runs.")] = 1,
    as_json: Json = False,
) -> None:
    """Plan a study: the order in which who reads what, as CSV."""
    output = Output(as_json)
    rows = study.plan(technician, _parts(part), trials, seed)
    try:
        study.write_plan(rows, out)
    except OSError as error:
        raise InputError(
            f"{out} cannot be written: {error.strerror}.", "Nothing was planned.", "Name another file."
        ) from error
    output.say(f"Wrote {len(rows)} runs to {out}. Read them in this order, then `curbtick study fill`.")
    output.done({"runs": len(rows), "plan": str(out)})


def _parts(words: list[str]) -> dict[str, str]:
    parts = {}
    for word in words:
        name, _, truth = word.partition("=")
        if truth not in study.TRUTHS or not name:
            raise InputError(
                f"{word} names no part and truth.",
                "Nothing was planned.",
                "Write it as A=pass, B=weak or C=dead.",
            )
        parts[name] = truth
    return parts


@group.command("fill")
def fill(
    file: Plan,
    first: Annotated[str, typer.Argument(help="The study's first reading, such as a1b2c3-17.")],
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Fill the plan's runs with the readings that were taken in its order, from the first one on; a reading
    that was taken again counts once, by its last.
    """
    output = Output(as_json)
    rows = study.read_plan(file)
    with open_store(db) as store, store.read() as connection:
        start = readings.by_ref(connection, first)
        fresh = readings.from_seq(connection, start, len(rows))
    for row, reading in zip(rows, fresh, strict=False):
        level = "" if reading.level_db is None else f"{reading.level_db:.2f}"
        row.update(reading=reading.ref, verdict=reading.verdict, level_db=level)
    study.write_plan(rows, file)
    left = len(rows) - len(fresh)
    output.say(f"Filled {len(fresh)} runs" + (f"; {left} have no reading yet." if left else "."))
    output.done({"filled": len(fresh), "empty": left})


@group.command("evaluate")
def evaluate(file: Plan, as_json: Json = False) -> None:
    """Evaluate a filled study: kappa, effectiveness, misses, false alarms, and the level's variance
    components.
    """
    output = Output(as_json)
    evaluation = study.evaluate(*study.read_runs(file))
    output.table(
        ("technician", "kappa", "effectiveness", "misses", "false alarms", "agrees with himself"),
        [
            (
                a.technician,
                _number(a.kappa),
                _share(a.effectiveness),
                _share(a.miss),
                _share(a.false_alarm),
                _share(a.repeats),
            )
            for a in evaluation.appraisers
        ],
        f"{evaluation.runs} runs, 95 % Wilson intervals",
    )
    for pair, value in evaluation.between.items():
        output.say(f"kappa between {pair}: {_number(value)}")
    if evaluation.levels is not None:
        _show_levels(output, evaluation.levels)
    for note in evaluation.notes:
        output.say(note)
    good = all(_meets(a) for a in evaluation.appraisers)
    output.say(
        "Every technician meets the usual marks." if good else "Not every technician meets the usual marks."
    )
    output.done({**asdict(evaluation), "meets_marks": good})
    if not good:
        raise typer.Exit(1)


def _meets(appraiser: Appraiser) -> bool:
    """Marks commonly quoted from the AIAG manual, from memory."""
    return (
        (appraiser.kappa or 0) > study.KAPPA_GOOD
        and (appraiser.effectiveness.value or 0) >= study.EFFECTIVENESS_GOOD
        and (appraiser.miss.value or 0) <= study.MISS_GOOD
        and (appraiser.false_alarm.value or 0) <= study.FALSE_ALARM_GOOD
    )


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _share(share: Share) -> str:
    if share.value is None:
        return "-"
    return f"{100 * share.value:.1f} % ({100 * share.low_share:.1f} to {100 * share.high_share:.1f})"


def _show_levels(output: Output, levels: Levels) -> None:
    def words(component: Component) -> str:
        return f"{component.sigma_db:.3f} dB ({component.low_db:.3f} to {component.high_db:.3f})"

    rows = [
        ("repeatability", words(levels.repeatability)),
        ("technicians", words(levels.technician)),
        ("technician and part", words(levels.interaction)),
        ("parts", words(levels.part)),
        ("gauge in all", f"{levels.gauge_db:.3f} dB"),
    ]
    title = f"{levels.parts} parts x {levels.technicians} technicians x {levels.trials} trials"
    output.table(("variance component", "standard deviation, 95 %"), rows, title)
