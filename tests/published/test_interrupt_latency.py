"""Interrupt latency: T-states from the rise of a line to the first fetch of its service.

Every expectation is worked out by hand from three statements of the MCS-80/85 Family
User's Manual (October 1979), section 2.3, and the instruction timing of its chapter 5
(values from memory):

* interrupt inputs are sampled one T-state before the end of an instruction, so a line
  that rises in the last T-state at the latest at its beginning is taken, and one that
  rises when the instruction ends waits for the next one;
* TRAP and RST 7.5, 6.5 and 5.5 are acknowledged by a bus idle cycle of 6 T-states and
  two pushes of 3: 12 T-states.  INTR is acknowledged by an INTA cycle of 6, two more of
  3 if a CALL is jammed, and the pushes: 12 T-states for RST n, 18 for CALL;
* the halt state lasts whole T-states, one at least, and is left like the end of an
  instruction.

A rise at phase ``p`` is ``p`` T-states after the first opcode fetch of the case began.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import NamedTuple

import pytest

from emu85.bus.lines import Line
from emu85.firmware import assemble
from emu85.machine import Machine

from .harness import Rig

NOP, EI, HLT, SIM = 0x00, 0xFB, 0x76, 0x30
START, STACK = 0x4321, 0x8000


class Source(NamedTuple):
    """A request line, what is jammed, how long the acknowledge takes, where it leads."""

    name: str
    line: Line
    jam: tuple[int, ...]
    acknowledge: int
    address: int


TRAP = Source("TRAP", Line.TRAP, (), 12, 0x24)
MASKABLE = [
    Source("RST 7.5", Line.RST75, (), 12, 0x3C),
    Source("RST 6.5", Line.RST65, (), 12, 0x34),
    Source("RST 5.5", Line.RST55, (), 12, 0x2C),
    Source("INTR with RST 3", Line.INTR, (0xDF,), 12, 0x18),
    Source("INTR with CALL 6789H", Line.INTR, (0xCD, 0x89, 0x67), 18, 0x6789),
]
every_source = pytest.mark.parametrize("source", [TRAP, *MASKABLE], ids=lambda s: s.name)
every_maskable = pytest.mark.parametrize("source", MASKABLE, ids=lambda s: s.name)


@pytest.fixture(scope="module")
def rig() -> Rig:
    """Memory full of NOP."""
    rig = Rig()
    rig.fill(bytes(0x10000))
    return rig


def latency(
    rig: Rig, source: Source, program: Iterable[int], phase: int, *, enabled: bool = True
) -> int:
    """T-states from the rise to the first fetch of the service, on a fresh CPU."""
    machine = rig.machine
    for other in (TRAP, *MASKABLE):
        rig.drive(other.line, 0)
    machine.reset()
    rig.put(START, [SIM, *program, *[NOP] * 8])
    rig.put_number(STACK, 0x5000, 2)  # where a return goes: NOP
    rig.set(PC=START, SP=STACK, A=0x18, F=0x40, H=0x60, L=0x00)
    rig.instruction()  # all masks open
    machine.registers.ie = int(enabled)
    rig.acknowledge_with(*source.jam)
    rise = machine.t + phase
    rig.drive_at(rise, source.line, 1)
    machine.run(until=source.address, t_states=500)
    assert machine.registers.pc == source.address
    return machine.t - rise


INSTRUCTIONS: dict[str, tuple[tuple[int, ...], int]] = {
    "NOP": ((0x00,), 4),
    "INX B": ((0x03,), 6),
    "SPHL": ((0xF9,), 6),
    "MOV A,M": ((0x7E,), 7),
    "JNZ not taken": ((0xC2, 0x00, 0x70), 7),
    "CNZ not taken": ((0xC4, 0x00, 0x70), 9),
    "LXI B": ((0x01, 0x34, 0x12), 10),
    "JMP": ((0xC3, 0x00, 0x70), 10),
    "INR M": ((0x34,), 10),
    "IN": ((0xDB, 0x10), 10),
    "OUT": ((0xD3, 0x10), 10),
    "DAD B": ((0x09,), 10),
    "RNZ not taken": ((0xC0,), 6),
    "RZ taken": ((0xC8,), 12),
    "PUSH B": ((0xC5,), 12),
    "STA": ((0x32, 0x00, 0x60), 13),
    "LHLD": ((0x2A, 0x00, 0x60), 16),
    "XTHL": ((0xE3,), 16),
    "CALL": ((0xCD, 0x00, 0x70), 18),
}
"""Opcodes, and the T-states that the manual gives; Z is set."""


@every_source
@pytest.mark.parametrize("name", INSTRUCTIONS)
def test_every_instruction_boundary(name: str, source: Source, rig: Rig) -> None:
    """A rise before the end of the instruction is taken at its end; one at its very end
    waits for the NOP of 4 that follows."""
    program, t_states = INSTRUCTIONS[name]
    found = [latency(rig, source, program, phase) for phase in range(t_states + 1)]
    expected = [*range(t_states, 0, -1), 4]
    assert found == [wait + source.acknowledge for wait in expected]


@every_source
def test_during_dad(source: Source, rig: Rig) -> None:
    """DAD's bus idle cycles are no end of an instruction: 10 T-states in one piece."""
    found = [latency(rig, source, [0x09], phase) for phase in range(10)]
    if source.acknowledge == 12:
        assert found == [22, 21, 20, 19, 18, 17, 16, 15, 14, 13]
    else:
        assert found == [28, 27, 26, 25, 24, 23, 22, 21, 20, 19]


