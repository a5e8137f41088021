"""The commands as a user runs them, in processes of their own."""

import gc
import os
import subprocess
import sys
from pathlib import Path

import pytest

from emu85.cli import main
from emu85.console.start import Start, announce_compilation, run
from emu85.cpu.compiler import compiled_loop
from emu85.errors import UserError
from tests.console.programs import COUNTER, TALKER


def emu85(*arguments: str, lines: str = "", cwd: Path | None = None) -> tuple[int, str, str]:
    """Exit status, output and error output of one command."""
    path = os.pathsep.join(filter(None, (str(Path.cwd()), os.environ.get("PYTHONPATH"))))
    done = subprocess.run(
        [sys.executable, "-m", "emu85", *arguments],
        input=lines,
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


@pytest.fixture(scope="module", autouse=True)
def _compiled() -> None:
    """Have the line about the first start told before, not in the middle of a test."""
    compiled_loop()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "counter.asm").write_text(COUNTER)
    (tmp_path / "talker.asm").write_text(TALKER)
    return tmp_path


def test_lines_from_a_pipe(folder: Path) -> None:
    status, out, err = emu85(
        "run", "--board", "slate", "counter.asm",
        lines="stop on IOW at 40\nrun\nregs\n# the end\nquit\nstep\n",
        cwd=folder,
    )  # fmt: skip
    assert (status, err) == (0, "")
    assert "Held by stop 1 (on IOW at 40): I/O write of" in out
    assert "\x1b" not in out
    assert out.count("opcode fetch from") == 0


def test_a_pipe_goes_on_after_a_mistake_and_reports_it_at_the_end(folder: Path) -> None:
    status, out, err = emu85(
        "run", "--board", "slate", "counter.asm", lines="stpe\nregs\n", cwd=folder
    )
    assert status == 2
    assert "there is no console word 'stpe'" in err
    assert "PC 0000" in out


def test_a_script_prints_what_the_board_sends(folder: Path) -> None:
    (folder / "talk.do").write_text("# hear it\nrun for 100 ms\nquit\n")
    status, out, _ = emu85(
        "run", "--board", "saltmarsh", "talker.asm", "--do", "talk.do", cwd=folder
    )
    assert status == 0
    assert "HI\n" in out


def test_a_script_ends_at_its_first_mistake(folder: Path) -> None:
    (folder / "bad.do").write_text("step\n\nstop on ZZ at 8004\nstep\n")
    status, out, err = emu85("run", "--board", "slate", "counter.asm", "--do", "bad.do", cwd=folder)
    assert status == 2
    assert err.startswith("emu85: bad.do:3:9: 'ZZ' is not a cycle type")
    assert err.splitlines()[-1] == "    " + " " * 8 + "^"
    assert out.count("cycle    OF") == 1


def test_a_mistake_in_a_file_that_a_script_loads_is_told_with_both_places(folder: Path) -> None:
    (folder / "wrong.asm").write_text("  ORG 0\n  MVI A,\n  END\n")
    (folder / "load.do").write_text("load wrong.asm\n")
    status, _, err = emu85("run", "--board", "slate", "counter.asm", "--do", "load.do", cwd=folder)
    assert status == 2
    assert "load.do:1" in err
    assert "wrong.asm:2" in err


def test_staying_after_a_script_reads_on(folder: Path) -> None:
    (folder / "one.do").write_text("put A 5A\n")
    _, out, _ = emu85(
        "run", "--board", "slate", "counter.asm", "--do", "one.do", "--stay",
        lines="regs\n", cwd=folder,
    )  # fmt: skip
    assert out.count("A 5A") == 2


def test_two_runs_are_alike(folder: Path) -> None:
    lines = "run for 50 ms\nbus 30\nregs\n"
    first = emu85("run", "--board", "saltmarsh", "talker.asm", lines=lines, cwd=folder)
    assert emu85("run", "--board", "saltmarsh", "talker.asm", lines=lines, cwd=folder) == first


