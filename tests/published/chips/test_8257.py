"""The 8257 driven by firmware over the bus.

Source: Intel 8257/8257-5 Programmable DMA Controller data sheet; the section each check
rests on is named beside it.  All values from memory.
"""

from __future__ import annotations

import itertools

import pytest

from emu85.board import read_board
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.errors import UserError
from emu85.machine import Machine, Reason

from .bench import BEGIN, MACROS, head, kept, load, run_to

BOARD = (
    head("6 MHz")
    + """\
ports:
  - {device: 8257, name: dma, at: 40-4F, port 0: 10, port 1: 11, port 2: 12, port 3: 13}
  - {device: latch, name: ask, at: 20, clear: yes}
  - {device: switches, name: in, at: 10, value: 5A}
  - {device: latch, name: out, at: 11, readable: yes}
  - {device: switches, name: in2, at: 12, value: 77}
  - {device: switches, name: in3, at: 13, value: 33}
lines:
  HOLD: dma.hrq
  dma.hlda: HLDA
  dma.drq0-drq3: ask.q0-q3
"""
)

START = (
    MACROS
    + """
LOAD    MACRO CH, AT, COUNT     ; address, then terminal count, low bytes first
        PUT 40H + 2 * CH, LOW (AT)
        PUT 40H + 2 * CH, HIGH (AT)
        PUT 41H + 2 * CH, LOW (COUNT)
        PUT 41H + 2 * CH, HIGH (COUNT)
        ENDM
MODE    EQU 48H
STAT    EQU 48H
ASK     EQU 20H
WR      EQU 4000H               ; bits 15, 14: peripheral to memory
RD      EQU 8000H               ; memory to peripheral
"""
    + BEGIN
)


def run(firmware: str, *, board: str = BOARD, t_states: int = 60_000) -> Machine:
    """A machine that has run the firmware to its DONE."""
    machine = Machine.from_text(board, trace=20_000)
    run_to(machine, load(machine, START, firmware), t_states)
    return machine


def dma_cycles(machine: Machine) -> list[tuple[int, str, int, int]]:
    """(T-state, type, address, data) of every cycle with HLDA but the HOLD itself."""
    records = machine.trace.all()
    return [
        (int(r["t"]), Cycle(int(r["type"])).name, int(r["address"]), int(r["data"]))
        for r in records
        if int(r["lines"]) & Line.HLDA and r["type"] != Cycle.HOLD
    ]


def test_registers_are_loaded_and_read_low_byte_first() -> None:
    """Programming, first/last flip-flop: toggled by each channel access, cleared by mode set."""
    machine = run("""
        LOAD 0, 1234H, 4567H
        LOAD 3, 89ABH, 0CDEFH
        KEEP 40H
        KEEP 40H
        KEEP 41H
        KEEP 41H
        KEEP 46H
        KEEP 46H
        KEEP 47H
        KEEP 47H
        KEEP 40H            ; an odd number of accesses leaves it at the high byte
        PUT MODE, 0         ; mode set puts it back to the low byte
        KEEP 40H
    """)
    assert kept(machine) == [0x34, 0x12, 0x67, 0x45, 0xAB, 0x89, 0xEF, 0xCD, 0x34, 0x34]


def test_a_burst_of_write_cycles_while_the_cpu_is_held() -> None:
    """DMA write: I/O to memory, N - 1 in the terminal count, 4 clocks a cycle (S1 to S4);
    TC stop takes the enable bit back, so the request that lasts is not answered again."""
    machine = run("""
        LOAD 0, 8100H, WR + 4
        PUT MODE, 41H       ; TC stop, channel 0
        PUT ASK, 1
        NOP
        NOP
        KEEP STAT
        KEEP STAT
        KEEP 40H
        KEEP 40H
    """)
    found = dma_cycles(machine)
    assert [cycle[1:] for cycle in found] == [("MW", 0x8100 + n, 0x5A) for n in range(5)]
    starts = [cycle[0] for cycle in found]
    assert [b - a for a, b in itertools.pairwise(starts)] == [4] * 4
    assert list(machine.memory[0x8100:0x8106]) == [0x5A] * 5 + [0]
    assert kept(machine) == [0x01, 0x00, 0x05, 0x81]  # TC 0, cleared by its read
    records = machine.trace.all()
    types = records["type"].tolist()
    hold = types.index(Cycle.HOLD)
    assert types[hold + 1 : hold + 6] == [Cycle.MW] * 5
    after = records[hold + 6]
    # The CPU goes on a T-state after HOLD has fallen at the end of the last S4.
    assert int(after["t"]) == starts[-1] + 4 + 1 and not int(after["lines"]) & Line.HLDA


