"""Whether the image fits its chips, and says what it should."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emu85.board.description import ChipUse
from emu85.board.quantities import size_text
from emu85.burn.checks.kinds import Check, NotMadeError
from emu85.burn.chips import by_mirrors, covered, given_again
from emu85.burn.ground import Stands
from emu85.burn.study import Study
from emu85.burn.sums import SUMS
from emu85.burn.verdict import Note
from emu85.cpu.layout import MapBit
from emu85.firmware import Image
from emu85.wording import counted

_SMALLEST_REPEAT = 0x400
"""Bytes of a half below which two alike are no sign of anything."""


def _stretches(study: Study, wrong: set[Stands]) -> Iterator[tuple[int, int, Stands]]:
    """Stretches of the image's addresses that stand on something wrong: first, bytes, what."""
    for segment in study.ground.image.segments:
        start = segment.start
        while start < segment.end:
            stands, name = study.ground.at(start), study.ground.name(start)
            end = start + 1
            while end < segment.end and (study.ground.at(end), study.ground.name(end)) == (
                stands,
                name,
            ):
                end += 1
            if stands in wrong:
                yield start, end - start, stands
            start = end


def _in_rom(study: Study) -> Iterator[Note]:
    wrong = {Stands.NOTHING, Stands.RAM, Stands.CODE_RAM, Stands.DEVICE}
    for start, count, stands in _stretches(study, wrong):
        where = study.ground.name(start)
        what = f"{stands.value} ({where})" if where else stands.value
        yield Note(f"{counted(count, 'byte')} of the image where the board has {what}", start)


def _alone(study: Study) -> Iterator[Note]:
    bits = study.ground.board.map
    for start, count, _ in _stretches(study, {Stands.SEVERAL}):
        if any(bits[start + n] & MapBit.CONTENTION for n in range(count)):
            chips = study.ground.name(start)
            yield Note(f"{counted(count, 'byte')} of the image where {chips} answer at once", start)


def _fits(study: Study) -> Iterator[Note]:
    image = study.ground.image
    for use in covered(study.ground.board.description, image):
        again = given_again(use, image)
        if not again.addresses:
            yield from _elsewhere(use, image)
            continue
        given = f"the image gives {again.given} bytes for {use.name}, a chip of "
        text = f"{given}{size_text(use.part.size)}"
        if again.otherwise:
            more = f"{counted(len(again.otherwise), 'byte')} otherwise than before"
            yield Note(f"{text}: {more}", again.otherwise[0])
        else:
            yield Note(f"{text}: the others are the same again", again.addresses[0], False)


def _elsewhere(use: ChipUse, image: Image) -> Iterator[Note]:
    """Bytes beyond those of a chip that has others of the image in their place."""
    beyond = by_mirrors(use, image)
    if beyond:
        text = f"{counted(len(beyond), 'byte')} of the image, from {beyond[0]:04X} on, would go"
        size = size_text(use.part.size)
        yield Note(f"{text} into {use.name}, a chip of {size}, by a mirror", beyond[0], False)


def _part(study: Study) -> Iterator[Note]:
    wanted = study.wanted
    if wanted.part is None and not wanted.parts:
        raise NotMadeError("no chip is named")
    share = 2 if wanted.halves else 1
    for chip in study.chips:
        part = wanted.part_for(chip.name)
        if part is None:
            continue
        size = len(chip.data)
        room = share * part.size
        if room == size and share == 1:
            continue
        named = f"{'a pair of ' if share == 2 else ''}{part.number} ({size_text(room)})"
        board = f"the {chip.name} chip of the board, {chip.part} of {size_text(size)}"
        if room < size:
            yield Note(f"{named} is smaller than {board}", chip.low)
        elif share == 1 and chip.part.isdigit():
            yield Note(f"{named} is not {board}", chip.low)
        elif room > size:
            yield Note(
                f"{named} is larger than {board}: tie its upper address lines", chip.low, False
            )


def _says_something(study: Study) -> Iterator[Note]:
    if not study.chips:
        yield Note("no byte of the image is in an EPROM of the board")
    for chip in study.chips:
        if set(chip.data) <= {0xFF}:
            yield Note(f"every byte for the {chip.name} chip is FF: it would stay erased", chip.low)


def _repeats(study: Study) -> Iterator[Note]:
    for chip in study.chips:
        half = len(chip.data) // 2
        if half < _SMALLEST_REPEAT or chip.data[:half] != chip.data[half:]:
            continue
        if len(set(chip.data)) > 1 and bool(np.all(chip.filled)):
            text = f"both halves for {chip.name} are alike: was a smaller chip read?"
            yield Note(text, chip.low, False)


def _stored(study: Study) -> Iterator[Note]:
    if not study.wanted.stored:
        raise NotMadeError("no stored sum is named")
    for one in study.wanted.stored:
        chip = next((c for c in study.chips if c.low <= one.address <= c.high), None)
        if chip is None:
            yield Note(f"no chip for the stored {one.sum.name}", one.address)
            continue
        at = one.address - chip.low
        if at + one.sum.size > len(chip.data):
            text = f"the stored {one.sum.name} has {one.sum.size} bytes, beyond the end of the chip"
            yield Note(text, one.address)
            continue
        found = int.from_bytes(chip.data[at : at + one.sum.size], "little")
        right = one.sum.of(chip.data[:at])
        if found != right:
            digits = 2 * one.sum.size
            yield Note(
                f"{one.sum.name} of {chip.low:04X}-{one.address - 1:04X} is {right:0{digits}X}, "
                f"but {found:0{digits}X} is stored",
                one.address,
            )


def _expected(study: Study) -> Iterator[Note]:
    if not study.wanted.expected:
        raise NotMadeError("no sum is expected")
    for key, wanted in study.wanted.expected.items():
        name, _, word = key.rpartition(":")
        chips = [chip for chip in study.burnt if chip.name == name] if name else study.chips
        if not chips:
            yield Note(f"nothing is burnt into a chip {name}, whose sum is expected")
            continue
        data, one = b"".join(chip.data for chip in chips), SUMS[word]
        if one.of(data) != wanted:
            of = f" of {name}" if name else ""
            expected = f"{wanted:0{2 * one.size}X} is expected"
            yield Note(f"{one.name}{of} is {one.text(data)}, but {expected}")


CHECKS = (
    Check("in-rom", "every byte of the image is in an EPROM of the board", _in_rom),
    Check("alone", "no other chip answers where the image is", _alone),
    Check("fits", "the image has one byte for each byte of a chip at most", _fits),
    Check("chip", "the named chip is the one of the board", _part),
    Check("content", "there is something to burn into each chip", _says_something),
    Check("repeats", "no chip's content is the same twice over", _repeats),
    Check("stored-sum", "sums that the image holds are right", _stored),
    Check("expected-sum", "the sums are those that the user expects", _expected),
)
