"""``emu85 burn-check`` from its command line to its files and its exit status."""

from __future__ import annotations

import html.parser
import json
import re
import zlib
from itertools import pairwise
from pathlib import Path

import pytest

from emu85.burn.checks import CHECKS
from emu85.cli import main
from tests.burn.bench import BOARD, HERE, PROGRAM

FAULTY = PROGRAM.replace(HERE, "STA 700H")


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the bench's board, a program without fault, and one with two."""
    (tmp_path / "bench.yaml").write_text(BOARD)
    (tmp_path / "good.asm").write_text(PROGRAM)
    (tmp_path / "bad.asm").write_text(FAULTY)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def burn_check(*words: str) -> int:
    return main(["burn-check", "--board", "bench.yaml", "--for", "20 ms", *words])


def test_fit(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("good.asm", "--chip", "2716") == 0
    out = capsys.readouterr().out
    assert out.endswith("Verdict: fit to burn\n")
    assert "Burn check of good.asm for bench, into 2716" in out
    assert "data sheet" in out
    assert "UV lamp" in out
    assert max(map(len, out.splitlines())) <= 80


def test_chips_and_sums_one_by_one(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sums as zlib and a plain sum have them, over files that were written."""
    text = PROGRAM.replace("        ;; LAST", " ORG 900H\nFAR: DB 1,2,3")
    (bench / "two.asm").write_text(text)
    assert burn_check("two.asm", "--entry", "0", "--write-files", "out", "--name", "fw\nx") == 0
    program, spare = (
        (bench / "out" / f"fw-x-{name}.bin").read_bytes() for name in ("program", "spare")
    )
    out = capsys.readouterr().out
    together = out[out.index("all of them, one after another") :]
    whole = f"{zlib.crc32(program + spare):08X}"
    assert f"CRC-32                    {whole}" in together[:300]
    sums = ("--expect", f"crc-32={whole}", "--expect", f"spare:sum-16={sum(spare) & 0xFFFF:04X}")
    assert burn_check("two.asm", "--chip", "spare=2716", "--chip", "2716", *sums) == 0
    assert "into 2716, 2716 as spare" in capsys.readouterr().out
    assert burn_check("two.asm", "--chip", "spare=2732", "--expect", "program:sum-16=0000") == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "2732 (4K) is not the spare chip of the board, 2716 of 2K" in told
    assert f"of program is {sum(program) & 0xFFFF:04X}, but 0000 is expected" in told
    labels = (bench / "out" / "fw-x-labels.txt").read_text().splitlines()
    assert [line.split("  ")[:2] for line in labels] == [["fw x", "program"], ["fw x", "spare"]]


def test_files_of_chips_of_like_names(bench: Path) -> None:
    (bench / "bench.yaml").write_text(
        BOARD.replace("name: program", "name: the rom").replace("name: spare", "name: The-ROM")
    )
    (bench / "two.asm").write_text(PROGRAM.replace("        ;; LAST", " ORG 900H\nFAR: DB 1,2,3"))
    assert burn_check("two.asm", "--write-files", "out", "--name", "fw") == 0
    files = {path.name: path.read_bytes() for path in (bench / "out").glob("*.bin")}
    assert set(files) == {"fw-the-rom.bin", "fw-The-ROM-2.bin"}
    assert files["fw-The-ROM-2.bin"][0x100:0x103] == bytes([1, 2, 3])
    assert files["fw-the-rom.bin"][0] == 0xC3


def test_what_is_only_read_may_be_one_file(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("good.asm", "--rehearsal", "good.asm") == 2
    assert "written over" not in capsys.readouterr().err


def test_not_fit(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("bad.asm") == 1
    out = capsys.readouterr().out
    assert out.endswith("Verdict: not fit to burn: 2 checks found faults\n")
    assert "  X fault        rom-stores: nothing is stored into ROM\n" in out
    assert "      X 005B COLD+B, bad.asm:19: stores at 0700, which is ROM (program)\n" in out


def test_accepted(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("bad.asm", "--accept", "rom-stores", "--accept", "run-rom-writes") == 0
    out = capsys.readouterr().out
    assert "Verdict: fit to burn: 2 checks accepted\n" in out
    assert "      ~ 005B COLD+B, bad.asm:19: stores at 0700" in out and "  X " not in out


def test_what_wants_a_look_fails_if_that_is_asked_for(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = PROGRAM.replace("        PUSH    PSW\n", "").replace("        POP     PSW\n", "")
    (bench / "look.asm").write_text(text)
    assert burn_check("look.asm") == 0
    assert burn_check("look.asm", "--strict") == 1
    assert burn_check("good.asm", "--strict") == 0
    assert burn_check("look.asm", "--strict", "--accept", "handler-keeps") == 0
    assert capsys.readouterr().out.endswith("Verdict: fit to burn: 1 check accepted\n")


def test_json(bench: Path) -> None:
    assert burn_check("bad.asm", "--json", "report.json") == 1
    found = json.loads((bench / "report.json").read_text())
    assert found["fit"] is False
    assert [check["name"] for check in found["checks"]] == [check.name for check in CHECKS]
    (stores,) = (check for check in found["checks"] if check["name"] == "rom-stores")
    assert stores["result"] == "fault"
    assert stores["notes"] == [
        {
            "text": "stores at 0700, which is ROM (program)",
            "fault": True,
            "meant": False,
            "at": "005B",
            "symbol": "COLD+B",
            "line": "bad.asm:19",
        }
    ]
    spans = [(int(area["from"], 16), int(area["to"], 16)) for area in found["areas"]]
    assert spans[0][0] == 0
    assert spans[-1][1] == 0x7FF
    assert all(after[0] == before[1] + 1 for before, after in pairwise(spans))
    assert len(found["cautions"]) == 3


class _Page(html.parser.HTMLParser):
    """Gathers what is open, and every address that the page would load something from."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "meta":
            self.open.append(tag)
        self.loads += [value or "" for name, value in attrs if name in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_page(bench: Path) -> None:
    assert burn_check("bad.asm", "--html", "report.html") == 1
    source = (bench / "report.html").read_text("utf-8")
    page = _Page()
    page.feed(source)
    assert page.open == []
    assert page.loads == []
    assert "url(" not in source
    assert "<script" not in source
    assert "not fit to burn: 2 checks found faults" in page.text
    for check in CHECKS:
        assert check.name in page.text
    # Each result has its word and its mark, so it is told without colour.
    assert re.search(r"X fault\s*rom-stores", page.text)
    assert re.search(r"\+ good\s*reset", page.text)
    assert "UV lamp" in page.text


def test_names_cannot_break_the_page(bench: Path) -> None:
    (bench / "a<b>&.asm").write_text(PROGRAM)
    assert burn_check("a<b>&.asm", "--html", "report.html") == 0
    assert "a&lt;b&gt;&amp;.asm" in (bench / "report.html").read_text("utf-8")


def test_reports_are_the_same_each_time(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = []
    for _ in range(2):
        burn_check("good.asm", "--json", "r.json", "--html", "r.html", "--write-files", "out")
        files = sorted(path for path in bench.rglob("*") if path.is_file())
        seen.append((capsys.readouterr().out, [path.read_bytes() for path in files]))
    assert seen[0] == seen[1]


def test_files_and_labels(bench: Path) -> None:
    assert burn_check("good.asm", "--write-files", "out", "--name", "tide", "--date", "June") == 0
    assert sorted(path.name for path in (bench / "out").iterdir()) == [
        "tide-labels.txt",
        "tide-program.bin",
        "tide-program.hex",
    ]
    (line,) = (bench / "out" / "tide-labels.txt").read_text().splitlines()
    assert line.startswith("tide  program  2716  0000-07FF  sum ")
    assert line.endswith("  June")


def test_a_binary_with_symbols(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assemble", "bad.asm", "-o", "bad.bin", "--symbols", "bad.sym"]) == 0
    assert burn_check("bad.bin", "--symbols", "bad.sym") == 1
    assert "005B COLD+B: stores at 0700" in capsys.readouterr().out


def test_entries_tables_and_routines(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = PROGRAM.replace(
        ";; ROUTINES", "TABLE: DW FIRST,OTHER\nFIRST: JMP 4000H\nOTHER: JMP 4001H"
    )
    (bench / "table.asm").write_text(text)
    assert burn_check("table.asm") == 0
    assert burn_check("table.asm", "--table", "TABLE,2") == 1
    out = capsys.readouterr().out
    assert "jumps to 4000, where" in out
    assert "jumps to 4001, where" in out
    assert burn_check("table.asm", "--entry", "FIRST+3") == 1
    out = capsys.readouterr().out
    assert "jumps to 4000, where" not in out
    assert "jumps to 4001, where" in out


def test_limits(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--coverage", "99", "--longest-wait", "11", "--stack-left", "200")
    status = burn_check("good.asm", *words)
    out = capsys.readouterr().out
    # The whole program is executed, and no interrupt is served in less than 12 T-states.
    assert "run-coverage:" not in out
    assert "RST 7.5 waited" in out
    assert status == 1


def test_no_run(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("good.asm", "--for", "0") == 0
    out = capsys.readouterr().out
    assert "Run:" not in out
    assert "there was no run: run-floating," in out


def test_a_run_of_t_states(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert burn_check("good.asm", "--for", "5000") == 0
    assert "Run: 5 ms of board time, 500" in capsys.readouterr().out


def test_the_boards_own_firmware(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["burn-check", "--board", "slate", "--chip", "2716", "--for", "10 ms"]) == 0
    assert "Burn check of slate.asm for slate, into 2716" in capsys.readouterr().out


def test_the_list_of_checks(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["burn-check", "--checks"]) == 0
    out = capsys.readouterr().out
    for check in CHECKS:
        assert f"  {check.name} " in out
    assert "crc-16-xmodem" in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--chip", "2761"], "there is no EPROM '2761'; expected one of 2716"),
        (["--chip", "6116"], "there is no EPROM '6116'"),
        (["--halves"], "halves of what chip is not told"),
        (["--accept", "rom-store"], "did you mean 'rom-stores'?"),
        (["--entry", "NOWHERE"], "'NOWHERE' is neither a number nor a symbol"),
        (["--entry", "MAIM"], "did you mean 'MAIN'?"),
        (["--table", "MAIN"], "expected NAME,COUNT or NAME,COUNT,STEP"),
        (["--table", "MAIN,x"], "'x' is not a number"),
        (["--for", "soon"], "'soon' is not a time"),
        (["--for", "2 h"], "'2 h' is not a time"),
        (["--fill", "100"], "expected a byte"),
        (["--coverage", "150"], "expected percent, 0 to 100"),
        (["--longest-wait", "-1"], "a count of T-states"),
        (["--stored", "sum-16"], "expected such as sum-16@1FFE"),
        (["--stored", "sum@7FE"], "there is no sum 'sum'"),
        (["--chip", "2716", "--chip", "2732"], "a second EPROM, 2732; expected NAME=PART"),
        (
            ["--chip", "spar=2716"],
            "the board has no EPROM 'spar'; expected one of program, spare; ",
        ),
        (["--table", "TEXT,2,0"], "expected bytes from one to the next, 1 to 256"),
        (["--expect", "spare:crc=12"], "there is no sum 'crc'"),
        (["--expect", "crc-32"], "expected such as crc-32=1A2B3C4D"),
        (["--expect", "crc-32=xyz"], "expected 8 hex digits"),
        (["--expect", "sum-16=12345"], "expected 4 hex digits"),
        (["--json", "good.asm"], "the JSON report would be written over the image"),
        (
            ["--json", "x", "--html", "x"],
            "HTML report would be written over the JSON report",
        ),
        (["--json", "no/such/folder.json"], "cannot be written"),
        (["--symbols", "good.asm"], "expected"),
        (["--at", "0"], "states its own addresses"),
    ],
)
def test_mistakes_are_told(
    words: list[str], told: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert burn_check("good.asm", *words) == 2
    captured = capsys.readouterr()
    assert told in captured.err
    assert captured.out == ""
    assert (bench / "good.asm").read_text() == PROGRAM


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no board is named"),
        (["good.asm"], "no board is named"),
        (["--board", "slat"], "did you mean 'slate'?"),
        (["--board", "bench.yaml"], "the board has none of its own"),
        (["--board", "bench.yaml", "none.hex"], "no such file"),
        (["--board", "bench.yaml", "empty.asm"], "holds no bytes"),
    ],
)
def test_what_is_missing_is_told(
    words: list[str], told: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "empty.asm").write_text("        END\n")
    assert main(["burn-check", *words]) == 2
    assert told in capsys.readouterr().err


FAR = "FAR: DCR A\n JNZ FAR\n RET\n"


def test_what_was_not_reached_is_told_above_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """JMP, LXI, LHLD and PCHL take 10 bytes; nothing tells where PCHL goes, so 5 are left."""
    file = tmp_path / "far.asm"
    file.write_text(f" ORG 0\n JMP 40H\n ORG 40H\n LXI SP,8800H\n LHLD 8000H\n PCHL\n{FAR}")
    main(["burn-check", str(file), "--board", "slate", "--for", "0"])
    assert capsys.readouterr().out.splitlines()[-2:] == [
        "Note: 5 of 15 bytes were never reached, and not looked at",
        "Verdict: fit to burn",
    ]


def test_json_can_be_printed(capsys: pytest.CaptureFixture[str]) -> None:
    main(["burn-check", "--board", "slate", "--for", "0", "--json", "-"])
    assert json.loads(capsys.readouterr().out)["fit"] is True
