"""`curbtick limits`: show, compare, fit to the fleet, send."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from curbtick.commands.output import Db, Json, Output, write_text
from curbtick.commands.probe.probes import Port
from curbtick.dates import DAY_MS, now_ms
from curbtick.errors import InputError
from curbtick.exchange.send import send_limits
from curbtick.fleet.probes import health
from curbtick.limits import effect, fit, sets
from curbtick.limits.sets import LimitSet
from curbtick.link.client import connect
from curbtick.numbers import LARGEST, whole
from curbtick.report.pages.fit import fit_page
from curbtick.report.pages.limits import difference_words
from curbtick.store.history import open_store

# Fifty years: longer than a history is kept.
DAYS_MAX = 18_250
group = typer.Typer(help="Limit sets: what the probe judges by.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="limits")


@group.command("show")
def show(
    revision: Annotated[
        int | None, typer.Argument(help="The newest when left out.", show_default=False, min=1, max=LARGEST)
    ] = None,
    all_: Annotated[bool, typer.Option("--all", help="List every stored set.")] = False,
    out: Annotated[Path | None, typer.Option(help="Write the set as text.", show_default=False)] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Show a limit set; --out writes it as text that `limits send FILE` takes back."""
    output = Output(as_json)
    with open_store(db) as store, store.read() as connection:
        if all_:
            found = list(sets.all_sets(connection).values())
        else:
            found = [sets.load(connection, revision)]
    for limit_set in found:
        _show(output, limit_set)
    if out is not None:
        write_text(out, sets.to_toml(found[-1]))
        output.say(f"Wrote {out}.")
    output.done({"sets": found})


def _show(output: Output, limit_set: LimitSet) -> None:
    output.table(
        ("class", "pass from", "dead below", "neighbour below", "centre", "window", "interval"),
        [
            (
                row["class_khz"] or "custom",
                f"{row['pass_cdb'] / 100:.1f} dB",
                f"{row['dead_cdb'] / 100:.1f} dB",
                f"{row['neighbour_cdb'] / 100:.1f} dB",
                f"{row['centre_hz'] / 1000:.1f} kHz",
                f"±{row['window_hz'] / 1000:.1f} kHz",
                f"{row['interval_min_ms']}-{row['interval_max_ms']} ms",
            )
            for row in limit_set["classes"]
        ],
        f"Limits, revision {limit_set['revision']}, levels in dBFS",
    )


