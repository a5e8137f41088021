"""The console at a pseudo-terminal, as a person would use it."""

import os
import random
import re
import select
import sys
import termios
import time
from pathlib import Path

import pytest

from tests.console.programs import COUNTER, TALKER
from tests.links.echo_board import ECHO_BOTH, TWO_USARTS

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

_PATIENCE = 30.0
_ESCAPES = re.compile(r"\x1b(\[[0-?]*[ -/]*[@-~]|\][^\x07]*\x07|[()][A-Z0-9]|[=>78])")


class Terminal:
    """A child process at a terminal of 80 columns, and what it has written."""

    def __init__(self, arguments: list[str], state: Path) -> None:
        import pty

        self.pid, self.master = pty.fork()
        if self.pid == 0:  # the child
            os.environ.update(
                TERM="xterm",
                PROMPT_TOOLKIT_NO_CPR="1",
                XDG_STATE_HOME=str(state),
                PYTHONPATH=os.pathsep.join(sys.path),
            )
            os.execv(sys.executable, [sys.executable, "-m", "emu85", *arguments])
        termios.tcsetwinsize(self.master, (24, 80))
        self.before = termios.tcgetattr(self.master)
        self.text = ""
        self.seen = 0

    def type(self, text: str) -> None:
        """Press keys."""
        os.write(self.master, text.encode())

    def read(self) -> bool:
        """Take what has come; False when the child has closed the terminal."""
        if not select.select([self.master], [], [], 0.2)[0]:
            return True
        try:
            data = os.read(self.master, 65536)
        except OSError:
            return False
        self.text += _ESCAPES.sub("", data.decode(errors="replace"))
        return bool(data)

    def wait_for(self, part: str) -> str:
        """Wait until something new holds ``part``; the new text up to its end."""
        end = time.monotonic() + _PATIENCE
        while part not in self.text[self.seen :]:
            assert time.monotonic() < end, f"no {part!r} in {self.text[self.seen :]!r}"
            assert self.read(), f"the program ended before {part!r}: {self.text!r}"
        at = self.text.index(part, self.seen) + len(part)
        new, self.seen = self.text[self.seen : at], at
        return new

    def ended(self) -> int:
        """Wait for the end; the exit status."""
        end = time.monotonic() + _PATIENCE
        while self.read():
            assert time.monotonic() < end, f"still running: {self.text[self.seen :]!r}"
            if os.waitid(os.P_PID, self.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT):
                break
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def begin(made: list[Terminal], folder: Path, board: str, source: str, *more: str) -> Terminal:
    (folder / "program.asm").write_text(source)
    arguments = ["run", "--board", board, str(folder / "program.asm"), *more]
    made.append(Terminal(arguments, folder / "state"))
    return made[-1]


def test_ctrl_c_holds_the_running_board_and_quit_ends(
    terminals: list[Terminal], tmp_path: Path
) -> None:
    terminal = begin(terminals, tmp_path, "slate", COUNTER)
    terminal.wait_for("running")
    terminal.type("\x03")
    assert "Held by Ctrl-C" in terminal.wait_for("code ")
    terminal.wait_for("emu85>")
    terminal.type("\x03")
    terminal.wait_for("The board is held")
    terminal.type("step\r")
    terminal.wait_for("cycle    ")
    terminal.type("stpe\r")
    terminal.wait_for("there is no console word 'stpe'")
    terminal.type("run\r")
    terminal.wait_for("running")
    terminal.type("\x03")
    terminal.wait_for("Held by Ctrl-C")
    terminal.type("quit\r")
    assert terminal.ended() == 0
    assert termios.tcgetattr(terminal.master) == terminal.before
    assert "Traceback" not in terminal.text
    assert "stpe" in (tmp_path / "state" / "emu85" / "history").read_text()


def test_ctrl_d_at_an_empty_prompt_ends(terminals: list[Terminal], tmp_path: Path) -> None:
    terminal = begin(terminals, tmp_path, "slate", COUNTER, "--held")
    terminal.wait_for("emu85>")
    terminal.type("\x04")
    assert terminal.ended() == 0
    assert termios.tcgetattr(terminal.master) == terminal.before


def test_the_board_is_heard_and_typed_at(terminals: list[Terminal], tmp_path: Path) -> None:
    terminal = begin(terminals, tmp_path, "saltmarsh", TALKER, "--speed", "off")
    terminal.wait_for("HI")
    terminal.wait_for("keys go to serial")
    terminal.type("\x03")
    terminal.wait_for("Held by Ctrl-C")
    terminal.type("stop when SID low\r")
    terminal.wait_for("armed")
    terminal.type("talk\r")
    terminal.wait_for("keys go to serial")
    terminal.type("U")
    terminal.wait_for("Held by stop 1 (when SID low)")
    terminal.type("quit\r")
    assert terminal.ended() == 0


def test_typing_at_full_speed_beside_files_loses_nothing(
    terminals: list[Terminal], tmp_path: Path
) -> None:
    (tmp_path / "board.yaml").write_text(TWO_USARTS)
    data = random.Random(7).randbytes(12_000)
    (tmp_path / "in").write_bytes(data)
    board, files = str(tmp_path / "board.yaml"), f"tape files {tmp_path}/in {tmp_path}/out"
    more = ("--held", "--speed", "off", "--join", files)
    terminal = begin(terminals, tmp_path, board, ECHO_BOTH, *more)
    terminal.wait_for("emu85>")
    terminal.type("talk usart\r")
    terminal.wait_for("keys go to usart")
    lines = [f"line {number:03d}" for number in range(200)]
    terminal.type("\r\n".join([*lines, ""]))
    terminal.wait_for(lines[-1])
    places = [terminal.text.rindex(line) for line in lines]  # not where it was unfinished
    assert places == sorted(places)
    end = time.monotonic() + _PATIENCE
    while (tmp_path / "out").stat().st_size < len(data):
        assert time.monotonic() < end and terminal.read()
    terminal.type("\x03")
    terminal.wait_for("Held by Ctrl-C")
    terminal.type("quit\r")
    assert terminal.ended() == 0
    assert (tmp_path / "out").read_bytes() == data


def test_pacing_is_ended_by_ctrl_c(terminals: list[Terminal], tmp_path: Path) -> None:
    terminal = begin(terminals, tmp_path, "slate", COUNTER, "--held")
    terminal.wait_for("emu85>")
    terminal.type("pace 60\r")
    terminal.wait_for("LXI SP,8800H")
    terminal.wait_for("INR A")
    terminal.type("\x03")
    terminal.wait_for("Held by Ctrl-C")
    terminal.type("quit\r")
    assert terminal.ended() == 0


def test_step_past_an_endless_call_is_held_by_ctrl_c(
    terminals: list[Terminal], tmp_path: Path
) -> None:
    source = "  ORG 0\n  LXI SP,8800H\n  CALL SELF\n  NOP\nSELF: JMP SELF\n  END\n"
    terminal = begin(terminals, tmp_path, "slate", source, "--held")
    terminal.wait_for("emu85>")
    terminal.type("step instruction\r")
    terminal.wait_for("flags")
    terminal.wait_for("emu85>")
    terminal.type("step past\r")
    # Nothing tells that the step has begun, so Ctrl-C is pressed until it is heard.
    while "Held by Ctrl-C" not in terminal.text:
        terminal.type("\x03")
        time.sleep(0.1)
        assert terminal.read()
    terminal.wait_for("Held by Ctrl-C")
    terminal.type("quit\r")
    assert terminal.ended() == 0
