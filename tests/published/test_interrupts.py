"""Interrupts, RIM and SIM, HALT, HOLD, RESET and wait states.

Source: MCS-80/85 Family User's Manual (October 1979), chapter on the 8085A, and
8085AH data sheet; values from memory.  Where a check rests on a choice of the
project because nobody has published, its docstring says so.
"""

from __future__ import annotations

import itertools

import pytest

from emu85.bus.lines import Line
from emu85.cpu.layout import IO_BASE

from .harness import Rig
from .model import Processor

EI, DI, HLT, NOP, RIM, SIM = 0xFB, 0xF3, 0x76, 0x00, 0x20, 0x30

RESTART = {Line.TRAP: 0x24, Line.RST75: 0x3C, Line.RST65: 0x34, Line.RST55: 0x2C}
"""Restart addresses (data sheet, interrupt priority, restart address and sensitivity)."""

PRIORITY = [Line.TRAP, Line.RST75, Line.RST65, Line.RST55, Line.INTR]
"""Highest first (same table)."""

START = 0x4321
STACK = 0x8000
BI_ACK = ("BI", 1, 1, 1, 6)


@pytest.fixture
def rig() -> Rig:
    """Memory full of NOP, out of reset, all masks open, interrupts enabled."""
    rig = Rig()
    rig.fill(bytes(0x10000))
    rig.machine.reset()
    rig.set(PC=START, SP=STACK)
    open_masks(rig)
    rig.machine.registers.ie = 1
    return rig


def open_masks(rig: Rig, masks: int = 0) -> None:
    """SIM with mask set enable, run for real."""
    rig.put(START, [SIM])
    rig.set(A=0x08 | masks, PC=START)
    rig.instruction()
    rig.put(START, [NOP])
    rig.set(PC=START)


def read_masks(rig: Rig) -> int:
    """What RIM puts into A; PC goes back to where it was."""
    here = rig.get("PC")
    rig.put(here, [RIM])
    rig.instruction()
    rig.put(here, [NOP])
    rig.set(PC=here)
    return rig.get("A")


def expect_nothing(rig: Rig, count: int = 4) -> None:
    """No acknowledgement in the next instructions."""
    for _ in range(count):
        assert rig.instruction()[0].type == "OF"


# Restarts


@pytest.mark.parametrize("line", RESTART, ids=lambda line: line.name)
def test_restart_address_and_machine_cycles(line: Line, rig: Rig) -> None:
    """B W W, 12 T-states: a bus idle cycle of 6 with all status lines high, then the push."""
    rig.drive(line, 1)
    seen = rig.until_acknowledged()
    pushed = rig.interrupted_at
    assert [(c.type, c.io_m, c.s1, c.s0, c.t) for c in seen] == [
        BI_ACK,
        ("MW", 0, 0, 1, 3),
        ("MW", 0, 0, 1, 3),
    ]
    assert [(c.address, c.data) for c in seen[1:]] == [
        (STACK - 1, pushed >> 8),
        (STACK - 2, pushed & 0xFF),
    ]
    assert rig.get("PC") == RESTART[line]
    assert rig.get("SP") == STACK - 2
    assert rig.get("ie") == 0


@pytest.mark.parametrize(
    "raised",
    [c for n in range(1, 6) for c in itertools.combinations(PRIORITY, n)],
    ids=lambda lines: "+".join(line.name for line in lines),
)
def test_the_highest_of_those_raised_is_taken(raised: tuple[Line, ...], rig: Rig) -> None:
    """TRAP, RST 7.5, RST 6.5, RST 5.5, INTR, in this order, for every subset of them."""
    rig.acknowledge_with(0xCF)  # RST 1
    for line in raised:
        rig.drive(line, 1)
    first = rig.until_acknowledged()[0]
    winner = raised[0]
    assert first.type == ("INA" if winner == Line.INTR else "BI")
    assert rig.get("PC") == RESTART.get(winner, 0x08)


