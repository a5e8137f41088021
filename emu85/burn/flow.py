"""Where control can go: static flow from the vectors over the bytes of the image.

Each routine is worked out by itself: what is known before each of its instructions
(:mod:`emu85.burn.state`), from the moment it is called.  A call goes on after the CALL
once a way has been found by which the routine returns: the return address is followed
on the stack and through registers, so a routine that steps over bytes after its CALL, or
drops its caller, is understood.  What is not understood is not followed, and told.

Two cases are guesses: after a HLT, unless an interrupt that may end it has a routine that
returns, and what the caller of this module says is one.  What they lead to is marked as not
sure, and no fault is made of it.
"""

from __future__ import annotations

import enum
from collections import deque
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from emu85.burn.execute import Access, Done, execute_at, is_met, told_by
from emu85.burn.ground import Ground, Stands
from emu85.burn.moves import MOVES, Move, Way
from emu85.burn.state import (
    FLAGS,
    IE,
    Byte,
    Kept,
    State,
    after_call,
    anywhere,
    at_reset,
    called,
    called_from,
    join,
    known_address,
    meet,
    return_offset,
    with_left,
    with_taken,
)
from emu85.isa import INSTRUCTIONS, Instruction, Reg
from emu85.isa.acknowledge import VECTORS

MOST_STEPS = 300_000
"""Instructions that are worked out, each again when more ways lead to it or the flow is made
anew, before no new ones are followed.  A monitor of 4K takes a tenth of them; bytes that are
no program at all could take millions."""

_TRAP = VECTORS["TRAP"]
_LENGTHS = tuple(one.length for one in INSTRUCTIONS)


_AHEAD = 16
"""Instructions of a new way that are looked at before it is joined with others."""


class Patience:
    """How many instructions may still be worked out, over all flows of a survey."""

    def __init__(self) -> None:
        self.left = MOST_STEPS


class Kind(enum.Enum):
    """How a piece of code is entered."""

    RESET = "reset"
    INTERRUPT = "an interrupt"
    ROUTINE = "a call"
    NAMED = "named by the user, or seen executed"


class Root(NamedTuple):
    """Where a piece of code begins, and how it is entered."""

    address: int
    kind: Kind


class Hop(NamedTuple):
    """Control going from the instruction at ``source`` to ``target``.

    ``source`` is None for reset, an interrupt, or an address the user named.
    """

    source: int | None
    target: int
    way: Way
    root: Kind


class Outcome(NamedTuple):
    """How a routine returns.

    Attributes:
        offset: bytes after its CALL.
        taken: bytes of its caller's that it has taken off the stack, as arguments are.
        left: bytes that it has put on the stack.
    """

    offset: int
    taken: int
    left: int


_PLAINLY = Outcome(0, 0, 0)


class Touch(NamedTuple):
    """An access of the instruction at ``source``."""

    source: int
    access: Access


@dataclass(frozen=True, slots=True)
class Hints:
    """What the user says that cannot be seen.

    Attributes:
        entries: addresses where code begins.
        never_return: routines that do not come back.
        return_: routines that come back right after their CALL.
    """

    entries: tuple[int, ...] = ()
    never_return: frozenset[int] = frozenset()
    return_: frozenset[int] = frozenset()


@dataclass
class Facts:
    """What the flow has found.

    Attributes:
        starts: where instructions begin, and whether that is sure.
        hops: who goes to an address, the first found; sure ones before others.
        outside: hops to where no byte of the image is, and whether they are sure.
        touches: accesses with known address, and whether they are sure; those that only
            some ways come to are not.
        unset_stack: instructions that use the stack before SP is loaded.
        enabled: where EI is, and whether SP was loaded by then.
        masks: where SIM is, with what is known of A.
        unknown: instructions that go where nothing tells, or were not followed since there
            are too many.
        lost: returns that take the pushed flags for an address.
        stray: returns with nothing on the stack, and SP if known.
        astray: returns to a register that was pushed, most likely by mistake: which, or
            None if that is not known, and how the routine was entered.
        uneven: returns after ways have met of which one has left more on the stack than
            the other, and where they have met.
        to_reset: returns to 0000.
        no_return: CALLs after which nothing is followed, with their routine.
    """

    starts: dict[int, bool] = field(default_factory=dict)
    hops: dict[int, Hop] = field(default_factory=dict)
    outside: dict[Hop, bool] = field(default_factory=dict)
    touches: dict[Touch, bool] = field(default_factory=dict)
    unset_stack: dict[int, bool] = field(default_factory=dict)
    enabled: dict[int, bool] = field(default_factory=dict)
    masks: dict[int, Byte] = field(default_factory=dict)
    unknown: set[int] = field(default_factory=set)
    lost: dict[int, bool] = field(default_factory=dict)
    stray: dict[int, int | None] = field(default_factory=dict)
    astray: dict[int, tuple[Reg | None, Kind]] = field(default_factory=dict)
    uneven: dict[int, int] = field(default_factory=dict)
    to_reset: set[int] = field(default_factory=set)
    no_return: dict[int, int] = field(default_factory=dict)


