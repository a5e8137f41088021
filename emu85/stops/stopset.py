"""The stops of one machine: numbered, armed or resting, compiled for the core.

While the machine runs, the core keeps the state of the stops (hits, passes,
which step of a sequence is looked for) in the table itself.  The set reads it
back before it compiles anew, so that adding a stop disturbs no other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from emu85.cpu.layout import StopField
from emu85.errors import UserError
from emu85.stops.condition import Condition, Step
from emu85.stops.language import parse
from emu85.stops.tables import Int64, compile_rows, no_rows, watch_data, watch_map

FIRMWARE_FROM = 501
"""Numbers of the firmware's stops: its next one depends on what the firmware has done, so
they must not be mixed with the user's."""

_USERS_AGAIN = 1_000_001
"""Numbers of the user's stops after the last before the firmware's."""

_STATE = [
    StopField.ACTIVE,
    StopField.SEEN,
    StopField.HITS,
    StopField.LAST_T,
]
"""The columns that the core writes."""


class Progress(NamedTuple):
    """How far a stop is.

    Attributes:
        step: index of the step that is looked for, 0 for the first.
        seen: how many matches of that step have been let go by.
    """

    step: int
    seen: int


@dataclass(slots=True, eq=False)
class Stop:
    """One stop of a :class:`StopSet`.

    Attributes:
        number: what the user calls it by, never given twice; 0 for one that is not
            listed.  Those of the firmware's are :data:`FIRMWARE_FROM` or more.
        condition: what it looks for.
        written: as it was typed, symbols and all.
        armed: False while it rests.
        owner: ``"user"``, ``"firmware"``, or ``"console"`` if it is not listed.
        rows: its rows of the core's table, in place while it is armed; a resting
            stop keeps those it had.
        armings: how often it has begun anew.
    """

    number: int
    condition: Condition
    written: str
    armed: bool
    owner: str
    rows: Int64
    armings: int = 0

    @property
    def counts(self) -> Int64:
        """What it has counted and which step it looks for, a copy; can be set."""
        return self.rows[:, _STATE].copy()

    @counts.setter
    def counts(self, counts: Int64) -> None:
        self.rows[:, _STATE] = counts

    @property
    def none_counted(self) -> Int64:
        """:attr:`counts` of a stop that has just been made."""
        return compile_rows(self.condition, 0)[:, _STATE]

    @property
    def is_simple(self) -> bool:
        """Whether each machine cycle that it looks for is a hit: no passes, no sequence."""
        return len(self.condition.steps) == 1 and not self.condition.steps[0].passes

    @property
    def text(self) -> str:
        """The canonical wording, addresses as numbers."""
        return self.condition.text

    @property
    def hits(self) -> int:
        """How often it has hit."""
        return int(self.rows[-1, StopField.HITS])

    @property
    def last_t(self) -> int | None:
        """T-state at which the machine cycle began that it hit last; None if none."""
        t = int(self.rows[-1, StopField.LAST_T])
        return None if t < 0 else t

    @property
    def step(self) -> int:
        """Index of the step that is looked for, 0 for the first."""
        return int(np.argmax(self.rows[:, StopField.ACTIVE]))

    @property
    def progress(self) -> Progress:
        """How far it is; can be set."""
        return Progress(self.step, int(self.rows[self.step, StopField.SEEN]))

    @progress.setter
    def progress(self, progress: Progress) -> None:
        self.rows[:, StopField.ACTIVE] = 0
        self.rows[:, StopField.SEEN] = 0
        self.rows[progress.step, StopField.ACTIVE] = 1
        self.rows[progress.step, StopField.SEEN] = progress.seen


@dataclass(frozen=True, slots=True)
class KeptStop:
    """A stop, and what it was like when it was kept."""

    stop: Stop
    armed: bool
    rows: Int64


class KeptStops(NamedTuple):
    """The stops of one owner as they were, and the number of its next one."""

    stops: list[KeptStop]
    following: int


