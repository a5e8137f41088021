"""Each kind of finding, from programs small enough to count by hand.

Instruction times are those of the User's Manual (October 1979; values from
memory).  The first fetch begins at T-state 3; see ``tests.rig``.
"""

from __future__ import annotations

import pytest

from emu85.bus.findings import DESCRIPTIONS, Finding
from emu85.bus.lines import Line
from emu85.cpu.layout import FindingKind
from emu85.machine import Machine
from tests.rig import rig


def findings_of(program: str, t_states: int) -> list[Finding]:
    machine = rig(program)
    machine.run(t_states=t_states)
    return list(machine.findings)


def flagged(machine: Machine) -> list[int]:
    """Start T-states of the cycles whose record says that they gave rise to a finding."""
    return [int(r["t"]) for r in machine.trace.all() if r["lines"] & Line.FINDING]


def test_a_read_where_no_chip_answers() -> None:
    machine = rig("ORG 0\nagain: LDA 7123H\n JMP again")
    machine.run(t_states=60)
    # LDA: fetch 3, reads at 7 and 10, the read at 13; JMP to 26; every 23.
    expected = Finding(FindingKind.FLOATING_READ, False, 0x7123, 3, 13, 59, 0)
    assert list(machine.findings) == [expected]
    assert flagged(machine) == [13, 36, 59]
    assert machine.registers.a == 0xFF
    assert all(r["lines"] & Line.FLOATING for r in machine.trace.all() if r["address"] == 0x7123)


def test_a_port_where_no_chip_answers() -> None:
    # NOP 3-7; IN: fetch 7, read 11, the port at 14.
    assert findings_of("ORG 0\n NOP\n IN 77H\n HLT", 30) == [
        Finding(FindingKind.FLOATING_READ, True, 0x77, 1, 14, 14, 1)
    ]


def test_a_port_that_is_only_written_floats_when_it_is_read() -> None:
    assert findings_of("ORG 0\n IN 30H\n HLT", 30) == [
        Finding(FindingKind.FLOATING_READ, True, 0x30, 1, 10, 10, 0)
    ]


def test_a_write_where_no_chip_listens() -> None:
    # STA: the write at 13.  OUT from 16: its write at 23.  A port that is only read.
    assert findings_of("ORG 0\n STA 7000H\n OUT 00H\n HLT", 40) == [
        Finding(FindingKind.LOST_WRITE, False, 0x7000, 1, 13, 13, 0),
        Finding(FindingKind.LOST_WRITE, True, 0x00, 1, 23, 23, 3),
    ]


def test_a_write_to_rom() -> None:
    machine = rig("ORG 0\n LXI H,0100H\n MVI M,55H\n MVI M,66H\n HLT")
    before = machine.memory[0x100]
    machine.run(t_states=40)
    # LXI to 13; MVI M: fetch 13, read 17, write 20; the next ten later.
    assert list(machine.findings) == [Finding(FindingKind.ROM_WRITE, False, 0x100, 2, 20, 30, 3)]
    assert machine.memory[0x100] == before


def test_ram_read_before_it_was_written() -> None:
    program = "ORG 0\n LDA 8000H\n STA 8000H\n LDA 8000H\n LDA 0A001H\n LDA 8001H\n HLT"
    # The reads are at 13, 39, 52 and 65; A001 is a mirror of 8001, with an address of its own.
    assert findings_of(program, 90) == [
        Finding(FindingKind.UNWRITTEN_READ, False, 0x8000, 1, 13, 13, 0),
        Finding(FindingKind.UNWRITTEN_READ, False, 0xA001, 1, 52, 52, 9),
        Finding(FindingKind.UNWRITTEN_READ, False, 0x8001, 1, 65, 65, 12),
    ]


def test_a_write_through_a_mirror_counts_for_all() -> None:
    assert findings_of("ORG 0\n STA 0A123H\n LDA 8123H\n HLT", 60) == []