@every_source
def test_in_halt(source: Source, rig: Rig) -> None:
    """HLT takes 5 T-states, the fifth in the halt state; from then on each T-state is an
    end, so a rise is taken 1 T-state later."""
    found = [latency(rig, source, [HLT], phase) for phase in (0, 1, 2, 3, 4, 5, 6, 57, 200)]
    if source.acknowledge == 12:
        assert found == [17, 16, 15, 14, 13, 13, 13, 13, 13]
    else:
        assert found == [23, 22, 21, 20, 19, 19, 19, 19, 19]


@every_maskable
@pytest.mark.parametrize(
    ("following", "t_states"),
    [((NOP,), 4), ((0x09,), 10), ((0xC9,), 10)],
    ids=["NOP", "DAD", "RET"],
)
def test_in_the_shadow_of_ei(
    following: tuple[int, ...], t_states: int, source: Source, rig: Rig
) -> None:
    """EI takes 4 T-states and takes effect after the next instruction: a rise during either
    is served at the end of the second."""
    end = 4 + t_states
    found = [
        latency(rig, source, [EI, *following], phase, enabled=False) for phase in range(end + 1)
    ]
    expected = [*range(end, 0, -1), 4]
    assert found == [wait + source.acknowledge for wait in expected]


def test_ei_then_hlt(rig: Rig) -> None:
    """EI HLT: the shadow ends with HLT, which takes 5 T-states."""
    for source in MASKABLE:
        found = [latency(rig, source, [EI, HLT], p, enabled=False) for p in (0, 3, 4, 8, 9, 30)]
        assert found == [wait + source.acknowledge for wait in (9, 6, 5, 1, 1, 1)]


def test_trap_does_not_wait_for_ei(rig: Rig) -> None:
    """'TRAP is not affected by any mask or interrupt enable': nor by the shadow of EI."""
    found = [latency(rig, TRAP, [EI], phase, enabled=False) for phase in range(5)]
    assert found == [4 + 12, 3 + 12, 2 + 12, 1 + 12, 4 + 12]