def test_one_after_the_other(rig: Rig) -> None:
    """All five at once are served in order, each restart with interrupts enabled again."""
    rig.acknowledge_with(0xCF)
    for line in PRIORITY:
        rig.drive(line, 1)
    taken = []
    for line in PRIORITY:
        rig.until_acknowledged()
        taken.append(rig.get("PC"))
        rig.drive(line, 0)
        rig.machine.registers.ie = 1
    assert taken == [0x24, 0x3C, 0x34, 0x2C, 0x08]
    expect_nothing(rig)


@pytest.mark.parametrize(
    ("mask", "line"), [(4, Line.RST75), (2, Line.RST65), (1, Line.RST55)], ids=["7.5", "6.5", "5.5"]
)
def test_masks(mask: int, line: Line, rig: Rig) -> None:
    """A mask bit of 1 holds off its own input and no other."""
    open_masks(rig, mask)
    rig.drive(line, 1)
    expect_nothing(rig)
    open_masks(rig, 7 - mask)
    rig.until_acknowledged()
    assert rig.get("PC") == RESTART[line]


@pytest.mark.parametrize("line", PRIORITY, ids=lambda line: line.name)
def test_disabled_interrupts(line: Line, rig: Rig) -> None:
    """With IE reset only TRAP is taken."""
    rig.machine.registers.ie = 0
    rig.drive(line, 1)
    if line == Line.TRAP:
        rig.until_acknowledged()
        assert rig.get("PC") == 0x24
    else:
        expect_nothing(rig)


# Sensitivity of the inputs


def test_rst75_is_latched_by_its_edge(rig: Rig) -> None:
    """A pulse is remembered while interrupts are disabled and taken once when enabled."""
    rig.machine.registers.ie = 0
    rig.drive(Line.RST75, 1)
    rig.instruction()
    rig.drive(Line.RST75, 0)
    rig.instruction()
    assert read_masks(rig) & 0x40
    rig.machine.registers.ie = 1
    rig.until_acknowledged()
    assert rig.get("PC") == 0x3C
    assert not read_masks(rig) & 0x40
    rig.machine.registers.ie = 1
    expect_nothing(rig)


def test_rst75_is_not_taken_twice_for_one_edge(rig: Rig) -> None:
    """The acknowledgement resets the latch; a line that stays high does not set it again."""
    rig.drive(Line.RST75, 1)
    rig.until_acknowledged()
    rig.machine.registers.ie = 1
    expect_nothing(rig)
    rig.drive(Line.RST75, 0)
    rig.instruction()
    rig.drive(Line.RST75, 1)
    rig.until_acknowledged()
    assert rig.get("PC") == 0x3C


def test_rst75_latch_is_reset_by_sim(rig: Rig) -> None:
    """SIM with bit 4 set resets the latch, mask set enable or not; without it, it stays."""
    rig.machine.registers.ie = 0
    rig.drive(Line.RST75, 1)
    rig.instruction()
    rig.drive(Line.RST75, 0)
    here = rig.get("PC")
    rig.put(here, [SIM, SIM])
    rig.set(A=0x00)
    rig.instruction()
    assert read_masks(rig) & 0x40
    rig.put(rig.get("PC"), [SIM])
    rig.set(A=0x10)
    rig.instruction()
    assert not read_masks(rig) & 0x40


def test_rst75_latch_is_set_while_masked(rig: Rig) -> None:
    """The mask keeps the request from being taken, not from being latched."""
    open_masks(rig, 4)
    rig.drive(Line.RST75, 1)
    rig.instruction()
    rig.drive(Line.RST75, 0)
    assert read_masks(rig) & 0x44 == 0x44
    open_masks(rig, 0)
    rig.until_acknowledged()
    assert rig.get("PC") == 0x3C