def test_ram_is_unwritten_again_after_power() -> None:
    machine = rig("ORG 0\n STA 8000H\n LDA 8000H\n HLT")
    machine.run()
    assert len(machine.findings) == 0
    machine.reset()
    machine.registers.pc = 3
    machine.run()
    assert len(machine.findings) == 0, "RESET keeps RAM"
    machine.power()
    machine.registers.pc = 3
    machine.run()
    assert [f.kind for f in machine.findings] == [FindingKind.UNWRITTEN_READ]


def test_execution_outside_code() -> None:
    """RAM that the program wrote itself, and that the board does not call code."""
    program = "ORG 0\n LXI H,8000H\n MVI M,0\n INX H\n MVI M,0C9H\n CALL 8000H\n HLT"
    machine = rig(program)
    machine.registers.sp = 0x9000
    machine.run()
    # LXI 10, MVI M 10, INX 6, MVI M 10, CALL 18: fetches at 57 and 61.
    assert list(machine.findings) == [
        Finding(FindingKind.NOT_CODE, False, 0x8000, 1, 57, 57, 0x8000),
        Finding(FindingKind.NOT_CODE, False, 0x8001, 1, 61, 61, 0x8001),
    ]


def test_code_by_the_board_or_by_loading_is_no_finding() -> None:
    machine = rig("ORG 0\n STA 0C000H\n CALL 0C000H\n CALL 8100H\n HLT\n ORG 8100H\n RET")
    machine.registers.sp = 0x9000
    machine.registers.a = 0xC9
    machine.run()
    assert list(machine.findings) == []


def test_a_fetch_from_an_unburnt_rom_is_outside_code() -> None:
    machine = rig("ORG 0\n JMP 0800H")
    machine.memory[0x800] = 0x76
    machine.run()
    assert list(machine.findings) == [Finding(FindingKind.NOT_CODE, False, 0x800, 1, 13, 13, 0x800)]


def test_a_fetch_from_nowhere_is_two_findings() -> None:
    """FF is RST 7, whose fetch of six T-states goes to 0038."""
    machine = rig("ORG 0\n LXI SP,9000H\n JMP 7000H\n ORG 38H\n HLT")
    machine.run()
    assert list(machine.findings) == [
        Finding(FindingKind.FLOATING_READ, False, 0x7000, 1, 23, 23, 0x7000),
        Finding(FindingKind.NOT_CODE, False, 0x7000, 1, 23, 23, 0x7000),
    ]
    assert flagged(machine) == [23]


def test_a_stack_that_leaves_its_region() -> None:
    """The region is 8F00-8FFF; a push at its low end puts one byte in and one below."""
    machine = rig("ORG 0\n LXI SP,8F01H\n PUSH B\n CALL 10H\n ORG 10H\n HLT")
    machine.run()
    # LXI to 13; PUSH: fetch 13 of six, writes at 19 (8F00) and 22 (8EFF); CALL from 25:
    # fetch 25 of six, reads 31 and 34, writes at 37 (8EFE) and 40 (8EFD).
    assert list(machine.findings) == [
        Finding(FindingKind.STACK, False, 0x8EFF, 1, 22, 22, 3),
        Finding(FindingKind.STACK, False, 0x8EFE, 1, 37, 37, 4),
        Finding(FindingKind.STACK, False, 0x8EFD, 1, 40, 40, 4),
    ]


def test_a_plain_write_outside_the_stack_region_is_fine() -> None:
    assert findings_of("ORG 0\n STA 8000H\n SHLD 8010H\n HLT", 60) == []


def test_a_push_into_rom_is_both() -> None:
    machine = rig("ORG 0\n LXI SP,0101H\n PUSH B\n HLT")
    machine.run()
    kinds = [(f.kind, f.address, f.first_t) for f in machine.findings]
    assert kinds == [
        (FindingKind.ROM_WRITE, 0x100, 19),
        (FindingKind.STACK, 0x100, 19),
        (FindingKind.ROM_WRITE, 0xFF, 22),
        (FindingKind.STACK, 0xFF, 22),
    ]