def test_assembling_disassembling_and_converting(folder: Path) -> None:
    status, out, _ = emu85(
        "assemble", "counter.asm", "-o", "c.hex", "--listing", "c.lst", "--symbols", "c.sym",
        cwd=folder,
    )  # fmt: skip
    assert status == 0
    assert out == "c.hex: 22 bytes, 0000-0015\n"
    assert "LOOP\t0003" in (folder / "c.sym").read_text()
    assert "INR A" in (folder / "c.lst").read_text()
    emu85("convert", "c.hex", "c.bin", cwd=folder)
    data = (folder / "c.bin").read_bytes()
    assert data[:4] == bytes([0x31, 0x00, 0x88, 0x3C])
    _, source, _ = emu85("disassemble", "c.bin", "--symbols", "c.sym", cwd=folder)
    assert "LOOP:" in source
    (folder / "again.asm").write_text(source)
    emu85("convert", "again.asm", "again.bin", cwd=folder)
    assert (folder / "again.bin").read_bytes() == data
    _, part, _ = emu85("disassemble", "c.bin", "--range", "0003-0006", cwd=folder)
    assert [line.split()[0] for line in part.splitlines()] == ["ORG", "INR", "STA", "END"]


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["rnu"], "did you mean 'run'"),
        (["run"], "--board"),
        (["run", "--board", "slat"], "did you mean 'slate'"),
        (["run", "--board", "slate", "none.hex"], "none.hex: no such file"),
        (["run", "--board", "slate", "counter.asm", "--at", "1000"], "states its own addresses"),
        (["run", "--board", "slate", "counter.asm", "--speed", "fast"], "off, real"),
        (["run", "--board", "slate", "counter.asm", "--trace", "0"], "--trace"),
        (["run", "--board", "slate", "counter.asm", "--do", "none.do"], "none.do: no such file"),
        (["board", "nowhere"], "no board 'nowhere'"),
        (["board"], "no board is named; expected"),
        (["isa", "MVO"], "did you mean"),
        (["assemble", "counter.asm", "-o", "c.xyz"], ".hex"),
        (["disassemble", "counter.asm", "--range", "9-1"], "no range"),
        (["disassemble", "counter.asm", "--range", "4000-4001"], "no bytes in that range"),
        (["convert", "counter.asm", "c.bin", "--fill", "1FF"], "a byte"),
        (["convert", "counter.asm"], "required"),
    ],
)
def test_mistakes_in_the_arguments(folder: Path, arguments: list[str], part: str) -> None:
    status, out, err = emu85(*arguments, cwd=folder)
    assert status == 2
    assert out == ""
    assert err.startswith("emu85: ")
    assert part in err


def test_options_may_stand_between_the_other_arguments(folder: Path) -> None:
    """As the usage line of the command has them."""
    between = emu85("duration", "LOOP", "--board", "slate", "counter.asm", cwd=folder)
    assert between == emu85("duration", "LOOP", "counter.asm", "--board", "slate", cwd=folder)
    assert between[0] == 0 and between[1].startswith("LOOP (0003) on slate")


def test_boards_are_listed_and_shown() -> None:
    _, names, _ = emu85("boards")
    assert {"slate", "saltmarsh"} <= {line.split()[0] for line in names.splitlines()}
    _, text, _ = emu85("board", "slate")
    assert "0000-07FF" in text
    _, schema, _ = emu85("board", "--schema")
    assert "crystal" in schema


def test_garbage_is_looked_for_again_after_a_start() -> None:
    with pytest.raises(UserError):
        run(Start("nowhere", None, None, None, False, True, 10, None))
    assert gc.isenabled()


def test_the_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("emu85 ")


@pytest.mark.parametrize("text", ["", " END\n junk\n", "; nothing\n"])
def test_a_source_that_makes_no_bytes_writes_nothing(folder: Path, text: str) -> None:
    (folder / "none.asm").write_text(text)
    status, _, told = emu85("assemble", "none.asm", "--listing", "none.lst", cwd=folder)
    assert status == 2
    assert told.strip() == "emu85: none.asm holds no bytes to write"
    assert not (folder / "none.hex").exists() and not (folder / "none.lst").exists()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--listing", "a.asm"), "the listing would be written over a source"),
        (("--listing", "part.inc"), "the listing would be written over a source"),
        (("--symbols", "values.inc"), "the symbol file would be written over a source"),
        (("--symbols", "link.inc"), "the symbol file would be written over a source"),
        (("--listing", "-", "--symbols", "-"), "the symbol file would be written over the lis"),
        (("-o", "a.asm"), "the output would be written over a source"),
        (("--listing", "a.hex"), "the listing would be written over the output"),
        (("--listing", "x", "--symbols", "./x"), "the symbol file would be written over the lis"),
    ],
)
def test_no_file_is_written_over_another(
    folder: Path, arguments: tuple[str, ...], told: str
) -> None:
    source = " INCLUDE 'part.inc'\n INCLUDE 'values.inc'\n"
    (folder / "a.asm").write_text(source)
    (folder / "part.inc").write_text(" NOP\n")
    (folder / "values.inc").write_text("ONE EQU 1\n")
    (folder / "link.inc").symlink_to("values.inc")
    status, _, error = emu85("assemble", "a.asm", *arguments, cwd=folder)
    assert (status, error.count("\n")) == (2, 1)
    assert told in error
    assert (folder / "a.asm").read_text() == source
    assert (folder / "part.inc").read_text() == " NOP\n"
    assert (folder / "values.inc").read_text() == "ONE EQU 1\n"
    assert not (folder / "a.hex").exists()