@pytest.mark.parametrize("line", [Line.RST65, Line.RST55, Line.INTR], ids=lambda line: line.name)
def test_level_inputs_are_not_remembered(line: Line, rig: Rig) -> None:
    """RST 6.5, RST 5.5 and INTR that fall before they are taken are gone."""
    rig.machine.registers.ie = 0
    rig.drive(line, 1)
    rig.instruction()
    rig.drive(line, 0)
    rig.instruction()
    assert not read_masks(rig) & 0x70
    rig.machine.registers.ie = 1
    expect_nothing(rig)


@pytest.mark.parametrize("line", [Line.RST65, Line.RST55], ids=lambda line: line.name)
def test_level_inputs_are_taken_again(line: Line, rig: Rig) -> None:
    """A level that stays is taken again as soon as interrupts are enabled."""
    rig.drive(line, 1)
    for _ in range(2):
        rig.until_acknowledged()
        assert rig.get("PC") == RESTART[line]
        rig.machine.registers.ie = 1


def test_trap_is_edge_and_level(rig: Rig) -> None:
    """TRAP must rise and stay high until it is sampled, and is taken once for each rise."""
    rig.drive(Line.TRAP, 1)
    rig.drive(Line.TRAP, 0)
    expect_nothing(rig)
    rig.drive(Line.TRAP, 1)
    rig.until_acknowledged()
    expect_nothing(rig)
    rig.drive(Line.TRAP, 0)
    rig.instruction()
    rig.drive(Line.TRAP, 1)
    rig.until_acknowledged()
    assert rig.get("PC") == 0x24


@pytest.mark.parametrize(
    ("late", "first"), [(3, "BI"), (4, "OF")], ids=["in time", "one T-state late"]
)
@pytest.mark.parametrize("line", PRIORITY[:4], ids=lambda line: line.name)
def test_inputs_are_sampled_one_t_state_before_the_end(
    line: Line, late: int, first: str, rig: Rig
) -> None:
    """A request in the last T-state of an instruction of four is put off by an instruction."""
    rig.drive_at(rig.machine.t + late, line, 1)
    assert rig.instruction()[0].type == "OF"
    assert rig.instruction()[0].type == first
    if first == "OF":
        assert rig.instruction()[0].type == "BI"


# EI and DI


def test_ei_takes_effect_after_the_next_instruction(rig: Rig) -> None:
    """EI, one more instruction, then the acknowledgement."""
    rig.machine.registers.ie = 0
    rig.drive(Line.RST65, 1)
    rig.put(START, [NOP, EI, NOP, NOP])
    types = [rig.instruction()[0].type for _ in range(4)]
    assert types == ["OF", "OF", "OF", "BI"]
    assert rig.number(STACK - 2, 2) == START + 3


def test_ei_then_ret_leaves_before_the_next_interrupt(rig: Rig) -> None:
    """EI RET at the end of a service routine returns first (the reason for the delay)."""
    rig.machine.registers.ie = 0
    rig.drive(Line.RST65, 1)
    rig.put(START, [NOP, EI, 0xC9])
    rig.put_number(STACK, 0x6000, 2)
    for _ in range(3):
        assert rig.instruction()[0].type == "OF"
    assert rig.get("PC") == 0x6000
    assert rig.instruction()[0].type == "BI"
    assert rig.number(STACK, 2) == 0x6000


def test_ei_then_di_never_enables(rig: Rig) -> None:
    """DI as the instruction after EI leaves no room for an acknowledgement."""
    rig.machine.registers.ie = 0
    rig.drive(Line.RST65, 1)
    rig.put(START, [NOP, EI, DI, NOP])
    expect_nothing(rig, 8)
    assert rig.get("ie") == 0


def test_di_disables_at_once(rig: Rig) -> None:
    """A request that comes after DI waits."""
    rig.put(START, [DI, NOP])
    rig.instruction()
    rig.drive(Line.RST55, 1)
    expect_nothing(rig)


# RIM and SIM


