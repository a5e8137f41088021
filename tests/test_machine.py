"""The machine object: moving, holding, looking, changing, and what must not change.

T-states are counted by hand from the instruction set chapter of the Intel
MCS-80/85 Family User's Manual (October 1979; values from memory): LXI 10, MVI 7,
NOP 4, CALL 18, RET 10, JMP 10, OUT and IN 10, INR r 4, EI 4, SIM 4, PUSH 12,
conditional jump 7 or 10, conditional call 9 or 18, RST 12, and the acknowledge of
a restart input 12.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.cpu.layout import State
from emu85.errors import UserError
from emu85.firmware import assemble
from emu85.machine import Machine, Reason
from emu85.stops import StopSet
from tests.rig import FIRST_FETCH, cycles, rig

LOOP = """
        ORG 0
        LXI SP,9000H    ; 3 to 13
loop:   INR B           ; 13 to 17, then every 14
        JMP loop
"""


# --- run ------------------------------------------------------------------------


def test_a_run_ends_at_the_first_cycle_boundary_at_or_after_its_limit() -> None:
    # Boundaries between cycles: 3, 7, 10, 13, 17, 21, 24, 27, ...
    for t_states, end in ((1, 7), (4, 7), (5, 10), (10, 13), (11, 17), (14, 17), (15, 21)):
        held = rig(LOOP).run(t_states=t_states)
        assert (held.reason, held.t) == (Reason.LIMIT, end), t_states


def test_seconds_are_of_board_time() -> None:
    machine = rig(LOOP)
    held = machine.run(seconds=0.001)
    # 1000 T-states from 3; the loop's boundaries are 13 + 14 n + (0, 4, 8, 11).
    assert held.t == 13 + 70 * 14 + 11 == machine.t
    assert machine.seconds == pytest.approx(0.001004)
    assert machine.clock_hz == 1_000_000


def test_the_nearer_of_two_limits_counts() -> None:
    assert rig(LOOP).run(seconds=1, t_states=4).t == 7
    assert rig(LOOP).run(seconds=4e-6, t_states=1000).t == 7


def test_run_until_holds_before_the_fetch() -> None:
    machine = rig(LOOP)
    held = machine.run(until=4)
    assert (held.reason, held.t) == (Reason.ADDRESS, 17)
    assert machine.registers.pc == 4
    assert machine.registers.b == 1
    assert cycles(machine, 1) == ["13 OF 0003 04"]


def test_run_until_from_that_address_goes_once_around() -> None:
    machine = rig(LOOP)
    for turn in range(4):
        assert machine.run(until=3) == (Reason.ADDRESS, 13 + 14 * turn, ())
        assert machine.registers.b == turn


def test_run_until_with_wait_states() -> None:
    """Every cycle in the slow RAM at C000 takes two T-states more."""
    machine = rig("ORG 0\n JMP 0C000H\n ORG 0C000H\nloop: INR B\n JMP loop")
    assert machine.run(until=0xC000).t == 13
    assert machine.run(until=0xC001).t == 13 + 4 + 2
    assert machine.run(until=0xC000).t == 13 + 6 + 10 + 3 * 2


def test_run_until_means_a_fetch_and_no_other_cycle() -> None:
    """The byte at 0004 is read as an operand only; its own address is never fetched."""
    machine = rig("ORG 0\n MVI A,0\nloop: LDA loop+1\n JMP loop")
    held = machine.run(until=4, t_states=500)
    assert held.reason is Reason.LIMIT
    assert held.t >= 503


def test_a_limit_ends_run_until() -> None:
    machine = rig(LOOP)
    assert machine.run(until=0x0800, t_states=20) == (Reason.LIMIT, 24, ())
    assert machine.run(until=3, t_states=3) == (Reason.LIMIT, 27, ()), "both: time is up"
    assert machine.run(until=4, t_states=5) == (Reason.ADDRESS, 31, ())


def test_run_until_leaves_no_mark() -> None:
    machine = rig(LOOP)
    machine.run(until=4)
    assert machine.run(t_states=100).reason is Reason.LIMIT
    with pytest.raises(IndexError):
        machine.run(until=0x10000)


def test_run_until_reached_by_an_interrupt_instead() -> None:
    """Held at 0004 with a TRAP pending, the fetch there comes only after the handler."""
    machine = rig(LOOP + "\n ORG 24H\n RET")
    machine.run(until=4)
    machine.drive(Line.TRAP, 1)
    held = machine.run(until=4)
    # Acknowledge 12, RET 10, and then the fetch that was put off.
    assert (held.reason, held.t) == (Reason.ADDRESS, 17 + 12 + 10)
    assert machine.registers.b == 1


def test_a_stop_holds_before_an_address_is_reached() -> None:
    machine = rig(LOOP)
    stop = machine.stops.add("on MR at 0005")
    held = machine.run(until=3)
    assert held == (Reason.ADDRESS, 13, ())
    held = machine.run(until=3)
    # INR B 13-17, JMP: fetch 17, reads at 21 and 24.
    assert held == (Reason.STOP, 24, (stop,))
    assert cycles(machine, 1) == ["21 MR 0005 03"]


# --- steps ------------------------------------------------------------------------


def test_step_goes_cycle_by_cycle() -> None:
    machine = rig("ORG 0\n CALL 5\n ORG 5\n NOP")
    machine.registers.sp = 0x9000
    assert machine.step() == (Reason.CYCLES, FIRST_FETCH + 6, ()), "CALL's fetch has six"
    assert machine.step(2).t == FIRST_FETCH + 6 + 3 + 3
    assert machine.step(2).t == FIRST_FETCH + 18
    assert cycles(machine, 5) == [
        "3 OF 0000 CD",
        "9 MR 0001 05",
        "12 MR 0002 00",
        "15 MW 8FFF 00",
        "18 MW 8FFE 03",
    ]


def test_the_bus_and_the_registers_in_the_middle_of_an_instruction() -> None:
    machine = rig("ORG 0\n LXI H,1234H\n NOP")
    assert machine.registers.boundary
    machine.step(2)
    registers = machine.registers
    assert not registers.boundary
    assert (registers.pc, registers.instruction_at) == (2, 0)
    assert registers.l == 0x34
    machine.step()
    assert registers.boundary
    assert (registers.instruction_at, registers.hl) == (3, 0x1234)


def test_steps_of_more_than_a_second_are_all_made() -> None:
    machine = rig(LOOP)
    machine.run(until=3)
    # A turn of 14 T-states, a microsecond each, is four machine cycles.
    assert machine.step(400_000) == (Reason.CYCLES, 13 + 1_400_000, ())
    assert machine.step(400_000, t_states=1_200_000).reason is Reason.LIMIT
    assert machine.t - (13 + 1_400_000 + 1_200_000) < 4


def test_a_halt_of_more_than_a_second_ends_a_step() -> None:
    machine = rig("ORG 0\n EI\n HLT\n ORG 24H\n NOP")
    machine.step_instruction(2)
    t = machine.t
    machine.schedule.at(t + 1_500_000, lambda: machine.drive(Line.TRAP, 1))
    assert machine.step(5) == (Reason.LIMIT, t + 1_000_000, ())
    held = machine.step(5)  # acknowledge and two pushes, NOP, and RST 7 is fetched (blank ROM)
    assert held == (Reason.CYCLES, t + 1_500_001 + 12 + 4 + 6, ())


def test_step_instruction_from_the_middle_goes_to_its_end() -> None:
    machine = rig(LOOP)
    machine.step(2)
    assert machine.step_instruction() == (Reason.INSTRUCTION, 13, ())
    assert machine.step_instruction(3) == (Reason.INSTRUCTION, 13 + 4 + 10 + 4, ())


def test_step_instruction_over_an_interrupt_ends_at_its_first_fetch() -> None:
    machine = rig(LOOP)
    machine.step_instruction()
    machine.drive(Line.TRAP, 1)
    assert machine.step_instruction() == (Reason.INSTRUCTION, 13 + 12, ())
    assert machine.registers.pc == 0x24


def test_step_instruction_in_a_halt_waits_for_what_is_scheduled() -> None:
    machine = rig("ORG 0\n EI\n HLT\n ORG 24H\n NOP")
    machine.step_instruction(2)
    assert machine.registers.halted
    machine.schedule.at(500, lambda: machine.drive(Line.TRAP, 1))
    held = machine.step_instruction()
    # The line rises at 500, is seen by the cycle at 501, and is acknowledged in 12.
    assert held == (Reason.INSTRUCTION, 513, ())
    assert not machine.registers.halted
    assert machine.registers.pc == 0x24


def test_nothing_can_end_a_halt() -> None:
    machine = rig("ORG 0\n HLT")
    t = machine.step_instruction().t
    for held in (machine.step(), machine.step_instruction(), machine.run(), machine.step_past()):
        assert held.reason is Reason.HALTED
    assert machine.run(t_states=100).reason is Reason.HALTED
    # One record for the whole stretch, at its very beginning.
    assert cycles(machine, 2) == ["3 OF 0000 76", f"{FIRST_FETCH + 4} HALT 0001 FF"]
    assert machine.t <= t + 1


def test_waiting_in_a_halt_lets_time_pass() -> None:
    machine = rig("ORG 0\n MVI A,8\n SIM\n EI\n HLT\n ORG 34H\n INR B\nstay: JMP stay")
    machine.run()
    t = machine.t
    held = machine.run(t_states=1000, wait=True)
    assert (held.reason, held.t) == (Reason.LIMIT, t + 1000)
    assert machine.registers.halted
    machine.board.adjust("key", "press")
    machine.run(t_states=50, wait=True)
    assert machine.registers.b == 1
    total = machine.trace.total
    assert machine.run(wait=True, t_states=10).t == machine.t
    assert machine.trace.total > total


def test_time_in_a_halt_is_one_record_long() -> None:
    machine = rig("ORG 0\n EI\n HLT\n ORG 24H\nstay: JMP stay")
    machine.run(t_states=50, wait=True)
    machine.drive(Line.TRAP, 1)
    machine.step_instruction()
    assert cycles(machine)[2:5] == ["7 OF 0001 76", "11 HALT 0002 FF", "53 BI 0002 FF"]


# --- step past ----------------------------------------------------------------------

CALLS = """
        ORG 0
        LXI SP,9000H
        MVI B,3
        CALL down       ; 0005
        NOP             ; 0008
        CZ down         ; 0009: not taken, INR D has left NZ
        RST 4           ; 000C
        NOP
        ORG 20H
        INR C
        RET
        ORG 24H
        INR E
        RET
        ORG 100H
