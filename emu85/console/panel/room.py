"""How the room of a terminal is divided."""

from __future__ import annotations

from typing import NamedTuple

COLUMNS, ROWS = 80, 24
"""The least that the whole of the panel needs."""
_WIDE_COLUMNS, _WIDE_ROWS = 132, 34
"""From here on there is room for figures below the lamps and for every line of a cycle."""
_NARROW_LEFT = 46


class Room(NamedTuple):
    """A terminal's size."""

    columns: int
    rows: int

    @property
    def is_enough(self) -> bool:
        """Whether the whole of the panel fits."""
        return self.columns >= COLUMNS and self.rows >= ROWS

    @property
    def is_wide(self) -> bool:
        """Whether there is room for more than the lamps."""
        return self.columns >= _WIDE_COLUMNS and self.rows >= _WIDE_ROWS

    @property
    def left(self) -> int:
        """Columns of the last machine cycles; the serial pane stands beside them."""
        return self.columns * 2 // 3 if self.is_wide else _NARROW_LEFT