def test_read_cycles_bring_bytes_to_the_peripheral() -> None:
    """DMA read: MEMR and IOW at once."""
    machine = run("""
        LXI B, 8180H
        MVI A, 0C1H
        STAX B
        INX B
        MVI A, 0C2H
        STAX B
        LOAD 1, 8180H, RD + 1
        PUT MODE, 42H
        PUT ASK, 2
        NOP
        KEEP 11H
        KEEP STAT
    """)
    found = [cycle[1:] for cycle in dma_cycles(machine)]
    assert found == [("MR", 0x8180, 0xC1), ("MR", 0x8181, 0xC2)]
    assert kept(machine) == [0xC2, 0x02]


def test_a_verify_cycle_has_no_strobes() -> None:
    """DMA verify: bits 15 and 14 zero; addresses and counts move, memory and I/O do not."""
    machine = run("""
        LOAD 0, 8100H, 3
        PUT MODE, 41H
        PUT ASK, 1
        NOP
        KEEP STAT
        KEEP 40H
        KEEP 40H
    """)
    assert dma_cycles(machine) == []
    assert kept(machine) == [0x01, 0x04, 0x81]
    assert machine.memory[0x8100] == 0
    records = machine.trace.all()
    at = int((records["type"] == Cycle.HOLD).argmax())
    # HLDA, S1 a T-state later, four cycles of 4, the CPU a T-state after HOLD.
    held = int(records[at + 1]["t"]) - int(records[at]["t"])
    assert held == 1 + 1 + 4 * 4 + 1


def order_of_channels(mode: int) -> list[int]:
    """Which channels got the first eight cycles, all requests rising at once."""
    machine = run(f"""
        LOAD 0, 8100H, WR + 3
        LOAD 1, 8110H, WR + 3
        LOAD 2, 8120H, WR + 3
        LOAD 3, 8130H, WR + 3
        PUT MODE, {mode}
        PUT ASK, 0FH
        NOP
        KEEP STAT
    """)
    assert kept(machine) == [0x0F]
    return [(address >> 4) & 0xF for _, _, address, _ in dma_cycles(machine)]


def test_fixed_and_rotating_priority() -> None:
    """Priority: channel 0 highest if fixed; rotating, the one served becomes the lowest."""
    assert order_of_channels(0x4F) == [0] * 4 + [1] * 4 + [2] * 4 + [3] * 4
    assert order_of_channels(0x5F) == [0, 1, 2, 3] * 4


def test_a_channel_needs_its_enable_bit() -> None:
    """Mode set: EN bits; RESET clears them all, so nothing happens before a mode set."""
    machine = run("""
        PUT ASK, 0FH
        LOAD 0, 8100H, WR + 1
        LOAD 1, 8110H, WR + 1
        NOP
        KEEP STAT
        PUT MODE, 41H       ; the request is there already
        NOP
        NOP
        KEEP STAT
    """)
    assert kept(machine) == [0x00, 0x01]
    assert [cycle[2] for cycle in dma_cycles(machine)] == [0x8100, 0x8101]


def test_auto_load_copies_channel_2_to_channel_3() -> None:
    """Auto load: what is loaded into channel 2 goes to channel 3 too, while the bit is set."""
    machine = run("""
        LOAD 3, 1122H, 3344H
        LOAD 2, 5566H, 7788H
        PUT MODE, 80H
        LOAD 2, 8120H, WR + 1
        KEEP 46H
        KEEP 46H
        KEEP 47H
        KEEP 47H
        PUT MODE, 0
        LOAD 2, 5566H, 7788H
        KEEP 46H
        KEEP 46H
    """)
    assert kept(machine) == [0x20, 0x81, 0x01, 0x40, 0x20, 0x81]


PULSED = """
name: bench
crystal: 6 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - {device: 8257, name: dma, at: 40-4F, port 2: 12}
  - {device: converter, name: level, at: 12-13, values: [A1], convert: 5 us}
lines:
  HOLD: dma.hrq
  dma.hlda: HLDA
  dma.drq2: level.done
"""


