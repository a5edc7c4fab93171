"""`curbtick tone`, `curbtick leak`, and what `curbtick replay` refuses in its seal and hiss modes."""

import json
from pathlib import Path

import pytest
from curbtick.commands.main import app
from curbtick.sound import tone
from curbtick_wire.sampling import TONE_HZ
from typer.testing import CliRunner

RUNNER = CliRunner()


def told(*words: object) -> tuple[int, dict[str, object]]:
    """Exit code and the one JSON object of a command with --json."""
    result = RUNNER.invoke(app, [*(str(word) for word in words), "--json"])
    made: dict[str, object] = json.loads(result.stdout)
    return result.exit_code, made


def test_tone_writes_the_file_and_says_its_terms(tmp_path: Path) -> None:
    path = tmp_path / "tone.wav"
    code, made = told("tone", path, "--seconds", 2, "--fade-in", 0.5)
    assert code == 0 and path.stat().st_size == 44 + 2 * 2 * tone.RATE_HZ
    assert (made["tone_hz"], made["level_dbfs"], made["rate_hz"]) == (TONE_HZ, -6.0, tone.RATE_HZ)
    assert made["terms_db"] == {name: round(db, 2) for name, db in tone.terms_db(TONE_HZ).items()}


def test_tone_warns_on_screen(tmp_path: Path) -> None:
    result = RUNNER.invoke(app, ["tone", str(tmp_path / "t.wav"), "--seconds", "1", "--fade-in", "0.1"])
    assert "Nobody stays in the cabin" in result.output and "noise limits" in result.output


def test_leak_says_that_it_measures_no_flow() -> None:
    result = RUNNER.invoke(app, ["leak", "1", "7"])
    assert result.exit_code == 0 and "measures no flow" in result.output and "choked" in result.output
    code, made = told("leak", 1, 7)
    # 0.04042 A p / sqrt(T), p = 8.013 bar absolute, through 0.65 of a 1 mm hole, as free air of 1.204 kg/m3.
    assert code == 0 and made["free_air_l_min"] == pytest.approx(48.1, rel=0.01)
    assert told("leak", 1, 0.5)[1]["choked"] is False


@pytest.mark.parametrize(
    "options",
    [
        ["--mode", "sonar"],
        ["--mode", "seal", "--tone", "15050"],
        ["--mode", "seal", "--background", "b.wav"],
        ["--mode", "seal", "--reference-after", "a.wav"],
        ["--mode", "hiss", "--reference", "r.wav"],
        ["--mode", "bumper", "--background", "b.wav"],
        ["--mode", "seal"],
    ],
)
def test_replay_refuses_what_makes_no_sense(tmp_path: Path, options: list[str]) -> None:
    result = RUNNER.invoke(app, ["replay", str(tmp_path / "missing.wav"), *options])
    what, data, next_step = result.stderr.splitlines()
    assert result.exit_code == 2 and what and next_step
    assert data in ("Nothing was measured.", "No reading was made.")
