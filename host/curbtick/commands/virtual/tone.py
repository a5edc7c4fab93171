"""`curbtick tone`: the seal check's tone as a WAV file."""

from pathlib import Path
from typing import Annotated

import typer
from curbtick_wire.sampling import TONE_HZ

from curbtick.commands.output import Json, Output
from curbtick.sound import tone

TONE_CAUTIONS = (
    "Nobody stays in the cabin while the tone plays; keep to local noise limits.",
    "Young ears hear it; an animal hears it far better.",
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("tone")(write_tone)


def write_tone(
    file: Annotated[Path, typer.Argument(help="WAV file to write.", metavar="FILE.wav")],
    frequency_hz: Annotated[
        int, typer.Option("--tone", help="Frequency in Hz: 10000 to 20000 in steps of 100.")
    ] = TONE_HZ,
    level_dbfs: Annotated[float, typer.Option("--level-dbfs", help="Peak level, -60 to 0 dBFS.")] = -6.0,
    seconds: Annotated[float, typer.Option("--seconds", help="Length, 1 to 3600 s.")] = 300.0,
    fade_in: Annotated[
        float, typer.Option("--fade-in", help="Fade-in in s, so that nobody is startled.")
    ] = 3.0,
    as_json: Json = False,
) -> None:
    """Write the seal check's tone as a WAV for any player."""
    output = Output(as_json)
    tone.Tone(frequency_hz, level_dbfs, seconds, fade_in).write(file)
    for caution in TONE_CAUTIONS:
        output.say(caution)
    output.say(
        f"{file}: {frequency_hz} Hz at {level_dbfs:g} dBFS peak, {seconds:g} s, fade-in {fade_in:g} s. "
        f"The probe listens for {TONE_HZ} Hz; other tones are for replay."
        if frequency_hz != TONE_HZ
        else f"{file}: {frequency_hz} Hz at {level_dbfs:g} dBFS peak, {seconds:g} s, fade-in {fade_in:g} s."
    )
    output.done(
        {
            "file": str(file),
            "tone_hz": frequency_hz,
            "level_dbfs": level_dbfs,
            "duration_s": seconds,
            "fade_in_s": fade_in,
            "rate_hz": tone.RATE_HZ,
            "merit_db": round(tone.merit_db(frequency_hz), 2),
            "terms_db": {name: round(value, 2) for name, value in tone.terms_db(frequency_hz).items()},
        }
    )
