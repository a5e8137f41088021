"""Boards: read from YAML, fitted together, shown as maps."""

from emu85.board.async_wire import AsyncReceiver, AsyncSender
from emu85.board.board import Board, fit
from emu85.board.decode import Region
from emu85.board.describe import describe
from emu85.board.description import BoardDescription
from emu85.board.device import Beat, Control, Device, MemoryPart, Read, Register, Site
from emu85.board.frames import Arrival, Frame, Framing, sample
from emu85.board.host import Host
from emu85.board.kinds import Key
from emu85.board.reader import load_board, read_board
from emu85.board.schedule import Schedule
from emu85.board.schema import schema_text
from emu85.board.serial import SerialLine, Terminal

__all__ = [
    "Arrival",
    "AsyncReceiver",
    "AsyncSender",
    "Beat",
    "Board",
    "BoardDescription",
    "Control",
    "Device",
    "Frame",
    "Framing",
    "Host",
    "Key",
    "MemoryPart",
    "Read",
    "Region",
    "Register",
    "Schedule",
    "SerialLine",
    "Site",
    "Terminal",
    "describe",
    "fit",
    "load_board",
    "read_board",
    "sample",
    "schema_text",
]