def test_sim_bit_for_bit(rig: Rig) -> None:
    """All 256 values of A on both states of what they may change."""
    for start in (0x48, 0xCF):
        for value in range(256):
            cpu = Processor(ie=1)
            rig.machine.reset()
            rig.machine.registers.ie = 1
            rig.put(0, [SIM, SIM, RIM])
            cpu.memory[0:3] = bytes([SIM, SIM, RIM])
            for a in (start, value):
                rig.set(A=a)
                cpu.A = a
                rig.instruction()
                cpu.run_one()
            rig.instruction()
            cpu.run_one()
            assert rig.get("A") == cpu.A, (start, value)
            assert bool(rig.machine.lines & Line.SOD) == bool(cpu.sod), (start, value)


def test_rim_bit_for_bit(rig: Rig) -> None:
    """Every combination of SID, pending RST 7.5, 6.5, 5.5, IE and the masks."""
    for bits in range(256):
        rig.machine.reset()
        levels = {Line.SID: 0x80, Line.RST75: 0x40, Line.RST65: 0x20, Line.RST55: 0x10}
        for line in levels:
            rig.drive(line, 0)
        rig.put(0, [SIM, NOP, RIM])
        rig.set(A=0x18 | bits & 7)
        rig.instruction()
        for line, bit in levels.items():
            rig.drive(line, int(bool(bits & bit)))
        rig.instruction()
        rig.machine.registers.ie = 0
        enabled = bits & 8
        if enabled and not _would_interrupt(bits):
            rig.machine.registers.ie = 1
        elif enabled:
            continue  # An enabled, open, pending input would be taken before RIM.
        rig.instruction()
        assert rig.get("A") == bits


def _would_interrupt(bits: int) -> bool:
    return bool(bits >> 4 & 7 & ~bits)


@pytest.mark.parametrize("enabled", [0, 1])
def test_first_rim_after_trap(enabled: int, rig: Rig) -> None:
    """It reports the interrupt enable of before the TRAP; the next one, the present one."""
    rig.machine.registers.ie = enabled
    rig.drive(Line.TRAP, 1)
    rig.until_acknowledged()
    assert read_masks(rig) & 0x08 == 0x08 * enabled
    assert read_masks(rig) & 0x08 == 0


@pytest.mark.parametrize("line", PRIORITY[1:], ids=lambda line: line.name)
def test_rim_after_other_interrupts(line: Line, rig: Rig) -> None:
    """After any other acknowledgement RIM tells that interrupts are disabled."""
    rig.drive(line, 1)
    rig.until_acknowledged()
    assert read_masks(rig) & 0x08 == 0


# INTR


@pytest.mark.parametrize("number", range(8))
def test_intr_answered_by_rst(number: int, rig: Rig) -> None:
    """INA W W, 12 T-states; PC is not advanced by the acknowledge cycle."""
    rig.acknowledge_with(0xC7 | number << 3)
    rig.drive(Line.INTR, 1)
    seen = rig.until_acknowledged()
    pushed = rig.interrupted_at
    assert [(c.type, c.address, c.data, c.t) for c in seen] == [
        ("INA", pushed, 0xC7 | number << 3, 6),
        ("MW", STACK - 1, pushed >> 8, 3),
        ("MW", STACK - 2, pushed & 0xFF, 3),
    ]
    assert rig.get("PC") == 8 * number
    assert rig.get("ie") == 0


def test_intr_answered_by_call(rig: Rig) -> None:
    """INA INA INA W W, 18 T-states; the return address is that of the interrupted program."""
    rig.acknowledge_with(0xCD, 0x34, 0x12)
    rig.drive(Line.INTR, 1)
    seen = rig.until_acknowledged()
    pushed = rig.interrupted_at
    assert [(c.type, c.address, c.data, c.t) for c in seen] == [
        ("INA", pushed, 0xCD, 6),
        ("INA", pushed, 0x34, 3),
        ("INA", pushed, 0x12, 3),
        ("MW", STACK - 1, pushed >> 8, 3),
        ("MW", STACK - 2, pushed & 0xFF, 3),
    ]
    assert rig.get("PC") == 0x1234
    assert rig.get("ie") == 0