down:   DCR B
        RZ
        CALL down
        INR D
        RET
"""


def test_past_a_call_that_calls_itself() -> None:
    machine = rig(CALLS)
    machine.step_instruction(2)
    held = machine.step_past()
    # CALL 18; twice DCR 4, RZ not taken 6, CALL 18; DCR 4, RZ taken 12; twice INR 4, RET 10.
    assert held == (Reason.ADDRESS, 20 + 18 + 2 * 28 + 16 + 2 * 14, ())
    assert machine.registers.pc == 8
    assert (machine.registers.b, machine.registers.d, machine.registers.sp) == (0, 2, 0x9000)


def test_past_a_call_inside_the_recursion() -> None:
    """The return address is reached by the inner calls first, and that does not count."""
    machine = rig(CALLS)
    machine.run(until=0x102)
    level = machine.registers.sp
    machine.step_past()
    assert machine.registers.pc == 0x105
    assert machine.registers.sp == level
    assert machine.registers.d == 1


def test_past_a_call_begun_already() -> None:
    machine = rig(CALLS)
    machine.step_instruction(2)
    machine.step(3)
    assert machine.step_past().reason is Reason.ADDRESS
    assert machine.registers.pc == 8


def test_past_a_conditional_call_not_taken_and_a_restart() -> None:
    machine = rig(CALLS)
    machine.run(until=9)
    t = machine.t
    assert machine.step_past() == (Reason.INSTRUCTION, t + 9, ())
    assert machine.registers.pc == 0x0C
    assert machine.step_past() == (Reason.ADDRESS, t + 9 + 12 + 4 + 10, ())
    assert (machine.registers.pc, machine.registers.c) == (0x0D, 1)


def test_past_anything_else_is_one_instruction() -> None:
    machine = rig(CALLS)
    assert machine.step_past() == (Reason.INSTRUCTION, 13, ())
    machine.run(until=0x101)
    machine.registers.z = 1
    machine.step_past()
    assert machine.registers.pc == 8, "a return is not a call"


def test_past_a_call_with_an_interrupt_during_it() -> None:
    machine = rig(CALLS)
    machine.step_instruction(2)
    machine.schedule.at(machine.t + 30, lambda: machine.drive(Line.TRAP, 1))
    machine.step_past()
    assert machine.registers.pc == 8
    assert machine.registers.e == 1
    assert machine.registers.b == 0


def test_past_an_interrupt_taken_instead() -> None:
    """Stepping past returns from the handler to the instruction that was put off."""
    machine = rig(CALLS)
    machine.step_instruction(2)
    machine.drive(Line.TRAP, 1)
    held = machine.step_past()
    assert held == (Reason.ADDRESS, 20 + 12 + 4 + 10, ())
    assert (machine.registers.pc, machine.registers.e) == (5, 1)


def test_past_a_call_with_hold_before_it() -> None:
    machine = rig(CALLS)
    machine.step_instruction()
    # High in T2 of the fetch of MVI's operand, so the CPU floats its bus after it.
    machine.schedule.at(18, lambda: machine.drive(Line.HOLD, 1))
    machine.schedule.at(60, lambda: machine.drive(Line.HOLD, 0))
    machine.step(2)
    assert machine.registers.boundary
    machine.schedule.at(10_000, machine.ask_hold)
    assert machine.step_past().reason is Reason.ADDRESS
    assert machine.registers.pc == 8
    assert "20 HOLD 0005 FF" in cycles(machine)


def test_past_a_call_to_the_next_instruction_that_runs_it_twice() -> None:
    machine = rig("ORG 0\n LXI SP,9000H\n CALL twice\ntwice: INR B\n RET")
    machine.step_instruction()
    # CALL 18, INR B 4, RET 10: held before the second time.
    assert machine.step_past() == (Reason.ADDRESS, 13 + 18 + 4 + 10, ())
    assert (machine.registers.pc, machine.registers.b, machine.registers.sp) == (6, 1, 0x9000)


def test_past_a_call_to_the_next_instruction_that_takes_its_address_off_the_stack() -> None:
    machine = rig("ORG 0\n LXI SP,9000H\n CALL here\nhere: POP H\nstay: JMP stay")
    machine.step_instruction()
    assert machine.step_past() == (Reason.INSTRUCTION, 13 + 18 + 10, ())
    assert (machine.registers.hl, machine.registers.sp) == (6, 0x9000)


def test_past_a_conditional_call_to_the_next_instruction() -> None:
    machine = rig("ORG 0\n LXI SP,9000H\n CNZ next\nnext: INR B\n RET")
    machine.step_instruction()
    machine.registers.z = 1
    assert machine.step_past() == (Reason.INSTRUCTION, 13 + 9, ())
    assert (machine.registers.pc, machine.registers.b) == (6, 0)


def test_a_stop_ends_stepping_past() -> None:
    machine = rig(CALLS)
    machine.step_instruction(2)
    stop = machine.stops.add("on OF at 0100 after 1")
    assert machine.step_past().stops == (stop,)
    assert machine.trace[-1]["address"] == 0x100
    assert machine.registers.b == 1, "held inside the second of three"


# --- asking to hold -------------------------------------------------------------------


def ask_once_it_moves(machine: Machine) -> threading.Thread:
    """Ask, from another thread, as soon as some time has passed on the board."""
    began = machine.t

    def ask() -> None:
        while machine.t == began:
            time.sleep(0.0005)
        machine.ask_hold()

    thread = threading.Thread(target=ask)
    thread.start()
    return thread


def test_another_thread_asks_a_run_to_hold() -> None:
    machine = rig(LOOP)
    thread = ask_once_it_moves(machine)
    assert machine.run().reason is Reason.ASKED
    thread.join()
    assert machine.run(t_states=10).reason is Reason.LIMIT, "it was asked once"


def test_another_thread_asks_many_steps_to_hold() -> None:
    machine = rig(LOOP)
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-4)
    try:
        thread = ask_once_it_moves(machine)
        assert machine.step_instruction(500_000).reason is Reason.ASKED
    finally:
        sys.setswitchinterval(before)
    thread.join()


def test_asked_in_the_middle_of_stepping_past() -> None:
    machine = rig("ORG 0\n CALL 10H\n ORG 10H\nloop: JMP loop")
    machine.registers.sp = 0x9000
    machine.schedule.at(777, machine.ask_hold)
    held = machine.step_past()
    # The loop's boundaries are 21 + 10 n + (0, 4, 7); the first after 777 is 778.
    assert (held.reason, held.t) == (Reason.ASKED, 778)


def test_a_request_at_any_time_of_a_recursion_holds_stepping_past() -> None:
    """Stepping past runs to the return address several times over; each run heeds it."""
    whole = rig(CALLS)
    whole.step_instruction(2)
    end = whole.step_past().t
    for t in range(21, end - 4):
        machine = rig(CALLS)
        machine.step_instruction(2)
        machine.schedule.at(t, machine.ask_hold)
        held = machine.step_past()
        assert held.reason is Reason.ASKED, t
        assert t <= held.t <= t + 6, t


# --- events at each T-state --------------------------------------------------------------


@pytest.mark.parametrize("t", range(8, 19))
def test_an_event_is_seen_by_the_cycle_that_begins_after_it(t: int) -> None:
    """NOPs are fetched at 3, 7, 11, 15, 19; SID changes at each T-state around them."""
    machine = rig("ORG 0\n" + " NOP\n" * 8)
    first_sight = next(start for start in (11, 15, 19) if start > t)
    machine.schedule.at(t, lambda: machine.drive(Line.SID, 0))
    machine.run(t_states=24)
    high = [int(r["t"]) for r in machine.trace.all() if r["lines"] & Line.SID]
    assert high == [start for start in (0, 3, 7, 11, 15) if start < first_sight]


@pytest.mark.parametrize("t", range(8, 19))
def test_a_trap_is_taken_at_the_first_boundary_after_it(t: int) -> None:
    machine = rig("ORG 0\n" + " NOP\n" * 8)
    machine.registers.sp = 0x9000
    machine.schedule.at(t, lambda: machine.drive(Line.TRAP, 1))
    machine.run(until=0x24)
    boundary = next(start for start in (11, 15, 19) if start > t)
    assert machine.t == boundary + 12


def test_a_fetch_that_a_device_answers_is_not_put_off_by_its_answer() -> None:
    """The line rises at the start of the fetch, too late for the boundary before it."""
    machine = rig("ORG 0\n LXI SP,9000H\n MVI A,8\n SIM\n EI\n NOP\n JMP 0E800H")

    def read(register: int) -> int:
        machine.drive(Line.RST55, 1)
        return 0x04  # INR B

    machine.board.devices["gauge"].read = read  # type: ignore[method-assign]
    machine.run(until=0x2C, t_states=1000)
    # LXI 10, MVI 7, SIM 4, EI 4, NOP 4, JMP 10: the device is asked at 42.
    assert cycles(machine, 4)[:2] == ["42 OF E800 04", "46 BI E801 FF"]
    assert machine.registers.b == 1


# --- lines and ports -----------------------------------------------------------------------


def test_sod_is_told_at_the_end_of_sim() -> None:
    """MVI 7, SIM 4: SOD is high from T-state 14; the start bit falls a SIM later."""
    machine = rig("ORG 0\n MVI A,0C0H\n SIM\n MVI A,40H\n SIM\nstay: JMP stay")
    told: list[tuple[int, int]] = []
    sod = machine.board.sod

    def listen(level: int) -> None:
        told.append((machine.schedule.now, level))
        sod(level)

    machine.board.sod = listen  # type: ignore[method-assign]
    machine.run(t_states=40)
    assert told == [(14, 1), (25, 0)]
    assert not machine.lines & Line.SOD
    shown = [int(r["t"]) for r in machine.trace.all() if r["lines"] & Line.SOD]
    assert shown == [14, 18, 21], "the record shows the level as each cycle begins"


def test_a_character_from_the_firmware_arrives() -> None:
    """10 000 baud at 1 MHz are 100 T-states a bit; here each bit is padded to that."""
    bits = [0, *(0x4B >> n & 1 for n in range(8)), 1]
    # MVI 7, SIM 4, then NOPs: 22 of them make 99; RST-free padding of one more is LXI's.
    pad = " NOP\n" * 19 + " MVI B,0\n" + " INX H\n"  # 76 + 7 + 6 = 89
    send = "".join(f" MVI A,{0xC0 if bit else 0x40}\n SIM\n" + pad for bit in bits)
    machine = rig(f"ORG 0\n MVI A,0C0H\n SIM\n{pad}{send}stay: JMP stay")
    machine.run(t_states=1400)
    assert machine.serial is not None
    assert bytes(machine.serial.received) == b"K"


def test_a_character_to_the_firmware_is_read_by_rim() -> None:
    machine = rig("ORG 0\nloop: RIM\n MOV M,A\n INX H\n JMP loop")
    machine.registers.hl = 0x8000
    assert machine.serial is not None
    machine.serial.send(b"\x55")
    machine.run(t_states=900)
    # RIM 4, MOV 7, INX 6, JMP 10: a sample every 27 T-states.
    samples = [byte >> 7 for byte in machine.memory[0x8000:0x8020]]
    # A start bit, 55 lowest bit first, a stop bit, each of 100 T-states from 3 on;
    # the RIM that begins at 3 does not see it yet.
    sent = [0, 1, 0, 1, 0, 1, 0, 1, 0, 1]
    assert samples[:30] == [1, *(sent[27 * n // 100] for n in range(1, 30))]


def test_hlda_follows_hold_between_machine_cycles() -> None:
    machine = rig(LOOP)
    told: list[tuple[int, int]] = []
    hlda = machine.board.hlda

    def listen(level: int) -> None:
        told.append((machine.schedule.now, level))
        hlda(level)

    machine.board.hlda = listen  # type: ignore[method-assign]
    machine.schedule.at(4, lambda: machine.drive(Line.HOLD, 1))
    machine.schedule.at(30, lambda: machine.drive(Line.HOLD, 0))
    machine.run(t_states=6)
    assert machine.lines & Line.HLDA
    machine.run(t_states=60)
    assert not machine.lines & Line.HLDA
    # Sampled in T2 of the fetch at 3; the bus is given up after that cycle.
    assert cycles(machine)[1:4] == ["3 OF 0000 31", "7 HOLD 0001 FF", "31 MR 0001 00"]
    assert [level for _, level in told] == [1, 0]
    assert machine.board.devices["jam"].state().endswith("request waiting")


def test_reset_in_a_hold_tells_the_board_that_hlda_is_low() -> None:
    machine = rig(LOOP)
    machine.drive(Line.HOLD, 1)
    machine.run(t_states=100)
    assert machine.lines & Line.HLDA
    machine.drive(Line.HOLD, 0)
    machine.reset()
    assert not machine.lines & Line.HLDA
    machine.step_instruction()
    # A second hold must be a second edge for what is wired to HLDA.
    machine.drive(Line.HOLD, 1)
    machine.run(t_states=100)
    assert machine.board.devices["jam"].state().endswith("request waiting")


def test_only_inputs_can_be_driven() -> None:
    with pytest.raises(ValueError, match="not an input"):
        rig().drive(Line.SOD, 1)


def test_a_stop_on_a_port_write_holds_after_the_device_has_been_told() -> None:
    machine = rig("ORG 0\n MVI A,81H\n OUT 30H\n OUT 20H\n NOP")
    lamps = machine.stops.add("on IOW at 30")
    both = machine.stops.add("on IOW")
    held = machine.run()
    # MVI 7; OUT 10 with one wait state at port 30.
    assert held == (Reason.STOP, 3 + 7 + 11, (lamps, both))
    assert machine.board.devices["lamps"].state() == "●······●"
    assert machine.run().stops == (both,)
    assert machine.board.peek(0x10020) == 0x81
    assert [int(r["waits"]) for r in machine.trace.last(4)] == [1, 0, 0, 0]


def test_an_interrupt_by_a_port_write() -> None:
    """Bit 0 of the latch asks the vector circuit, which jams RST 5."""
    machine = rig("ORG 0\n LXI SP,9000H\n EI\n MVI A,1\n OUT 20H\n NOP\n NOP")
    machine.run(until=0x28)
    assert "INA" in [line.split()[1] for line in cycles(machine, 3)]
    assert machine.memory[0x8FFE:0x9000] in (b"\x08\x00", b"\x09\x00")
    assert machine.registers.ie == 0


def test_the_acknowledge_cycle_shows_the_intr_that_it_answers() -> None:
    """The circuit drops INTR in the cycle itself; it was sampled before the cycle began."""
    machine = rig("ORG 0\n LXI SP,9000H\n EI\n MVI A,1\n OUT 20H\n NOP\n NOP")
    stop = machine.stops.add("on INA with INTR high")
    assert machine.run(t_states=200).stops == (stop,)


# --- registers and memory ------------------------------------------------------------------


def test_registers_can_be_set_and_read() -> None:
    registers = rig().registers
    registers.bc, registers.de, registers.hl, registers.sp = 0x1234, 0x5678, 0x9ABC, 0xDEF0
    assert [registers.b, registers.c, registers.d] == [0x12, 0x34, 0x56]
    assert [registers.e, registers.h, registers.l] == [0x78, 0x9A, 0xBC]
    registers.psw = 0x42FF
    assert (registers.a, registers.f) == (0x42, 0xF7), "bit 3 of F does not exist"
    assert registers.psw == 0x42F7
    registers.f = 0
    for name, bit in (("s", 7), ("z", 6), ("k", 5), ("ac", 4), ("p", 2), ("v", 1), ("cy", 0)):
        setattr(registers, name, 1)
        assert registers.f == 1 << bit, name
        assert getattr(registers, name) == 1
        setattr(registers, name, 0)
    registers.masks, registers.ie, registers.rst75 = 5, 1, 1
    assert (registers.masks, registers.ie, registers.rst75) == (5, 1, 1)


@pytest.mark.parametrize(
    ("name", "value"),
    [("a", 256), ("a", -1), ("hl", 0x10000), ("pc", 0x10000), ("sp", -1), ("cy", 2), ("masks", 8)],
)
def test_a_value_that_does_not_fit_is_refused(name: str, value: int) -> None:
    registers = rig().registers
    before = [registers.a, registers.hl, registers.pc, registers.sp, registers.f, registers.masks]
    with pytest.raises(ValueError, match="hexadecimal"):
        setattr(registers, name, value)
    assert before == [
        *(registers.a, registers.hl, registers.pc),
        *(registers.sp, registers.f, registers.masks),
    ]


def test_setting_pc_gives_up_the_instruction_under_way() -> None:
    machine = rig(LOOP)
    machine.step(2)
    machine.registers.pc = 3
    assert machine.registers.boundary
    assert machine.registers.instruction_at == 3
    machine.step_instruction()
    assert (machine.registers.b, machine.registers.pc) == (1, 4)
    assert machine.registers.sp == 0, "LXI SP was not finished"


def test_setting_pc_ends_a_halt() -> None:
    machine = rig("ORG 0\n HLT\n INR B")
    machine.run()
    machine.registers.pc = 1
    machine.step_instruction()
    assert machine.registers.b == 1


def test_setting_pc_while_a_device_has_answered() -> None:
    """The answer belongs to the read that was given up, and to no other."""
    machine = rig("ORG 0\n LDA 0E800H\n ORG 100H\n NOP\n LDA 0E800H\n NOP")
    answers = iter([0x11, 0x22])

    def read(register: int) -> int:
        machine.ask_hold()
        return next(answers)

    machine.board.devices["gauge"].read = read  # type: ignore[method-assign]
    assert machine.run().reason is Reason.ASKED
    machine.registers.pc = 0x100
    machine.run(until=0x104, t_states=1000)
    machine.run(until=0x104, t_states=1000)
    assert machine.registers.a == 0x22


def test_memory_by_byte_and_slice() -> None:
    machine = rig()
    memory = machine.memory
    memory[0x8000] = 0x12
    memory[0x8001:0x8004] = bytes([1, 2, 3])
    assert memory[0x8000] == 0x12
    assert memory[0x8000:0x8004] == bytes([0x12, 1, 2, 3])
    assert memory[0x8003:0x7FFF:-1] == bytes([3, 2, 1, 0x12])
    assert memory[0xA000:0xA004] == memory[0x8000:0x8004], "A13 is not decoded"
    memory[0x0100] = 0xC9
    assert memory[0x0100] == 0xC9, "ROM can be changed by hand"
    assert memory[0x7000] == 0xFF, "nothing there: the pull-ups"
    assert memory[0xD000] == 0x00
    assert list(machine.findings) == []
    assert machine.trace.total == 1


def test_memory_refuses_what_cannot_be() -> None:
    memory = rig().memory
    for at in (-1, 0x10000):
        with pytest.raises(IndexError):
            memory[at]
        with pytest.raises(IndexError):
            memory[at] = 0
    with pytest.raises(UserError, match="no memory at address 7000"):
        memory[0x7000] = 1
    before = memory[0x8FF0:0x9000]
    with pytest.raises(UserError, match="no memory at address 9000"):
        memory[0x8FF0:0x9001] = bytes(range(1, 18))
    assert memory[0x8FF0:0x9000] == before
    with pytest.raises(ValueError):
        memory[0x8000:0x8002] = b"\x01"
    with pytest.raises(ValueError):
        memory[0x8000:0x8001] = [256]
    with pytest.raises(TypeError):
        memory[0x8000:0x8001] = 1  # type: ignore[call-overload]
    assert memory[0x8000:0x8002] == b"\x00\x00"


def test_a_byte_that_does_not_fit_is_refused() -> None:
    memory = rig().memory
    for byte in (-1, 256, 0x1AA):
        with pytest.raises((ValueError, UserError)):
            memory[0x8000] = byte
    assert memory[0x8000] == 0


# --- power, reset, loading -------------------------------------------------------------------


def test_power_and_reset() -> None:
    machine = rig(LOOP)
    machine.memory[0x8000] = 0x77
    machine.memory[0x8001] = 0
    stop = machine.stops.add("on MR at 0005")
    machine.run(until=3)
    machine.run()
    machine.step(10)
    t, hits = machine.t, stop.hits
    machine.reset()
    assert machine.t == t + 3
    assert machine.registers.pc == 0
    assert machine.memory[0x8000] == 0x77
    assert machine.registers.b > 0, "RESET leaves the registers as they are"
    assert cycles(machine, 1) == [f"{t} RESET 0000 FF"]
    assert stop.hits == hits > 0
    machine.power()
    assert (machine.t, machine.trace.total, machine.seconds) == (3, 1, 3e-6)
    assert machine.memory[0x8000] == 0, "RAM is filled anew"
    assert machine.memory[0:3] == bytes([0x31, 0x00, 0x90]), "ROM is kept"
    assert (stop.hits, stop.last_t) == (0, None)
    assert machine.run().stops == (stop,)


def test_reset_clears_what_the_manual_says() -> None:
    machine = rig("ORG 0\n MVI A,0D8H\n SIM\n EI\n OUT 20H\n HLT")
    machine.run(t_states=100)
    assert machine.lines & Line.SOD
    machine.reset()
    registers = machine.registers
    assert (registers.ie, registers.masks, registers.pc) == (0, 7, 0)
    assert not registers.halted
    assert not machine.lines & Line.SOD
    assert machine.board.devices["control"].state().startswith("00"), "RESET OUT clears it"


@pytest.mark.parametrize(
    "text",
    [
        ":0300000001020327\n:00000001FF\n",  # a wrong checksum
        ":01700000018E\n:00000001FF\n",  # no chip at 7000
        ":02FFFF0001",  # cut short
    ],
)
def test_a_load_that_fails_changes_nothing(text: str, tmp_path: Path) -> None:
    machine = rig(LOOP)
    machine.load(assemble("ORG 0\nstart: NOP", "a.asm").image)
    file = tmp_path / "bad.hex"
    file.write_text(text)
    before = machine.board.store.tobytes(), machine.board.map.tobytes(), dict(machine.symbols)
    with pytest.raises(UserError):
        machine.load(file)
    with pytest.raises(UserError):
        machine.load(tmp_path / "none.hex")
    assert before == (machine.board.store.tobytes(), machine.board.map.tobytes(), machine.symbols)


def test_loading_takes_over_the_symbols(tmp_path: Path) -> None:
    machine = rig()
    source = tmp_path / "firmware.asm"
    source.write_text("ORG 0\nstart: JMP start\nwhere EQU 1234H\n")
    image = machine.load(source)
    assert {name.upper(): value for name, value in machine.symbols.items()} == {
        "START": 0,
        "WHERE": 0x1234,
    }
    assert image.span == (0, 2)
    raw = tmp_path / "more.bin"
    raw.write_bytes(b"\x3e\x05")
    machine.load(raw, at=0x100)
    assert machine.memory[0x100:0x102] == b"\x3e\x05"
    assert machine.memory[0:3] == b"\xc3\x00\x00"


def test_a_board_that_cannot_be_read() -> None:
    with pytest.raises(UserError):
        Machine.from_board("no such board")
    with pytest.raises(UserError):
        Machine.from_text("name: x\n")
    with pytest.raises(ValueError):
        rig(trace=0)


# --- stops -------------------------------------------------------------------------------


def test_another_set_of_stops_takes_the_place_of_the_first() -> None:
    machine = rig(LOOP)
    machine.stops.add("on any")
    machine.run()
    others = StopSet()
    stop = others.add("on OF at 0004")
    machine.replace_stops(others)
    assert machine.run().stops == (stop,)
    machine.replace_stops(StopSet())
    assert machine.run(t_states=1000).reason is Reason.LIMIT


def test_several_stops_in_one_cycle_and_none_in_the_next() -> None:
    machine = rig(LOOP)
    first = machine.stops.add("on OF at 0003 after 2")
    second = machine.stops.add("on OF at 0003")
    third = machine.stops.add("on MR")
    machine.stops.rest(third.number)
    assert [machine.run().stops for _ in range(4)] == [
        (second,),
        (second,),
        (first, second),
        (second,),
    ]
    assert (first.hits, second.hits, third.hits) == (1, 4, 0)
    assert first.last_t == 13 + 2 * 14
    machine.stops.wake(third.number)
    assert machine.step(5).stops == (third,)


def test_a_stop_on_an_edge_at_the_first_cycle_of_a_run() -> None:
    machine = rig(LOOP)
    stop = machine.stops.add("when TRAP rises")
    machine.run(t_states=20)
    machine.drive(Line.TRAP, 1)
    held = machine.run(t_states=100)
    assert held.stops == (stop,)
    assert len(machine.trace) > 3
    assert machine.run(t_states=100).reason is Reason.LIMIT, "it rose once"


def test_a_stop_added_by_a_device_in_a_run_counts_from_there() -> None:
    machine = rig(LOOP)

    def arm() -> None:
        machine.stops.add("on OF at 0003")

    machine.schedule.at(200, arm)
    held = machine.run(t_states=1000)
    # Fetches of 0003 begin at 13 + 14 n; the first after 200 at 209.
    assert (held.reason, held.t) == (Reason.STOP, 213)


def test_a_device_of_any_answer_gives_a_byte() -> None:
    machine = rig("ORG 0\n LDA 0E800H\n NOP")

    def read(register: int) -> int:
        return 0x1A5

    machine.board.devices["gauge"].read = read  # type: ignore[method-assign]
    machine.step_instruction()
    assert machine.registers.a == 0xA5
    assert machine.registers.state[State.ANSWER] == -1
    assert machine.trace[-1]["type"] == Cycle.MR


# --- arguments that make no sense -----------------------------------------------------


@pytest.mark.parametrize(
    "move",
    [
        lambda m: m.step(-1),
        lambda m: m.step_instruction(-1),
        lambda m: m.run(t_states=-1),
        lambda m: m.run(seconds=-0.5),
    ],
)
def test_negative_lengths_are_refused(move: Callable[[Machine], object]) -> None:
    machine = rig(CALLS)
    before = machine.t
    with pytest.raises(ValueError, match="counted from 0, not -"):
        move(machine)
    assert machine.t == before


def test_no_time_is_no_cycle() -> None:
    machine = rig(CALLS)
    before = machine.t
    assert machine.run(seconds=0).reason is Reason.LIMIT
    assert machine.run(t_states=0).reason is Reason.LIMIT
    assert machine.step(0).reason is Reason.CYCLES
    assert machine.t == before


def test_a_register_that_does_not_exist_cannot_be_set() -> None:
    with pytest.raises(AttributeError):
        rig(CALLS).registers.zz = 3  # type: ignore[attr-defined]
