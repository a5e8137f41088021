"""A board's ports and devices, and how they stand."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.board import Board, Read
from emu85.board.board import RegisterAt
from emu85.cpu.layout import IO_BASE


def port_lines(board: Board) -> Iterator[str]:
    """Each register in the I/O space with what a read would give, then each device."""
    ports = [at for at in board.registers() if at.index >= IO_BASE]
    yield "ports" if ports else "The board has no ports."
    for at in ports:
        yield _port(board, at)
    if board.devices:
        yield "devices"
    for device in board.devices.values():
        yield f"  {device.name:<12} {device.kind:<10} {device.state()}".rstrip()


def _port(board: Board, at: RegisterAt) -> str:
    reads = "--" if at.register.read is Read.NONE else f"{board.peek(at.index):02X}"
    way = {(True, True): "in/out", (True, False): "in", (False, True): "out"}
    direction = way.get((at.register.read is not Read.NONE, at.register.written), "")
    name = f"{at.device.name}, {at.register.name}"
    return f"  {at.index - IO_BASE:02X}  {direction:<6} reads {reads}  {name}"
