"""The memory-access budget: what the CPU gives at a clock, less what board and chips need.

Every path (:mod:`emu85.timing.budget_paths`) is a straight line in the CLK period T: the CPU gives
``(h/2 + w*N) * T + c`` with N wait states, the board needs a fixed time, and the difference is the
slack.  So the fewest wait states at a T, and the shortest T with given wait states, are each found
by one division.  Sums are exact fractions; only what is shown is rounded.

All times here are in ns.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from emu85.board.description import BoardDescription, ChipUse, DeviceUse, Select
from emu85.board.quantities import size_text
from emu85.errors import UserError, nearest
from emu85.timing.ac_table import Limit, Part, part_named
from emu85.timing.budget_paths import LATCH_PATHS, LATCHED_DELAYS, PATHS, READY_PATH, Path, Whose

NS = 10**9
"""In a second."""
BOARD = "board"
"""Names the board itself, unless a chip or device is called so."""


@dataclass(frozen=True, slots=True)
class Sum:
    """A path with its numbers.

    Attributes:
        limits: what the CPU gives, in the order of the path.
        delays: ns of each delay on the way that the board states.
        unstated: delays on the way that it does not state; they count as 0.
        time: ns of the chip's own time, or of what stands in its place.
        time_of: key of the board file that states it.
        t: CLK period, ns.
        waits: wait states of the cycle.
    """

    path: Path
    limits: tuple[Limit, ...]
    delays: Mapping[str, Fraction]
    unstated: tuple[str, ...]
    time: Fraction
    time_of: str
    t: Fraction
    waits: int

    @property
    def given(self) -> Fraction:
        """What the CPU gives."""
        return sum((one.ns(self.t, self.waits) for one in self.limits), Fraction(0))

    @property
    def needed(self) -> Fraction:
        """What the way and the chip need."""
        return sum(self.delays.values(), self.time)

    @property
    def slack(self) -> Fraction:
        """Time left over; below 0 it is missing."""
        return self.given - self.needed

    def with_waits(self, waits: int) -> Sum:
        """The same with so many wait states."""
        return replace(self, waits=waits)

    def at(self, t: Fraction) -> Sum:
        """The same at a CLK period of ``t`` ns."""
        return replace(self, t=t)

    @property
    def waits_help(self) -> bool:
        """Whether a wait state lengthens what the CPU gives."""
        return any(one.waits for one in self.limits)

    @property
    def waits_needed(self) -> int | None:
        """The fewest wait states with which nothing is missing; None if none help."""
        missing = -self.with_waits(0).slack
        if missing <= 0:
            return 0
        if not self.waits_help:
            return None
        return math.ceil(missing / (sum(one.waits for one in self.limits) * self.t))

    @property
    def shortest_t(self) -> Fraction:
        """The CLK period at which nothing is left over."""
        periods = sum(
            Fraction(one.halves, 2) + (self.waits if one.waits else 0) for one in self.limits
        )
        return (self.needed - sum(one.constant for one in self.limits)) / periods


@dataclass(frozen=True, slots=True)
class Place:
    """A chip or device and its sums.

    Attributes:
        about: what it is, for people.
        where: its select range.
        latched: it takes AD0-AD7 itself, without latch and buffers.
        sums: of the paths for which the board states the chip's time.
        missing: the board file's keys of the times that it does not state.
    """

    name: str
    about: str
    where: str
    latched: bool
    waits: int
    sums: tuple[Sum, ...]
    missing: tuple[str, ...]

    @property
    def tightest(self) -> Sum:
        """The sum with the least slack; the first of several."""
        return min(self.sums, key=lambda one: one.slack)

    @property
    def waits_needed(self) -> int | None:
        """The fewest wait states that suffice; None if no number of them does."""
        needed = [one.waits_needed for one in self.sums]
        return None if None in needed else max(n for n in needed if n is not None)

    @property
    def suffices(self) -> bool:
        """Whether nothing is missing with the wait states it has."""
        return all(one.slack >= 0 for one in self.sums)


@dataclass(frozen=True, slots=True)
class Budget:
    """The budget of a board.

    Attributes:
        crystal: Hz.
        places: those of which any sum can be made.
        untimed: names of memory chips and devices of which the board states no time.
        board_sums: the latch and the wait generator, as far as they are stated.
        unstated: delays that some sum took as 0, in the order of the board file's keys.
    """

    board: str
    part: Part
    crystal: Fraction
    places: tuple[Place, ...]
    untimed: tuple[str, ...]
    board_sums: tuple[Sum, ...]
    unstated: tuple[str, ...]
    delays: Mapping[str, Fraction]

    @property
    def t(self) -> Fraction:
        """The CLK period: two periods of the crystal."""
        return period(self.crystal)

    @property
    def within_part(self) -> bool:
        """Whether the part is made for this clock."""
        return self.part.is_made_for(self.crystal)

    @property
    def suffices(self) -> bool:
        """Whether nothing is missing anywhere, at a clock that the part is made for."""
        return self.within_part and all(one.slack >= 0 for one in self.all_sums())

    def all_sums(self) -> Iterator[Sum]:
        """Of all places and of the board."""
        for place in self.places:
            yield from place.sums
        yield from self.board_sums

    @property
    def fastest_crystal(self) -> Fraction | None:
        """The fastest crystal in Hz with the wait states as they are.

        None if no clock that the part is made for is slow enough.
        """
        return self._fastest(tuple(self.all_sums()))

    def fastest_of(self, place: Place) -> Fraction | None:
        """The same for one place alone."""
        return self._fastest(place.sums)

    def _fastest(self, sums: tuple[Sum, ...]) -> Fraction | None:
        own = period(Fraction(self.part.crystal_max))
        shortest = max([own, *(one.shortest_t for one in sums)])
        return 2 * NS / shortest if shortest <= self.part.t_cyc_max else None

    @property
    def explained(self) -> list[str]:
        """Names of all that has sums: the places, and ``board`` for the board itself."""
        names = [place.name for place in self.places]
        return [*names, BOARD] if self.is_board(BOARD) else names

    def is_board(self, name: str) -> bool:
        """Whether a name means the board itself, and that has sums."""
        names = {place.name.casefold() for place in self.places}
        return bool(self.board_sums) and name.casefold() == BOARD and BOARD not in names

    def place(self, name: str) -> Place:
        """A place by its name, whatever the case.

        Raises:
            UserError: no such place.
        """
        for place in self.places:
            if place.name.casefold() == name.strip().casefold():
                return place
        names = self.explained
        for untimed in self.untimed:
            if untimed.casefold() == name.strip().casefold():
                raise UserError(
                    f"the board file states no times of {untimed!r}",
                    expected="times in its entry (see 'emu85 board --schema')",
                )
        raise UserError(
            f"there is no chip or device {name!r} in the budget",
            expected="one of " + ", ".join(names) if names else "a board that states times",
            nearest=nearest(name, names),
        )


def period(crystal: Fraction) -> Fraction:
    """The CLK period in ns with a crystal in Hz: CLK is half the crystal's frequency."""
    return 2 * NS / crystal


