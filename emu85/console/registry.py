"""The console words: each form is one function, declared where it is written."""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable

from emu85.console.grammar import Action, Form

FORMS: list[Form] = []
"""All forms, in the order in which their files were read."""


def form(usage: str, summary: str, *, not_said: tuple[str, ...] = ()) -> Callable[[Action], Action]:
    """Declare a function as the action of a console form.

    Args:
        usage: the grammar (see :mod:`emu85.console.grammar`); its slots are the
            function's parameters, in lower case, after the session.
        summary: one line for help and completion.
        not_said: what may be tried in its place; this form is then offered.

    The function's docstring is what ``help WORD`` adds.
    """

    def register(action: Action) -> Action:
        FORMS.append(Form(usage, summary, action, inspect.getdoc(action) or "", not_said))
        return action

    return register


def group_of(one: Form) -> str:
    """What the words of this form's file are about: the first line of its docstring."""
    text = sys.modules[one.action.__module__].__doc__ or ""
    return text.strip().splitlines()[0].rstrip(".")
