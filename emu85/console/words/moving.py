"""Moving the machine"""

from __future__ import annotations

from typing import TYPE_CHECKING

from emu85.bus.cycles import Cycle
from emu85.console.motion import FreeRun, Pace
from emu85.console.registry import form
from emu85.console.throttle import speed_text
from emu85.console.views import bus, registers
from emu85.machine import Reason

if TYPE_CHECKING:
    from emu85.console.session import Session


@form("step [COUNT]", "one machine cycle, or so many")
def step(session: Session, count: int = 1) -> None:
    """The board rests between machine cycles, also in the middle of an instruction."""
    session.step(lambda: session.machine.step(count))


@form("step instruction [COUNT]", "to the next opcode fetch, or so many instructions")
def step_instruction(session: Session, count: int = 1) -> None:
    session.step(lambda: session.machine.step_instruction(count))
    session.screen.show(f"  {registers.brief(session.machine)}")


@form("step past", "run a CALL or RST to its return")
def step_past(session: Session) -> None:
    """Any other instruction is done as by 'step instruction'."""
    session.step(session.machine.step_past)
    session.screen.show(f"  {registers.brief(session.machine)}")


@form("run", "run until a stop, or Ctrl-C")
def run(session: Session) -> None:
    """What the board sends on its serial line is printed as it comes; 'talk' runs and
    sends what you type as well. 'speed' says how fast board time passes."""
    _run(session, session.free_run())


@form("run for TIME", "run for so long on the board's own clock")
def run_for(session: Session, time: int) -> None:
    """Times: 150 us, 2 ms, 1.5 s, or 5000 T for T-states."""
    _run(session, session.free_run(time))


@form("run until ADDRESS", "run until the opcode fetch at an address is next")
def run_until(session: Session, address: int) -> None:
    _run(session, session.free_run(until=address))


def _run(session: Session, motion: FreeRun) -> None:
    session.show_held(session.move(motion))


@form("pace RATE [by CYCLE]", "so many steps a second, to be read by eye")
def pace(session: Session, rate: float, cycle: str | None = None) -> None:
    """0.5 to 60 steps a second, each shown. A step is one machine cycle; with 'by' it
    goes on to the next cycle of that type: 'pace 2 by OF', 'pace 1 by IOW'.
    Ctrl-C or a stop ends it."""
    screen = session.screen
    for line in bus.header(screen.width):
        screen.show(line)
    by = None if cycle is None else Cycle[cycle]
    motion = Pace(session.machine, rate, by, lambda: session.show_rows(1))
    try:
        held = session.move(motion)
    finally:
        motion.close()
    if held.reason is not Reason.ASKED:
        session.show_rows(1)
    session.show_held(held)


@form("speed", "how fast board time passes")
def show_speed(session: Session) -> None:
    factor = session.throttle.factor
    about = "as fast as it goes" if factor is None else f"{factor:g} times real time"
    session.screen.show(f"speed {speed_text(factor)}: {about}")


@form("speed SPEED", "off (no bounds), real, or a factor of real time")
def set_speed(session: Session, speed: float | None) -> None:
    """The machine does the same at any speed; only the wall clock tells them apart."""
    session.throttle.factor = speed


@form("reset", "RESET IN for a moment; RAM keeps its bytes")
def reset(session: Session) -> None:
    session.machine.reset()
    session.show_next()


@form("power", "power off and on: everything starts anew, RAM too")
def power(session: Session) -> None:
    """T-states count from 0 again and the trace is empty."""
    session.machine.power()
    session.news.begin_again()
    session.show_next()
