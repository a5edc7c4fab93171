"""How long files and functions are: `python -m tests.conventions.sizes`."""

import statistics
from pathlib import Path

from tests.conventions.sources import Found, functions, python_files, shown
from tests.paths import FIRMWARE, HOST, ROOT, WIRE

ROOMS = {"firmware": FIRMWARE, "protocol": WIRE, "host": HOST, "tests": ROOT / "tests"}


def measured(folder: Path) -> list[Found]:
    """Every function below the folder, shortest first."""
    return sorted((f for path in python_files(folder) for f in functions(path)), key=lambda f: f.code_lines)


def line_count(path: Path) -> int:
    """Lines of a file."""
    return len(path.read_text(encoding="utf-8").splitlines())


def percentile(found: list[Found], share: float) -> int:
    """The length that `share` of the functions do not pass."""
    return found[min(len(found) - 1, int(share * len(found)))].code_lines


def report() -> str:
    """A line for each room, then the longest functions and files."""
    lines = ["room        files  functions  median  p90  over 60  longest file"]
    for name, folder in ROOMS.items():
        found, files = measured(folder), python_files(folder)
        median = statistics.median(f.code_lines for f in found)
        over = sum(f.code_lines > 60 for f in found)
        longest = max(files, key=line_count)
        lines.append(
            f"{name:10} {len(files):6} {len(found):10} {median:7} {percentile(found, 0.9):4} {over:8}"
            f"  {shown(longest)} {line_count(longest)}"
        )
        lines.extend(f"    {f.code_lines:4} {f}" for f in found[-3:])
    return "\n".join(lines)


if __name__ == "__main__":
    print(report())
