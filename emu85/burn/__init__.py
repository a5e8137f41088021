"""The burn check: an image examined against its EPROM and its board before it is burnt.

    from emu85.burn import Subject, Wanted, report, study, write_text

    found = report(study(Subject(image, load_board("slate")), Wanted()))
    assert found.is_fit, write_text(found)

``study`` gathers what is known: what stands at each address (:mod:`~emu85.burn.ground`),
where control can go (:mod:`~emu85.burn.flow`), and what a run on the board has shown
(:mod:`~emu85.burn.ride`).  The checks (:mod:`emu85.burn.checks`) only look at that.
"""

from emu85.burn.data import write_json
from emu85.burn.drive import Drive, Driven, PlainRun
from emu85.burn.examine import Subject, study
from emu85.burn.files import write_files
from emu85.burn.flow import Hints
from emu85.burn.page import write_page
from emu85.burn.report import Report, report
from emu85.burn.study import Limits, Stored, Study, Wanted
from emu85.burn.text import write_text
from emu85.burn.verdict import Result

__all__ = [
    "Drive",
    "Driven",
    "Hints",
    "Limits",
    "PlainRun",
    "Report",
    "Result",
    "Stored",
    "Study",
    "Subject",
    "Wanted",
    "report",
    "study",
    "write_files",
    "write_json",
    "write_page",
    "write_text",
]
