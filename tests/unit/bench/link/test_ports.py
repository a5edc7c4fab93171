"""Finding and naming ports, and the errors a port gives."""

from types import SimpleNamespace

import pytest
from curbtick.errors import LinkError
from curbtick.link import port
from serial.tools import list_ports

ONE = SimpleNamespace(device="/dev/ttyACM1", vid=0x2E8A, pid=0x0005, serial_number="E661A4D41723262A")
TWO = SimpleNamespace(device="/dev/ttyACM0", vid=0x2E8A, pid=0x0005, serial_number="e661a4d417232600")
OTHER = SimpleNamespace(device="/dev/ttyUSB0", vid=0x0403, pid=0x6001, serial_number="A5")


@pytest.fixture
def plugged(monkeypatch: pytest.MonkeyPatch):
    def plug(*ports: SimpleNamespace) -> None:
        monkeypatch.setattr(list_ports, "comports", lambda: list(ports))

    return plug


def test_probes_are_found_by_their_usb_ids(plugged) -> None:
    plugged(OTHER, ONE, TWO)
    assert port.find_ports() == [
        port.Port("/dev/ttyACM0", "e661a4d417232600"),
        port.Port("/dev/ttyACM1", "e661a4d41723262a"),
    ]


def test_the_only_probe_needs_no_name(plugged) -> None:
    plugged(OTHER, ONE)
    assert port.choose_port(None) == "/dev/ttyACM1"


def test_a_probe_is_named_by_path_or_unique_id(plugged) -> None:
    plugged(ONE, TWO)
    assert port.choose_port("COM7") == "COM7"
    assert port.choose_port("socket://localhost:99") == "socket://localhost:99"
    assert port.choose_port("E661A4D417232600") == "/dev/ttyACM0"


@pytest.mark.parametrize(
    ("ports", "wanted", "words"),
    [
        ((OTHER,), None, "No probe is plugged in"),
        ((ONE,), "0000000000000000", "No probe 0000000000000000"),
        ((ONE, TWO), None, "More than one probe"),
    ],
)
def test_no_clear_choice_is_said_to_be(plugged, ports, wanted, words: str) -> None:
    plugged(*ports)
    with pytest.raises(LinkError, match=words) as caught:
        port.choose_port(wanted)
    assert "--port" in caught.value.next_step


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (
            "[Errno 11] Could not exclusively lock port /dev/x: [Errno 11] Resource temporarily unavailable",
            "in use",
        ),
        ("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)", "in use"),
        ("[Errno 16] Device or resource busy", "in use"),
        ("[Errno 13] could not open port /dev/x: [Errno 13] Permission denied", "may not open"),
        ("[Errno 2] No such file or directory", "cannot be opened"),
    ],
)
def test_why_a_port_does_not_open(error: str, words: str) -> None:
    assert words in port._not_opened("/dev/x", OSError(error)).what
