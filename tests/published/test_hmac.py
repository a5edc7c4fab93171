"""The probe's HMAC-SHA256 against RFC 4231 (test cases 1 to 4, 6 and 7) and Python's own; also on MicroPython."""

import hmac
import json
import subprocess

import pytest
from curbtick_probe.link.access import hmac_sha256
from hypothesis import given
from hypothesis import strategies as st

from tests.bench._common import micropython_command, micropython_environment

RFC_4231 = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (
        b"Jefe",
        b"what do ya want for nothing?",
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
    ),
    (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    (
        bytes(range(1, 26)),
        b"\xcd" * 50,
        "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
    ),
    (
        b"\xaa" * 131,
        b"Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
    (
        b"\xaa" * 131,
        b"This is a test using a larger than block-size key and a larger than block-size data. "
        b"The key needs to be hashed before being used by the HMAC algorithm.",
        "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
    ),
]

ON_MICROPYTHON = """
import json, sys
from curbtick_probe.link.access import hmac_sha256
for line in sys.stdin:
    key, text = [bytes.fromhex(part) for part in json.loads(line)]
    sys.stdout.write(hmac_sha256(key, text).hex() + "\\n")
"""


@pytest.mark.parametrize(("key", "text", "tag"), RFC_4231)
def test_rfc_4231(key, text, tag):
    assert hmac_sha256(key, text).hex() == tag


def test_rfc_4231_on_micropython():
    lines = "".join(json.dumps([key.hex(), text.hex()]) + "\n" for key, text, _tag in RFC_4231)
    command = [*micropython_command(), "-c", ON_MICROPYTHON]
    done = subprocess.run(
        command,
        input=lines,
        env=micropython_environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stdout.split() == [tag for _key, _text, tag in RFC_4231], done.stderr


@given(st.binary(max_size=200), st.binary(max_size=200))
def test_is_the_standard_library_s(key, text):
    assert hmac_sha256(key, text) == hmac.digest(key, text, "sha256")
