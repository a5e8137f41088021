"""Sums against binascii, zlib and the check values of the trade's catalogues."""

from __future__ import annotations

import binascii
import random
import zlib

import pytest

from emu85.burn.sums import SUMS

CHECKS = {
    # CRC-16/XMODEM, CRC-16/CCITT-FALSE (also listed as CRC-16/IBM-3740), CRC-16/ARC and
    # CRC-32 of "123456789", as catalogues of CRCs list them (values from memory).
    "crc-16-xmodem": 0x31C3,
    "crc-16-ccitt-false": 0x29B1,
    "crc-16-arc": 0xBB3D,
    "crc-32": 0xCBF43926,
    "sum-16": sum(range(0x31, 0x3A)),
}


@pytest.mark.parametrize("word", SUMS)
def test_check_value(word: str) -> None:
    assert SUMS[word].of(b"123456789") == CHECKS[word]


def test_against_the_libraries() -> None:
    random.seed(85)
    for length in (0, 1, 2, 255, 256, 2048, 16384):
        data = random.randbytes(length)
        assert SUMS["crc-16-xmodem"].of(data) == binascii.crc_hqx(data, 0)
        assert SUMS["crc-16-ccitt-false"].of(data) == binascii.crc_hqx(data, 0xFFFF)
        assert SUMS["crc-32"].of(data) == zlib.crc32(data) == binascii.crc32(data)
        assert SUMS["sum-16"].of(data) == sum(data) % 65536


def test_arc_against_long_division() -> None:
    """Bit by bit: the polynomial x16 + x15 + x2 + 1, each byte's lowest bit first."""
    random.seed(16)
    data = random.randbytes(300)
    bits = [byte >> n & 1 for byte in data for n in range(8)] + [0] * 16
    register = 0
    for bit in bits:
        register = register << 1 | bit
        if register & 0x10000:
            register ^= 0x18005
    assert SUMS["crc-16-arc"].of(data) == int(f"{register:016b}"[::-1], 2)
