"""The files for the programmer, and what is written on the sticker.

For each chip a binary and an Intel HEX file, both with the chip's own addresses, from
0000 on, as programmers want them; and one text with a label line for each.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from emu85.burn.chips import Programmed
from emu85.burn.sums import SUMS
from emu85.errors import Place, UserError
from emu85.firmware import Image, Segment, atomic_write, write_hex

_UNFIT = re.compile(r"[^A-Za-z0-9_.-]+")


def write_files(folder: Path, name: str, chips: Sequence[Programmed], date: str) -> list[Path]:
    """Write the files; the same chips give the same bytes.

    Args:
        folder: made if it is not there.
        name: of the firmware, for file names and labels.
        date: for the labels; left out if empty.

    Raises:
        UserError: the folder or a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(f"cannot be made: {error.strerror}", Place(str(folder))) from error
    written = []
    for chip, stem in zip(chips, _stems(name, chips), strict=True):
        for suffix, content in ((".bin", chip.data), (".hex", _hex(chip))):
            path = folder / f"{stem}{suffix}"
            atomic_write(path, content)
            written.append(path)
    path = folder / _stem(f"{name}-labels.txt")
    atomic_write(path, "".join(f"{label(name, chip, date)}\n" for chip in chips))
    return [*written, path]


def _stems(name: str, chips: Sequence[Programmed]) -> list[str]:
    """Names of the chips' files: those that would be one get numbers, whatever their case."""
    stems: list[str] = []
    for chip in chips:
        stem = made = _stem(f"{name}-{chip.name}")
        number = 1
        while made.casefold() in map(str.casefold, stems):
            number += 1
            made = f"{stem}-{number}"
        stems.append(made)
    return stems


def _stem(name: str) -> str:
    return _UNFIT.sub("-", name).lstrip("-.")


def label(name: str, chip: Programmed, date: str = "") -> str:
    """The line for a chip's sticker."""
    sums = (SUMS["sum-16"], SUMS["crc-32"])
    parts = [
        " ".join(name.split()),
        chip.name,
        chip.part,
        chip.range,
        f"sum {sums[0].text(chip.data)}",
        f"CRC-32 {sums[1].text(chip.data)}",
        " ".join(date.split()),
    ]
    return "  ".join(part for part in parts if part)


def _hex(chip: Programmed) -> str:
    return write_hex(Image((Segment(0, chip.data),)))
