"""A routine of an image on a board, asked for by name."""

from __future__ import annotations

from collections.abc import Mapping

from emu85.board import Board
from emu85.burn.ground import Ground
from emu85.burn.places import Places
from emu85.errors import UserError, nearest
from emu85.firmware import Image
from emu85.timing.delay.costs import Waits, named, t_states
from emu85.timing.delay.waits import BoardWaits
from emu85.timing.duration.analysis import Analysis, Result
from emu85.timing.duration.told import Asked, loop_heads


def follow(
    name: str, start: int, image: Image, board: Board, at_most: Mapping[int, int]
) -> tuple[Asked, Result]:
    """How long a routine of an image takes on a board.

    Args:
        at_most: passes of loops, by the address of their head.

    Raises:
        UserError: no code is there, it is too much to follow, or no loop is where one is limited.
    """
    waits = BoardWaits(board)
    analysis = Analysis(Ground(board, image), waits, at_most)
    result = analysis.routine(start)
    places = Places(image, image.symbols, image.equated)
    for head in at_most:
        if head not in analysis.limited:
            heads = loop_heads(result.loops, places)
            word = places.symbol(head) or f"{head:04X}"
            raise UserError(
                f"no loop of {name} begins at {word}",
                expected=f"one of {', '.join(heads)}" if heads else "a routine with loops",
                nearest=nearest(word, heads),
            )
    description = board.description
    asked = Asked(name, start, description.name, description.clock, image, places, _call(waits))
    return asked, result


def _call(waits: BoardWaits) -> tuple[int, int]:
    """T-states of a CALL, the least and the most by where it may stand."""
    one = named("CALL")
    code, stack = waits.answered, waits.stack
    return (
        t_states(one, Waits(code.least, stack.least)),
        t_states(one, Waits(code.most, stack.most)),
    )
