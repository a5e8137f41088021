"""The AC characteristics of the 8085 as its data sheets print them: plain data.

Sources, all recalled and none read (value from memory):

* 8085AH/8085AH-2/8085AH-1 data sheet, "A.C. characteristics" and the table "Bus timing
  specification as a TCYC dependent";
* 8085A/8085A-2 data sheet in the MCS-80/85 Family User's Manual (October 1979), the same tables.

A limit is ``(halves / 2 + N) * T + ns``: T is the CLK period, N the number of wait states, and N
counts only where the data sheet has it in the formula.  The data sheets print such a formula for
most limits and a fixed number for the others.  Four of the fixed ones, tALL, tACL, tLDW and tLRY,
end at an event that CLK places, so that the number cannot hold at every clock.  For those the
formula here is ours, made so that it gives the printed number at the part's fastest clock; they
are marked ``scaled``.

Defer to the data sheet of the very part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal, NamedTuple

from emu85.errors import UserError, nearest

Kind = Literal["min", "max"]
Basis = Literal["formula", "fixed", "scaled"]


class Limit(NamedTuple):
    """One line of a part's table.

    Attributes:
        symbol: as the data sheet prints it, without subscript: ``"tAD"``; a second limit of the
            same symbol has the kind added, ``"tXKR min"``.
        kind: whether the part does it no sooner (``min``) or no later (``max``); of a set-up or
            hold time, that the board must give it at least so much.
        halves: how many half T-states are in it.
        waits: whether each wait state adds a T-state.
        constant: ns.
        basis: ``formula`` as printed; ``fixed`` printed as a number; ``scaled`` by us.
        about: what it is from and to.
    """

    symbol: str
    kind: Kind
    halves: int
    waits: bool
    constant: int
    basis: Basis
    about: str

    @property
    def attribute(self) -> str:
        """Its name in :class:`Timing`, as ``t_AD``."""
        return "t_" + self.symbol[1:].replace(" ", "_")

    @property
    def formula(self) -> str:
        """As the data sheet writes it, e.g. ``(5/2+N)T-225``; a plain number if it is fixed."""
        if not self.halves:
            return str(self.constant)
        factor = f"({self.halves}/2+N)T" if self.waits else f"({self.halves}/2)T"
        return f"{factor}{self.constant:+d}"

    def ns(self, t: Fraction, waits: int = 0) -> Fraction:
        """Its value in ns, exactly, with a CLK period of ``t`` ns and so many wait states."""
        return (Fraction(self.halves, 2) + (waits if self.waits else 0)) * t + self.constant


@dataclass(frozen=True, slots=True)
class Timing:
    """Every limit of a part at one clock and so many wait states, in ns.

    The names are the data sheet's symbols; :data:`ROWS` says what each is.
    """

    t_AL: float
    t_ALL: float
    t_LA: float
    t_LL: float
    t_LCK: float
    t_LC: float
    t_AFR: float
    t_AD: float
    t_RD: float
    t_RDH: float
    t_RAE: float
    t_CA: float
    t_DW: float
    t_WD: float
    t_CC: float
    t_CL: float
    t_ARY: float
    t_RYS: float
    t_RYH: float
    t_HACK: float
    t_HABF: float
    t_HABE: float
    t_HDS: float
    t_HDH: float
    t_INS: float
    t_INH: float
    t_AC: float
    t_ACL: float
    t_1: float
    t_2: float
    t_r: float
    t_f: float
    t_XKR: float
    t_XKR_min: float
    t_XKF: float
    t_XKF_min: float
    t_RV: float
    t_LDR: float
    t_LDW: float
    t_LRY: float
    t_WDL: float


class Row(NamedTuple):
    """One line of the table, for the parts of a family in the order of their columns.

    Attributes:
        constants: ns, of the 8085AH, 8085AH-2 and 8085AH-1.
    """

    symbol: str
    kind: Kind
    halves: int
    waits: bool
    constants: tuple[int, int, int]
    about: str
    basis: Basis = "formula"


def _fixed(symbol: str, kind: Kind, constants: tuple[int, int, int], about: str) -> Row:
    return Row(symbol, kind, 0, False, constants, about, "fixed")


ROWS: tuple[Row, ...] = (
    Row("tAL", "min", 1, False, (-45, -50, -58), "A8-A15 valid before ALE falls"),
    Row("tALL", "min", 1, False, (-70, -50, -58), "AD0-AD7 valid before ALE falls", "scaled"),
    Row("tLA", "min", 1, False, (-60, -50, -63), "address held on AD0-AD7 after ALE falls"),
    Row("tLL", "min", 1, False, (-20, -20, -33), "width of ALE"),
    Row("tLCK", "min", 1, False, (-60, -50, -68), "ALE low during CLK high"),
    Row("tLC", "min", 1, False, (-30, -40, -58), "fall of ALE to fall of control"),
    Row("tAD", "max", 5, True, (-225, -150, -192), "address valid to data wanted"),
    Row("tRD", "max", 3, True, (-180, -150, -175), "fall of RD or INTA to data wanted"),
    Row("tRAE", "min", 1, False, (-10, -10, -33), "rise of RD to AD0-AD7 driven again"),
    Row("tCA", "min", 1, False, (-40, -40, -53), "A8-A15 held after rise of control"),
    Row("tDW", "min", 3, True, (-60, -70, -110), "data valid before WR rises"),
    Row("tWD", "min", 1, False, (-60, -40, -53), "data held after WR rises"),
    Row("tCC", "min", 3, True, (-80, -70, -100), "width of RD, WR or INTA"),
    Row("tCL", "min", 1, False, (-110, -75, -83), "rise of control to rise of ALE"),
    Row("tARY", "max", 3, False, (-260, -200, -210), "address valid to READY wanted"),
    Row("tHACK", "min", 1, False, (-50, -60, -83), "HLDA valid before CLK falls"),
    Row("tHABF", "max", 1, False, (50, 50, 67), "HLDA to the bus floating"),
    Row("tHABE", "max", 1, False, (50, 50, 67), "end of HLDA to the bus driven"),
    Row("tAC", "min", 2, False, (-50, -85, -97), "A8-A15 valid before fall of control"),
    Row("tACL", "min", 2, False, (-80, -85, -107), "AD0-AD7 valid to fall of control", "scaled"),
    Row("t1", "min", 1, False, (-80, -60, -63), "CLK low"),
    Row("t2", "min", 1, False, (-40, -30, -33), "CLK high"),
    Row("tRV", "min", 3, False, (-80, -80, -90), "rise of control to fall of the next"),
    Row("tLDR", "max", 4, True, (-180, -130, -159), "fall of ALE to data wanted"),
    Row("tLDW", "max", 1, False, (40, 20, 27), "fall of ALE to data valid in a write", "scaled"),
    Row("tLRY", "max", 2, False, (-210, -170, -157), "fall of ALE to READY wanted", "scaled"),
    _fixed("tAFR", "max", (0, 0, 0), "fall of RD or INTA to AD0-AD7 floating"),
    _fixed("tRDH", "min", (0, 0, 0), "data to be held after RD rises"),
    _fixed("tWDL", "max", (40, 20, 30), "fall of WR to data valid"),
    _fixed("tRYS", "min", (110, 100, 100), "READY to be set up before CLK rises"),
    _fixed("tRYH", "min", (0, 0, 5), "READY to be held after CLK rises"),
    _fixed("tHDS", "min", (170, 120, 120), "HOLD to be set up before CLK falls"),
    _fixed("tHDH", "min", (0, 0, 0), "HOLD to be held after CLK falls"),
    _fixed("tINS", "min", (160, 150, 150), "INTR, RST x.5, TRAP to be set up before CLK falls"),
    _fixed("tINH", "min", (0, 0, 0), "INTR to be held after CLK falls"),
    _fixed("tr", "max", (30, 30, 30), "rise time of CLK"),
    _fixed("tf", "max", (30, 30, 30), "fall time of CLK"),
    _fixed("tXKR min", "min", (20, 20, 20), "rise of X1 to rise of CLK, at least"),
    _fixed("tXKR", "max", (120, 100, 100), "rise of X1 to rise of CLK"),
    _fixed("tXKF min", "min", (20, 20, 20), "rise of X1 to fall of CLK, at least"),
    _fixed("tXKF", "max", (150, 110, 110), "rise of X1 to fall of CLK"),
)

_OLDER = {"tXKR min": 30, "tXKF min": 30}
"""Where the 8085A and 8085A-2 differ from the H parts of their column."""


@dataclass(frozen=True, slots=True)
class Part:
    """A CPU part and its limits.

    Attributes:
        t_cyc_min, t_cyc_max: the CLK periods it is made for, ns, as printed.
        crystal_max: the fastest crystal it is sold for, Hz.  2 / 12 MHz is less than the 167 ns
            that are printed, for they are rounded.
        limits: by symbol.
    """

    name: str
    t_cyc_min: int
    t_cyc_max: int
    crystal_max: int
    source: str
    limits: Mapping[str, Limit]

    def ns(self, symbol: str, t: Fraction, waits: int = 0) -> Fraction:
        """One limit in ns, exactly, at a CLK period of ``t`` ns.

        Raises:
            KeyError: no such symbol.
        """
        return self.limits[symbol].ns(t, waits)

    def is_made_for(self, crystal: Fraction) -> bool:
        """Whether it may run on a crystal of so many Hz, CLK being half of it."""
        return Fraction(2 * 10**9, self.t_cyc_max) <= crystal <= self.crystal_max

    def at(self, t_ns: float, waits: int = 0) -> Timing:
        """All limits at a CLK period of ``t_ns`` with so many wait states.

        The period may lie beyond what the part is made for; a limit may then be below 0.
        """
        t = Fraction(t_ns)
        return Timing(**{one.attribute: float(one.ns(t, waits)) for one in self.limits.values()})


def _part(
    name: str, column: int, t_cyc_min: int, crystal_max: int, differing: Mapping[str, int]
) -> Part:
    sheet = "8085A/8085A-2" if "H" not in name else "8085AH/8085AH-2/8085AH-1"
    limits = {
        row.symbol: Limit(
            row.symbol,
            row.kind,
            row.halves,
            row.waits,
            differing.get(row.symbol, row.constants[column]),
            row.basis,
            row.about,
        )
        for row in ROWS
    }
    source = f"{sheet} data sheet, A.C. characteristics (value from memory)"
    return Part(name, t_cyc_min, 2000, crystal_max, source, MappingProxyType(limits))


PARTS: Mapping[str, Part] = MappingProxyType(
    {
        part.name: part
        for part in (
            _part("8085AH", 0, 320, 6_250_000, {}),
            _part("8085AH-2", 1, 200, 10_000_000, {}),
            _part("8085AH-1", 2, 167, 12_000_000, {}),
            _part("8085A", 0, 320, 6_250_000, _OLDER),
            _part("8085A-2", 1, 200, 10_000_000, _OLDER),
        )
    }
)

STANDARD = "8085AH"
"""The part that is meant where none is named."""


def part_named(text: str) -> Part:
    """A part by its name, whatever the case.

    Raises:
        UserError: no such part.
    """
    for name, part in PARTS.items():
        if name.casefold() == text.strip().casefold():
            return part
    raise UserError(
        f"unknown CPU part {text!r}",
        expected="one of " + ", ".join(PARTS),
        nearest=nearest(text, PARTS),
    )
