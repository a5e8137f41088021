"""Going back at the console: what it says, and where the board is then."""

import signal
from pathlib import Path

import pytest

from emu85.board.schedule import NEVER
from emu85.console.suggest import suggestions
from emu85.errors import UserError
from tests.console.bench import Bench
from tests.console.programs import COUNTER
from tests.history.sight import sight


@pytest.fixture
def slate(tmp_path: Path) -> Bench:
    return Bench("slate", COUNTER, tmp_path)


def test_back_undoes_steps_one_by_one(slate: Bench) -> None:
    slate.do("step 5")
    moments = [slate.machine.t]
    for _ in range(3):
        text = slate.do("back")
        assert text.splitlines()[-1].endswith("before the newest moment.")
        moments.append(slate.machine.t)
    assert moments == sorted(moments, reverse=True)
    assert len(slate.machine.trace) == 1 + 5 - 3  # RESET, and what is left of the steps
    slate.do("step 3")
    assert slate.machine.t == moments[0]
    slate.do("back 2")
    assert "newest" not in slate.do("forth")
    assert slate.machine.t == moments[0]


def test_back_by_instructions_and_to_a_stop(slate: Bench) -> None:
    slate.do("step instruction 10")
    here = slate.machine.registers.instruction_at
    slate.do("step instruction 3", "step", "back instruction 4")
    assert slate.machine.registers.instruction_at == here and slate.machine.registers.boundary
    slate.do("stop on MW at 8004", "run", "run", "run")
    third = slate.machine.t
    text = slate.do("back stop")
    assert "MW  memory write" in text and "8004" in text
    assert "Held by stop 1" in slate.do("run")
    assert slate.machine.t == third
    slate.do("back to 3 T")
    assert "No machine cycle before this one met an armed stop." in slate.do("back stop")
    slate.do("stops rest 1")
    with pytest.raises(UserError, match="no stop is armed"):
        slate.do("back stop")


def test_who_wrote_it(slate: Bench) -> None:
    slate.do("stop on MW at 8004", "run", "run", "step 20")
    here = slate.machine.t
    rows = slate.do("who 8004").splitlines()
    assert rows[-2].split()[1] == "OF"
    assert rows[-1].split()[1:3] == ["MW", "1000"]  # the address begins so, in binary
    assert slate.machine.t == here
    assert slate.do("who 87F0") == "Nothing has been written to 87F0.\n"


def test_moments_that_cannot_be_gone_to(slate: Bench) -> None:
    slate.do("run for 100 T")
    here = slate.machine.t
    for line, words in (
        ("back to 1 s", r"T 2000000 \(1 s\) is still to come; expected a moment before now"),
        ("forth to 1 s", r"nothing is known of T 2000000 \(1 s\)"),
        ("forth to 5 T", r"T 5 \(2.5 us\) is over; expected 'back to"),
    ):
        with pytest.raises(UserError, match=words):
            slate.do(line)
    assert slate.machine.t == here
    assert slate.do("forth") == "This is the newest moment.\n"


def test_something_new_ends_what_was_to_come(slate: Bench) -> None:
    slate.do("run for 2000 T", "back to 500 T", "put A 55")
    assert slate.do("forth") == "This is the newest moment.\n"
    slate.do("run for 100 T", "back to 500 T", "step")
    assert slate.session.history.in_past


@pytest.mark.parametrize("line", ["back 6", "back 100000", "back instruction 5"])
def test_the_beginning_is_told_of(slate: Bench, line: str) -> None:
    slate.do("step 5")
    assert slate.do(line).splitlines()[-1] == "This is the beginning: power has just come on."
    assert slate.machine.t == slate.session.history.first_t
    assert "This is the beginning" in slate.do(line)
    slate.do("forth")
    assert "beginning" not in slate.do("back 5")


WRITER = """
        ORG     0
        LXI     SP,8800H
        MVI     A,5             ; T 13
        STA     8010H           ; T 20, its write from T 30
        STA     8010H           ; T 33, from T 43
        STA     0100H           ; T 46, from T 56: ROM
        STA     4000H           ; T 59, from T 69: nobody
HERE:   JMP     HERE
"""
KEPT = "That write left the byte as it was. What changed it last:"