def test_intr_answered_by_nobody(rig: Rig) -> None:
    """Pull-ups put FF on the bus, which is RST 7."""
    rig.drive(Line.INTR, 1)
    assert rig.until_acknowledged()[0].data == 0xFF
    assert rig.get("PC") == 0x38


# HALT


def halt(rig: Rig) -> None:
    rig.put(START, [HLT])
    seen = rig.instruction()
    assert (seen[0].type, seen[0].t) == ("OF", 4)


@pytest.mark.parametrize("line", PRIORITY, ids=lambda line: line.name)
def test_halt_is_left_by_an_interrupt(line: Line, rig: Rig) -> None:
    """The return address is that of the instruction after HLT."""
    halt(rig)
    rig.acknowledge_with(0xCF)
    rig.drive_at(rig.machine.t + 100, line, 1)
    total = rig.machine.trace.total - 1  # The halt state has begun.
    rig.machine.run(until=RESTART.get(line, 0x08), t_states=1000)
    seen = rig.cycles_since(total)
    acknowledged = [c for c in seen if c.type in ("BI", "INA")]
    assert len(acknowledged) == 1
    assert rig.number(STACK - 2, 2) == START + 1
    assert sum(c.t for c in seen if c.type == "HALT") >= 100
    assert {c.type for c in seen[: seen.index(acknowledged[0])]} <= {"HALT"}


@pytest.mark.parametrize("line", PRIORITY[1:], ids=lambda line: line.name)
def test_halt_is_not_left_by_a_disabled_interrupt(line: Line, rig: Rig) -> None:
    """With IE reset, nothing but TRAP or RESET wakes the CPU."""
    rig.machine.registers.ie = 0
    halt(rig)
    rig.drive(line, 1)
    rig.machine.run(t_states=200)
    assert rig.cycles_since(rig.machine.trace.total - 1)[0].type == "HALT"


@pytest.mark.parametrize(
    ("mask", "line"), [(4, Line.RST75), (2, Line.RST65), (1, Line.RST55)], ids=["7.5", "6.5", "5.5"]
)
def test_halt_is_not_left_by_a_masked_interrupt(mask: int, line: Line, rig: Rig) -> None:
    """Masked inputs do not wake the CPU."""
    open_masks(rig, mask)
    halt(rig)
    rig.drive(line, 1)
    rig.machine.run(t_states=200)
    assert rig.cycles_since(rig.machine.trace.total - 1)[0].type == "HALT"


def test_halt_is_left_by_reset(rig: Rig) -> None:
    """RESET IN starts the CPU at 0000."""
    halt(rig)
    rig.machine.reset()
    fetch = rig.instruction()[0]
    assert (fetch.type, fetch.address) == ("OF", 0x0000)


# HOLD


def test_hold_between_the_machine_cycles_of_an_instruction(rig: Rig) -> None:
    """The current machine cycle ends, the bus is given away, the instruction goes on."""
    rig.put(START, [0x3A, 0x00, 0x90])
    rig.put(0x9000, [0x5A])
    start = rig.machine.t
    rig.drive_at(start + 1, Line.HOLD, 1)
    rig.drive_at(start + 30, Line.HOLD, 0)
    total = rig.machine.trace.total
    rig.machine.run(until=START + 3, t_states=1000)
    seen = rig.cycles_since(total)
    assert [c.type for c in seen if c.type != "HOLD"] == ["OF", "MR", "MR", "MR"]
    assert [c.type for c in seen].index("HOLD") == 1
    assert all(c.lines & Line.HLDA for c in seen if c.type == "HOLD")
    assert not any(c.lines & Line.HLDA for c in seen if c.type != "HOLD")
    held = sum(c.t for c in seen if c.type == "HOLD")
    assert sum(c.t for c in seen) == 13 + held
    assert 24 <= held <= 28, "from the end of the fetch until HOLD falls, give or take its sampling"
    assert rig.get("A") == 0x5A


