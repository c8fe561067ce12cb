"""The card that answers a check: words first, then numbers, a picture, and the progress."""

import re
from collections.abc import Callable, Mapping
from html import escape
from typing import Any

from rigkit import course
from rigkit.homework import calling, checking, picture
from rigkit.homework.question import Hints

LONG = 6  # more rows than that are not all shown
WIDE = 80  # characters: a longer table is shown row below row

_EDGE = {checking.RIGHT: "#009E73", checking.NEARLY: "#B87D00", checking.NOT_YET: "#D55E00"}


class Card:
    """An `Outcome` to look at: HTML that follows the notebook's theme, plain text elsewhere.

    Attributes
    ----------
    outcome : Outcome
    score : float
    progress : str
        One sentence.
    hints : Hints or None
    shows : callable or None
        As a `Question`'s.
    """

    def __init__(
        self,
        outcome: checking.Outcome,
        progress: str = "",
        hints: Hints | None = None,
        shows: Callable[..., Any] | None = None,
    ) -> None:
        self.outcome, self.progress = outcome, progress
        self.hints, self.shows = hints, shows

    @property
    def score(self) -> float:
        return self.outcome.score

    def case(self) -> Any:
        """Return a panel of the lesson with the card's worst case in it.

        Returns
        -------
        Panel

        Raises
        ------
        ValueError
            If the question has no such panel, or nothing was tried.
        """
        if self.shows is None or not self.outcome.inputs:
            raise ValueError(
                f"no panel shows a case of {self.outcome.question or 'this check'}; look at the"
                " picture and the numbers on the card."
            )
        return self.shows(*calling.arguments(self.outcome.inputs))

    def __repr__(self) -> str:
        return "\n".join([self._headline(), *self._lines()])

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        return {"text/plain": repr(self), "text/html": self._html()}

    def _headline(self) -> str:
        return f"{self.outcome.word}: {self.outcome.sentence}"

    def _lines(self) -> list[str]:
        outcome = self.outcome
        several = outcome.cases > 1
        cases = f", {outcome.counts}" if several else ""
        lines = [f"Score {outcome.score:.0%}{cases}."] if self._tried else []
        lines += (
            [f"Part of the points, for the case that came nearest: {outcome.part}"]
            if outcome.part
            else []
        )
        lines += [f"{name}: {value}" for name, value in outcome.measured.items()]
        if self._tried and several and outcome.right < outcome.cases:
            typed = _typed(outcome.inputs)
            lines.append("Worst case:" + ("\n" if "\n" in typed else " ") + typed)
        if outcome.printed:
            lines.append(
                f"It also printed {outcome.printed:,} characters, which a check does not show."
            )
        return [*lines, *([self.progress] if self.progress else [])]

    @property
    def _tried(self) -> bool:
        return self.outcome.word in _EDGE

    def _html(self) -> str:
        outcome = self.outcome
        edge = _EDGE.get(outcome.word, "var(--jp-border-color1, #888)")
        drawn = (
            ""
            if outcome.picture is None
            else picture.draw(outcome.picture)._repr_mimebundle_()["text/html"]
        )
        lines = "".join(map(_item, self._lines()))
        return (
            f'<section aria-label="Check of {escape(outcome.question)}" style="border-left:4px'
            f" solid {edge};padding:4px 12px;margin:4px 0;color:var(--jp-ui-font-color1,"
            f' inherit)"><p style="margin:0"><strong>{escape(outcome.word)}:</strong>'
            f' {_words(outcome.sentence)}</p><div style="display:flex;flex-wrap:wrap;gap:4px'
            f' 16px;align-items:center">{drawn}<ul style="margin:4px 0;padding-left:1.2em;flex:1 1'
            f' 16em;max-width:100%">{lines}</ul></div>{self._hints()}</section>'
        )

    def _hints(self) -> str:
        """Help in steps, each folded in the one before; "" where all is right or there is none."""
        hints = self.hints
        if hints is None or self.outcome.word == checking.RIGHT:
            return ""
        address = _section(self.outcome.question, hints.section)
        where = f'<a href="{address}">{escape(hints.section)}</a>'
        folded = ""
        for name, text in (
            ("A smaller case", _words(hints.smaller)),
            ("Where the lesson says it", where),
            ("A hint", _words(hints.nudge)),
        ):
            folded = f"<details><summary>{name}</summary><p>{text}</p>{folded}</details>"
        return folded


def _section(question: str, heading: str) -> str:
    """The address of a heading in the lesson of a question, seen from its exercise.

    JupyterLab looks for the heading by these letters as they stand, so none is percent-encoded.
    """
    path = course.lesson(question.partition("/")[0]).path
    return escape(f"../lessons/{path.name}#{heading.replace(' ', '-')}")


def _item(line: str) -> str:
    """A line of the card; what stands row below row keeps its columns, folded until asked for."""
    first, _, rows = line.partition("\n")
    if not rows:
        return f"<li>{_words(first)}</li>"
    table = f'<pre style="margin:2px 0;overflow-x:auto" tabindex="0">{escape(rows)}</pre>'
    return f"<li><details><summary>{_words(first)} its numbers</summary>{table}</details></li>"


def _words(text: str) -> str:
    """Text as HTML; what stands between backticks is code."""
    return re.sub(r"`([^`]+)`", r"<code>\1</code>", escape(text))


def _typed(inputs: Mapping[str, Any]) -> str:
    """Inputs as one would type them to call the function again; of a long list only the start."""
    typed = [f"{name}={_value(value, indent=len(name) + 1)}" for name, value in inputs.items()]
    return (",\n" if any("\n" in each for each in typed) else ", ").join(typed)


def _value(value: Any, indent: int = 0) -> str:
    if not isinstance(value, list):
        return repr(value) if isinstance(value, str) else f"{value:.6g}"
    shown = (
        [*map(_value, value)]
        if len(value) <= LONG
        else [_value(value[0]), f"… {len(value)} in all"]
    )
    line = "[" + ", ".join(shown) + "]"
    if len(line) <= WIDE or len(value) > LONG or not isinstance(value[0], list):
        return line
    return _table(value, indent)


def _table(rows: list[Any], indent: int) -> str:
    """A table of numbers, or a list of such, row below row in columns."""
    if isinstance(rows[0][0], list):
        shown = [_table(each, indent + 1) for each in rows]
    else:
        cells = [[f"{round(number, 4) + 0.0:g}" for number in row] for row in rows]
        widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
        shown = ["[" + ", ".join(map(str.rjust, row, widths)) + "]" for row in cells]
    return "[" + (",\n" + " " * (indent + 1)).join(shown) + "]"