def test_who_tells_of_what_left_the_byte_as_it_was(tmp_path: Path) -> None:
    slate = Bench("slate", WRITER, tmp_path)
    slate.machine.memory[0x8010] = 0
    slate.do("run for 1 ms")
    rows = slate.do("who 8010").splitlines()
    said = rows.index(KEPT)
    assert rows[said - 1].split()[:2] == ["43", "MW"] and rows[-1].split()[:2] == ["30", "MW"]
    assert "STA 8010H" in rows[said - 2] and "STA 8010H" in rows[-2]
    rows = slate.do("who 5000").splitlines()  # a mirror of the EPROM, as 4000 is
    assert rows[-3].split()[:2] == ["69", "MW"]
    assert rows[-2:] == [KEPT, "31 was loaded at T-state 3."]
    rows = slate.do("who 0100").splitlines()
    assert rows[-3].split()[:2] == ["56", "MW"]
    assert rows[-2:] == [KEPT, "nothing since power came on."]
    assert slate.do("who 0003").splitlines() == ["3E was loaded at T-state 3."]


def test_who_tells_of_what_was_put_there(slate: Bench, tmp_path: Path) -> None:
    slate.do("run for 100 T", "mem 8700 1", "put mem 8700 12")
    t = slate.machine.t
    assert slate.do("who 8700") == f"12 was put there by hand at T-state {t}.\n"
    (tmp_path / "part.hex").write_text(":01870000552B\n:00000001FF\n".replace("2B", "23"))
    slate.do("run for 100 T", f"load {tmp_path}/part.hex")
    assert slate.do("who 8700") == f"55 was loaded at T-state {slate.machine.t}.\n"
    text = slate.do("run for 100 T", "back write 8700")
    assert text.splitlines()[-1].startswith("55 was loaded at T-state")
    assert (
        slate.do("back write 8700").splitlines()[-1] == f"12 was put there by hand at T-state {t}."
    )
    assert slate.machine.t == t and slate.machine.memory[0x8700] == 0x12
    assert slate.do("back write 8700") == "Nothing before this has changed 8700.\n"
    assert slate.machine.t == t


def test_back_to_the_write_that_changed_a_byte(tmp_path: Path) -> None:
    slate = Bench("slate", WRITER, tmp_path)
    slate.machine.memory[0x8010] = 0
    slate.do("run for 1 ms")
    text = slate.do("back write 8010")
    assert "memory write from T-state 30" in text and slate.machine.t == 33
    assert text.splitlines()[-1].endswith("before the newest moment.")
    slate.do("forth")
    with pytest.raises(UserError):
        slate.do("back write")


def test_back_write_is_offered(slate: Bench) -> None:
    context = slate.session.context
    offered = {one.text for one in suggestions("back ", slate.session.forms, context)}
    assert {"instruction", "stop", "to", "write"} <= offered
    assert "back write ADDRESS" in slate.do("help back")


class Interrupting:
    """Presses Ctrl-C at every rest of the machine, once it is told to."""

    is_on = False

    def begin(self) -> None: ...

    def next_t(self) -> int:
        return NEVER

    def rest(self) -> None:
        if self.is_on:
            signal.raise_signal(signal.SIGINT)

    def end(self) -> None: ...


@pytest.mark.parametrize(
    "line", ["back stop", "who 8010", "back write 8010", "back to 1900000 T", "back 100000"]
)
def test_ctrl_c_breaks_off_and_the_board_is_where_it_was(tmp_path: Path, line: str) -> None:
    slate = Bench("slate", WRITER, tmp_path, trace=1000)
    slate.session.history._apart = 1e9  # so that the past is one long stretch
    slate.do("run for 2000000 T", "stop on MR data 55")
    whole = sight(slate.machine)
    interrupting = Interrupting()
    slate.machine.companions.append(interrupting)
    interrupting.is_on = True
    with pytest.raises(UserError, match="broken off; the board is where it was"):
        slate.do(line)
    interrupting.is_on = False
    assert sight(slate.machine, 0) == whole._replace(trace=b"")
    assert slate.session.history.attend is None
    slate.do("step 5", "back 5")
    assert sight(slate.machine, 0) == whole._replace(trace=b"")
