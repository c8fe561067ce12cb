"""A question: data, a draw, a judge, and the wrong models that learners really have."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

Case = dict[str, Any]  # a question's inputs by name
Shape = tuple[Any, ...]  # of one part of an answer: see `Question.returns`

YOUR_LEG = "your-leg"  # what stands for a lesson's number in questions on the leg from the bench
WORDS = (str,)  # the shape of a list of words, of any length
REPORT = (dict,)  # the shape of what an inspection finds in a rig file


@dataclass(frozen=True)
class Misconception:
    """A wrong model of a question: a working function, and the sentence for who follows it.

    Attributes
    ----------
    name : str
    answer : callable
        Takes a case's values in their order, like a learner's function; also for questions asked
        for a value. For a file it gives the `gltf.Asset` that such a file would hold; for the bench
        it takes a state and gives the measurement that tells it, "" where it is not this.
    sentence : str
        Completes "These are the values you get when …".
    whole : bool
        True if the sentence is a whole one, and is said as it stands.
    """

    name: str
    answer: Callable[..., Any]
    sentence: str
    whole: bool = False

    def __repr__(self) -> str:
        if self.whole:
            return f"Misconception {self.name}: {self.sentence}"
        return f"Misconception {self.name}: you get this when {self.sentence}."


@dataclass(frozen=True)
class Verdict:
    """The worth of one measured answer.

    Attributes
    ----------
    score : float
        0 to 1.
    sentence : str
        One a learner can act on; it never says the right answer.
    measured : dict of str to str
        Each number with its unit, under the words that name it.
    picture : dict or None
        What a stage of this case needs: see `rigkit.homework.picture`.
    """

    score: float
    sentence: str
    measured: Mapping[str, str] = field(default_factory=dict)
    picture: dict[str, Any] | None = None

    def __repr__(self) -> str:
        measured = "; ".join(f"{what}: {number}" for what, number in self.measured.items())
        return f"Verdict, score {self.score:.0%}: {self.sentence}" + (
            f" {measured}" if measured else ""
        )


@dataclass(frozen=True)
class Hints:
    """Help with a question in three steps, each shown when it is asked for.

    Attributes
    ----------
    nudge : str
        A sentence that says where to look, and never the answer.
    section : str
        The heading in the lesson of the same number under which it is explained.
    smaller : str
        A smaller case of the same question with its answer, as one finds it on paper.
    """

    nudge: str
    section: str
    smaller: str


@dataclass(frozen=True)
class Question:
    """Something asked, and how its answers are measured.

    Attributes
    ----------
    lesson, name : str
        The lesson's two digits; the function's name, or the keyword of a value.
    asks : str
        One line for lists.
    kind : {"function", "value", "file", "bench"}
        A function is called with drawn cases. A value answers the one case in the learner's text;
        so does a rig file, which is inspected. A step of the bench has no case: its file is
        measured.
    returns : dict of str to tuple
        The parts of an answer, in order: for numbers their shape, () for a single one; for a choice
        its options; for a list of words `WORDS`; for a file the one part `REPORT`.
    draw : callable
        `draw(rng, character)`: a list of cases, each a dict of JSON values in the order of the
        function's arguments. A value's or a file's draw gives one case.
    judge : callable
        `judge(inputs, output)`: a `Verdict`. `output` holds the parts under their names: finite
        arrays, an option, a list of words, or an inspection's data.
    misconceptions : tuple of Misconception
    same : callable, optional
        `same(mine, theirs)`: True if one part of an answer is that of a misconception. If not
        given, what a function returns must be equal but for rounding, and a typed value to a
        hundredth of itself.
    hints : Hints, optional
    shows : callable, optional
        Given a case's values in their order, a panel of the lesson with that case in it.
    """

    lesson: str
    name: str
    asks: str
    kind: str
    returns: Mapping[str, Shape]
    draw: Callable[..., list[Case]]
    judge: Callable[[Case, dict[str, Any]], Verdict]
    misconceptions: tuple[Misconception, ...]
    same: Callable[[Any, Any], bool] | None = None
    hints: Hints | None = None
    shows: Callable[..., Any] | None = None

    def __repr__(self) -> str:
        return f"Question {self.id}, a {self.kind}: {self.asks}"

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        from rigkit import display  # here, because marking asks questions and shows none of them

        rows = [
            ("asks", self.asks),
            *((name, _in_words(shape)) for name, shape in self.returns.items()),
            ("hand in", self.hand_in),
        ]
        return {
            "text/plain": repr(self),
            "text/html": display.table((self.id, f"a {self.kind}"), rows),
        }

    @property
    def hand_in(self) -> str:
        """The call that hands an answer in."""
        return f"hw.check({self.name})" if self.kind == "function" else f"hw.check({self.name}=…)"

    @property
    def id(self) -> str:
        """The name a solution's answer cell carries, such as "06/solve_leg"."""
        return f"{self.lesson}/{self.name}"


def _in_words(shape: Shape) -> str:
    """One part of an answer, in words."""
    if shape in (WORDS, REPORT):
        return "a list of words" if shape == WORDS else "a rig, inspected"
    if not shape:
        return "a number"
    if all(isinstance(option, str) for option in shape):
        return f"one of {', '.join(shape)}"
    return f"numbers of shape ({', '.join(map(str, shape))}{',' * (len(shape) == 1)})"
