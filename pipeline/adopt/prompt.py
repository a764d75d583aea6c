"""A question on a terminal: its choices with a number each, asked until one of them is typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from pipeline.adopt.questions import Question, pick, takes_numbers


class _OneOf(click.ParamType[str]):
    """A choice by its number or its text."""

    name = "choice"

    def __init__(self, question: Question) -> None:
        self.question = question

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The choice that was typed; asks again for anything else."""
        chosen = pick(self.question, str(value))
        if chosen is None:
            values = ", ".join(choice.value for choice in self.question.choices)
            self.fail(f"{value} is none of {values}.", param, ctx)
        return chosen


def ask_on_terminal(question: Question, echo: Callable[[str], None] = click.echo) -> str:
    """Show a question and its choices, and wait for one of them; an empty answer takes what is proposed."""
    echo(question.text[:1].upper() + question.text[1:])
    is_numbered = takes_numbers(question)
    for number, choice in enumerate(question.choices, 1):
        echo(f"  {f'{number}. ' if is_numbered else ''}{choice.value}: {choice.why}")
    how = " (number or text)" if is_numbered else ""
    answer: str = click.prompt(f"{question.key}{how}", type=_OneOf(question), default=question.proposed)
    return answer
