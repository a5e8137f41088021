"""A board's ports and devices, and how they stand."""

from __future__ import annotations

from collections.abc import Iterator

from emu85.board import Board
from emu85.board.decode import Region
from emu85.cpu.layout import IO_BASE

_KINDS = {"rom": "ROM", "ram": "RAM", "device": "device", "gap": "nothing", "overlap": "OVERLAP"}


def port_lines(board: Board) -> Iterator[str]:
    """The port map with what each port would answer, then devices that have no port."""
    yield "ports"
    for region in board.port_map():
        if region.kind == "gap":
            continue
        span = (
            f"{region.low:02X}"
            if region.low == region.high
            else f"{region.low:02X}-{region.high:02X}"
        )
        yield f"  {span:<9}  {_region(region, 2)}{_answers(board, region)}".rstrip()
    names = {name for region in board.port_map() for name in region.chip.split(" + ")}
    names |= {name for region in board.memory_map() for name in region.chip.split(" + ")}
    others = [device for name, device in board.devices.items() if name not in names]
    if others:
        yield "devices without an address"
    for device in others:
        yield f"  {device.name:<9}  {device.kind:<10} {device.state()}".rstrip()


def _region(region: Region, digits: int) -> str:
    text = f"{_KINDS.get(region.kind, region.kind):<8} {region.chip}"
    if region.mirror_of is not None:
        low, high = region.mirror_of
        text += f", mirror of {low:0{digits}X}-{high:0{digits}X}"
    if region.waits:
        text += f", {region.waits} wait state{'' if region.waits == 1 else 's'}"
    return text


def _answers(board: Board, region: Region) -> str:
    if region.mirror_of is not None or region.high - region.low > 7:
        return ""
    values = (board.peek(IO_BASE + port) for port in range(region.low, region.high + 1))
    state = board.devices[region.chip].state() if region.chip in board.devices else ""
    return f", reads {' '.join(f'{v:02X}' for v in values)}" + (f"; {state}" if state else "")