@pytest.mark.parametrize(
    "command",
    [
        *(["--help"], ["run", "--help"], ["isa"], ["isa", "MOV"], ["board", "slate"]),
        ["disassemble", "counter.asm"],
        ["run", "--board", "slate", "--do", "many.do"],
    ],
)
def test_a_full_disk_is_told_in_one_line(folder: Path, command: list[str]) -> None:
    (folder / "many.do").write_text("mem 0 4000\n" * 9)
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "emu85", *command],
            cwd=folder,
            env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert (
        done.stderr.strip() == "emu85: what is printed cannot be written: No space left on device"
    )


def test_a_reader_that_goes_ends_the_program_quietly(folder: Path) -> None:
    (folder / "many.do").write_text("mem 0 4000\n" * 200)
    program = subprocess.Popen(
        [sys.executable, "-m", "emu85", "run", "--board", "slate", "--do", "many.do"],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None and program.stderr is not None
    program.stdout.readline()
    program.stdout.close()
    assert program.stderr.read() == ""
    assert program.wait() == 0


def test_a_listing_or_a_symbol_file_may_be_printed(folder: Path) -> None:
    status, out, err = emu85("assemble", "counter.asm", "--listing", "-", cwd=folder)
    assert (status, err) == (0, "counter.hex: 22 bytes, 0000-0015\n")
    assert out.startswith("Listing of counter.asm\n")
    status, out, _ = emu85("assemble", "counter.asm", "--symbols", "-", cwd=folder)
    assert "LOOP\t0003\n" in out
    assert not (folder / "-").exists()


@pytest.mark.parametrize(
    ("command", "closed", "status"),
    [
        ("isa", ">&-", 0),
        ("isa", "<&- >&- 2>&-", 0),
        ("nothing", "2>&-", 2),
        ("nothing", "2>/dev/full", 2),
        ("isa", ">/dev/full 2>/dev/full", 2),
        ("run --board slate --do bad.do", ">&- 2>&-", 2),
        ("run --board slate", "< bad.do >&- 2>/dev/full", 2),
        ("assemble counter.asm", ">&-", 0),
    ],
)
def test_the_status_tells_where_nothing_can_be_told(
    folder: Path, command: str, closed: str, status: int
) -> None:
    (folder / "bad.do").write_text("run for 1 ms\nregs\nbad\n")
    done = subprocess.run(
        f'"{sys.executable}" -m emu85 {command} {closed}',
        shell=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (status, "", "")
    if command.startswith("assemble"):
        assert (folder / "counter.hex").read_text().startswith(":")


def test_no_standard_input_is_an_empty_one(folder: Path) -> None:
    done = subprocess.run(
        f'"{sys.executable}" -m emu85 run --board slate <&-',
        shell=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr.startswith("note: standard input has no console lines, so the board has not")


def test_a_script_may_come_through_a_pipe(folder: Path) -> None:
    status, shown, told = emu85("run", "--board", "slate", "--do", "/dev/stdin", lines="regs\n")
    assert (status, told) == (0, "")
    assert "interrupts disabled" in shown


def test_a_folder_is_no_board(folder: Path) -> None:
    status, _, told = emu85("board", str(folder))
    assert status == 2
    assert told.startswith(
        f"emu85: no board {str(folder)!r}: it is a folder; expected a board file"
    )


def test_a_board_without_firmware_says_so(folder: Path) -> None:
    (folder / "bare.yaml").write_text(
        "name: bare\ncrystal: 6 MHz\nmemory:\n  - {ram: 2K, at: 0000, code: yes}\n"
    )
    status, _, err = emu85("run", "--board", "bare.yaml", lines="board\n", cwd=folder)
    assert (status, err.count("\n")) == (0, 1)
    assert "no firmware is named" in err
    named = emu85("run", "--board", "bare.yaml", "counter.asm", lines="board\n", cwd=folder)
    assert named[2] == ""


def test_a_start_that_must_compile_says_how_often(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    announce_compilation()
    assert "it is done once and takes" in capsys.readouterr().err
    (tmp_path / "plain").touch()
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path / "plain" / "below"))
    announce_compilation()
    told = capsys.readouterr().err
    assert "at each start" in told
    assert "once" not in told
