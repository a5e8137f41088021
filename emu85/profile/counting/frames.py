"""The activations under way: begun by a call or an interrupt, over when the stack says so.

What was considered: pairing CALL with RET drifts for good at the first return address
that is popped, pushed by hand or thrown away with the stack.  So an activation is tied to
the *level*: the value of SP at its first instruction, where its return address lies.  RET
at that level ends it, and whatever was left above it.  Firmware also takes its return
address off the stack and goes on, to read what stands behind the CALL.  An activation
whose level SP has risen over is therefore *loose*, and ends by what comes then: PCHL, or
another RET, or a jump to where it was called from or to code of one that waits for it.
It is no longer loose when its level is pushed at again.
"""

# Cells of an array are Any to the type checker and int64 to the compiler.
# mypy: disable-error-code="no-any-return, arg-type, assignment"

from __future__ import annotations

from emu85.cpu.kernel import Array, part
from emu85.profile.counting import layout as c


@part
def is_above(sp: int, level: int) -> bool:
    """Whether the stack holds less than at a level, around the end of memory too."""
    over = (sp - level) & 0xFFFF
    return over != 0 and over < 0x8000


@part
def is_service(key: int) -> bool:
    """Whether an interrupt input begins the activations of a row."""
    kind = key // c.SPACE
    return kind >= c.TRAP and kind <= c.INTR


@part
def charge(s: Array, frames: Array, rows: Array, t: int) -> None:
    """Give the activation under way its own time up to ``t``."""
    rows[c.OWN, frames[s[c.TOP] & 0xFFFF, c.KEY] & c.ROWS - 1] += t - s[c.MARK]
    s[c.MARK] = t


@part
def is_outermost(frames: Array, at: int) -> bool:
    """Whether no older activation of the same row is under way in the same interrupt."""
    same = frames[at & 0xFFFF, c.SAME]
    return same == 0 or same < frames[at & 0xFFFF, c.SERVICE]


@part
def finish_one(s: Array, frames: Array, rows: Array, t: int, is_left: int) -> None:
    """End the activation under way at ``t``; ``is_left``: not by its return."""
    charge(s, frames, rows, t)
    top = s[c.TOP] & 0xFFFF
    key = frames[top, c.KEY] & c.ROWS - 1
    took = t - frames[top, c.START] - (s[c.SERVICE_T] - frames[top, c.BEFORE])
    rows[c.LATEST, key] = frames[top, c.SAME]
    if is_outermost(frames, top):
        rows[c.WHOLE, key] += took
    rows[c.LEFT, key] += is_left
    rows[c.SUM, key] += took
    if rows[c.DONE, key] == 0 or took < rows[c.LEAST, key]:
        rows[c.LEAST, key] = took
    if took > rows[c.MOST, key]:
        rows[c.MOST, key] = took
    rows[c.DONE, key] += 1
    if is_service(key):
        s[c.SERVICE_T] += took
    s[c.TOP] = top - 1


@part
def leave_to(s: Array, frames: Array, rows: Array, t: int, depth: int) -> None:
    """End activations until ``depth`` is under way."""
    while s[c.TOP] > depth:
        finish_one(s, frames, rows, t, 1)


@part
def begin_one(
    s: Array, frames: Array, rows: Array, key: int, level: int, back: int, start: int
) -> None:
    """An activation begins."""
    charge(s, frames, rows, start)
    if s[c.TOP] == c.DEEPEST - 1:
        leave_to(s, frames, rows, start, 0)
    top = s[c.TOP] + 1
    s[c.TOP] = top
    top &= 0xFFFF
    key &= c.ROWS - 1
    frames[top, c.KEY] = key
    frames[top, c.LEVEL] = level
    frames[top, c.BACK] = back
    frames[top, c.START] = start
    frames[top, c.BEFORE] = s[c.SERVICE_T]
    frames[top, c.LOOSE] = 0
    frames[top, c.SAME] = rows[c.LATEST, key]
    frames[top, c.SERVICE] = top if is_service(key) else frames[top - 1, c.SERVICE]
    rows[c.LATEST, key] = top
    rows[c.CALLS, key] += 1


