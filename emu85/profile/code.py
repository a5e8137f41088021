"""What counts as code: the bytes of instructions, as the source has them or as they were run.

An instruction of the source counts as executed when it was begun at its first byte.  What
the source has as data is code in so far as it was executed: an opcode put there by DB is,
a text behind a CALL is not.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from emu85.firmware.assembler.statements import split
from emu85.firmware.assembler.words import MNEMONICS
from emu85.firmware.image import Image, SourceLine
from emu85.isa import INSTRUCTIONS
from emu85.profile.coverage import Execution


def is_instruction(source: SourceLine) -> bool:
    """Whether a line that has put bytes somewhere has an instruction."""
    return split(source.text).word in MNEMONICS


def instructions_of(image: Image) -> dict[int, int]:
    """Bytes of each instruction of its source, by address; of an image without one, none."""
    return {
        at: INSTRUCTIONS[image.bytes_at(at, 1)[0]].length
        for at, source in image.lines.items()
        if is_instruction(source)
    }


def code_and_executed(
    instructions: Mapping[int, int], execution: Execution
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which bytes are code, and which of them were executed; bool, 65 536 each.

    Args:
        instructions: bytes of each by its address.
    """
    known = np.zeros(0x10000, bool)
    done = np.zeros(0x10000, bool)
    for at, size in instructions.items():
        known[at : at + size] = True
        done[at : at + size] |= bool(execution.fetches[at])
    done |= execution.covered & ~known
    return known | done, done
