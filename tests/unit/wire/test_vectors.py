"""Records and messages against golden bytes that the project's own codec did not make, on CPython and MicroPython."""

import json
import subprocess

import pytest

from tests.bench._common import micropython_command, micropython_environment
from tests.vectors import check_records, make_records

CASES = make_records.cases()


def test_vector_file_is_what_its_maker_writes():
    assert make_records.PATH.read_text(encoding="utf-8") == make_records.text()


@pytest.mark.parametrize("place", range(len(CASES)))
def test_vectors_on_cpython(place):
    case = CASES[place]
    right = check_records.record_right if case["what"] == "record" else check_records.message_right
    assert right(case)


def test_vectors_on_micropython():
    script = str(make_records.PATH.with_name("check_records.py"))
    command = [*micropython_command(), script, str(make_records.PATH)]
    environment = micropython_environment()
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert json.loads(done.stdout) == {"cases": len(CASES), "wrong": []}, done.stderr
