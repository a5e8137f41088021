"""The plugin as pytest runs it: what passes, what fails, and what the reports show."""

from __future__ import annotations

import os
import sys
import textwrap
import tomllib
from pathlib import Path

import pytest

from emu85.rehearsal import SUFFIX
from emu85.testing import plugin
from tests.testing.boards import board

pytest_plugins = ["pytester"]

ROOT = Path(__file__).resolve().parents[2]
BLINK = """
        ORG     0
        LXI     SP,8800H
SHOW:   OUT     40H
        CALL    DELAY
        JMP     SHOW
DELAY:  MVI     B,200
MORE:   DCR     B
        JNZ     MORE
        RET
"""
REHEARSAL = """\
rehearsal: the lamps are written
board: slate
firmware: blink.asm

run until DELAY
see B {b}
"""
NO_STACK = "TWICE: POP D\n ADD A\n RET"


@pytest.fixture(scope="module", autouse=True)
def warm() -> None:
    """Import and compile all there is: what an inner pytest imports is forgotten after it."""
    board("GO: RET").call("GO")


@pytest.fixture
def inner(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    """A folder with firmware, in which pytest runs with the plugin."""
    pytester.makefile(".asm", blink=BLINK)
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    monkeypatch.setenv("PYTEST_PLUGINS", plugin.__name__)
    return pytester


def test_it_passes_what_is_right(inner: pytest.Pytester) -> None:
    inner.makepyfile(
        """
        def test_delay(board_under_test):
            blink = board_under_test("slate", firmware="blink.asm")
            # MVI 7, DCR 4, JNZ 10 or 7, RET 10: values of the manual, from memory.
            assert blink.call("DELAY").t_states == 7 + 200 * 14 - 3 + 10

        def test_twice(assembled):
            assert assembled("TWICE: ADD A\\n RET").call("TWICE", a=33).registers.a == 66

        def test_on_another_board(assembled):
            board = assembled("PUT: OUT 40H\\n RET", at=0x100, board="slate")
            assert board.call(0x100, a=5).execution.port_writes[0x40] == 1
        """
    )
    inner.runpytest().assert_outcomes(passed=3)


def test_a_failed_test_shows_the_last_bus_cycles_of_its_boards(inner: pytest.Pytester) -> None:
    inner.makepyfile(
        f"""
        def test_one(board_under_test, assembled):
            board_under_test("slate", firmware="blink.asm").call("DELAY")
            assembled({NO_STACK!r}).call("TWICE", a=1)
        """
    )
    result = inner.runpytest()
    result.assert_outcomes(failed=1)
    # POP and ADD and RET from T-state 3 on: 10, 4 and 10 T-states; machine cycles of 4 and 3.
    result.stdout.fnmatch_lines(
        [
            ">       assembled('TWICE: POP D*').call(\"TWICE\", a=1)",
            "E       *BoardFailure: TWICE took more off the stack than it put there, by 0002 "
            "TWICE+2, RET",
            "E       2 bytes too many taken off the stack: SP is C002",
            "*- board slate, T-state 2817 -*",
            "*789 machine cycles before",
            "     2807 OF *0011 1100 1001 C9 * RET",
            "     2814 MR *8* FF 010 *",
            "  A 00 * Z 0 *",  # Z is as it was before the call
            "*- board plain, T-state 27 -*",
            "          TWICE:",
            "        3 OF *0000 1101 0001 D1 * POP D",
            "       13 OF *0001 1000 0111 87 * ADD A",
            "       17 OF *0002 1100 1001 C9 * RET",
            "  finding  read where no chip answers at C001",
        ]
    )
    text = result.stdout.str()
    assert "calling.py" not in text
    slate = text[text.index("- board slate") : text.index("- board plain")]
    assert sum(line[:9].strip().isdigit() for line in slate.splitlines()) == 16


def test_a_wrong_expectation_shows_the_registers_that_the_routine_left(
    inner: pytest.Pytester,
) -> None:
    inner.makepyfile(
        """
        def test_one(assembled):
            done = assembled("PLUS: ADD B\\n RET").call("PLUS", a=2, bc=0x0300, sp=0x9000)
            assert done.registers.a == 6
        """
    )
    # 2 + 3 = 5: two ones, so P is set and nothing else.
    inner.runpytest().stdout.fnmatch_lines(
        ["E * Outcome(14 T-states, A 05 F 04 BC 0300 DE 0000 HL 0000 SP 9000).registers"]
    )


def test_how_many_cycles_are_shown_can_be_set(inner: pytest.Pytester) -> None:
    inner.makepyfile(
        """
        def test_one(assembled):
            assembled("GO: RET").call("GO")
            assert False
        """
    )
    shown = inner.runpytest("-o", "emu85_cycles=1").stdout.str()
    assert " 10 MR " in shown
    assert " OF " not in shown
    refused = inner.runpytest("-o", "emu85_cycles=many")
    assert refused.ret == pytest.ExitCode.USAGE_ERROR
    refused.stderr.fnmatch_lines(["ERROR: emu85_cycles is 'many'; expected machine cycles, 0 to*"])


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('call("DELEY")', "*UserError: there is no symbol 'DELEY'*did you mean 'DELAY'?"),
        ('call("SHOW", limit=99)', "*SHOW did not return within 99 T (49.5 us); it is at 00*"),
        (
            'assemble("GO: JMP 100H", 0x80) and it.call("GO")',
            "*BoardFailure: GO ran away to 0100, by 0080 GO, JMP 0100H",
        ),
    ],
)
def test_what_goes_wrong_is_told_at_the_line_of_the_test(
    inner: pytest.Pytester, line: str, told: str
) -> None:
    inner.makepyfile(
        f"""
        def test_one(board_under_test):
            it = board_under_test("slate", firmware="blink.asm")
            it.{line}
        """
    )
    result = inner.runpytest("--tb=short")
    result.stdout.fnmatch_lines(["test_*.py:3: in test_one", "    it.*", f"E *{told.lstrip('*')}"])
    assert "emu85/testing" not in result.stdout.str()


