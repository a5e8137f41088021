"""Whatever a routine is made of, and whatever is in the registers: no run leaves the span."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.timing.duration.analysed import followed, image_of, measured, span

_PLAIN = (
    "NOP",
    "MOV A,E",
    "MOV L,A",
    "ADD E",
    "SUB L",
    "XRA A",
    "INR E",
    "DCR L",
    "RLC",
    "RAR",
    "CMP L",
    "ORA E",
    "ANI 3",
    "CPI 7",
    "STA 8000H",
    "LDA 8001H",
    "STC",
    "CMC",
    "DAD H",
    "OUT 30H",
    "IN 30H",
    "PUSH H\n POP H",
    "MOV A,M",
    "DAA",
)
_CONDITIONS = ("NZ", "Z", "NC", "C", "PO", "PE", "P", "M")
_COUNTERS = "BCD"
"""One for each depth of loops; nothing else changes them."""


class Writer:
    """Writes a routine out of the choices that a test draws."""

    def __init__(self, data: st.DataObject) -> None:
        self._data = data
        self._labels = 0

    def _choose(self, *what: str) -> str:
        return self._data.draw(st.sampled_from(what))

    def _number(self, low: int, high: int) -> int:
        return self._data.draw(st.integers(low, high))

    def _label(self) -> str:
        self._labels += 1
        return f"X{self._labels}"

    def routine(self) -> str:
        """R, and the routine S that it may call; S keeps the counters."""
        body = "\n".join(self.block(0, may_call=True))
        other = "\n".join(self.block(2, may_call=False))
        return f"R:\n{body}\n RET\nS: PUSH B\n PUSH D\n{other}\n POP D\n POP B\n RET"

    def block(self, depth: int, *, may_call: bool) -> list[str]:
        """A few statements."""
        lines: list[str] = []
        for _ in range(self._number(1, 3)):
            lines += self._statement(depth, may_call)
        return lines

    def _statement(self, depth: int, may_call: bool) -> list[str]:
        kinds = ["plain", "plain", "if"]
        kinds += ["down", "up", "while", "any", "early"] if depth < len(_COUNTERS) else []
        kinds += ["call", "return"] if may_call else []
        kind = self._choose(*kinds)
        if kind == "plain":
            return [f" {self._choose(*_PLAIN)}"]
        if kind == "call":
            return [self._choose(" CALL S", *(f" C{name} S" for name in _CONDITIONS))]
        if kind == "return":
            return [f" R{self._choose(*_CONDITIONS)}"]
        if kind == "if":
            over = self._label()
            jump = f" J{self._choose(*_CONDITIONS)} {over}"
            return [jump, *self.block(depth, may_call=may_call), f"{over}:"]
        return self._loop(kind, depth, may_call)

    def _loop(self, kind: str, depth: int, may_call: bool) -> list[str]:
        counter, again, out = _COUNTERS[depth], self._label(), self._label()
        body = self.block(depth + 1, may_call=may_call)
        count = self._number(1, 5)
        load = f" MVI {counter},{count}"
        down = [f" DCR {counter}", f" JNZ {again}"]
        if kind == "down":
            return [load, f"{again}:", *body, *down]
        if kind == "any":
            some = self._choose("ANI 7", "ANI 3\n ORI 4", "ANI 5\n XRI 2", "ANI 6\n SUI 1\n ANI 7")
            return [
                f" MOV A,E\n {some}\n MOV {counter},A\n INR {counter}",
                f"{again}:",
                *body,
                *down,
            ]
        if kind == "early":
            leave = f" J{self._choose(*_CONDITIONS)} {out}"
            return [load, f"{again}:", *body, leave, *down, f"{out}:"]
        if kind == "up":
            test = [f" INR {counter}", f" MOV A,{counter}", f" CPI {count + 3}", f" JNZ {again}"]
            return [load, f"{again}:", *body, *test]
        test = [f" MOV A,{counter}", " ORA A", f" JZ {out}"]
        return [load, f"{again}:", *test, *body, f" DCR {counter}", f" JMP {again}", f"{out}:"]


@settings(max_examples=60, deadline=None)
@given(st.data(), st.sampled_from([(0, 0), (1, 0), (1, 2)]))
def test_every_run_is_within_least_and_most(data: st.DataObject, waits: tuple[int, int]) -> None:
    text = Writer(data).routine()
    image = image_of(text)
    least, most = span(followed(image, *waits))
    assert most is not None
    for _ in range(3):
        psw, bc, de, hl = (data.draw(st.integers(0, 0xFFFF)) for _ in range(4))
        t = measured(image, *waits, psw=psw & 0xFFF7, bc=bc, de=de, hl=hl & 0x0FFF)
        assert least <= t <= most, text
