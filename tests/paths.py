"""Where the project's parts stand in a checkout: the one definition for all tests."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FIRMWARE = ROOT / "firmware"
PROBE = FIRMWARE / "curbtick_probe"
WIRE = ROOT / "protocol" / "curbtick_wire"
HOST = ROOT / "host" / "curbtick"
NOTES = ROOT / "hardware_notes"
