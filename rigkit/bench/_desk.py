"""The bench as a step with a widget of its own knows it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from rigkit.bench.book import Book
from rigkit.bench.state import State


class Desk(Protocol):
    """The leg as it is, the learner's file, and the way to change both."""

    state: State
    book: Book
    path: Path
    repaint: Callable[[], None] | None
    """Shows what is painted now, where the step's own widget does so without being made anew."""

    def move(self, state: State, then: Callable[[], None]) -> None:
        """Take over a state that a hand still moves; `then` is called once it rests and is kept."""

    def take(self, state: State, shown: bool = False) -> None:
        """Take over a state and keep it; `shown` if the step's widget shows it already."""

    def history(self, way: str, own: str = "") -> None:
        """Go back or ahead in the history; `own` is the field the step's widget shows by itself."""
