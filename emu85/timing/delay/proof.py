"""A delay proved: assembled, run on a machine with its crystal and wait states, and timed."""

from __future__ import annotations

from fractions import Fraction

from emu85.firmware import assemble
from emu85.machine import Machine, Reason
from emu85.timing.delay.costs import Waits, named
from emu85.timing.delay.solver import Use

_START = 0
_STACK = 0xFFFE
_BOARD = """
name: proof
about: ROM for a delay and RAM for its stack
crystal: {crystal} Hz
memory:
  - {{rom: 32K, name: program, at: 0000-7FFF, waits: {code}}}
  - {{ram: 32K, name: work, at: 8000-FFFF, waits: {stack}}}
"""
_PATIENCE = 1000
"""T-states beyond what is promised."""


def proving_machine(crystal: Fraction, waits: Waits) -> Machine:
    """A board with nothing but ROM and RAM.

    Args:
        crystal: in hertz, rounded to whole ones: it sets nothing but the time of a T-state.
    """
    text = _BOARD.format(crystal=round(crystal), code=waits.code, stack=waits.stack)
    return Machine.from_text(text, trace=1)


def prove(machine: Machine, source: str, use: Use, promised: int) -> int:
    """T-states that a delay takes on a machine.

    Args:
        machine: of :func:`proving_machine`; may be used again.
        source: as :func:`emu85.timing.delay.source.write_delay` gives it.
        promised: what it should take; a run is given up after that and a little more.

    Returns:
        from the fetch of its first instruction, or of the CALL, to the end of its last,
        or of the RET.
    """
    back = _START + named("CALL").length
    calling = f" CALL {back + 1}\n HLT\n{source}"
    text = calling if use is Use.ROUTINE else f"{source} HLT\n"
    image = assemble(f" ORG {_START}\n{text}", "the delay").image
    machine.load(image)
    end = back if use is Use.ROUTINE else image.span[1]
    machine.registers.sp = _STACK
    machine.registers.pc = _START
    began = machine.t
    held = machine.run(until=end, t_states=promised + _PATIENCE)
    if held.reason is not Reason.ADDRESS:
        raise AssertionError(f"the delay did not end within {promised + _PATIENCE} T-states")
    return machine.t - began
