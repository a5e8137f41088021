"""Chips that a board file selects together.

Two devices that would both drive the data bus at an address that both entries *state*
(``at:``) are a mistake, unless one of them says ``shared: yes``: a fight can be meant,
to see what it does.  Where chips meet in mirrors alone, or only take writes together,
nothing is wrong with the file, since incomplete decoding and two latches on one
strobe are common; nor where memory overlaps, which a board for lessons is to show.
That is told, the bus shows what both give, and a finding counts each fight.  A chip
that only answers reads and one that only takes writes share an address in peace.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from emu85.board.decode import Decoded, Ints
from emu85.board.description import BoardDescription, ChipUse
from emu85.board.device import Read
from emu85.board.mapping import Placed
from emu85.board.nodes import Node, Table
from emu85.errors import Mistakes, UserError

MOST_SHOWN = 4
"""Stretches of addresses that a message names."""


@dataclass(frozen=True, slots=True)
class Selected:
    """A chip as far as a clash is concerned.

    Attributes:
        node: the chip's entry in the board file.
        reads, writes: int64, ascending, the addresses where it answers reads and
            where it takes writes.
    """

    decoded: Decoded
    node: Node
    reads: Ints
    writes: Ints

    @property
    def at(self) -> Node:
        """Where the entry states the addresses."""
        return self.node.values["at"] if isinstance(self.node, Table) else self.node

    def stated(self, addresses: Ints) -> Ints:
        """Those of some addresses that its entry states."""
        select = self.decoded.select
        return addresses[(addresses >= select.low) & (addresses <= select.high)]


def selected(
    description: BoardDescription,
    chips: Sequence[tuple[ChipUse, Decoded]],
    placed: Sequence[Placed],
) -> list[Selected]:
    """Everything on a board that an address can select, memory first."""
    nothing = np.zeros(0, dtype=np.int64)
    found = [
        Selected(
            decoded,
            use.node,
            reads=decoded.addresses,
            writes=decoded.addresses if decoded.kind == "ram" else nothing,
        )
        for use, decoded in chips
    ]
    nodes = {use.name: use.node for use in description.devices}
    for each in placed:
        registers, decoded = each.device.registers, each.decoded
        answers = np.array([register.read is not Read.NONE for register in registers])
        takes = np.array([register.written for register in registers])
        found.append(
            Selected(
                decoded,
                nodes[each.device.name],
                reads=decoded.addresses[answers[decoded.offsets]],
                writes=decoded.addresses[takes[decoded.offsets]],
            )
        )
    return found


def refuse_clashes(chips: Sequence[Selected]) -> None:
    """Refuse devices that would fight where both are stated to be and neither says it is meant.

    Raises:
        UserError: each such pair, at the second one's addresses in the file.
    """
    mistakes = Mistakes()
    for first, second in _pairs([chip for chip in chips if chip.decoded.kind == "device"]):
        ones, others = first.decoded.select, second.decoded.select
        if ones.shared or others.shared or ones.high < others.low or others.high < ones.low:
            continue
        both = np.intersect1d(first.stated(first.reads), second.stated(second.reads))
        if len(both):
            with mistakes.noted():
                raise _refused(first, second, both)
    mistakes.tell()


def clashes(chips: Sequence[Selected]) -> Iterator[str]:
    """A line for each pair that answers or listens at one address, placed at the second."""
    for first, second in _pairs(chips):
        reads = np.intersect1d(first.reads, second.reads)
        writes = np.intersect1d(first.writes, second.writes)
        if len(reads):
            yield _told(first, second, "answers", "does", reads)
        elif len(writes):
            yield _told(first, second, "is written", "is", writes)


def _pairs(chips: Sequence[Selected]) -> Iterator[tuple[Selected, Selected]]:
    for first, second in combinations(chips, 2):
        if first.decoded.is_port == second.decoded.is_port:
            yield first, second


def _refused(first: Selected, second: Selected, both: Ints) -> UserError:
    return second.at.wrong(
        f"{second.decoded.name} answers at {_where(second, both)}, and so does "
        f"{first.decoded.name} (line {first.at.place.line}): they would fight",
        expected="addresses of its own, or 'shared: yes' if a fight is meant",
    )


def _told(first: Selected, second: Selected, does: str, so: str, both: Ints) -> str:
    return (
        f"{second.node.place}: {second.decoded.name} {does} at {_where(second, both)}, "
        f"and so {so} {first.decoded.name} (line {first.node.place.line})"
    )


def _where(chip: Selected, both: Ints) -> str:
    digits = 2 if chip.decoded.is_port else 4
    what = "port" if chip.decoded.is_port else "address"
    stretches = np.split(both, np.flatnonzero(np.diff(both) > 1) + 1)
    shown = [
        f"{one[0]:0{digits}X}" + (f"-{one[-1]:0{digits}X}" if len(one) > 1 else "")
        for one in stretches[:MOST_SHOWN]
    ]
    more = len(stretches) - len(shown)
    return f"{what} {', '.join(shown)}" + (f" and {more} more such" if more else "")