@every_maskable
def test_a_request_that_waited_for_ei(source: Source, rig: Rig) -> None:
    """A line high since long before: its service is fetched 4 (EI) + 4 (NOP) + the
    acknowledge after EI began."""
    before = 6 * 4
    found = latency(rig, source, [*[NOP] * 6, EI, NOP], 0, enabled=False)
    assert found == before + 4 + 4 + source.acknowledge


# --- lines moved by the program itself, and through the interrupt controller ----------------


BOARD = """
name: bench
crystal: 2 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - {device: latch, name: latch, at: 10}
  - {device: 8259A, name: pic, at: 40-41}
lines:
  INTR: pic.int
  pic.ir0-ir7: latch.q0-q7
"""

THROUGH_THE_CONTROLLER = """
        LXI SP, 8400H
        MVI A, 12H          ; edges, alone, addresses 8 apart
        OUT 40H
        MVI A, 02H          ; 0200
        OUT 41H
        EI
BEGIN:  PROGRAM
        REPT 40
        NOP
        ENDM
        HLT
        ORG 228H            ; IR5
        HLT
"""


@pytest.mark.parametrize(("instruction", "t_states"), [("NOP", 4), ("DAD B", 10), ("HLT", 5)])
def test_through_an_8259a(instruction: str, t_states: int) -> None:
    """INT follows IR at once (its delay, 350 ns at most by the 8259A data sheet, is not
    modelled), and the 8259A jams a CALL: 18 T-states."""
    image = assemble(THROUGH_THE_CONTROLLER.replace("PROGRAM", instruction), "pic.asm").image
    for phase in range(t_states):
        machine = Machine.from_text(BOARD)
        machine.load(image)
        machine.run(until=image.symbols["BEGIN"])
        rise = machine.t + phase
        raise_ir5 = partial(machine.board.devices["pic"].sense, "ir5", 1)
        machine.schedule.at(rise, raise_ir5)
        machine.run(until=0x228, t_states=500)
        assert machine.t - rise == t_states - phase + 18


BY_PROGRAM = """
        LXI SP, 8400H
        MVI A, 08H
        SIM
        EI
        MVI A, 1
        OUT 10H
THEN:   INSTRUCTION
        REPT 8
        NOP
        ENDM
        HLT
        ORG 34H             ; RST 6.5
        HLT
"""
LATCHED = BOARD.split("lines:")[0] + "lines:\n  RST 6.5: latch.q0\n"


@pytest.mark.parametrize(("instruction", "t_states"), [("NOP", 4), ("DAD B", 10), ("XTHL", 16)])
def test_an_out_that_raises_a_line(instruction: str, t_states: int) -> None:
    """WR rises in T3, within half a T-state of the end (data sheet, t CL), so after the
    inputs have been sampled: the instruction after OUT is carried out first."""
    image = assemble(BY_PROGRAM.replace("INSTRUCTION", instruction), "out.asm").image
    machine = Machine.from_text(LATCHED)
    machine.load(image)
    machine.run(until=image.symbols["THEN"])
    end = machine.t
    machine.run(until=0x34, t_states=200)
    assert machine.t - end == t_states + 12


def test_an_out_that_takes_a_request_away_is_too_late() -> None:
    """The other way round: EI, then an OUT that lowers the line in its last T-state, when
    the inputs have been sampled: 4 and 10 T-states, and the acknowledge."""
    text = """
        LXI SP, 8400H
        MVI A, 08H
        SIM
        MVI A, 1
        OUT 10H
        XRA A
BEGIN:  EI
        OUT 10H
AFTER:  NOP
        HLT
        ORG 34H             ; RST 6.5
        HLT
        """
    image = assemble(text, "out.asm").image
    machine = Machine.from_text(LATCHED)
    machine.load(image)
    machine.run(until=image.symbols["BEGIN"])
    began = machine.t
    machine.run(until=0x34, t_states=200)
    assert machine.t - began == 4 + 10 + 12
    pushed = int.from_bytes(machine.memory[0x83FE:0x8400], "little")
    assert pushed == image.symbols["AFTER"]