@part
def begin_anew(s: Array, frames: Array, rows: Array, kind: int, t: int) -> None:
    """Nothing of before is under way any more."""
    leave_to(s, frames, rows, t, 0)
    charge(s, frames, rows, t)
    before = frames[0, c.KEY] & c.ROWS - 1
    rows[c.WHOLE, before] += t - frames[0, c.START] - (s[c.SERVICE_T] - frames[0, c.BEFORE])
    s[c.SP] = -1
    key = kind * c.SPACE
    frames[0, c.KEY] = key
    frames[0, c.START] = t
    frames[0, c.BEFORE] = s[c.SERVICE_T]
    rows[c.CALLS, key] += 1


@part
def loosen(s: Array, frames: Array, sp: int) -> None:
    """Note the activations that SP has risen over."""
    top = s[c.TOP]
    at = top
    while at > 0 and at > top - c.FARTHEST and is_above(sp, frames[at & 0xFFFF, c.LEVEL]):
        frames[at & 0xFFFF, c.LOOSE] = 1
        at -= 1


@part
def tighten(s: Array, frames: Array, sp: int) -> None:
    """Something was pushed: levels at SP or above are held again."""
    at = s[c.TOP]
    while at > 0 and frames[at & 0xFFFF, c.LOOSE] != 0:
        if not is_above(sp, frames[at & 0xFFFF, c.LEVEL]):
            frames[at & 0xFFFF, c.LOOSE] = 0
        at -= 1


@part
def return_from(s: Array, frames: Array, rows: Array, level: int, t: int) -> None:
    """A RET took its address from ``level``."""
    top = s[c.TOP]
    at = top
    while at > 0 and at > top - c.FARTHEST:
        if frames[at & 0xFFFF, c.LEVEL] == level:
            leave_to(s, frames, rows, t, at)
            finish_one(s, frames, rows, t, 0)
            return
        at -= 1
    # An address that no call has pushed: from above a level it leads out of its activation,
    # from below it is a jump.
    unwind(s, frames, rows, level + 2, t)


@part
def unwind(s: Array, frames: Array, rows: Array, sp: int, t: int) -> None:
    """End every activation whose level SP is above."""
    while s[c.TOP] > 0 and is_above(sp, frames[s[c.TOP] & 0xFFFF, c.LEVEL]):
        finish_one(s, frames, rows, t, 1)


@part
def finish_loose(s: Array, frames: Array, rows: Array, t: int) -> None:
    """End the activation under way, which is loose, and those that were popped with it."""
    level = frames[s[c.TOP] & 0xFFFF, c.LEVEL]
    finish_one(s, frames, rows, t, 0)
    while s[c.TOP] > 0 and frames[s[c.TOP] & 0xFFFF, c.LOOSE] != 0:
        above = frames[s[c.TOP] & 0xFFFF, c.LEVEL]
        if not is_above(above, level):
            break
        level = above
        finish_one(s, frames, rows, t, 1)


@part
def jump_from_loose(
    s: Array, frames: Array, rows: Array, owners: Array, place: int, t: int
) -> None:
    """The loose activation under way has jumped to ``place``: is that out of it?"""
    top = s[c.TOP]
    if frames[top & 0xFFFF, c.BACK] == place:
        finish_loose(s, frames, rows, t)
        return
    owner = owners[place & 0xFFFF] - 1
    if owner < 0 or owner == frames[top & 0xFFFF, c.KEY]:
        return
    at = top - 1
    while at >= 0 and at > top - c.FARTHEST:
        if frames[at & 0xFFFF, c.KEY] == owner:
            leave_to(s, frames, rows, t, at)
            return
        at -= 1
