"""Serial ends at the console: the pane's own, and those joined to the outside."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from emu85.cli import main
from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.test_terminal import Terminal, begin
from tests.links.echo_board import ECHO, USART

# Waits for each character in a halt, and sends it back.
WAITING = """
        ORG 0
        JMP BEGIN
        ORG 34H
        IN 20H
        OUT 20H
        RET
        ORG 40H
BEGIN:  LXI SP, 8400H
        MVI A, 4EH
        OUT 21H
        MVI A, 37H
        OUT 21H
        MVI A, 0DH
        SIM
NEXT:   EI
        HLT
        JMP NEXT
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    board = tmp_path / "echo.yaml"
    board.write_text(USART.replace("lines:", "lines:\n  RST 6.5: usart.rxrdy"))
    return Bench(str(board), ECHO, tmp_path)


def test_the_pane_is_at_the_first_end_and_turns_to_another(bench: Bench) -> None:
    assert bench.session.pane.name == "usart"  # SID and SOD come after the devices
    bench.session.pane.turn_to("Serial")
    assert "hello" not in bench.do("type to usart hello", "run for 10 ms")
    bench.session.pane.turn_to("USART")
    assert "again" in bench.do("type again", "run for 10 ms")


def test_type_to_needs_an_end_or_is_plain_text(bench: Bench) -> None:
    bench.session.pane.turn_to("usart")
    bench.do("run for 1 ms")  # the USART is set up
    assert "to the sea" in bench.do("type to the sea", "run for 10 ms")


def test_each_of_several_ends_gets_what_is_sent_to_it(bench: Bench) -> None:
    bench.do("run for 1 ms")  # the USART is set up
    bench.session.pane.turn_to("serial")
    serial, usart = (bench.machine.board.serial_ends[name] for name in ("serial", "usart"))
    shown = bench.do("enter to usart ebb", "enter flow", "enter to USART", "type to serial x")
    assert shown == ""
    bench.do("run for 100 ms")
    assert bytes(usart.received) == b"ebb\r\r"  # what the firmware sent back
    assert usart.pending == serial.pending == 0
    bench.session.pane.turn_to("usart")
    assert "neap" in bench.do("enter neap", "enter to serial y", "run for 100 ms")
    assert bytes(usart.received) == b"ebb\r\rneap\r"
    assert serial.pending == 0


def test_a_joined_end_leaves_the_pane_and_comes_back(bench: Bench, tmp_path: Path) -> None:
    bench.session.pane.turn_to("usart")
    source, target = tmp_path / "in put", tmp_path / "out"
    source.write_bytes(b"from a file")
    bench.do("run for 1 ms")
    told = bench.do(f"join usart files '{source}' {target}")
    assert told == f"usart is joined to files '{source}' in, {target} out.\n"
    assert bench.session.pane.name == "serial"
    assert "from a file" not in bench.do("run for 10 ms")
    assert target.read_bytes() == b"from a file"
    with pytest.raises(UserError, match="usart is joined to the outside"):
        bench.session.pane.turn_to("usart")
    assert bench.do("part usart") == "usart is parted.\n"
    bench.session.pane.turn_to("usart")
    assert "pane" in bench.do("type pane", "run for 10 ms")


def test_joins_tells_what_is_joined_to_what(bench: Bench) -> None:
    bench.session.pane.turn_to("serial")
    before = bench.do("joins")
    assert re.search(r"serial +1200 baud, 8N1, joined to the console\n", before)
    assert re.search(r"usart +38400 baud, 8N1, joined to nothing\n", before)
    told = bench.do("join usart tcp 0")
    port = re.search(r"joined to TCP port (\d+) at 127\.0\.0\.1", told)
    assert port
    with socket.create_connection(("127.0.0.1", int(port[1]))) as client:
        client.sendall(b"12345")
        while "5 in" not in (shown := bench.do("run for 10 ms", "joins")):
            pass
        assert "somebody is there; 5 in" in shown
    bench.session.close()


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("join usart", "the line ends too early"),
        ("join usrt pty", "did you mean 'usart'"),
        ("join usart tcp x", "'x' is no TCP port"),
        ("join usart ptty", "did you mean 'pty'"),
        ("part usart", "no serial end is joined"),
        ("join usart files none out", "none cannot be opened"),
    ],
)
def test_what_is_no_join(bench: Bench, line: str, message: str) -> None:
    with pytest.raises(UserError, match=message) as caught:
        bench.session.execute(line)
    assert "\n" not in str(caught.value)


def test_a_cpu_that_waits_in_a_halt_is_woken_from_outside(tmp_path: Path) -> None:
    board = tmp_path / "echo.yaml"
    board.write_text(USART.replace("lines:", "lines:\n  RST 6.5: usart.rxrdy"))
    bench = Bench(str(board), WAITING, tmp_path)
    (tmp_path / "in").write_bytes(b"")
    bench.do(f"join usart files {tmp_path / 'in'} {tmp_path / 'out'}", "run for 5 ms")
    assert bench.machine.registers.halted
    (tmp_path / "in").write_bytes(b"wake up")
    bench.do("run for 50 ms")
    assert (tmp_path / "out").read_bytes() == b"wake up"


