"""Sums and CRCs by which a burnt EPROM is recognised.

Names and parameters of the CRCs as the trade's catalogues list them (values from memory);
each gives the listed check value for the nine characters ``123456789``.
"""

from __future__ import annotations

import binascii
import zlib
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sum:
    """A way to sum bytes up.

    Attributes:
        word: as options write it.
        name: as the trade names it.
        size: bytes of the result.
        check: its result for ``123456789``.
    """

    word: str
    name: str
    size: int
    check: int
    of: Callable[[bytes], int]

    def text(self, data: bytes) -> str:
        """The result in hexadecimal, all its digits."""
        return f"{self.of(data):0{2 * self.size}X}"


def _sum16(data: bytes) -> int:
    return sum(data) & 0xFFFF


def _crc_xmodem(data: bytes) -> int:
    return binascii.crc_hqx(data, 0)


def _crc_ccitt_false(data: bytes) -> int:
    return binascii.crc_hqx(data, 0xFFFF)


def _arc_row(byte: int) -> int:
    for _ in range(8):
        byte = byte >> 1 ^ (0xA001 if byte & 1 else 0)
    return byte


_ARC = tuple(_arc_row(byte) for byte in range(256))


def _crc_arc(data: bytes) -> int:
    crc = 0
    for byte in data:
        crc = crc >> 8 ^ _ARC[(crc ^ byte) & 0xFF]
    return crc


SUMS: dict[str, Sum] = {
    one.word: one
    for one in (
        Sum("sum-16", "sum of the bytes, 16 bits", 2, 0x01DD, _sum16),
        Sum("crc-16-xmodem", "CRC-16/XMODEM", 2, 0x31C3, _crc_xmodem),
        Sum("crc-16-ccitt-false", "CRC-16/CCITT-FALSE", 2, 0x29B1, _crc_ccitt_false),
        Sum("crc-16-arc", "CRC-16/ARC", 2, 0xBB3D, _crc_arc),
        Sum("crc-32", "CRC-32", 4, 0xCBF43926, zlib.crc32),
    )
}
"""By word."""