def test_a_push_in_an_interrupt_is_watched_as_well() -> None:
    machine = rig("ORG 0\n LXI SP,8000H\n NOP\n NOP\n ORG 24H\n HLT")
    machine.schedule.at(14, lambda: machine.drive(Line.TRAP, 1))
    machine.run()
    # LXI to 13, NOP to 17; the acknowledge of six T-states, then writes at 23 and 26.
    assert [(f.kind, f.address, f.first_t) for f in machine.findings] == [
        (FindingKind.LOST_WRITE, 0x7FFF, 23),
        (FindingKind.STACK, 0x7FFF, 23),
        (FindingKind.LOST_WRITE, 0x7FFE, 26),
        (FindingKind.STACK, 0x7FFE, 26),
    ]


@pytest.mark.parametrize("line", [Line.TRAP, Line.INTR])
def test_an_interrupt_is_placed_at_the_instruction_that_it_puts_off(line: Line) -> None:
    program = "ORG 0\n LXI SP,8000H\n EI\n NOP\n NOP\n ORG 24H\n HLT\n ORG 28H\n HLT"
    machine = rig(program)
    machine.schedule.at(18, lambda: machine.drive(line, 1))
    machine.run()
    # LXI to 13, EI to 17, NOP to 21, where the second NOP at 0005 is put off.
    assert {f.pc for f in machine.findings} == {5}


def test_two_chips_that_answer_at_once() -> None:
    """Both take the write; the read is their AND, and no third finding is made of it."""
    machine = rig("ORG 0\n MVI A,3CH\n STA 0D010H\n LDA 0D010H\n HLT")
    machine.run()
    # MVI to 10, STA to 23, the read of LDA at 33.
    assert list(machine.findings) == [Finding(FindingKind.CONTENTION, False, 0xD010, 1, 33, 33, 5)]
    assert machine.registers.a == 0x3C


def test_counts_go_on_and_can_be_cleared() -> None:
    machine = rig("ORG 0\nagain: LDA 7123H\n JMP again")
    machine.run(t_states=100)
    (before,) = machine.findings
    machine.run(t_states=230)
    (after,) = machine.findings
    assert after.times == before.times + 10
    assert (after.first_t, after.pc) == (before.first_t, before.pc)
    assert after.last_t == before.last_t + 230
    machine.findings.clear()
    assert list(machine.findings) == []
    t = machine.t
    machine.run(t_states=23)
    (fresh,) = machine.findings
    assert fresh.times == 1
    assert fresh.first_t == fresh.last_t >= t


def test_the_same_at_every_way_of_running() -> None:
    """A read that waits for a device's answer is noted once, not at each attempt."""
    program = "ORG 0\n LDA 0D000H\n LDA 0D000H\n HLT"
    straight = findings_of(program, 100)
    machine = rig(program)
    for _ in range(12):
        machine.step()
    assert list(machine.findings) == straight
    assert straight[0].times == 2


@pytest.mark.parametrize("kind", list(FindingKind))
def test_every_kind_is_described(kind: FindingKind) -> None:
    assert DESCRIPTIONS[kind]
    assert Finding(kind, False, 0, 1, 0, 0, 0).description == DESCRIPTIONS[kind]


def test_what_is_noticed_beside_the_bus_is_counted_and_cleared() -> None:
    machine = rig("ORG 0\n HLT")
    machine.note("two outputs fight", "line 7")
    machine.run(t_states=20)
    machine.note("two outputs fight", "line 7")
    machine.note("two outputs fight", "line 9")
    first, second = machine.findings.noted
    assert (first.where, first.times, first.first_t, first.last_t) == ("line 7", 2, 3, machine.t)
    assert (second.where, second.times, second.first_t) == ("line 9", 1, machine.t)
    assert len(machine.findings) == 2
    machine.power()
    assert machine.findings.noted == []
    assert len(machine.findings) == 0