def test_run_with_join(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "echo.yaml").write_text(USART)
    (tmp_path / "echo.asm").write_text(ECHO)
    (tmp_path / "lines").write_text("run for 20 ms\n")
    (tmp_path / "in").write_bytes(b"by the command line")
    join = f"usart files {tmp_path / 'in'} {tmp_path / 'out'}"
    arguments = ["run", "--board", tmp_path / "echo.yaml", tmp_path / "echo.asm"]
    arguments += ["--do", tmp_path / "lines", "--join", join]
    assert main([str(argument) for argument in arguments]) == 0
    assert "usart is joined to files" in capsys.readouterr().out
    assert (tmp_path / "out").read_bytes() == b"by the command line"


def test_a_bad_join_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "echo.yaml").write_text(USART)
    arguments = ["run", "--board", str(tmp_path / "echo.yaml"), "--join", "usart pyt"]
    assert main(arguments) == 2
    assert capsys.readouterr().err.endswith(
        "\nemu85: --join:7: 'pyt' cannot be taken here; expected 'pty' or 'tcp' or 'files'; "
        "did you mean 'pty'?\n    usart pyt\n          ^\n"
    )
    arguments[-1] = f"usart files {tmp_path / 'none'} out"
    assert main(arguments) == 2
    assert f"--join: {tmp_path / 'none'} cannot be opened" in capsys.readouterr().err


def test_what_is_left_is_handed_on_when_the_session_ends(tmp_path: Path) -> None:
    """The last bytes reach a reader that comes late to them."""
    (tmp_path / "echo.yaml").write_text(USART)
    (tmp_path / "echo.asm").write_text(ECHO)
    command = [sys.executable, "-m", "emu85", "run", "--board", str(tmp_path / "echo.yaml")]
    command += [str(tmp_path / "echo.asm"), "--join", "usart pty"]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdin and process.stdout
    found = re.search(r"pseudo-terminal (\S+)\.", process.stdout.readline())
    assert found
    other = os.open(found[1], os.O_RDWR | os.O_NOCTTY)
    process.stdin.write("run for 1 ms\n")
    process.stdin.flush()
    while not process.stdout.readline().startswith("Held"):
        pass
    os.write(other, b"spring tide")
    time.sleep(0.5)  # until it has been handed over, on a busy computer too
    process.stdin.write("run for 100 ms\nquit\n")
    process.stdin.flush()
    got = b""
    while len(got) < 11:
        got += os.read(other, 100)
    assert got == b"spring tide"
    os.close(other)
    process.stdin.close()
    assert process.wait(20) == 0
    process.stdout.close()


def test_a_link_is_served_while_a_line_is_typed_and_while_the_board_runs(
    terminals: list[Terminal], tmp_path: Path
) -> None:
    board = tmp_path / "echo.yaml"
    board.write_text(USART)
    more = ("--held", "--join", "usart tcp 0", "--speed", "off")
    terminal = begin(terminals, tmp_path, str(board), ECHO, *more)
    port = re.search(r"TCP port (\d+)", terminal.wait_for("at 127.0.0.1"))
    assert port
    terminal.wait_for("emu85>")
    terminal.type("run for 1 ms\r")
    terminal.wait_for("Held")
    terminal.wait_for("emu85>")
    with socket.create_connection(("127.0.0.1", int(port[1]))) as client:
        client.settimeout(20)
        client.sendall(b"ebb")
        terminal.type("joins\r")
        terminal.wait_for("somebody is there; 3 in")  # taken at the prompt
        terminal.type("talk\r")
        terminal.wait_for("running")
        assert client.recv(100) == b"ebb"
        client.sendall(b"flow")
        assert client.recv(1) == b"f"
        terminal.type("\x03")
        terminal.wait_for("emu85>")
    terminal.type("quit\r")
    assert terminal.ended() == 0


def test_what_comes_from_outside_waits_while_the_board_is_in_its_past(
    bench: Bench, tmp_path: Path
) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    source.write_bytes(b"")
    bench.do("run for 5 ms", f"join usart files {source} {target}", "run for 5 ms")
    newest = bench.machine.t
    bench.do("back to 3 ms")
    with source.open("ab") as more:
        more.write(b"later")
    for _ in range(3):
        bench.session.attend()
    bench.do("run for 1 ms", "back 5", "step 3")
    bench.session.attend()
    assert bench.session.history.latest_t == newest
    bench.do("forth")
    assert bench.machine.t == newest
    bench.session.attend()
    bench.do("run for 20 ms")
    assert target.read_bytes() == b"later"
    bench.do("back to 3 ms", "put mem 8000 1")  # something new: the file goes on from here
    assert not bench.session.history.in_past