def test_no_interrupt_is_taken_in_hold(rig: Rig) -> None:
    """TRAP waits until HOLD is released."""
    start = rig.machine.t
    rig.drive_at(start + 1, Line.HOLD, 1)
    rig.drive_at(start + 10, Line.TRAP, 1)
    rig.drive_at(start + 50, Line.HOLD, 0)
    total = rig.machine.trace.total
    rig.machine.run(until=0x24, t_states=1000)
    seen = rig.cycles_since(total)
    types = [c.type for c in seen]
    assert types.index("BI") > types.index("HOLD")
    assert sum(c.t for c in seen[: types.index("BI")]) >= 50


# RESET


def test_reset(rig: Rig) -> None:
    """PC 0000, IE reset, masks set, RST 7.5 latch and SOD reset; first an opcode fetch."""
    open_masks(rig, 0)
    rig.put(START, [SIM])
    rig.set(A=0xC8)
    rig.machine.registers.ie = 0
    rig.instruction()
    assert rig.machine.lines & Line.SOD
    rig.drive(Line.RST75, 1)
    rig.drive(Line.RST75, 0)
    rig.instruction()
    rig.machine.registers.ie = 1
    rig.machine.reset()
    assert rig.get("PC") == 0
    assert rig.get("ie") == 0
    assert not rig.machine.lines & Line.SOD
    fetch = rig.instruction()[0]
    assert (fetch.type, fetch.address) == ("OF", 0x0000)
    assert read_masks(rig) & 0x7F == 0x07


def test_reset_in_the_middle_of_an_instruction(rig: Rig) -> None:
    """What is under way is given up; RESET OUT is high meanwhile.

    Registers are kept (a choice: the manual leaves them undefined).
    """
    rig.put(START, [0xCD, 0x00, 0x90])
    rig.set(B=0x5A)
    rig.cycle()
    rig.cycle()
    total = rig.machine.trace.total
    rig.machine.reset()
    state = rig.cycles_since(total)
    assert [c.type for c in state] == ["RESET"]
    assert state[0].lines & Line.RESET_OUT
    fetch = rig.cycle()
    assert (fetch.type, fetch.address) == ("OF", 0x0000)
    assert not fetch.lines & Line.RESET_OUT
    assert (rig.get("SP"), rig.get("B")) == (STACK, 0x5A)


# READY


@pytest.mark.parametrize("waits", [1, 2, 7])
def test_wait_states_lengthen_the_cycle_they_are_in(waits: int, rig: Rig) -> None:
    """Fetch, read, write and I/O each grow by their own wait states; READY was low in them."""
    rig.put(START, [0x34, 0xDB, 0x42, 0x09])
    rig.set(H=0x90, L=0x00)
    rig.set_waits(START + 3, waits)
    rig.set_waits(0x9000, waits)
    rig.set_waits(IO_BASE + 0x42, waits)
    seen = rig.instruction()
    assert [(c.type, c.t) for c in seen] == [("OF", 4), ("MR", 3 + waits), ("MW", 3 + waits)]
    seen += rig.instruction()
    assert [(c.type, c.t) for c in seen[3:]] == [("OF", 4), ("MR", 3), ("IOR", 3 + waits)]
    # No chip is asked in the bus idle cycles of DAD, so READY does not lengthen them.
    seen += rig.instruction()
    assert [(c.type, c.t) for c in seen[6:]] == [("OF", 4 + waits), ("BI", 3), ("BI", 3)]
    for cycle in seen:
        usual = 4 if cycle.type == "OF" else 3
        assert cycle.waits == cycle.t - usual
        assert bool(cycle.lines & Line.READY) == (cycle.waits == 0)