def test_one_request_one_byte_and_the_update_cycle() -> None:
    """A peripheral drops DRQ when it is read under DACK, so one byte goes.  Auto load: at TC
    of channel 2 the update flag is set; the next channel 2 cycle is the first of the block
    that channel 3 holds, which may differ, and at its end the flag falls.  A read of the
    status clears the TC bits alone.  TC stop leaves channel 2 enabled."""
    machine = run(
        """
CONV    MACRO
        OUT 12H
        MVI B, 8
        DCR B
        JNZ $ - 1
        KEEP STAT
        ENDM
        PUT MODE, 80H
        LOAD 2, 8120H, WR + 1
        LOAD 3, 8140H, WR + 2
        PUT MODE, 0C4H
        CONV
        CONV
        KEEP STAT
        CONV
        CONV
        CONV
        PUT MODE, 44H       ; auto load off clears the update flag
        KEEP STAT
        CONV
        """,
        board=PULSED,
    )
    found = dma_cycles(machine)
    assert [c[2] for c in found[:5]] == [0x8120, 0x8121, 0x8140, 0x8141, 0x8142]
    assert {cycle[3] for cycle in found} == {0xA1}
    assert kept(machine)[:7] == [0x00, 0x14, 0x10, 0x00, 0x00, 0x14, 0x00]
    # No auto load any more: the count has wrapped to 3FFF and goes on from where it was.
    assert [c[2] for c in found[5:]] == [0x8143] and kept(machine)[7] == 0x00


def test_a_halted_cpu_gives_the_bus_too() -> None:
    """8085AH data sheet: HOLD is accepted in the halt state, and the halt goes on after it."""
    machine = Machine.from_text(PULSED, trace=1000)
    firmware = """
        LOAD 2, 8120H, WR
        PUT MODE, 44H
        OUT 12H
        HLT
    """
    load(machine, START, firmware)
    held = machine.run(t_states=5000)
    assert held.reason is Reason.HALTED
    names = [Cycle(int(r["type"])).name for r in machine.trace.last(5)]
    assert names == ["OF", "HALT", "HOLD", "MW", "HALT"]
    assert machine.memory[0x8120] == 0xA1 and not machine.lines & Line.HLDA


def test_reset_ends_everything() -> None:
    """RESET: mode and status are cleared, HRQ falls, the CPU has the bus."""
    machine = Machine.from_text(BOARD, trace=1000)
    firmware = """
        LOAD 0, 8000H, WR + 255
        PUT MODE, 41H
        PUT ASK, 1
    """
    load(machine, START, firmware)
    machine.run(t_states=700)
    assert machine.lines & Line.HLDA
    machine.reset()
    assert not machine.lines & (Line.HLDA | Line.HOLD)
    machine.step()
    assert machine.trace[-1]["type"] == Cycle.OF and machine.trace[-1]["address"] == 0


def test_tc_is_high_in_the_last_cycle_alone() -> None:
    """TC and DACK: with the bus cycle, DACK once for each byte of a burst."""
    machine = run(
        """
        LOAD 0, 8000H, WR + 255
        PUT MODE, 41H
        PUT ASK, 1
        NOP
        KEEP STAT
        """,
        board=BOARD + "  RST 5.5: dma.tc\n  RST 6.5: not dma.dack0\n",
    )
    records = machine.trace.all()
    of_dma = records[(records["type"] == Cycle.MW) & (records["lines"] & Line.HLDA != 0)]
    levels = [bool(int(r["lines"]) & Line.RST55) for r in of_dma]
    assert levels == [False] * 255 + [True]
    assert all(int(r["lines"]) & Line.RST65 for r in of_dma)
    after = records[records["t"] > of_dma[-1]["t"]]
    assert not int(after[0]["lines"]) & (Line.RST55 | Line.RST65)


def test_mark_counts_128_cycles_from_the_end() -> None:
    """MARK: 'the current DMA cycle is the 128th cycle since the previous MARK output'; it is
    counted from the end of the block, so 300 cycles mark the 44th, the 172nd and the last."""
    machine = run(
        """
        LOAD 0, 8000H, WR + 299
        PUT MODE, 41H
        PUT ASK, 1
        NOP
        KEEP STAT
        """,
        board=BOARD + "  RST 5.5: dma.mark\n",
    )
    records = machine.trace.all()
    of_dma = records[(records["type"] == Cycle.MW) & (records["lines"] & Line.HLDA != 0)]
    marked = [n for n, r in enumerate(of_dma, 1) if int(r["lines"]) & Line.RST55]
    assert (len(of_dma), marked) == (300, [44, 172, 300])


