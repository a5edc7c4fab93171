"""`curbtick replay`: a recording through the real firmware, in each of its three checks."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from curbtick_wire import classes
from curbtick_wire.sampling import TONE_HZ

from curbtick.commands.output import Json, Output, Seed
from curbtick.errors import InputError
from curbtick.sound.recording import read_wav
from curbtick.virtual.replay import bumper, checks

# 6 dB a bit: what brings the quietest value of the finest WAV files to full scale, and back.
BITS_MAX = 24
GAIN_MAX_DB = 6 * BITS_MAX

ReferenceFile = Annotated[
    Path | None,
    typer.Option("--reference", help="Seal: recording of the tone in free air.", show_default=False),
]
ReferenceAfterFile = Annotated[
    Path | None,
    typer.Option("--reference-after", help="Seal: the same, after the section.", show_default=False),
]
BackgroundFile = Annotated[
    Path | None,
    typer.Option("--background", help="Hiss: recording of the place without the leak.", show_default=False),
]


@dataclass(frozen=True)
class LeakFiles:
    """The recordings of one replay: the section's, and what the checks compare it with."""

    section: Path
    reference: Path | None = None
    reference_after: Path | None = None
    background: Path | None = None

    def refuse_in_bumper_mode(self) -> None:
        """Raise InputError where a file is given that a bumper reading has no use for."""
        self._refuse("bumper", self.reference, self.reference_after, self.background)

    def refuse_in_seal_mode(self) -> None:
        """Raise InputError where a background is given, or a reference after none."""
        self._refuse("seal", self.background)
        if self.reference_after and not self.reference:
            raise InputError(
                "A reference after the section needs one before it.",
                "Nothing was measured.",
                "Name it with --reference.",
            )

    def refuse_in_hiss_mode(self) -> None:
        """Raise InputError where a reference is given."""
        self._refuse("hiss", self.reference, self.reference_after)

    @staticmethod
    def _refuse(mode: str, *files: Path | None) -> None:
        for file in files:
            if file:
                raise InputError(
                    f"{file} has no place in the {mode} mode.",
                    "Nothing was measured.",
                    "Choose another --mode, or leave the file out.",
                )


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("replay")(replay)


def replay(
    file: Annotated[Path, typer.Argument(help="Mono WAV of at least 160,000 samples a second.")],
    class_: Annotated[
        str, typer.Option("--class", help=f"{classes.class_list()}, or auto: {classes.auto_meaning()}.")
    ] = "auto",
    mode: Annotated[str, typer.Option(help="Which check hears it: bumper, seal or hiss.")] = "bumper",
    tone_hz: Annotated[int, typer.Option("--tone", help="Seal: the source's frequency in Hz.")] = TONE_HZ,
    reference: ReferenceFile = None,
    reference_after: ReferenceAfterFile = None,
    background: BackgroundFile = None,
    gain_db: Annotated[float, typer.Option(help="Gain in dB; 0: the file's full scale is the ADC's.")] = 0.0,
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Play a recording through the real firmware as one reading, or one section of a check, from its start."""
    check_gain(gain_db)
    files = LeakFiles(file, reference, reference_after, background)
    output = Output(as_json)
    if mode == "bumper":
        result = _bumper(files, class_, gain_db, seed)
    elif mode == "seal":
        result = _seal(files, tone_hz, gain_db, seed)
    elif mode == "hiss":
        result = _hiss(files, gain_db, seed)
    else:
        raise InputError(
            f"There is no mode called {mode}.", "Nothing was measured.", "Choose bumper, seal or hiss."
        )
    reasons = f" ({', '.join(result['reasons'])})" if result["reasons"] else ""
    output.say(f"{result['verdict'].upper()}{reasons}")
    if "tone_lost" in result["reasons"] and not reference_after:
        output.say("Whether the source still played is not known: --reference-after would settle it.")
    _show(output, result)
    output.done(result)


def check_gain(gain_db: float) -> None:
    """Raise InputError for a gain in dB that no recording needs, or that is no number."""
    if not -GAIN_MAX_DB <= gain_db <= GAIN_MAX_DB:
        raise InputError(
            f"A gain of {gain_db} dB makes no sense.",
            "Nothing was measured.",
            f"Give --gain-db a number from -{GAIN_MAX_DB} to {GAIN_MAX_DB}.",
        )


def _bumper(files: LeakFiles, class_: str, gain_db: float, seed: int) -> dict[str, Any]:
    files.refuse_in_bumper_mode()
    class_khz = bumper.parse_class(class_)
    return bumper.replay(read_wav(files.section), class_khz=class_khz, gain_db=gain_db, seed=seed)


def _seal(files: LeakFiles, tone_hz: int, gain_db: float, seed: int) -> dict[str, Any]:
    checks.check_tone(tone_hz)
    files.refuse_in_seal_mode()
    before, after = (read_wav(path) if path else None for path in (files.reference, files.reference_after))
    section = read_wav(files.section)
    return checks.replay_seal(
        section, tone_hz, reference=before, reference_after=after, gain_db=gain_db, seed=seed
    )


def _hiss(files: LeakFiles, gain_db: float, seed: int) -> dict[str, Any]:
    files.refuse_in_hiss_mode()
    background = read_wav(files.background) if files.background else None
    return checks.replay_hiss(read_wav(files.section), background=background, gain_db=gain_db, seed=seed)


def _show(output: Output, result: dict[str, Any]) -> None:
    """A reading's sounds, or the levels of a section."""
    if "bursts" in result:
        columns = ("time_ms", "level_db", "frequency_hz", "length_ms", "kind")
        rows = [[burst[column] for column in columns] for burst in result["bursts"]]
        output.table(columns, rows, "Sounds")
        return
    levels = {key: value for key, value in result.items() if key not in ("verdict", "reasons", "tones")}
    output.table(tuple(levels), [tuple(levels.values())])
