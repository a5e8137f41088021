"""Looking"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from emu85.board import describe
from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.console.views import bus, memory, registers
from emu85.console.views.board import port_lines
from emu85.console.views.code import listing
from emu85.errors import UserError
from emu85.stops import find as find_in
from emu85.stops import parse
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session

_MOST_FOUND = 20
_MEMORY_COUNT = 128
_CODE_COUNT = 12


@form("regs", "registers, flags and interrupt state")
def regs(session: Session) -> None:
    for line in registers.registers(session.machine):
        session.screen.show(line)


_ALL_MEMORY = 0x10000


@form("mem ADDRESS [COUNT]", "memory from an address on, 128 bytes or so many")
def mem(session: Session, address: int, count: int = _MEMORY_COUNT) -> None:
    """Reading so has no side effects and takes no board time."""
    if count > _ALL_MEMORY:
        with unfit("count"):
            raise UserError(
                f"{count} bytes are more than there are", expected=f"1 to {_ALL_MEMORY}"
            )
    _dump(session, address, min(0xFFFF, address + count - 1))


@form("mem RANGE", "memory from one address to another")
def mem_range(session: Session, range: tuple[int, int]) -> None:
    _dump(session, *range)


def _dump(session: Session, low: int, high: int) -> None:
    read = session.machine.memory.__getitem__
    for line in memory.dump(read, low, high):
        session.screen.show(line)


@form("code [ADDRESS] [COUNT]", "instructions from an address on, or from the PC")
def code(session: Session, address: int | None = None, count: int = _CODE_COUNT) -> None:
    start = session.machine.registers.instruction_at if address is None else address
    for line in listing(session.machine, start, min(count, 0x10000)):
        session.screen.show(line)


@form("bus", "the last machine cycle in full")
def bus_now(session: Session) -> None:
    """Levels are those of the pins: a strobe at 0 is active; - is a line that floats."""
    session.show_bus()


@form("bus COUNT", "the last machine cycles, one a row")
def bus_rows(session: Session, count: int) -> None:
    held = len(session.machine.trace)
    if held < count and session.machine.trace.forgotten:
        cycles = counted(held, "machine cycle")
        session.screen.show(f"The trace holds {cycles}; older ones are forgotten.")
    if held:
        session.show_rows(min(count, held), head=True)


@form("lines", "every line outside the buses, as it stands now")
def lines(session: Session) -> None:
    for line in bus.pins(int(session.machine.lines)):
        session.screen.show(line)


@form("ports", "the ports, and what they would answer")
def ports(session: Session) -> None:
    """Looking has no side effects. Devices with no port are listed too."""
    for line in port_lines(session.machine.board):
        session.screen.show(line)


@form("board", "the board's memory and port map")
def board(session: Session) -> None:
    session.screen.show(describe(session.machine.board).rstrip())


@form("find CONDITION", "machine cycles in the trace, newest first")
def find(session: Session, condition: str) -> None:
    """Conditions are those of 'stop': find MW at 8004, find IOR,IOW, find OF at 0150-01FF.
    The newest twenty are shown."""
    machine = session.machine
    began = time.perf_counter()
    records = machine.trace.columns()
    found = find_in(parse(condition, symbols=machine.symbols), records)
    newest = machine.trace.at(found[-_MOST_FOUND:][::-1])
    took = time.perf_counter() - began
    if len(newest):
        for line in bus.header(session.screen.width):
            session.screen.show(line)
    for line in bus.rows(newest, session.screen.width, session.disassembly):
        session.screen.show(line)
    forgotten = machine.trace.forgotten
    older = f"; {_forgotten(forgotten)}" if forgotten else ""
    session.screen.show(
        f"{len(found)} of {counted(len(records), 'machine cycle')}, in {took * 1000:.0f} ms{older}"
    )


def _forgotten(count: int) -> str:
    return "an older one is forgotten" if count == 1 else f"{count} older ones are forgotten"


@form("symbols [NAME]", "symbols, all or those whose name has some letters")
def symbols(session: Session, name: str = "") -> None:
    shown = [
        (at, symbol)
        for symbol, at in session.machine.symbols.items()
        if name.casefold() in symbol.casefold()
    ]
    if not shown:
        session.screen.show("No such symbols." if name else "No symbols; 'load FILE' brings some.")
    for at, symbol in sorted(shown):
        session.screen.show(f"  {at:04X}  {symbol}")
