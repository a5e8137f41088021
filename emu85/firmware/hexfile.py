"""Intel HEX, in and out.

The records are decoded and encoded by the ``intelhex`` library.  It stops at a
fault with no more than a line number, so the text is examined record by record
first: every fault gets its line, its column and what was expected.

Source: Intel, Hexadecimal Object File Format Specification, revision A, 1988
(value from memory).  Record types 0 to 5 are read; an address beyond FFFF is a
fault, since an 8085 has none.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

import intelhex

from emu85.errors import Place, UserError
from emu85.firmware.image import SPACE, Image, segments_of

_DATA, _END, _SEGMENT, _START_SEGMENT, _LINEAR, _START_LINEAR = range(6)
_FIXED_LENGTHS = {_END: 0, _SEGMENT: 2, _START_SEGMENT: 4, _LINEAR: 2, _START_LINEAR: 4}
_TYPES = "record type 00 to 05"
_NOT_HEX = re.compile(r"[^0-9A-Fa-f]")
_FRAME_DIGITS = 10
"""Hex digits of a record that carries no data: length, address, type, checksum."""

_FIRST, _LENGTH, _ADDRESS, _TYPE, _CONTENT = 1, 2, 4, 8, 10
"""Columns at which the parts of a record begin."""


@dataclass(frozen=True, slots=True)
class _Record:
    line: int
    indent: int
    text: str
    address: int
    kind: int
    data: bytes

    @property
    def value(self) -> int:
        return int.from_bytes(self.data, "big")

    def fault(self, message: str, column: int, expected: str) -> UserError:
        return _fault(message, column + self.indent, expected)


def _fault(message: str, column: int, expected: str) -> UserError:
    return UserError(message, Place(column=column), expected=expected)


def read_hex(text: str, file: str = "") -> Image:
    """The image of an Intel HEX file.

    Blank lines, spaces around a record and a closing control-Z are passed over.
    The entry is taken from a start address record or, where there is none, from
    the address field of the EOF record if that is not zero.

    Raises:
        UserError: the first fault, with its line and column: a line that is no
            record, digits that are not hex, a length or checksum that does not
            fit, an unknown record type, data twice for one address, an address
            beyond FFFF, a missing EOF record or anything after it.
    """
    lines = text.replace("\x1a", "").split("\n")
    scan = _Scan()
    for number, line in enumerate(lines, 1):
        try:
            scan.take(number, line)
        except UserError as error:
            raise error.at(Place(file, number, error.place.column), line) from None
    if not scan.ended:
        last = max(1, len(lines) - (not lines[-1].strip()))
        raise UserError(
            "the EOF record is missing",
            Place(file, last, len(lines[last - 1].rstrip()) + 1),
            expected="a last record :00000001FF",
            source=lines[last - 1],
        )
    return _decode(scan, file)


class _Scan:
    """What is known of a HEX file up to a line; lives for one call of the reader."""

    def __init__(self) -> None:
        self.records: list[_Record] = []
        self.base = 0
        self.entry: int | None = None
        self._owner: dict[int, int] = {}

    @property
    def ended(self) -> bool:
        return bool(self.records) and self.records[-1].kind == _END

    def take(self, number: int, line: str) -> None:
        stripped = line.strip()
        if not stripped:
            return
        indent = len(line) - len(line.lstrip())
        if self.ended:
            raise _fault("a record after the EOF record", indent + 1, "the end of the file")
        record = _record(stripped, number, indent)
        self._note(record)
        self.records.append(record)

    def _note(self, record: _Record) -> None:
        if record.kind == _DATA:
            self._own(record)
        elif record.kind == _SEGMENT:
            self.base = record.value * 16
        elif record.kind == _LINEAR:
            self.base = record.value * SPACE
        elif record.kind == _END:
            if self.entry is None and record.address:
                self.entry = record.address
        else:
            self._start(record)

    def _own(self, record: _Record) -> None:
        start = self.base + record.address
        last = start + len(record.data) - 1
        if record.data and last >= SPACE:
            raise record.fault(f"data at {last:X}, beyond FFFF", _ADDRESS, "addresses 0000 to FFFF")
        for offset in range(len(record.data)):
            other = self._owner.setdefault(start + offset, record.line)
            if other != record.line:
                raise record.fault(
                    f"address {start + offset:04X} already has a byte from line {other}",
                    _CONTENT + 2 * offset,
                    "each address once",
                )

    def _start(self, record: _Record) -> None:
        if any(r.kind in (_START_SEGMENT, _START_LINEAR) for r in self.records):
            raise record.fault("a second start address record", _TYPE, "at most one")
        segment, offset = divmod(record.value, SPACE)
        start = segment * 16 + offset if record.kind == _START_SEGMENT else record.value
        if start >= SPACE:
            raise record.fault(
                f"start address {start:X}, beyond FFFF", _CONTENT, "an address 0000 to FFFF"
            )
        self.entry = start


def _record(text: str, line: int, indent: int) -> _Record:
    """One record, its frame checked.

    Raises:
        UserError: with the column only.
    """
    if not text.startswith(":"):
        raise _fault("a record starts with ':'", indent + _FIRST, "':'")
    bad = _NOT_HEX.search(text, 1)
    if bad:
        raise _fault(
            f"{bad.group()!r} is not a hex digit", indent + bad.start() + 1, "0 to 9 or A to F"
        )
    digits = len(text) - 1
    if digits < _FRAME_DIGITS:
        raise _fault(
            f"the record is cut short after {digits} digits",
            indent + len(text) + 1,
            f"at least {_FRAME_DIGITS}",
        )
    _check_length(text, digits, indent)
    _check_sum(text, indent)
    raw = bytes.fromhex(text[1:])
    record = _Record(line, indent, text, raw[1] << 8 | raw[2], raw[3], raw[4:-1])
    _check_kind(record)
    return record


def _check_length(text: str, digits: int, indent: int) -> None:
    stated = int(text[1:3], 16)
    wanted = _FRAME_DIGITS + 2 * stated
    if digits < wanted:
        raise _fault(
            f"the record is cut short after {digits} digits",
            indent + len(text) + 1,
            f"{wanted} for its length byte {stated:02X}",
        )
    if digits > wanted:
        raise _fault(
            f"{digits} digits do not fit the length byte {stated:02X}",
            indent + wanted + 2,
            f"the record to end after {wanted}",
        )


def _check_sum(text: str, indent: int) -> None:
    *content, stated = bytes.fromhex(text[1:])
    right = -sum(content) & 0xFF
    if stated != right:
        raise _fault(f"checksum {stated:02X} is wrong", indent + len(text) - 1, f"{right:02X}")


def _check_kind(record: _Record) -> None:
    if record.kind == _DATA:
        return
    if record.kind not in _FIXED_LENGTHS:
        raise record.fault(f"record type {record.kind:02X} is unknown", _TYPE, _TYPES)
    wanted = _FIXED_LENGTHS[record.kind]
    if len(record.data) != wanted:
        raise record.fault(
            f"length {len(record.data):02X} in a record of type {record.kind:02X}",
            _LENGTH,
            f"{wanted:02X}",
        )
    if record.address and record.kind != _END:
        raise record.fault(
            f"address {record.address:04X} in a record of type {record.kind:02X}", _ADDRESS, "0000"
        )


def _decode(scan: _Scan, file: str) -> Image:
    decoder = intelhex.IntelHex()
    try:
        decoder.loadhex(io.StringIO("\n".join(record.text for record in scan.records)))
    except intelhex.IntelHexError as error:  # only if the library is stricter than the scan
        raise UserError(str(error), Place(file), expected="Intel HEX records") from error
    return Image(segments_of(dict(_cells(decoder))), entry=scan.entry, source=file)


def _cells(decoder: intelhex.IntelHex) -> Iterator[tuple[int, int]]:
    for address in decoder.addresses():
        yield address, decoder[address]


def write_hex(image: Image) -> str:
    """The image as Intel HEX: sixteen bytes a record, closed by the EOF record.

    An entry is written as a start address record of type 03 (CS 0000, IP the entry).
    """
    encoder = intelhex.IntelHex()
    for segment in image.segments:
        encoder.frombytes(segment.data, offset=segment.start)
    if image.entry is not None:
        encoder.start_addr = {"CS": 0, "IP": image.entry}
    out = io.StringIO()
    encoder.write_hex_file(out)
    return out.getvalue()