def test_mistakes_in_a_snippet_are_shown_with_their_line(inner: pytest.Pytester) -> None:
    inner.makepyfile("def test_one(assembled):\n    assembled('GO: RET\\n MIV GO')\n")
    inner.runpytest().stdout.fnmatch_lines(
        ["E *snippet:2:2: 'MIV' is no instruction*did you mean 'MVI'?", "E  *MIV GO", "E *^"]
    )


def test_a_test_without_a_board_reports_as_ever(inner: pytest.Pytester) -> None:
    inner.makepyfile("def test_one():\n    assert False\n")
    assert "- board" not in inner.runpytest().stdout.str()


def test_boards_are_let_go_when_their_test_is_over(inner: pytest.Pytester) -> None:
    inner.makepyfile(
        """
        import gc
        import weakref

        kept = []

        def test_one(assembled):
            kept.append(weakref.ref(assembled("GO: RET").machine))

        def test_two():
            gc.collect()
            assert kept[0]() is None
        """
    )
    inner.runpytest().assert_outcomes(passed=2)


# --- rehearsals ----------------------------------------------------------------------


def test_the_suffix_is_that_of_rehearsals() -> None:
    assert plugin._SUFFIX == SUFFIX


def test_rehearsals_are_tests_if_asked_for(inner: pytest.Pytester) -> None:
    inner.makefile(SUFFIX, right=REHEARSAL.format(b="00"), wrong=REHEARSAL.format(b="C8"))
    assert inner.runpytest().ret == pytest.ExitCode.NO_TESTS_COLLECTED
    result = inner.runpytest("--rehearsals", "-v")
    result.assert_outcomes(passed=1, failed=1)
    result.stdout.fnmatch_lines(
        [
            "right.rehearsal::right PASSED*",
            "wrong.rehearsal::wrong FAILED*",
            "*_ rehearsal wrong _*",
            "the lamps are written: FAILED at line 6, * of board time",
            "*wrong.rehearsal:6",
            "  see B C8",
            "    B C8 *# B 00",
            "*- board slate, T-state 41 -*",
            "*CALL DELAY",
        ]
    )
    inner.makeini("[pytest]\nemu85_rehearsals = true\n")
    inner.runpytest("-k", "right").assert_outcomes(passed=1, deselected=1)