@pytest.mark.parametrize(("of_memory", "of_port"), [(0, 0), (2, 0), (0, 3), (2, 3), (5, 1)])
@pytest.mark.parametrize("kind", ["WR", "RD"])
def test_ready_lengthens_a_cycle(kind: str, of_memory: int, of_port: int) -> None:
    """READY: "used to elongate the memory read and write cycles", sampled in S3, with SW
    states between S3 and S4; memory and port share the line, so the slower one counts."""
    board = BOARD.replace("{ram: 1K, at: 8000}", f"{{ram: 1K, at: 8000, waits: {of_memory}}}")
    board = board.replace("value: 5A}", f"value: 5A, waits: {of_port}}}")
    board = board.replace("at: 11, readable", f"at: 11, waits: {of_port}, readable")
    number = "01"[kind == "RD"]
    machine = run(
        f"""
        LOAD {number}, 8100H, {kind} + 4
        PUT MODE, {0x41 if number == "0" else 0x42}
        PUT ASK, {1 << int(number)}
        NOP
        KEEP STAT
        """,
        board=board,
    )
    slower = max(of_memory, of_port)
    records = machine.trace.all()
    is_dma = (records["lines"] & Line.HLDA != 0) & (records["type"] != Cycle.HOLD)
    moves = records[is_dma]
    assert [int(b - a) for a, b in itertools.pairwise(moves["t"])] == [4 + slower] * 4
    assert moves["waits"].tolist() == [slower] * 5
    assert [bool(int(lines) & Line.READY) for lines in moves["lines"]] == [slower == 0] * 5
    after = records[records["t"] > moves[-1]["t"]][0]
    # The CPU goes on a T-state after HOLD has fallen at the end of the last S4.
    assert int(after["t"]) == int(moves[-1]["t"]) + 4 + slower + 1


def test_a_verify_cycle_does_not_wait() -> None:
    """State diagram: S3 goes to S4 if READY is high or the cycle is a verify cycle."""
    machine = run(
        """
        LOAD 0, 8100H, 3
        PUT MODE, 41H
        PUT ASK, 1
        NOP
        KEEP STAT
        """,
        board=BOARD.replace("at: 8000}", "at: 8000, waits: 7}"),
    )
    records = machine.trace.all()
    at = int((records["type"] == Cycle.HOLD).argmax())
    assert int(records[at + 1]["t"]) - int(records[at]["t"]) == 1 + 1 + 4 * 4 + 1


def test_a_port_that_gives_or_takes_no_byte_is_a_finding() -> None:
    """Ours: DACK selects a latch that cannot be read, and then switches, which take nothing."""
    board = BOARD.replace("port 0: 10, port 1: 11", "port 0: 20, port 1: 10")
    machine = run(
        """
        LOAD 0, 8100H, WR + 1
        LOAD 1, 8110H, RD + 2
        PUT MODE, 43H
        PUT ASK, 3
        NOP
        KEEP STAT
        """,
        board=board,
    )
    assert [(note.description, note.where, note.times) for note in machine.findings.noted] == [
        ("a DMA cycle reads a port where no device answers", "dma, port 0: 20", 2),
        ("a DMA cycle writes to a port where no device takes it", "dma, port 1: 10", 3),
    ]
    assert list(machine.memory[0x8100:0x8102]) == [0xFF, 0xFF]


@pytest.mark.parametrize("port", ["14", "48"])
def test_a_port_where_no_other_device_is_is_refused(port: str) -> None:
    """Port 48 is the 8257's own: it drives the strobes itself, so nothing can answer there."""
    with pytest.raises(UserError) as caught:
        read_board(BOARD.replace("port 3: 13", f"port 3: {port}"), "b.yaml")
    line = BOARD[: BOARD.index("port 3")].count("\n") + 1
    assert str(caught.value).startswith(f"b.yaml:{line}:")
    told = f"no other device is at port {port}; expected a port of another device: 10 (in)"
    assert told in str(caught.value)
