"""`curbtick tone`, `curbtick leak`, and `curbtick replay` in its seal and hiss modes."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from curbtick.commands.output import Json, Output
from curbtick.errors import InputError
from curbtick.sound import leak_flow, tone

TONE_CAUTIONS = (
    "Nobody stays in the cabin while the tone plays; keep to local noise limits.",
    "Young ears hear it; an animal hears it far better.",
)
# The quietest thing that 24 bit can hold, brought to full scale, and back.
GAIN_MAX_DB = 144
FLOW_CAUTION = "An order of magnitude for comparison; the hiss check measures no flow."


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


def check_gain(gain_db: float) -> None:
    """Raise InputError for a gain in dB that no recording needs, or that is no number."""
    if not -GAIN_MAX_DB <= gain_db <= GAIN_MAX_DB:
        raise InputError(
            f"A gain of {gain_db} dB makes no sense.",
            "Nothing was measured.",
            f"Give --gain-db a number from -{GAIN_MAX_DB} to {GAIN_MAX_DB}.",
        )


def replay_leaks(
    mode: str, files: LeakFiles, tone_hz: int, gain_db: float, seed: int, output: Output
) -> None:
    """Play recordings through the real firmware as a section of a seal or hiss check, and say what came out."""
    if mode not in ("seal", "hiss"):
        raise InputError(
            f"There is no mode called {mode}.", "Nothing was measured.", "Choose bumper, seal or hiss."
        )
    found = _seal(files, tone_hz, gain_db, seed) if mode == "seal" else _hiss(files, gain_db, seed)
    reasons = f" ({', '.join(found['reasons'])})" if found["reasons"] else ""
    output.say(f"{found['verdict'].upper()}{reasons}")
    shown = [key for key in found if key not in ("verdict", "reasons", "tones")]
    output.table(shown, [[found[key] for key in shown]])
    output.done(found)


def _seal(files: LeakFiles, tone_hz: int, gain_db: float, seed: int) -> dict[str, Any]:
    from curbtick.sound.recording import read_wav
    from curbtick.virtual.replay.checks import check_tone, replay_seal

    check_tone(tone_hz)
    files.refuse_in_seal_mode()
    before, after = (read_wav(path) if path else None for path in (files.reference, files.reference_after))
    section = read_wav(files.section)
    return replay_seal(section, tone_hz, reference=before, reference_after=after, gain_db=gain_db, seed=seed)


def _hiss(files: LeakFiles, gain_db: float, seed: int) -> dict[str, Any]:
    from curbtick.sound.recording import read_wav
    from curbtick.virtual.replay.checks import replay_hiss

    files.refuse_in_hiss_mode()
    background = read_wav(files.background) if files.background else None
    return replay_hiss(read_wav(files.section), background=background, gain_db=gain_db, seed=seed)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("tone")(write_tone)
    app.command("leak")(leak)


def write_tone(
    file: Annotated[Path, typer.Argument(help="WAV file to write.", metavar="FILE.wav")],
    frequency_hz: Annotated[
        int, typer.Option("--tone", help="Frequency in Hz: 10000 to 20000 in steps of 100.")
    ] = tone.DEFAULT_HZ,
    level_dbfs: Annotated[float, typer.Option("--level-dbfs", help="Peak level, -60 to 0 dBFS.")] = -6.0,
    seconds: Annotated[float, typer.Option("--seconds", help="Length, 1 to 3600 s.")] = 300.0,
    fade_in: Annotated[
        float, typer.Option("--fade-in", help="Fade-in in s, so that nobody is startled.")
    ] = 3.0,
    as_json: Json = False,
) -> None:
    """Write the seal check's tone as a WAV for any player."""
    output = Output(as_json)
    made = tone.Tone(frequency_hz, level_dbfs, seconds, fade_in)
    made.write(file)
    for caution in TONE_CAUTIONS:
        output.say(caution)
    output.say(
        f"{file}: {frequency_hz} Hz at {level_dbfs:g} dBFS peak, {seconds:g} s, fade-in {fade_in:g} s. "
        f"The probe listens for {tone.DEFAULT_HZ} Hz; other tones are for replay."
        if frequency_hz != tone.DEFAULT_HZ
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
