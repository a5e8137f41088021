"""What a chip and the CPU ask of each other in a memory or I/O cycle: one table of paths.

A path is a sum.  On one side stands what the CPU gives: limits of its AC table that follow one
another.  On the other what stands in the way: delays of the board's parts, and a time of the chip.
The names of limits are those of :mod:`emu85.timing.ac_table`, the names of delays and times the
keys of a board file.

Where only one end of a delay is known, the end that is worse is taken: a buffer may be as slow as
is stated, and may be as fast as 0 ns.  So a buffer in WR does not help data that come late, but
does harm data that go early.

Source of what the limits mean: 8085AH/8085AH-2/8085AH-1 data sheet, waveforms of read and write
(value from memory).  The sums are the ordinary ones of a worst-case design: common practice, no
published source.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Whose = Literal["rom", "ram", "device", "latched"]
"""``latched``: a device that takes AD0-AD7 and ALE and latches the address itself."""

_MEMORY: tuple[Whose, ...] = ("rom", "ram")
_WRITTEN: tuple[Whose, ...] = ("ram", "device", "latched")
_ALL: tuple[Whose, ...] = ("rom", "ram", "device", "latched")


class Path(NamedTuple):
    """One sum.

    Attributes:
        name: as it is shown, at most 20 characters.
        limits: symbols of what the CPU gives, one after the other.
        delays: keys of the board's delays on the way.
        time: key of the chip's time; of a path of the board itself, of one of its delays.
        whose: what kinds of chip it is for.
        why: what happens on it, in one or two sentences.
    """

    name: str
    limits: tuple[str, ...]
    delays: tuple[str, ...]
    time: str
    whose: tuple[Whose, ...]
    why: str


PATHS: tuple[Path, ...] = (
    Path(
        "address to data",
        ("tAD",),
        ("latch", "address-buffer", "data-buffer"),
        "access",
        _ALL,
        "The CPU puts the address out in T1 and wants the byte before the rise of RD. On the "
        "way are the address latch, the chip and the buffers.",
    ),
    Path(
        "select to data",
        ("tAD",),
        ("address-buffer", "decoder", "data-buffer"),
        "enable",
        _ALL,
        "The chip is selected by the decoder, which sees the address when it is put out; A8-A15 "
        "go through no latch. From its selection on the chip takes its own time.",
    ),
    Path(
        "RD to data",
        ("tRD",),
        ("control-buffer", "data-buffer"),
        "output",
        _ALL,
        "RD falls in T2 and opens the chip's outputs; the byte has to be there before RD rises.",
    ),
    Path(
        "width of RD",
        ("tCC",),
        (),
        "read-pulse",
        _ALL,
        "RD is low from T2 to the middle of T3.",
    ),
    Path(
        "bus free after RD",
        ("tRAE",),
        ("control-buffer",),
        "float",
        _ALL,
        "RD has risen; until the CPU drives AD0-AD7 again, with the address of the next cycle, "
        "the chip must have let go of the bus. Wait states change nothing here.",
    ),
    Path(
        "address before WR",
        ("tACL",),
        ("latch", "address-buffer"),
        "address-setup",
        ("ram", "device"),
        "The address is to stand at the chip before WR falls, or other cells may be written.",
    ),
    Path(
        "select before RD, WR",
        ("tAC",),
        ("address-buffer", "decoder"),
        "address-setup",
        ("device",),
        "The device is to be selected before RD or WR falls.",
    ),
    Path(
        "address to WR's end",
        ("tACL", "tCC"),
        ("latch", "address-buffer"),
        "address-to-end",
        ("ram",),
        "From the address to the rise of WR, the moment at which the byte is taken.",
    ),
    Path(
        "select to WR's end",
        ("tAC", "tCC"),
        ("address-buffer", "decoder"),
        "enable-to-end",
        ("ram",),
        "A write begins with the later of WR and selection and ends with the rise of WR.",
    ),
    Path(
        "width of WR",
        ("tCC",),
        (),
        "write-pulse",
        _WRITTEN,
        "WR is low from T2 to the middle of T3.",
    ),
    Path(
        "data to WR's end",
        ("tDW",),
        ("data-buffer",),
        "data-setup",
        _WRITTEN,
        "The byte is to stand at the chip some time before WR rises.",
    ),
    Path(
        "data after WR",
        ("tWD",),
        ("control-buffer",),
        "data-hold",
        _WRITTEN,
        "WR rises at the CPU; at the chip it rises later by its buffer, and the byte must stay "
        "until then. Wait states change nothing here.",
    ),
    Path(
        "address after WR",
        ("tCL",),
        ("control-buffer",),
        "address-hold",
        ("ram", "device"),
        "After the rise of WR the latched half of the address stays until ALE rises and opens the "
        "latch; that is sooner than A8-A15 change (tCA). Wait states change nothing here.",
    ),
)

LATCH_PATHS: tuple[Path, ...] = (
    Path(
        "latch set-up",
        ("tALL",),
        (),
        "latch-setup",
        (),
        "The address is to stand at the latch before ALE falls.",
    ),
    Path(
        "latch hold",
        ("tLA",),
        (),
        "latch-hold",
        (),
        "After the fall of ALE the address stays on AD0-AD7 for a while.",
    ),
)
"""Paths of the board itself, whatever chip is read or written."""

READY_PATH = Path(
    "READY in time",
    ("tARY",),
    ("address-buffer", "decoder"),
    "ready",
    (),
    "A wait generator sees the selection and pulls READY low; the CPU looks at READY in T2. Too "
    "late, and the first wait state is lost.",
)

LATCHED_DELAYS = ("decoder",)
"""Of the delays, those that count for a chip on AD0-AD7 itself: it stands on the CPU's side of
the latch and of the buffers."""
