"""What is decided and how sure it is, and what somebody has to answer."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from pipeline.errors import AdoptError

Sure = Literal["certain", "likely", "unsure"]


@dataclass(frozen=True, slots=True)
class Guess:
    """A value with how sure it is, and why in one clause."""

    value: str
    sure: Sure
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer and what speaks for it."""

    value: str
    why: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something that the file does not tell; `proposed` is the answer that is nearest, where there is one."""

    key: str
    text: str
    choices: tuple[Choice, ...]
    proposed: str | None = None


@dataclass
class Desk:
    """Takes the answers that were given and collects the questions that are open."""

    answers: Mapping[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    used: set[str] = field(default_factory=set)

    def settle(self, key: str, guess: Guess, choices: Sequence[str] = ()) -> Guess:
        """The guess, unless somebody said otherwise; raises AdoptError for an answer that cannot be."""
        answer = self._answer(key, choices)
        return guess if answer is None else Guess(answer, "certain", "you said so")

    def ask(self, question: Question) -> Guess:
        """The answer to a question; while it is open, its proposal or its first choice, as unsure."""
        answer = self._answer(question.key, [choice.value for choice in question.choices])
        if answer is not None:
            return Guess(answer, "certain", "you said so")
        self.questions.append(question)
        value = question.proposed if question.proposed is not None else question.choices[0].value
        return Guess(value, "unsure", question.text)

    def check_all_used(self) -> None:
        """Raise AdoptError for an answer to something that was never in question."""
        unused = sorted(set(self.answers) - self.used)
        if unused:
            known = ", ".join(sorted(self.used | {question.key for question in self.questions})) or "none"
            raise AdoptError(f"--answer {unused[0]}: nothing of this name is asked here; known are {known}.")

    def _answer(self, key: str, choices: Sequence[str]) -> str | None:
        self.used.add(key)
        answer = self.answers.get(key)
        if answer is None:
            return None
        if not choices:
            return answer
        by_key = {_typed(choice): choice for choice in choices}
        if _typed(answer) not in by_key:
            raise AdoptError(f"--answer {key}={answer}: it must be one of {', '.join(choices)}.")
        return by_key[_typed(answer)]


def takes_numbers(question: Question) -> bool:
    """Whether a choice may be answered by its place in the list: not where the choices are numbers themselves."""
    return not any(choice.value.strip().isdecimal() for choice in question.choices)


def pick(question: Question, text: str) -> str | None:
    """The choice that somebody typed, as it stands or by its place in the list, from 1; None for neither."""
    values = [choice.value for choice in question.choices]
    typed = text.strip()
    by_key = {_typed(value): value for value in values}
    if _typed(typed) in by_key:
        return by_key[_typed(typed)]
    if takes_numbers(question) and re.fullmatch("[1-9][0-9]?", typed) and int(typed) <= len(values):
        return values[int(typed) - 1]
    return None


def _typed(text: str) -> str:
    """A text as any keyboard types it: uS/cm for µS/cm (of either micro sign), F for °F."""
    return text.casefold().translate({ord("µ"): "u", ord("μ"): "u", ord("°"): None})


def read_answers(texts: Sequence[str]) -> dict[str, str]:
    """Answers as they are typed, KEY=VALUE; raises AdoptError for a text without a key or a key given twice."""
    answers: dict[str, str] = {}
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign or not key.strip():
            raise AdoptError(f"--answer {text}: write it as KEY=VALUE, like --answer unit.ec=mS/cm.")
        if key.strip() in answers:
            raise AdoptError(f"--answer {key.strip()} is given twice; keep one.")
        answers[key.strip()] = value.strip() or value
    return answers