class Flow:
    """Follows control; ask :meth:`facts` when all roots have been entered.

    Args:
        wakes: whether some input of the CPU can end a halt; ``traps`` whether TRAP can.
        unfit: instructions that take an address from a register or from the stack which
            held on some ways but not on all: they go where nothing tells.
        patience: shared with other flows, if given.

    Attributes:
        changed: such instructions that this flow has come upon; then it is to be made
            anew with them in ``unfit``.
    """

    def __init__(
        self,
        ground: Ground,
        hints: Hints,
        *,
        wakes: bool,
        traps: bool,
        unfit: Collection[int] = (),
        patience: Patience | None = None,
    ) -> None:
        self._ground = ground
        self._hints = hints
        self._wakes = wakes
        self._traps = traps
        self._unfit = frozenset(unfit)
        self._patience = patience or Patience()
        self._entered: list[tuple[Hop, State]] = []
        self._late: deque[tuple[Root, int]] = deque()
        self._resolved: dict[tuple[Root, int], tuple[Byte, Byte]] = {}
        self._is_final = False
        self._states: dict[tuple[Root, int], State] = {}
        self._work: deque[tuple[Root, int]] = deque()
        self._queued: set[tuple[Root, int]] = set()
        self._callers: dict[Root, set[tuple[Root, int]]] = {}
        self._outcomes: dict[Root, set[Outcome]] = {}
        self._drops: dict[Root, set[int]] = {}
        self._halts: set[tuple[Root, int]] = set()
        self._any_ei = False
        self._handlers: set[Root] = set()
        self._facts = Facts()
        self._passed: set[Touch] = set()
        self._reached: set[int] = set()
        self._given_up: set[int] = set()
        self.changed: set[int] = set()

    # --- entering ----------------------------------------------------------------

    def enter(self, root: Root, *, sure: bool = True) -> None:
        """Follow the code that begins at a root."""
        begin = {
            Kind.RESET: at_reset(),
            Kind.INTERRUPT: called(IE.OFF),
            Kind.ROUTINE: called(),
            Kind.NAMED: anywhere(),
        }[root.kind]
        hop = Hop(None, root.address, Way.ON, root.kind)
        self._entered.append((hop, replace(begin, sure=sure)))
        if root.kind is Kind.INTERRUPT and sure:
            self._handlers.add(root)
        self._arrive(root, *self._entered[-1])
        self._run()

    def reached(self) -> Collection[int]:
        """Where instructions begin, as far as entered."""
        return self._reached

    def covered(self) -> set[int]:
        """Every byte of the instructions reached."""
        return {
            at + offset & 0xFFFF
            for at in self.reached()
            for offset in range(_LENGTHS[self._ground.bytes[at]])
        }

    def masks(self) -> Iterator[Byte]:
        """What each SIM reached takes."""
        for (_, address), state in self._states.items():
            if _is(self._instruction(address), "SIM"):
                yield self._execute(address, state).mask

    @property
    def enables(self) -> bool:
        """Whether any EI is reached."""
        return self._any_ei

    def _run(self) -> None:
        """Go on until nothing new is found.

        What takes an address from a register or the stack waits until all else is done,
        since what is known there may have to be given up when another way comes.
        """
        while True:
            while self._work or self._late:
                key = (self._work or self._late).popleft()
                self._queued.discard(key)
                self._patience.left -= 1
                self._step(*key)
            if not self._resume_halts():
                return

    def _resume_halts(self) -> bool:
        """Go on after halts that an interrupt may end."""
        for root, address in sorted(self._halts, key=_order):
            state = self._states[root, address]
            if not (self._traps or self._may_be_enabled(state)):
                continue
            sure = state.sure and any(self._comes_back(one, state) for one in self._handlers)
            known = IE.EITHER if state.ie is IE.ON else state.ie
            hop = Hop(address, _after(address, 1), Way.HALT, root.kind)
            self._arrive(root, hop, replace(state, sure=sure, ie=known))
        return bool(self._work or self._late)

    def _may_be_enabled(self, state: State) -> bool:
        if not self._wakes or state.ie is IE.OFF:
            return False
        return state.ie is IE.ON or self._any_ei

    def _comes_back(self, handler: Root, state: State) -> bool:
        """Whether an interrupt routine surely returns behind a halt in such a state."""
        is_enabled = state.ie is IE.ON or handler.address == _TRAP
        return is_enabled and self.returns(handler)

    def _arrive(self, root: Root, hop: Hop, state: State) -> None:
        target = hop.target
        blank = self._first_blank(target)
        if self._is_final:
            self._record(hop, blank, state.sure)
            return
        if blank is not None:
            return
        key = root, target
        old = self._states.get(key)
        if old is None and self._patience.left <= 0:
            self._given_up.add(target if hop.source is None else hop.source)
            return
        if old is not None and old != state:
            self._look_ahead(target, state)
        new = state if old is None else self._joined(hop, old, state)
        if new == old:
            return
        self._states[key] = new
        self._reached.add(target)
        self._queue(key)

    def _look_ahead(self, address: int, state: State) -> None:
        """Note what is touched on a new way before it is one of several."""
        for _ in range(_AHEAD):
            if self._first_blank(address) is not None:
                return
            done = self._execute(address, state)
            self._pass(address, done)
            one = self._instruction(address)
            if MOVES[one.opcode].way is not Way.ON:
                return
            address, state = _after(address, one.length), done.state

    def _pass(self, address: int, done: Done) -> None:
        """Note what one way touches; where the stack is then says nothing yet."""
        found = _touches(address, done)
        self._passed.update(touch for touch in found if not touch.access.is_stack)

    def _joined(self, hop: Hop, old: State, state: State) -> State:
        is_loop = hop.source is None or hop.source >= hop.target
        return join(old, state) if is_loop else meet(old, state, hop.target)

    def _record(self, hop: Hop, blank: int | None, sure: bool) -> None:
        target = hop.target
        if blank is not None:
            out = hop if blank == target else hop._replace(source=target, target=blank, way=Way.ON)
            self._facts.outside[out] = self._facts.outside.get(out, False) or sure
            return
        self._facts.hops.setdefault(target, hop)

    def _first_blank(self, address: int) -> int | None:
        """The first byte of the instruction there that the image does not fill."""
        for offset in range(_LENGTHS[self._ground.bytes[address]]):
            at = _after(address, offset)
            is_rom = self._ground.at(at) in (Stands.HELD, Stands.BLANK)
            if not is_rom or not self._ground.is_code(at, offset):
                return at
        return None

    def _queue(self, key: tuple[Root, int]) -> None:
        if self._is_final or key in self._queued:
            return
        self._queued.add(key)
        is_late = MOVES[self._ground.bytes[key[1]]].way in (Way.RETURN, Way.INDIRECT)
        (self._late if is_late else self._work).append(key)

    # --- one instruction -----------------------------------------------------------

    def _instruction(self, address: int) -> Instruction:
        return INSTRUCTIONS[self._ground.bytes[address]]

    def _execute(self, address: int, state: State) -> Done:
        return execute_at(self._ground, address, state)

    def _step(self, root: Root, address: int) -> None:
        state = self._states[root, address]
        done = self._execute(address, state)
        # What is known now may not be when other ways have come: the first time through
        # a loop is looked at with all that is known there.
        self._pass(address, done)
        one = self._instruction(address)
        move = MOVES[one.opcode]
        self._any_ei |= done.state.ie is IE.ON
        follow = _After(root, address, _after(address, one.length))
        if move.way is Way.ON:
            self._on(follow, done.state)
            return
        if move.way is Way.HALT:
            self._halts.add((root, address))
            return
        met = is_met(one, state.flags)
        if met is not True:
            self._on(follow, replace(state, flags=told_by(one, state.flags, False)))
        if met is False:
            return
        known = told_by(one, done.state.flags, True)
        done = done._replace(state=replace(done.state, flags=known))
        if move.way is Way.RETURN:
            self._return(root, address, state, done)
        elif move.way is Way.INDIRECT:
            self._go(root, address, done.target, done.state, Way.INDIRECT)
        elif move.way is Way.JUMP:
            self._go(root, address, done.target, done.state, Way.JUMP)
        else:
            self._call(follow, done, state, move)

    def _on(self, follow: _After, state: State, way: Way = Way.ON) -> None:
        hop = Hop(follow.address, follow.following, way, follow.root.kind)
        self._arrive(follow.root, hop, state)

    def _call(self, follow: _After, done: Done, before: State, move: Move) -> None:
        target = known_address(done.target)
        assert target is not None
        callee = Root(target, Kind.ROUTINE)
        hop = Hop(follow.address, target, move.way, follow.root.kind)
        self._callers.setdefault(callee, set()).add((follow.root, follow.address))
        self._arrive(callee, hop, called_from(done.state))
        if target in self._hints.never_return:
            return
        after = after_call(before)
        if target in self._hints.return_:
            self._on(follow, after)
        if self._ground.at(target) in (Stands.RAM, Stands.CODE_RAM):
            self._on(follow, replace(after, sure=False))
        for offset, taken, left in sorted(self._outcomes.get(callee, ())):
            beyond = follow._replace(following=_after(follow.following, offset))
            self._on(beyond, with_left(with_taken(after, taken), left))
        for words in sorted(self._drops.get(callee, ())):
            self._drop(follow, after, words)

    def _drop(self, follow: _After, state: State, words: int) -> None:
        """A routine that this code calls has returned over its head."""
        if state.stack is None:
            return
        gone = 2 * (words - 1)
        if gone > len(state.stack):
            return
        stack = state.stack[: len(state.stack) - gone]
        self._take_return(follow.root, follow.address, replace(state, stack=stack, sp=None))

    def _go(
        self, root: Root, address: int, target: tuple[Byte, Byte], state: State, way: Way
    ) -> None:
        """Send control to what stands in two bytes."""
        if way is not Way.JUMP:
            target = self._settled(root, address, target)
        number = known_address(target)
        if number is not None:
            if number == 0 and way is Way.RETURN:
                self._facts.to_reset.add(address)
            self._arrive(root, Hop(address, number, way, root.kind), state)
            return
        offset = return_offset(target)
        if offset is not None:
            self._come_back(root, Outcome(offset, state.taken, len(state.stack or ())))
            return
        if target[1] is FLAGS and way is Way.RETURN:
            self._facts.lost[address] = self._facts.lost.get(address, False) or state.sure
            return
        self._facts.unknown.add(address)
        self._note_astray(root, address, target, way)
        if state.stack is None or state.stack:
            self._take_return(root, address, state)
        # Else the routine's own return address went into it, and its caller knows where to.

    def _note_astray(self, root: Root, address: int, target: tuple[Byte, Byte], way: Way) -> None:
        """A return to what the caller had in a register, or on a condition to what was pushed.

        An unconditional one to what was loaded in the routine is a jump by a table.
        """
        if way is not Way.RETURN:
            return
        high = target[0]
        if isinstance(high, Kept):
            self._facts.astray[address] = Reg(high.register), root.kind
        elif MOVES[self._ground.bytes[address]].conditional:
            self._facts.astray.setdefault(address, (None, root.kind))

    def _settled(self, root: Root, address: int, target: tuple[Byte, Byte]) -> tuple[Byte, Byte]:
        """An address taken from a register or the stack, if it can be relied on."""
        if address in self._unfit:
            return None, None
        first = self._resolved.setdefault((root, address), target)
        if first != target:
            self.changed.add(address)
        return target

    def _return(self, root: Root, address: int, state: State, done: Done) -> None:
        if state.stack is None:
            if state.uneven is not None and root.kind in (Kind.ROUTINE, Kind.INTERRUPT):
                self._facts.uneven[address] = state.uneven
            self._come_back(root, _PLAINLY)
        elif len(state.stack) >= 2 or known_address(done.target) is not None:
            self._go(root, address, done.target, done.state, Way.RETURN)
        else:
            self._take_return(root, address, state)

    def _take_return(self, root: Root, address: int, state: State) -> None:
        """What follows when whoever is on top of the stack is returned to."""
        if state.stack is None:
            self._come_back(root, _PLAINLY)
            return
        if len(state.stack) >= 2:
            rest = replace(state, stack=state.stack[:-2], registers=anywhere().registers, sp=None)
            target = state.stack[-2], state.stack[-1]
            if (number := known_address(target)) is not None:
                self._arrive(root, Hop(address, number, Way.RETURN, root.kind), rest)
            elif (offset := return_offset(target)) is not None:
                self._come_back(root, Outcome(offset, state.taken, len(state.stack) - 2))
            return
        if root.kind is Kind.ROUTINE and not state.moved:
            words = state.taken // 2 + 1
            if words not in self._drops.setdefault(root, set()) and not self._is_final:
                self._drops[root].add(words)
                self._call_again(root)
        elif root.kind in (Kind.RESET, Kind.INTERRUPT) and state.sure:
            self._facts.stray[address] = state.sp

    def _come_back(self, root: Root, outcome: Outcome) -> None:
        """A way by which a routine returns."""
        known = self._outcomes.setdefault(root, set())
        if outcome not in known and not self._is_final:
            known.add(outcome)
            self._call_again(root)

    def _call_again(self, root: Root) -> None:
        for key in self._callers.get(root, ()):
            self._queue(key)

    # --- what has been found ---------------------------------------------------------

    def facts(self) -> Facts:
        """Everything, gathered from what is known now that nothing more follows."""
        self._is_final = True
        facts = self._facts = Facts()
        for hop, state in self._entered:
            self._arrive(Root(hop.target, hop.root), hop, state)
        for root, address in list(self._states):
            self._step(root, address)
        self._resume_halts()
        for (root, address), state in self._states.items():
            facts.starts[address] = facts.starts.get(address, False) or state.sure
            done = self._execute(address, state)
            self._note(facts, root, address, state, done)
        for touch in self._passed:
            facts.touches.setdefault(touch, False)
        facts.unknown |= self._given_up
        for callee, callers in self._callers.items():
            if self._outcomes.get(callee) or self._drops.get(callee):
                continue
            if self._ground.at(callee.address) is Stands.HELD:
                for _, address in callers:
                    if not MOVES[self._ground.bytes[address]].conditional:
                        facts.no_return[address] = callee.address
        return facts

    def _note(self, facts: Facts, root: Root, address: int, state: State, done: Done) -> None:
        for access in done.accesses:
            if access.is_stack and not state.sp_set:
                facts.unset_stack[address] = facts.unset_stack.get(address, False) or state.sure
        for touch in _touches(address, done):
            facts.touches[touch] = facts.touches.get(touch, False) or state.sure
        if (done.state.ie is IE.ON and state.ie is not IE.ON) or _is(
            self._instruction(address), "EI"
        ):
            facts.enabled[address] = facts.enabled.get(address, True) and state.sp_set
        if _is(self._instruction(address), "SIM"):
            known = facts.masks.get(address, done.mask)
            facts.masks[address] = known if known == done.mask else None

    def leaves(self, root: Root) -> bool:
        """Whether the code at a root returns with bytes that it has put on the stack."""
        return any(outcome.left for outcome in self._outcomes.get(root, ()))

    def returns(self, root: Root) -> bool:
        """Whether a way has been found by which the code at a root returns."""
        return any(outcome.offset == 0 for outcome in self._outcomes.get(root, ()))

    def instructions_of(self, root: Root) -> Iterable[int]:
        """Where instructions of the code at a root begin, calls not followed."""
        return [address for owner, address in self._states if owner == root]


class _After(NamedTuple):
    """An instruction, and the address after it."""

    root: Root
    address: int
    following: int


def _touches(address: int, done: Done) -> Iterator[Touch]:
    """The accesses of an instruction whose addresses are known."""
    for access in done.accesses:
        if access.address is not None:
            yield Touch(address, access)


def _order(key: tuple[Root, int]) -> tuple[int, str, int]:
    root, address = key
    return root.address, root.kind.value, address


def _is(one: Instruction, mnemonic: str) -> bool:
    return one.mnemonic == mnemonic


def _after(address: int, by: int) -> int:
    return address + by & 0xFFFF