@group.command("fit")
def fit_(
    risk: Annotated[float, typer.Option(help="Accepted risk of a false PASS at the limit.")] = 0.01,
    days: Annotated[int, typer.Option(help="How far back to look.", min=1, max=DAYS_MAX)] = 365,
    page: Annotated[
        Path | None, typer.Option(help="Write the fit with its plots.", show_default=False)
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="Store the proposal as the next revision.")] = False,
    accept: Annotated[
        list[int] | None,
        typer.Option(
            help="With --save: store this class although it is held back; once for each class.",
            metavar="CLASS",
            show_default=False,
        ),
    ] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Propose limits for each class from the fleet's own history, with the measurement's uncertainty in
    them.
    """
    output = Output(as_json)
    with open_store(db) as store:
        with store.read() as connection, output.progress("Fitting"):
            proposal = fit.of_fleet(connection, now_ms() - days * DAY_MS, risk)
            doubts = _doubts(connection, proposal)
        accepted = _accepted(proposal, accept or [], save=save)
        if page is not None:
            write_text(page, fit_page(proposal, doubts))
            output.say(f"Wrote {page}.")
        _show_fit(output, proposal)
        for doubt in doubts:
            output.say(doubt)
        saved = _save(store, proposal, accepted) if save else None
    if saved is not None:
        output.say(f"Stored as revision {saved['revision']}; `curbtick limits send` puts it on a probe.")
    elif save:
        output.say("Nothing was stored: what is proposed changes nothing.")
    output.done(
        {
            **asdict(proposal),
            "doubts": doubts,
            "proposed_classes": [row.class_khz for row in proposal.classes if row.is_proposed],
            "held_back_classes": [row.class_khz for row in proposal.classes if row.held],
            "accepted_classes": accepted,
            "saved_revision": None if saved is None else saved["revision"],
        }
    )


def _accepted(proposal: fit.Fit, accept: list[int], *, save: bool) -> list[int]:
    """The held back classes that are to be stored all the same. Raises InputError for any other."""
    held = {row.class_khz for row in proposal.classes if row.held}
    if accept and not save:
        raise InputError(
            "--accept says which classes to store.", "Nothing was stored.", "Give --save as well."
        )
    for class_khz in accept:
        if class_khz not in held:
            raise InputError(
                f"Class {class_khz} is not held back.",
                "Nothing was stored.",
                "Leave --accept out for it; a class with too few sensors cannot be accepted.",
            )
    return sorted(set(accept))


def _doubts(connection: Any, proposal: fit.Fit) -> list[str]:
    """What is to be said against the probes whose readings a fit rests on."""
    return [
        f"Probe {probe.name} {flag}; its readings are in this fit."
        for probe in health.of_probes(connection, now_ms())
        if probe.probe_id in proposal.probe_ids
        for flag in probe.flags
    ]


def _show_fit(output: Output, proposal: fit.Fit) -> None:
    output.table(
        ("class", "sensors", "healthy", "repeat", "pass from", "false fails", "proposed"),
        [
            (
                row.class_khz or "custom",
                row.sensors,
                "" if row.centre_db is None else f"{row.centre_db:.1f} ± {row.spread_db:.1f} dB",
                "" if row.repeat is None else f"{row.repeat.one_reading_db:.2f} dB",
                "" if row.pass_db is None else f"{row.pass_db:.1f} dB",
                "" if row.false_fail_share is None else f"{100 * row.false_fail_share:.2f} %",
                _proposed_word(row),
            )
            for row in proposal.classes
        ],
        f"Fit for a false-PASS risk of {proposal.risk_share:g}",
    )
    for row in proposal.classes:
        for words in (*_held_words(row), *row.warnings):
            output.say(f"Class {row.class_khz or 'custom'}: {words}.")


def _proposed_word(row: fit.ClassFit) -> str:
    if row.pass_db is None:
        return "too few"
    if row.in_force_db is None:
        return "not in the set"
    return "held back" if row.held else "yes"


def _held_words(row: fit.ClassFit) -> list[str]:
    """Why a class is held back and how it is stored all the same, as sentences without their full stop."""
    if not row.held:
        return []
    why = [f"HELD BACK, not proposed: {words}" for words in row.held]
    return [*why, f"`curbtick limits fit --save --accept {row.class_khz}` stores it all the same"]


def _save(store: Any, proposal: fit.Fit, accepted: list[int]) -> LimitSet | None:
    """Store what is proposed and accepted; None where that changes nothing."""
    origin = f"fitted, risk {proposal.risk_share:g}"
    if accepted:
        origin += f"; held back, yet accepted: {', '.join(str(khz or 'custom') for khz in accepted)}"
    with store.write() as connection:
        current = sets.load(connection)
        wanted = fit.proposed(current, proposal, accepted)
        return sets.save(connection, wanted, origin, now_ms()) if sets.differences(current, wanted) else None


@group.command("send")
def send(
    what: Annotated[
        str | None,
        typer.Argument(help="A revision or a text file; the newest when left out.", show_default=False),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    port: Port = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Send a limit set, after showing what it changes and what it would have changed in last month's
    verdicts.
    """
    output = Output(as_json)
    with open_store(db) as store, connect(port) as probe:
        wanted = _wanted(store, what)
        in_force = probe.limits()
        changes = sets.differences(in_force, wanted)
        with store.read() as connection:
            changed = effect.last_month(connection, wanted, now_ms())
        for change in changes:
            output.say(difference_words(change))
        output.say(effect.in_words(changed))
        if changes and not (yes or output.agreed(f"Send these limits to probe {probe.unique_id}?")):
            raise InputError(
                "Nothing was sent.",
                "The probe judges by the limits it had.",
                "Send again and say yes, or give --yes.",
            )
        if changes:
            wanted = _stored(store, wanted, what)
            send_limits(store, probe, wanted)
    sent = wanted["revision"] if changes else None
    output.say(
        f"Probe {probe.unique_id} judges by revision {sent}."
        if changes
        else "The probe has these limits already."
    )
    output.done(
        {
            "probe": probe.unique_id,
            "sent_revision": sent,
            "changes": [asdict(change) for change in changes],
            "last_month": asdict(changed),
        }
    )


def _wanted(store: Any, what: str | None) -> LimitSet:
    # A set is named by its revision, or not at all; else it is a file.
    if what is None or whole(what) is not None:
        with store.read() as connection:
            return sets.load(connection, None if what is None else whole(what))
    try:
        return sets.from_toml(Path(what).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{what} cannot be read: {error}.", "Nothing was sent.", "Check the file's name."
        ) from error


def _stored(store: Any, wanted: LimitSet, what: str | None) -> LimitSet:
    """A set from a file is stored under the next revision before it is sent."""
    if what is None or whole(what) is not None:
        return wanted
    with store.write() as connection:
        return sets.save(connection, wanted, f"from {Path(what).name}", now_ms())