class StopSet:
    """Any number of stops.

    Iterating, counting and saving leave out those of :meth:`add_unlisted`.

    Attributes:
        table: int64 ``(rows, STOP_FIELDS)`` of the armed stops, one row a step;
            a new array after each change.
        data_watch: int64 ``(256,)``; bit n of entry d is set if some armed stop
            that looks at cycle type n accepts the data byte d.
        changed: True from a change to the set until :meth:`apply`; ``table`` and
            ``data_watch`` must be taken anew then as well.
    """

    def __init__(self) -> None:
        self.table = no_rows()
        self.data_watch = watch_data([])
        self.changed = True
        self._stops: dict[int, Stop] = {}
        self._unlisted: list[Stop] = []
        self._next = 1
        self._next_firmware = FIRMWARE_FROM
        self._instead: list[Stop] = []
        self._is_for_firmware = False
        self._is_quiet = False

    def __iter__(self) -> Iterator[Stop]:
        return iter(list(self._stops.values()))

    def __len__(self) -> int:
        return len(self._stops)

    def __getitem__(self, number: int) -> Stop:
        """The stop of that number.

        Raises:
            UserError: there is none.
        """
        if number in self._stops:
            return self._stops[number]
        there = ", ".join(str(n) for n in self._stops)
        raise UserError(
            f"there is no stop {number}", expected=f"one of {there}" if there else "a stop first"
        )

    def add(
        self,
        condition: str | Condition,
        symbols: Mapping[str, int] | None = None,
        *,
        owner: str = "user",
    ) -> Stop:
        """Arm a new stop.

        Args:
            condition: a condition or its wording, without the word ``stop``.
            symbols: names for addresses, used only while the wording is read.
            owner: ``"user"`` or ``"firmware"``.

        Raises:
            UserError: the wording cannot be taken; the set is as it was.
        """
        written = condition if isinstance(condition, str) else condition.text
        if isinstance(condition, str):
            condition = parse(condition, symbols=symbols)
        rows = compile_rows(condition, 0)
        number = self._new_number(owner)
        stop = Stop(number, condition, " ".join(written.split()), True, owner, rows)
        self._stops = dict(sorted({**self._stops, number: stop}.items()))
        self._compile()
        return stop

    def _come_past(self, stop: Stop) -> None:
        """Never give the number of a stop again."""
        if stop.owner == "firmware":
            self._next_firmware = max(self._next_firmware, stop.number + 1)
        else:
            self._next = max(self._next, stop.number + 1)

    def _new_number(self, owner: str) -> int:
        if owner == "firmware":
            self._next_firmware += 1
            return self._next_firmware - 1
        while self._next in self._stops or self._next == FIRMWARE_FROM:
            self._next = _USERS_AGAIN if self._next == FIRMWARE_FROM else self._next + 1
        self._next += 1
        return self._next - 1

    def add_unlisted(self, condition: str) -> Stop:
        """Arm a stop for a while that is no concern of the user's, with no number.

        Raises:
            UserError: the wording cannot be taken.
        """
        stop = _unlisted(parse(condition))
        self._unlisted.append(stop)
        self._compile()
        return stop

    def drop_unlisted(self, stop: Stop) -> None:
        """Take a stop of :meth:`add_unlisted` away."""
        self._unlisted.remove(stop)
        self._compile()

    def drop(self, number: int) -> None:
        """Take a stop away.  Raises UserError if there is none of that number."""
        del self._stops[self[number].number]
        self._compile()

    def rest(self, number: int) -> None:
        """Keep a stop without looking for it.  Raises UserError as :meth:`drop` does."""
        self[number].armed = False
        self._compile()

    def wake(self, number: int) -> None:
        """Arm a resting stop; passes and sequence begin anew, its hits are kept.

        Raises UserError as :meth:`drop` does.
        """
        stop = self[number]
        if not stop.armed:
            _begin(stop)
            stop.armed = True
            self._compile()

    def clear(self, owner: str | None = None) -> None:
        """Take all stops away, or those of one owner."""
        kept = {n: s for n, s in self._stops.items() if owner is not None and s.owner != owner}
        self._stops = kept
        self._compile()

    def begin_again(self) -> None:
        """As if every stop had just been added: time starts at 0 once more."""
        if all(stop.owner != "firmware" for stop in self._stops.values()):
            self._next_firmware = FIRMWARE_FROM
        for stop in self._every():
            _begin(stop)
            stop.rows[:, StopField.HITS] = 0
            stop.rows[:, StopField.LAST_T] = -1

    @contextmanager
    def unlisted_standing_still(self) -> Iterator[None]:
        """Have the stops of :meth:`add_unlisted` count nothing of what is done meanwhile."""
        kept = [(stop, stop.counts) for stop in self._unlisted]
        try:
            yield
        finally:
            for stop, counts in kept:
                stop.counts = counts

    @contextmanager
    def counting_quietly(self, is_quiet: bool = True) -> Iterator[None]:
        """Have the core count hits on its own meanwhile, but for those of firmware's stops."""
        before, self._is_quiet = self._is_quiet, is_quiet
        self._mark_quiet()
        try:
            yield
        finally:
            self._is_quiet = before
            self._mark_quiet()

    @contextmanager
    def users_disarmed(self, instead: Sequence[Condition] = ()) -> Iterator[list[Stop]]:
        """Have only the firmware's stops be looked for; the others stay as they are.

        Args:
            instead: conditions that are looked for meanwhile.

        Yields:
            a stop for each of those.
        """
        before = self._instead, self._is_for_firmware
        self._instead = [_unlisted(condition) for condition in instead]
        self._is_for_firmware = True
        self._compile()
        try:
            yield self._instead
        finally:
            self._instead, self._is_for_firmware = before
            self._compile()

    def hit_at(self, t: int) -> list[Stop]:
        """The armed stops that hit in the machine cycle that began at T-state ``t``."""
        return [stop for stop in self._armed() if stop.last_t == t]

    def kept(self, owner: str) -> KeptStops:
        """The stops of one owner as they are now, to be put back later."""
        stops = [
            KeptStop(stop, stop.armed, stop.rows.copy())
            for stop in self._stops.values()
            if stop.owner == owner
        ]
        return KeptStops(stops, self._next_firmware if owner == "firmware" else self._next)

    def put_back(self, owner: str, kept: KeptStops) -> None:
        """Make the stops of one owner what they were; those of others stay as they are."""
        if owner == "firmware":
            self._next_firmware = kept.following
        else:
            self._next = kept.following
        self._stops = {n: stop for n, stop in self._stops.items() if stop.owner != owner}
        for each in kept.stops:
            each.stop.armed = each.armed
            each.stop.rows = each.rows.copy()
            self._stops[each.stop.number] = each.stop
        self._stops = dict(sorted(self._stops.items()))
        self._compile()

    def take_over(self, others: StopSet) -> None:
        """Put the user's stops of another set in place of the user's here.

        Those of other owners stay; a number that one of them has is changed.
        """
        kept = {n: stop for n, stop in self._stops.items() if stop.owner != "user"}
        self._next = max(self._next, others._next)
        for stop in others:
            if stop.owner != "user":
                continue
            if stop.number in kept:
                stop.number = self._new_number("user")
            kept[stop.number] = stop
        self._stops = dict(sorted(kept.items()))
        self._compile()

    def apply(self, map_array: Int64) -> None:
        """Set the watch bits of ``map_array`` (int64, ``layout.SPACE``) in place.

        Only the bits that belong to stops are touched; those of earlier stops
        are cleared.
        """
        watch_map(self._armed_steps(), map_array)
        self.changed = False

    def to_data(self) -> dict[str, Any]:
        """Plain lists, dicts, numbers and strings from which :meth:`from_data` makes it anew."""
        return {"next": self._next, "stops": [_stop_data(stop) for stop in self]}

    @classmethod
    def from_data(cls, data: Any) -> StopSet:
        """The set that :meth:`to_data` described, each stop as far on as it was.

        Raises:
            UserError: not such a description.
        """
        stops = cls()
        try:
            for entry in data["stops"]:
                stop = _stop_from_data(entry)
                if stop.number in stops._stops:
                    raise UserError(f"two saved stops are numbered {stop.number}")
                stops._stops[stop.number] = stop
            stops._next = int(data["next"])
            for stop in stops:
                stops._come_past(stop)
        except (LookupError, TypeError, ValueError, OverflowError):
            raise UserError(
                "the saved stops cannot be read: a part is missing, or no such part",
                expected="stops as they were saved",
            ) from None
        stops._compile()
        return stops

    def _armed_steps(self) -> list[Step]:
        return [step for stop in self._armed() for step in stop.condition.steps]

    def _every(self) -> list[Stop]:
        return [*self._stops.values(), *self._unlisted]

    def _armed(self) -> list[Stop]:
        armed = [stop for stop in self._every() if stop.armed]
        if self._is_for_firmware:
            return [stop for stop in armed if stop.owner == "firmware"] + self._instead
        return armed

    def _compile(self) -> None:
        armed = self._armed()
        blocks = [no_rows()]
        first = 0
        for stop in armed:
            rows = compile_rows(stop.condition, first)
            rows[:, _STATE] = stop.rows[:, _STATE]
            blocks.append(rows)
            first += len(rows)
        self.table = np.concatenate(blocks)
        self._show_rows(armed)
        self._mark_quiet()
        self.data_watch = watch_data(self._armed_steps())
        self.changed = True

    def _show_rows(self, armed: list[Stop]) -> None:
        """Make each armed stop's rows a view into the table, where the core keeps its state."""
        first = 0
        for stop in armed:
            past = first + len(stop.rows)
            stop.rows = self.table[first:past]
            first = past

    def _mark_quiet(self) -> None:
        for stop in self._armed():
            stop.rows[:, StopField.QUIET] = self._is_quiet and stop.owner != "firmware"


