"""`meterlog record` on a real pseudo-terminal: both directions, with times, decoded again afterwards."""

import os
import threading
import tty

from click.testing import CliRunner
from shipped_profiles import PROFILES

from meterlog.base import recording
from meterlog.base.readings import Frame
from meterlog.cli.record import record
from meterlog.conversation.drive import drive

ANSWERS = {
    q.data: PROFILES["modbus-rtu"].said.examples[place].frame
    for place, q in enumerate(PROFILES["modbus-rtu"].questions[1])
}


def answer(far, enough):
    """Play the device: each whole request is answered."""
    asked, told = b"", 0
    while told < enough:
        asked += os.read(far, 64)
        for request, reply in ANSWERS.items():
            if request in asked:
                asked = b""
                os.write(far, reply)
                told += 1


def test_a_polled_device_is_asked_and_kept(tmp_path):
    far, near = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    player = threading.Thread(target=answer, args=(far, 4), daemon=True)
    player.start()
    file = tmp_path / "taken.txt"
    result = CliRunner().invoke(record, [os.ttyname(near), str(file), "--profile", "modbus-rtu", "--seconds", "1.8"])
    assert result.exit_code == 0, result.output
    player.join(2)
    taken = recording.parse(file.read_text(), "taken")
    assert taken.head == {"profile": "modbus-rtu"}
    found = list(drive(PROFILES["modbus-rtu"].conversation(), taken.events))
    channels = [reading.form.channel for o in found if isinstance(o, Frame) for reading in o.readings]
    assert channels[:3] == ["probe", "air", "casing"]
    os.close(far)
    os.close(near)


def test_a_recording_is_never_overwritten(tmp_path):
    file = tmp_path / "taken.txt"
    file.write_text("precious")
    result = CliRunner().invoke(record, ["loop://", str(file), "--seconds", "0.1"])
    assert str(result.exception) == f"{file} is there already\n  give another name: a recording is never overwritten"
    assert file.read_text() == "precious"
