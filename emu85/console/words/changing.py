"""Changing"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.console.grammar import unfit
from emu85.console.registry import form
from emu85.console.views import registers
from emu85.errors import UserError
from emu85.wording import counted

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("put REGISTER BYTE", "give a register a value")
def put_register(session: Session, register: str, byte: int) -> None:
    setattr(session.machine.registers, register.casefold(), byte)
    session.screen.show(f"  {registers.brief(session.machine)}")


@form("put PAIR VALUE", "give a register pair, SP or PC a value")
def put_pair(session: Session, pair: str, value: int) -> None:
    """A new PC takes effect at once: the instruction in course is given up."""
    setattr(session.machine.registers, pair.casefold(), value)
    session.screen.show(f"  {registers.brief(session.machine)}")


@form("put FLAG LEVEL", "set or clear a flag")
def put_flag(session: Session, flag: str, level: str) -> None:
    setattr(session.machine.registers, flag.casefold(), int(level))
    session.screen.show(f"  {registers.brief(session.machine)}")


@form("put mem ADDRESS BYTE...", "put bytes into memory, ROM too")
def put_memory(session: Session, address: int, byte: list[int]) -> None:
    with unfit("address"):
        if address + len(byte) > 0x10000:
            raise UserError(
                f"{counted(len(byte), 'byte')} from {address:04X} on: beyond FFFF",
                expected="bytes up to FFFF",
            )
        session.machine.memory[address : address + len(byte)] = byte


@form("put port PORT BYTE", "give a port a byte as OUT would, in no time")
def put_port(session: Session, port: int, byte: int) -> None:
    """What an input port reads is set at its device: 'set', 'press'."""
    if not session.machine.board.takes_port(port):
        with unfit("port"):
            raise UserError(
                f"nothing on the board takes a byte at port {port:02X}",
                expected="an output port; 'ports' lists them",
            )
    session.machine.board.put_port(port, byte)