def test_a_rehearsal_that_is_named_needs_no_option(inner: pytest.Pytester) -> None:
    path = inner.makefile(SUFFIX, right=REHEARSAL.format(b="00"))
    inner.runpytest(path).assert_outcomes(passed=1)


def test_a_mistake_in_a_rehearsal_fails_it_alone(inner: pytest.Pytester) -> None:
    inner.makefile(SUFFIX, odd=REHEARSAL.replace("see B", "sea B"), right=REHEARSAL.format(b="00"))
    result = inner.runpytest("--rehearsals")
    result.assert_outcomes(passed=1, failed=1)
    result.stdout.fnmatch_lines(["*odd.rehearsal:6:1: there is no line that begins with 'sea'*"])
    assert "Traceback" not in result.stdout.str()


# --- as a guest ----------------------------------------------------------------------


def test_it_can_be_left_out(inner: pytest.Pytester) -> None:
    inner.makepyfile("def test_one(assembled):\n    pass\n")
    result = inner.runpytest("-p", f"no:{plugin.__name__}")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*fixture 'assembled' not found*"])


def test_the_users_own_fixtures_go_first_and_build_on_it(inner: pytest.Pytester) -> None:
    inner.makeconftest(
        """
        import pytest

        @pytest.fixture
        def assembled():
            return "mine"

        @pytest.fixture
        def blink(board_under_test):
            return board_under_test("slate", firmware="blink.asm")
        """
    )
    inner.makepyfile(
        """
        def test_one(assembled, blink):
            assert assembled == "mine"
            blink.call("DELAY")
            raise ValueError
        """
    )
    inner.runpytest().stdout.fnmatch_lines(["*- board slate, T-state 2817 -*"])


def test_reports_travel_between_processes(inner: pytest.Pytester) -> None:
    """As distributed runs do it: as JSON, from a worker that knows nothing of the others."""
    inner.makeconftest(
        """
        import json
        import pytest

        @pytest.hookimpl(wrapper=True)
        def pytest_runtest_makereport(item, call):
            report = yield
            config = item.config
            data = config.hook.pytest_report_to_serializable(config=config, report=report)
            text = json.dumps(data)
            return config.hook.pytest_report_from_serializable(
                config=config, data=json.loads(text)
            )
        """
    )
    inner.makefile(SUFFIX, wrong=REHEARSAL.format(b="C8"))
    inner.makepyfile(f"def test_one(assembled):\n    assembled({NO_STACK!r}).call('TWICE')\n")
    result = inner.runpytest("--rehearsals")
    result.assert_outcomes(failed=2)
    result.stdout.fnmatch_lines(["*- board plain, T-state 27 -*", "*- board slate, T-state 41 -*"])


def test_the_entry_point_brings_it_and_unused_it_costs_no_import(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    site = pytester.mkdir("site")
    about = site / "emu85-0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: emu85\nVersion: 0\n")
    points = project["entry-points"]["pytest11"]
    lines = [f"{name} = {module}" for name, module in points.items()]
    (about / "entry_points.txt").write_text("\n".join(["[pytest11]", *lines]))
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(site), str(ROOT)]))
    pytester.makepyfile(
        """
        import sys

        def test_nothing_is_imported(assembled):
            ours = sorted(name for name in sys.modules if name.startswith("emu85"))
            assert ours == ["emu85", "emu85.testing", "emu85.testing.plugin"]
            assert "numpy" not in sys.modules
        """
    )
    ran = pytester.run(sys.executable, "-m", "pytest", "-p", "emu85")
    ran.assert_outcomes(passed=1)


def test_its_fixtures_are_explained(inner: pytest.Pytester) -> None:
    shown = inner.runpytest("--fixtures").stdout.str()
    for name in ("board_under_test", "assembled"):
        assert f"{name} -- " in shown
    text = textwrap.dedent(plugin.assembled.__doc__ or "").splitlines()[0]
    assert text in shown