def _unlisted(condition: Condition) -> Stop:
    return Stop(0, condition, condition.text, True, "console", compile_rows(condition, 0))


def _begin(stop: Stop) -> None:
    stop.armings += 1
    stop.progress = Progress(0, 0)


def _stop_data(stop: Stop) -> dict[str, Any]:
    return {
        "number": stop.number,
        "text": stop.text,
        "written": stop.written,
        "armed": stop.armed,
        "owner": stop.owner,
        "hits": stop.hits,
        "last_t": stop.last_t,
        "step": stop.step,
        "seen": stop.rows[:, StopField.SEEN].tolist(),
    }


def _stop_from_data(entry: Mapping[str, Any]) -> Stop:
    condition = parse(str(entry["text"]))
    rows = compile_rows(condition, 0)
    rows[:, StopField.ACTIVE] = 0
    rows[range(len(rows))[int(entry["step"])], StopField.ACTIVE] = 1
    rows[:, StopField.SEEN] = entry["seen"]
    rows[-1, StopField.HITS] = int(entry["hits"])
    rows[-1, StopField.LAST_T] = -1 if entry["last_t"] is None else int(entry["last_t"])
    return Stop(
        number=int(entry["number"]),
        condition=condition,
        written=str(entry["written"]),
        armed=bool(entry["armed"]),
        owner=str(entry["owner"]),
        rows=rows,
    )