def budget(
    board: BoardDescription, part: Part | None = None, crystal: Fraction | None = None
) -> Budget:
    """The budget of a board, with another part or crystal (Hz) if they are given."""
    part = part or part_named(board.cpu)
    crystal = crystal or board.crystal
    delays = {key: seconds * NS for key, seconds in board.delays.items()}
    make = _Maker(part, period(crystal), delays)
    uses: tuple[ChipUse | DeviceUse, ...] = (*board.memory, *board.devices)
    places = [make.place(board, use) for use in uses if _placed(use)]
    timed = tuple(place for place in places if place.sums)
    sums = make.board_sums(has_waits=any(place.waits for place in places))
    unstated = {key: None for place in timed for one in place.sums for key in one.unstated}
    unstated |= {key: None for one in sums for key in one.unstated}
    return Budget(
        board=board.name,
        part=part,
        crystal=crystal,
        places=timed,
        untimed=tuple(dict.fromkeys(place.name for place in places if not place.sums)),
        board_sums=sums,
        unstated=tuple(unstated),
        delays=delays,
    )


def supposing(
    board: BoardDescription,
    accesses: Mapping[str, Fraction] = MappingProxyType({}),
    waits: Mapping[str, int] = MappingProxyType({}),
) -> BoardDescription:
    """The board with other access times (seconds) or wait states, by the name of the chip.

    An access time stands for both ``access`` and ``enable``, as in the name of an EPROM; the
    name ``""`` means every memory chip.

    Raises:
        UserError: no such memory chip, or no such device with an address.
    """
    chips = {chip.name: chip for chip in board.memory}
    for name, seconds in accesses.items():
        for key in tuple(chips) if not name else (_named(chips, name, "memory chip"),):
            own = {**chips[key].times, "access": seconds, "enable": seconds}
            chips[key] = replace(chips[key], times=own)
    devices = {use.name: use for use in board.devices}
    placed = {name: use for name, use in devices.items() if _placed(use)}
    for name, count in waits.items():
        key = _named({**chips, **placed}, name, "chip or device")
        if key in chips:
            chips[key] = replace(chips[key], waits=count)
        else:
            devices[key] = replace(devices[key], waits=count)
    return replace(board, memory=tuple(chips.values()), devices=tuple(devices.values()))


