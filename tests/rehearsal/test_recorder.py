"""What is recorded passes at once, and no longer when the firmware does something else."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emu85.cli import main
from emu85.console.motion import Motion
from emu85.console.screen import PlainScreen
from emu85.console.session import Burnt, Session
from emu85.errors import UserError
from emu85.machine import Held, Machine
from emu85.rehearsal import Verdict, rehearse
from emu85.rehearsal.report import report
from tests.rehearsal.stage import FIRMWARE, lay_out


class Typist:
    """A keyboard at which somebody types between slices of a run, and holds it at last."""

    has_keyboard = True

    def __init__(self, keys: Sequence[bytes], patience: int = 1_000_000) -> None:
        """``patience`` is how many slices a run may take."""
        self.keys = list(keys)
        self.patience = patience
        self.session: Session | None = None

    def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
        assert self.session is not None
        slices = 0
        while (held := motion.advance()) is None:
            slices += 1
            if keyboard and self.keys:
                self.session.type_by_hand(self.keys.pop(0))
            elif slices >= self.patience or (keyboard and self.session.pane.end.idle):
                motion.hold()
        return held


class Desk:
    """A session on the small board, at which a recording is made."""

    def __init__(
        self, folder: Path, *keys: bytes, firmware: str = FIRMWARE, patience: int = 1_000_000
    ) -> None:
        lay_out(folder, firmware)
        self.folder = folder
        self.path = folder / "made.rehearsal"
        typist = Typist(keys, patience)
        machine = Machine.from_board(
            str(folder / "bench.yaml"), firmware=folder / "bench.asm", trace=5000
        )
        self.out = io.StringIO()
        self.session = Session(machine, PlainScreen(self.out), driver=typist)
        self.session.burnt = Burnt(folder / "bench.asm", None)
        typist.session = self.session

    def do(self, *lines: str) -> None:
        for line in lines:
            self.session.execute(line)

    def record(self, *lines: str, before: Sequence[str] = (), mode: str = "exact") -> str:
        """Record some lines; the text of the file."""
        self.do(*before, f"record '{self.path}' {mode}", *lines, "record end")
        return self.path.read_text()

    def passes(self) -> Verdict:
        verdict = rehearse(self.path)
        assert verdict.passed, report(verdict)
        return verdict


MODES = ["", "exact"]
RECORDED = [
    ["step", "step 3", "step instruction 2", "regs"],
    ["run until COUNTED", "mem 8000 20", "mem COUNTED-COUNTED+8", "code"],
    ["stop on MW at 8000-8001", "run", "bus", "run", "stops", "stops rest 1", "run for 20 ms"],
    ["run for 20 ms", "enter hello", "run for 5 ms", 'type "a*?#\\x22\\\\" # said', "run for 5 ms"],
    ["run for 20 ms", "type .", "run", "lines", "ports"],
    ["run for 20 ms", "press key", "set switches 12", "run for 2 ms", "ports", "reset", "step 9"],
    ["run for 1 ms", "power", "run for 20 ms", "findings"],
    ["put mem 8000 DB 77 D3 78 76", "put PC 8000", "run", "findings", "put CY 1", "put B 12"],
    [
        "find MW",
        "step past",
        "step past",
        "find OF",
        "find IOR",
        "who 8000",
        "code 0 3",
        "wave 4",
        "help",
        "symbols",
        "board",
        "speed off",
        "put port 30 7",
    ],
    ["stop on IOW at 20", "run", "stops drop all", "enter to other x", "run for 10 ms"],
    [],
]


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("lines", RECORDED)
def test_what_is_recorded_passes(lines: list[str], mode: str, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    text = desk.record(*lines, mode=mode)
    desk.passes()
    written = text.splitlines()
    assert [line for line in lines if line.strip() not in written] == []


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("before", [before for before in RECORDED if before])
def test_what_was_done_before_is_done_again(before: list[str], mode: str, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.record("step 5", "regs", before=before, mode=mode)
    assert desk.passes().steps[-1].t == desk.session.machine.t


def test_the_file_in_full(tmp_path: Path) -> None:
    """T-states by hand: 3 of reset, LXI 10, LXI 10, the OF of MVI M 4, its MR 3, its MW 3."""
    desk = Desk(tmp_path)
    stop = "stop on MW at 8000"
    assert desk.record(stop, "run", "run for 20 ms").splitlines()[:-2] == [
        "rehearsal: recorded on bench",
        "board: bench.yaml",
        "firmware: bench.asm",
        "",
        stop,
        "",
        "run",
        "see held by stop 1 on MW at 8000 data 3E",
        "see A 00 F 00 BC 0000 DE 0000 HL 8000 SP 8400 PC 0008",
        "see 33 T since power",
        "heard nothing from usart",
        "heard nothing from other",
        "",
        "run for 20 ms",
        *desk.path.read_text().splitlines()[14:17],
        'heard from usart "ready\\r\\n"',
        'heard from usart "> "',
        "heard nothing from usart",
        "heard nothing from other",
    ]


def test_typing_at_the_running_board_is_recorded_to_the_t_state(tmp_path: Path) -> None:
    desk = Desk(tmp_path, b"", b"hi", b"\x1b[A", b'"\r')
    text = desk.record("talk", before=["run for 20 ms"])
    desk.passes()
    machine = desk.session.machine
    assert "\n# talk\nat " in text
    assert f"\nat {machine.t}\n" in text
    typed = [line.split(maxsplit=2) for line in text.splitlines() if " type to usart " in line]
    assert [rest for _, _, rest in typed] == [
        'type to usart "hi"',
        'type to usart "\\x1B[A"',
        'type to usart "\\x22\\r"',
    ]
    times = [int(t) for _, t, _ in typed]
    assert times == sorted(times) and len(set(times)) == 3
    assert 'heard from usart "hi\\x1B[A\\x22\\r"' in text


def test_a_halt_that_was_waited_out_is(tmp_path: Path) -> None:
    woken = FIRMWARE.replace("REST:   HLT", "REST:   EI\n HLT\n JMP LOOP\n ORG 3CH\n HLT\n ORG 60H")
    woken = woken.replace("ORG 0\n", "ORG 0\n JMP 40H\n ORG 40H\n", 1)
    woken = woken.replace("REST:   EI", "REST: MVI A,8\n SIM\n EI").replace(" ORG 3CH", " ORG 0C0H")
    woken = woken.replace(" ORG 60H", " ORG 0D0H")
    desk = Desk(tmp_path, b".", b"", b"", b"x", firmware=woken)
    desk.record("talk", "press key", "run for 1 ms", before=["run for 20 ms"])
    verdict = desk.passes()
    assert any(step.text == "see halted" for step in verdict.steps)


def test_a_run_held_by_hand(tmp_path: Path) -> None:
    desk = Desk(tmp_path)

    class Impatient(Typist):
        def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
            assert motion.advance() is None
            motion.hold()
            held = motion.advance()
            assert held is not None
            return held

    desk.session.driver = Impatient(())
    text = desk.record("run")
    assert f"# run\nat {desk.session.machine.t}\n" in text
    assert "\nrun\n" not in text
    desk.passes()


def test_a_pace_is_told_in_board_time(tmp_path: Path) -> None:
    desk = Desk(tmp_path)

    class Watching(Typist):
        def drive(self, motion: Motion, *, keyboard: bool = False) -> Held:
            for _ in range(7):
                assert motion.advance() is None
            motion.hold()
            held = motion.advance()
            assert held is not None
            return held

    desk.session.driver = Watching(())
    text = desk.record("pace 60", "pace 30 by MW", "stop on OF at COUNTED", "pace 20")
    assert text.count("# pace") == 3
    desk.passes()


def test_what_comes_over_a_link_is_recorded(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    (tmp_path / "in").write_bytes(b"over the wire")
    join = f"join usart files '{tmp_path / 'in'}' '{tmp_path / 'out'}'"
    text = desk.record(join, "run for 40 ms", "step 3", "part usart", "run for 1 ms")
    assert f"# {join}" in text and "# run for 40 ms" in text and "# part usart" in text
    assert 'type to usart "over the wire"' in text
    desk.passes()


def test_the_console_may_be_at_another_end(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    text = desk.record("talk other", "enter x", "type y", "run for 2 ms", before=["run for 1 ms"])
    assert "enter to other x\n" in text and "type to other y\n" in text
    desk.passes()


def test_refused_lines_are_left_out(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.do("step", f"record '{desk.path}'")
    assert not desk.session.attempt("stops drop 9")
    assert not desk.session.attempt("mem 80G0")
    desk.do("step", "record end")
    assert "drop" not in desk.path.read_text() and "80G0" not in desk.path.read_text()
    desk.passes()


def test_files_are_named_from_the_recording(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    (tmp_path / "deep").mkdir()
    (tmp_path / "more sym.sym").write_text("THERE\t8000\n")
    desk.path = tmp_path / "deep" / "made.rehearsal"
    text = desk.record(f"load '{tmp_path / 'more sym.sym'}'", "put mem THERE 12", "mem THERE 1")
    assert 'load "../more sym.sym"\n' in text
    assert "board: ../bench.yaml\nfirmware: ../bench.asm\n" in text
    desk.passes()


CHANGES = [
    ("MVI M,05H", "MVI M,06H", "8000  3E 06"),
    ("'ready'", "'steady'", '"steady\\r\\n"'),
    ("MVI A,0A5H", "MVI A,0A4H", "port 30  A4"),
    ("INX H", "DCX H\n INX H\n INX H", "T since power"),
    ("REST:   HLT", "REST:   NOP", "see halted"),
    ("OUT 30H", "OUT 38H", "write where no chip listens"),
]


@pytest.mark.parametrize(("old", "new", "told"), CHANGES)
def test_changed_firmware_is_found(old: str, new: str, told: str, tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.record("run for 20 ms", "mem 8000 2", "ports", "findings", "type .", "run for 10 ms")
    desk.passes()
    assert FIRMWARE.count(old) == 1
    (tmp_path / "bench.asm").write_text(FIRMWARE.replace(old, new))
    verdict = rehearse(desk.path)
    assert not verdict.passed
    assert told in report(verdict)


def test_recordings_are_told_of_and_closed(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.do("record", f"record '{desk.path}'", "step", "record", "step", "record end", "record")
    lines = [line for line in desk.out.getvalue().splitlines() if "record" in line]
    assert lines == [
        "Nothing is recorded; 'record FILE' begins.",
        f"{desk.path}: recording; 'record end' closes it.",
        f"{desk.path}: 1 line so far; 'record end' closes it.",
        f"{desk.path}: 2 lines; 'rehearse {desk.path}' performs it.",
        "Nothing is recorded; 'record FILE' begins.",
    ]


def test_every_line_is_in_the_file_at_once(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.do(f"record '{desk.path}'", "step 3")
    assert "\nstep 3\n" in desk.path.read_text()
    desk.passes()
    desk.session.close()
    assert desk.path.read_text().endswith("see no findings\n")
    assert desk.session.recorder is None


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (["record end"], "nothing is recorded"),
        (["record made.txt"], "no name of a rehearsal"),
        (["record none/made.rehearsal"], "cannot be written"),
        (["record a.rehearsal", "record b.rehearsal"], "a.rehearsal is being recorded"),
    ],
)
def test_what_cannot_be_recorded(
    lines: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    desk = Desk(tmp_path)
    desk.do(*lines[:-1])
    with pytest.raises(UserError, match=told):
        desk.do(lines[-1])


def test_a_battery_file_is_no_part_of_a_rehearsal(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    board = (tmp_path / "bench.yaml").read_text()
    (tmp_path / "bench.yaml").write_text(board.replace("code: yes", "battery: log.ram"))
    machine = Machine.from_board(str(tmp_path / "bench.yaml"))
    session = Session(machine, PlainScreen(io.StringIO()))
    with pytest.raises(UserError, match="bytes from its battery's file"):
        session.execute(f"record '{desk.path}'")


def test_the_consoles_rehearse_leaves_its_board_alone(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.record("run for 20 ms")
    t = desk.session.machine.t
    desk.do(f"rehearse '{desk.path}'")
    assert "passed" in desk.out.getvalue().splitlines()[-1]
    (tmp_path / "bench.asm").write_text(FIRMWARE.replace("'ready'", "'tidy'"))
    desk.do(f"rehearse '{desk.path}'")
    assert "FAILED" in desk.out.getvalue() and '# "tidy' in desk.out.getvalue()
    assert desk.session.machine.t == t


def test_from_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lines").write_text("record a.rehearsal\nrun for 20 ms\nrehearse a.rehearsal\n")
    run = ["run", "--board", "bench.yaml", "bench.asm", "--do", "lines"]
    assert main(run) == 0
    assert "passed" in capsys.readouterr().out
    assert main(["rehearse", "a.rehearsal"]) == 0


ENTERED = st.lists(
    st.sampled_from(
        [
            *("step", "step 7", "step instruction 3", "step past", "run for 1 ms", "run for 333 T"),
            *("run until LOOP", "stop on IOW", "stop on MW", "stop on OF at PUT", "stops drop all"),
            *("enter go", "type .", "type to other *?", "press key", "set key down", "set key up"),
            *("set switches 77", "put A 12", "put mem 8000 FB 76", "put PC 8000", "put port 30 1"),
            *("reset", "power", "regs", "bus", "lines", "ports", "mem 8000 5", "findings", "run"),
            *(
                "find MW",
                "find OF,MW at 8000-80FF",
                "stops",
                "who 8001",
                "code",
                "code PUT 3",
                "bus 4",
            ),
            *("symbols", "wave 2"),
            *("talk", "talk other", "pace 60", "stops rest 1", "stops wake 1", "nonsense"),
        ]
    ),
    max_size=14,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ENTERED, ENTERED, st.sampled_from(MODES))
def test_any_session_can_be_recorded(before: list[str], lines: list[str], mode: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder), *[b"a", b".", b"bc", b"", b"\r"] * 3, patience=9)
        for line in [*before, f"record '{desk.path}' {mode}", *lines, "record end"]:
            desk.session.attempt(line)
        desk.passes()


def test_a_recording_may_be_made_anew_but_nothing_else_is_replaced(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.record("step")
    desk.record("step")
    mine = desk.path.read_text().replace("recorded on bench", "how it begins")
    desk.path.write_text(mine)
    with pytest.raises(UserError, match="not a recording"):
        desk.record("step")
    assert desk.path.read_text() == mine


def test_findings_that_become_the_same_are_written_once(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    load = ["put mem 8000 3A 00 83 3A 01 83 D3 77 76", "put PC 8000", "run"]
    text = desk.record(*load, mode="")
    assert text.splitlines()[-1] == (
        'see findings "read of RAM never written at ????" "write where no chip listens at port 77"'
    )
    assert rehearse(desk.path).passed
