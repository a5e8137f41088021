"""``emu85 rehearse``: progress, what differs, exit statuses, and the XML for build servers."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from emu85.cli import main
from emu85.errors import Place
from emu85.rehearsal.junit import junit
from emu85.rehearsal.lines import FORMS
from emu85.rehearsal.report import report, summary
from emu85.rehearsal.verdict import Difference, Step, Verdict
from tests.rehearsal.stage import lay_out, write

GOOD = "reach COUNTED\nsee HL 8001\n"
BAD = "reach COUNTED\nsee HL 8002\nsee mem 8000 3E 06 FF\nstep\n"
UNREADABLE = "reach COUNTED\nsea HL 8001\n"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the board in it, which is the current one."""
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def put(folder: Path, **bodies: str) -> None:
    for name, body in bodies.items():
        write(folder, body).rename(folder / f"{name}.rehearsal")


def test_one_that_passes(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(here, good=GOOD)
    assert main(["rehearse", "good.rehearsal"]) == 0
    name = f"{'good.rehearsal':<34}"
    assert capsys.readouterr().out == f"{name}  passed, 2 lines, 8.0 us of board time\n"


def test_one_that_fails_shows_what_differs(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(here, bad=BAD)
    assert main(["rehearse", "bad.rehearsal"]) == 1
    assert capsys.readouterr().out.splitlines() == [
        f"{'bad.rehearsal':<34}  FAILED at line 5, 8.0 us of board time",
        "bad.rehearsal:5",
        "  see HL 8002",
        f"    {'expected':<36} | seen",
        f"    {'HL 8002':<36} # HL 8001",
        "bad.rehearsal:6",
        "  see mem 8000 3E 06 FF",
        f"    {'expected':<36} | seen",
        f"    {'8000  3E 06 FF':<36} # 8000  3E 05 00",
    ]


def test_a_folder_of_all_kinds(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(here, a=GOOD, b=BAD, c=UNREADABLE)
    assert main(["rehearse", ".", "--junit", "all.xml"]) == 2
    shown = capsys.readouterr()
    heads = [line for line in shown.out.splitlines() if ".rehearsal  " in line]
    assert [line.split()[0] for line in heads] == ["a.rehearsal", "b.rehearsal", "c.rehearsal"]
    assert shown.out.endswith("3 rehearsals: 1 passed, 1 failed, 1 could not be performed\n")
    assert "c.rehearsal:5:1: there is no line that begins with 'sea'" in shown.err
    root = ElementTree.parse(here / "all.xml").getroot()
    assert (root.tag, [suite.tag for suite in root]) == ("testsuites", ["testsuite"])
    suite = root[0]
    counts = {key: suite.get(key) for key in ("tests", "failures", "errors")}
    assert counts == {"tests": "3", "failures": "1", "errors": "1"}
    assert [case.get("name") for case in suite] == ["a.rehearsal", "b.rehearsal", "c.rehearsal"]
    assert [[child.tag for child in case] for case in suite] == [[], ["failure"], ["error"]]
    failure = suite[1][0]
    assert failure.get("message") == "line 5: see HL 8002"
    assert "HL 8001" in (failure.text or "")
    assert float(suite[0].get("time") or "") == pytest.approx(49 / 6_144_000, abs=1e-6)


def test_what_only_stands_in_others_is_no_rehearsal_of_a_folder(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(here, whole="include part.rehearsal   # put in place\n")
    (here / "part.rehearsal").write_text("step\nsee at least 1 T since power\n")
    assert main(["rehearse", str(here)]) == 0
    assert "part" not in capsys.readouterr().out
    (here / "lone.rehearsal").write_text("step\n")
    assert main(["rehearse", str(here)]) == 2
    assert "lone.rehearsal:1:1: not a rehearsal" in capsys.readouterr().err


def test_an_included_file_that_is_not_there_is_pointed_at(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(here, whole="step\n  include prt.rehearsal\n")
    (here / "part.rehearsal").write_text("step\n")
    assert main(["rehearse", str(here / "whole.rehearsal")]) == 2
    told = capsys.readouterr().err.splitlines()
    assert ":11: " in told[0] and "did you mean 'part.rehearsal'" in told[0]
    assert told[2].index("^") - told[1].index("include") == len("include ")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "no rehearsal is named"),
        (["none.rehearsal"], "no such file"),
        (["empty"], "no rehearsal in this folder"),
        (["bench.asm"], "not a rehearsal"),
        (["bench.yaml", "--firmware"], "expected one argument"),
        (["good.rehearsal", "--firmware", "none.hex"], "no such file"),
        (["good.rehearsal", "--junit", "none/all.xml"], "cannot be written"),
        (["good.rehearsal", "--junit", "empty"], "cannot be written"),
        (["good.rehearsal", "--junit", "./good.rehearsal"], "over a rehearsal"),
    ],
)
def test_bad_usage(
    arguments: list[str], told: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (here / "empty").mkdir()
    put(here, good=GOOD)
    assert main(["rehearse", *arguments]) == 2
    assert told in capsys.readouterr().err


def test_another_firmware(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(here, good=GOOD)
    text = (here / "bench.asm").read_text()
    (here / "new.asm").write_text(text.replace("LXI H,8000H", "LXI H,8010H"))
    assert main(["rehearse", "good.rehearsal", "--firmware", "new.asm"]) == 1
    assert "HL 8011" in capsys.readouterr().out


def test_the_lines_there_are_can_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", "--lines"]) == 0
    shown = capsys.readouterr().out
    assert all(form.usage in shown for form in FORMS)
    assert max(map(len, shown.splitlines())) <= 100


def verdict(*differences: Difference) -> Verdict:
    step = Step(Place("x.rehearsal", 7), "hear 'é'", 100, differences)
    return Verdict(Path("x.rehearsal"), "x", (step,), 1, 0.5)


def test_two_columns_fit_into_eighty(here: Path) -> None:
    long = Difference("same\n" + "a" * 100, "same\n" + "b" * 50 + "\nmore", "why " * 40)
    lines = report(verdict(long)).splitlines()
    assert max(map(len, lines)) == 79
    columns = [line for line in lines if line[40:43] in (" | ", " # ", " |", " #")]
    assert [line[40:43].strip() for line in columns] == ["|", "|", "#", "#", "#", "#"]
    assert "".join(line[4:40].strip() for line in columns[2:5]) == "a" * 100
    assert "".join(line[43:] for line in columns[2:]) == "b" * 50 + "more"


def test_a_long_name_is_cut_at_its_beginning() -> None:
    path = Path("a" * 60) / "last.rehearsal"
    line = summary(Verdict(path, "t", (), 0, 0.0))
    assert line.startswith("…" + "a" * 18 + "/last.rehearsal  passed, 0 lines")


def test_xml_takes_any_character() -> None:
    control = "".join(map(chr, [*range(32), 0x7F, 0xD800, 0xFFFE, 0x1F600]))
    text = junit([(Path("x" + control), verdict(Difference(control, "<&>", control)))])
    (failure,) = ElementTree.fromstring(text).iter("failure")
    assert "<&>" in (failure.text or "")
    assert text.encode("utf-8")


def test_the_same_verdicts_give_the_same_file() -> None:
    outcomes = [(Path("x"), verdict(Difference("a", "b")))]
    assert junit(outcomes) == junit(outcomes)


def test_the_demos_are_found_by_their_name(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", "slate.rehearsal"]) == 0
    assert "slate.rehearsal" in capsys.readouterr().out
    put(here, slate=BAD)  # a file of that name comes first
    assert main(["rehearse", "slate.rehearsal"]) == 1