def _named(known: Mapping[str, object], name: str, what: str) -> str:
    for one in known:
        if one.casefold() == name.strip().casefold():
            return one
    raise UserError(
        f"there is no {what} {name!r}",
        expected="one of " + ", ".join(known),
        nearest=nearest(name, known),
    )


def _placed(use: ChipUse | DeviceUse) -> bool:
    return use.select is not None


@dataclass(frozen=True, slots=True)
class _Maker:
    part: Part
    t: Fraction
    delays: Mapping[str, Fraction]

    def place(self, board: BoardDescription, use: ChipUse | DeviceUse) -> Place:
        whose = _whose(board, use)
        times = {key: seconds * NS for key, seconds in use.times.items()}
        paths = [path for path in PATHS if whose in path.whose and not _of_rom(use, path)]
        sums = [
            self.sum(path, times[path.time], use.waits, latched=whose == "latched")
            for path in paths
            if path.time in times
        ]
        missing = dict.fromkeys(path.time for path in paths if path.time not in times)
        about = use.device.kind if isinstance(use, DeviceUse) else _chip_text(use)
        return Place(
            use.name,
            about,
            _where(use.select),
            whose == "latched",
            use.waits,
            tuple(sums),
            tuple(missing),
        )

    def sum(self, path: Path, time: Fraction, waits: int, *, latched: bool = False) -> Sum:
        on_the_way = [key for key in path.delays if not latched or key in LATCHED_DELAYS]
        unstated = [key for key in on_the_way if key not in self.delays]
        time_of = path.time
        if time_of == "float" and "data-buffer" in self.delays and not latched:
            # Behind buffers of the data bus it is these that the CPU sees turn off.
            time = self.delays.get("data-buffer-off", time)
            if "data-buffer-off" in self.delays:
                time_of = "data-buffer-off"
            else:
                unstated.append("data-buffer-off")
        return Sum(
            path=path,
            limits=tuple(self.part.limits[symbol] for symbol in path.limits),
            delays={key: self.delays[key] for key in on_the_way if key in self.delays},
            unstated=tuple(unstated),
            time=time,
            time_of=time_of,
            t=self.t,
            waits=waits,
        )

    def board_sums(self, *, has_waits: bool) -> tuple[Sum, ...]:
        paths = (*LATCH_PATHS, READY_PATH) if has_waits else LATCH_PATHS
        return tuple(
            self.sum(path, self.delays[path.time], 0) for path in paths if path.time in self.delays
        )


def _whose(board: BoardDescription, use: ChipUse | DeviceUse) -> Whose:
    if isinstance(use, DeviceUse):
        return "latched" if use.device.memory_part else "device"
    if any(use.node is other.node for other in board.devices):
        return "latched"
    return "rom" if use.part.kind == "rom" else "ram"


def _of_rom(use: ChipUse | DeviceUse, path: Path) -> bool:
    """Whether the path is for writing and the chip is the ROM in the package of a device."""
    return isinstance(use, ChipUse) and use.part.kind == "rom" and "rom" not in path.whose


def _chip_text(use: ChipUse) -> str:
    kind = use.part.kind.upper()
    number = "" if use.part.number == kind else f"{use.part.number} "
    return f"{number}{kind} of {size_text(use.part.size)}"


def _where(select: Select | None) -> str:
    assert select is not None
    digits = 2 if select.space == 0x100 else 4
    low, high = f"{select.low:0{digits}X}", f"{select.high:0{digits}X}"
    span = low if low == high else f"{low}-{high}"
    if digits == 4:
        return span
    return f"port {span}" if low == high else f"ports {span}"
