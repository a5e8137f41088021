"""Battery RAM whose bytes are kept in a file."""

from __future__ import annotations

import io
import os
import random
import signal
import sys
import time
from itertools import count
from pathlib import Path

import pytest

from emu85.console.screen import PlainScreen
from emu85.console.session import Session
from emu85.cpu.layout import INDEX_MASK, UNWRITTEN
from emu85.errors import UserError
from emu85.machine import Machine
from tests.board.fakes import MINIMAL, Bench

RAM = MINIMAL + "  - {ram: 1K, name: kept, at: 8000, battery: kept.ram}\n"


def bench(folder: Path, text: str = RAM) -> Bench:
    return Bench(text, str(folder / "bench.yaml"))


def test_bytes_go_to_the_file_when_power_goes_off_and_come_back(tmp_path: Path) -> None:
    first = bench(tmp_path)
    first.write(0x8000, 0x12)
    first.write(0x83FF, 0x34)
    assert list(tmp_path.iterdir()) == []  # nothing before power goes off
    first.board.save_batteries()
    first.board.power()
    data = (tmp_path / "kept.ram").read_bytes()
    assert (len(data), data[0], data[-1], sum(data)) == (1024, 0x12, 0x34, 0x46)
    assert first.read(0x8000) == 0x12
    first.write(0x8000, 0x56)
    first.board.save_batteries()
    second = bench(tmp_path)
    assert (second.read(0x8000), second.read(0x83FF)) == (0x56, 0x34)
    assert not second.board.store[second.word(0x8000) & INDEX_MASK] & UNWRITTEN
    assert [path.name for path in tmp_path.iterdir()] == ["kept.ram"]


def test_the_console_saves_batteries(tmp_path: Path) -> None:
    machine = Machine.from_text(RAM, file=str(tmp_path / "bench.yaml"))
    session = Session(machine, PlainScreen(io.StringIO()))
    for value, words in ((1, "save here.json"), (2, "power")):
        machine.memory[0x8000] = value
        session.execute(words.replace("here", str(tmp_path / "here")))
        assert (tmp_path / "kept.ram").read_bytes()[0] == value
    machine.memory[0x8000] = 3
    session.close()
    assert (tmp_path / "kept.ram").read_bytes()[0] == 3


def test_a_file_that_does_not_fit(tmp_path: Path) -> None:
    (tmp_path / "kept.ram").write_bytes(bytes(1023))
    with pytest.raises(UserError, match="1023 bytes and the kept chip 1024") as caught:
        Machine.from_text(RAM, file=str(tmp_path / "bench.yaml"))
    assert caught.value.place.line == 7
    (tmp_path / "kept.ram").unlink()
    (tmp_path / "kept.ram").mkdir()
    with pytest.raises(UserError, match="not a plain file"):
        bench(tmp_path)


def test_a_file_that_cannot_be_written(tmp_path: Path) -> None:
    text = RAM.replace("kept.ram", "none/kept.ram")
    machine = Machine.from_text(text, file=str(tmp_path / "bench.yaml"))
    machine.run(t_states=100)
    before = machine.t
    with pytest.raises(UserError, match="cannot be written"):
        machine.power()
    assert machine.t == before
    (tmp_path / "none").mkdir()
    machine.power()
    assert (tmp_path / "none" / "kept.ram").read_bytes() == bytes(1024)


def test_a_slip_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"'yse' is no battery.*did you mean 'yes'") as caught:
        bench(tmp_path, RAM.replace("kept.ram", "yse"))
    assert (caught.value.place.line, caught.value.place.column) == (
        7,
        RAM.splitlines()[6].index("kept.ram") + 1,
    )


def test_two_chips_on_one_battery_file(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="more and kept have one battery file") as caught:
        bench(tmp_path, RAM + "  - {ram: 1K, name: more, at: 9000, battery: ./kept.ram}\n")
    assert caught.value.place.line == 8


def test_power_off_and_on_at_the_console(tmp_path: Path) -> None:
    """RAM on the battery keeps its bytes each time, in the machine and in its file."""
    machine = Machine.from_text(
        RAM + "  - {ram: 1K, name: lost, at: 9000}\n", file=str(tmp_path / "bench.yaml")
    )
    session = Session(machine, PlainScreen(io.StringIO()))
    for value in range(1, 5):
        session.execute(f"put mem 8000 {value:02X} {value + 1:02X}")
        session.execute(f"put mem 9000 {value:02X} {value + 1:02X}")
        session.execute("power")
        assert machine.memory[0x8000:0x8002] == bytes([value, value + 1])
        assert machine.memory[0x9000:0x9002] == bytes(2)
        assert (tmp_path / "kept.ram").read_bytes()[:2] == bytes([value, value + 1])
    session.close()
    again = Machine.from_text(RAM, file=str(tmp_path / "bench.yaml"))
    assert again.memory[0x8000:0x8002] == bytes([4, 5])


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and SIGKILL")
def test_a_process_killed_while_saving_leaves_a_whole_file(tmp_path: Path) -> None:
    machine = bench(tmp_path)
    cells = machine.board.store[machine.word(0x8000) & INDEX_MASK :][:1024]
    moments = random.Random(85)
    for trial in range(1, 41):
        told, tells = os.pipe()
        child = os.fork()
        if child == 0:
            for value in count(trial):  # until it is killed
                cells[:] = value % 256
                machine.board.save_batteries()
                os.write(tells, b".")
        os.read(told, 1)  # saved once
        time.sleep(moments.uniform(0, 0.003))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(told)
        os.close(tells)
        data = (tmp_path / "kept.ram").read_bytes()
        assert len(data) == 1024 and len(set(data)) == 1
        assert (data[0] - trial) % 256 < 100
    bench(tmp_path)  # and it is taken
