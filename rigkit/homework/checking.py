"""The teacher's side of a check: draw the cases, and score the records that `calling` made of them.

Nothing here calls a learner's code. A check is `draw`, then `calling.call` or
`calling.record_value`, then `score_answers`; what passes between the three is JSON, so the middle
one can run elsewhere.
"""

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rigkit._check import short
from rigkit.homework import calling
from rigkit.homework.calling import Record
from rigkit.homework.question import REPORT, WORDS, Case, Misconception, Question, Shape, Verdict
from rigkit.puppets import Puppet

RIGHT, NEARLY, NOT_YET, BLANK = "Right", "Nearly", "Not yet", "Not attempted yet"
LARGEST = 1e9
ROUNDED = 0.01  # the share by which a typed number may differ from one it stands for


@dataclass(frozen=True)
class Outcome:
    """The result of a check; all of it JSON data.

    Attributes
    ----------
    question : str
        The question's id.
    word : str
        "Right", "Nearly", "Not yet" or "Not attempted yet".
    score : float
        The mean over the cases, 0 to 1.
    sentence : str
        Of the worst case, or of the misconception that the whole answer follows.
    right, cases : int
    inputs : dict
        The worst case.
    measured, picture
        Its numbers, and what its picture needs.
    misconception : str or None
    printed : int
        How many characters the learner's function printed.
    partly : int
        How many cases are right in part.
    part : str
        The sentence of the best of these, where `sentence` is another one.
    """

    question: str
    word: str
    score: float
    sentence: str
    right: int = 0
    cases: int = 0
    inputs: Case = field(default_factory=dict)
    measured: Mapping[str, str] = field(default_factory=dict)
    picture: dict[str, Any] | None = None
    misconception: str | None = None
    printed: int = 0
    partly: int = 0
    part: str = ""

    @property
    def counts(self) -> str:
        """The numbers of cases in words, and what those right in part earn; empty for one case."""
        if self.cases < 2:
            return ""
        if not self.partly:
            return f"{self.right} of {self.cases} cases right"
        worth = (self.score * self.cases - self.right) / self.partly
        return (
            f"{self.right} of {self.cases} cases right, {self.partly} partly, at {worth:.0%}"
            f"{' on average' if self.partly > 1 else ''}"
        )

    def __repr__(self) -> str:
        return (
            f"Outcome of {self.question or 'no question'}, {self.right} of {self.cases} cases"
            f" right, score {self.score:.0%}. {self.word}: {self.sentence}"
        )


def generator(*words: object) -> np.random.Generator:
    """A numpy Generator seeded by words, such as a learner's name and a question's id."""
    digest = hashlib.sha256("\n".join(map(str, words)).encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:16], "big"))


def draw(question: Question, character: Puppet, rng: np.random.Generator) -> list[Case]:
    """The question's cases as JSON data: floats, text, and lists of either."""
    return [
        {name: _json(value) for name, value in case.items()}
        for case in question.draw(rng, character)
    ]


def records_of_model(
    question: Question, answer: Callable[..., Any], cases: Sequence[Case]
) -> list[Record]:
    """The records of a model of a question, such as a misconception; see `calling.call`."""
    if question.kind == "file":
        from rigkit.homework import rig_file  # here, because only few questions need it

        return calling.call(lambda *inputs: rig_file.findings(answer(*inputs)), cases, seconds=None)
    return calling.call(answer, cases, seconds=None)


def score_answers(question: Question, cases: Sequence[Case], records: Sequence[Record]) -> Outcome:
    """Score an answer by the cases and their records alone.

    Parameters
    ----------
    question : Question
    cases : list of dict
        As `draw` gave them.
    records : list of dict
        As `calling.call` or `calling.record_value` made them; fewer records than cases leave the
        rest unanswered.

    Returns
    -------
    Outcome
    """
    records = [*records, *[{"end": "nothing"}] * (len(cases) - len(records))]
    if all(record.get("end") == "blank" for record in records):
        return Outcome(
            question.id,
            BLANK,
            0.0,
            f"write your answer to `{question.name}`, then run the check again.",
            cases=len(cases),
        )
    verdicts = [
        _verdict(question, case, record) for case, record in zip(cases, records, strict=True)
    ]
    scores = [verdict.score for verdict in verdicts]
    worst = int(np.argmin(scores))
    parts = [verdict for verdict in verdicts if 0 < verdict.score < 1]
    part = max(parts, key=lambda verdict: verdict.score).sentence if parts else ""
    right = sum(score == 1 for score in scores)
    found = None if right == len(cases) else _misconception(question, cases, records)
    sentence = verdicts[worst].sentence if found is None else _said(question, found)
    score = float(np.mean(scores))
    return Outcome(
        question.id,
        word_for(score, right == len(cases)),
        score,
        sentence,
        right,
        len(cases),
        cases[worst],
        {name: _true_minus(text) for name, text in verdicts[worst].measured.items()},
        verdicts[worst].picture,
        None if found is None else found.name,
        sum(record.get("printed", 0) for record in records),
        len(parts),
        part if part != sentence else "",
    )


def _true_minus(text: str) -> str:
    """A measured text in which a hyphen before a number is a minus sign."""
    return re.sub(r"(?<![\w\])-])-(?=[\d.])", "−", text)


def _said(question: Question, found: Misconception) -> str:
    """The sentence for who follows a misconception."""
    if found.whole:
        return found.sentence
    got = "this is the rig" if question.kind == "file" else "these are the values"
    return f"{got} you get when {found.sentence}."


def word_for(score: float, right: bool) -> str:
    """The word for a score, 0 to 1, of an answer that is `right` in every case or is not."""
    return RIGHT if right else NEARLY if score >= 0.6 else NOT_YET


class AnswerError(Exception):
    """An answer that cannot be measured; the text completes "your answer …"."""


def parse_answer(returns: Mapping[str, Shape], output: Any) -> dict[str, Any]:
    """The parts of an answer under their names.

    Parameters
    ----------
    returns : dict of str to tuple
        A question's: see `Question.returns`.
    output : object
        JSON data: the parts in their order or by name, or the only part itself.

    Returns
    -------
    dict
        Finite float arrays of the promised shapes, an option, a list of words, or a report.

    Raises
    ------
    AnswerError
        The wrong number of parts, the wrong shape, text for numbers, or a number that is not
        finite.
    """
    parts = _parts(returns, output)
    for name, value in parts.items():
        if isinstance(value, np.ndarray) and not np.isfinite(value).all():
            raise AnswerError(
                f"has a number that is not finite in {name}: a division by zero, or a root or arc"
                " cosine of something out of its range"
            )
        if isinstance(value, np.ndarray) and not (np.abs(value) <= LARGEST).all():
            raise AnswerError(
                f"has a number of more than {LARGEST:,.0f} in {name}, far more than can be meant:"
                " look for an exponent, a factor too many, or a division by almost nothing"
            )
    return parts


def describe_parts(returns: Mapping[str, Shape]) -> str:
    """An answer's parts in words: "rank (a number), singular values (2 numbers)"."""
    return ", ".join(
        _part_text(shape) if shape == REPORT else f"{name} ({_part_text(shape)})"
        for name, shape in returns.items()
    )


def _verdict(question: Question, case: Case, record: Record) -> Verdict:
    if "out" not in record:
        return Verdict(0.0, _ended(question, record))
    try:
        output = parse_answer(question.returns, record["out"])
    except AnswerError as error:
        return Verdict(0.0, f"your answer {error}. Wanted: {describe_parts(question.returns)}.")
    with np.errstate(all="ignore"):
        return question.judge({name: _array(value) for name, value in case.items()}, output)


def _ended(question: Question, record: Record) -> str:
    end = record["end"]
    if end == "raised":
        place = f" in line {record['line']}" if record["line"] else ""
        return (
            f"your function stopped{place} with {record['type']}: {record['message']}".rstrip(": .")
            + "."
        )
    if end == "stopped":
        after = f" after {record['seconds']:g} seconds" if record["seconds"] else ""
        return (
            f"your function was stopped{after} without an answer; look for a loop that never ends."
        )
    if end == "unreadable":
        return f"your answer is {record['what']}. Wanted: {describe_parts(question.returns)}."
    if end == "blank":
        return "your answer is still `...` for some inputs."
    return (
        f"your answer is None; is a `return` missing? Wanted: {describe_parts(question.returns)}."
    )


def _misconception(
    question: Question, cases: Sequence[Case], records: Sequence[Record]
) -> Misconception | None:
    """The misconception that the answer follows on every case, and that is wrong here."""
    try:
        mine = [_comparable(question.returns, record) for record in records]
    except AnswerError:
        return None
    for wrong in question.misconceptions:
        with np.errstate(all="ignore"):
            theirs = records_of_model(question, wrong.answer, cases)
        if all(_same(question, a, b) for a, b in zip(mine, theirs, strict=True)):
            if all(_verdict(question, c, r).score == 1 for c, r in zip(cases, theirs, strict=True)):
                continue
            return wrong
    return None


def _same(question: Question, mine: Mapping[str, Any], record: Record) -> bool:
    """True if a record holds the same answer as these parts."""
    try:
        theirs = _comparable(question.returns, record)
    except AnswerError:
        return False
    same = question.same or (_rounded if question.kind == "value" else _close)
    return all(same(mine[name], theirs[name]) for name in question.returns)


def _comparable(returns: Mapping[str, Shape], record: Record) -> dict[str, Any]:
    """The parts of an answer; no number at all, or the error that gives, becomes NaN."""
    return _parts(returns, _or_nan(returns, record))


def _or_nan(returns: Mapping[str, Shape], record: Record) -> Any:
    if record.get("end") == "raised" and record["type"] in (
        "ValueError",
        "ZeroDivisionError",
        "FloatingPointError",
    ):
        return _nans(returns)
    if "out" not in record:
        raise AnswerError("is missing")
    return record["out"]


def _nans(returns: Mapping[str, Shape]) -> Any:
    parts = [
        None
        if shape in (REPORT, WORDS)
        else shape[0]
        if _is_choice(shape)
        else np.full(shape, np.nan).tolist()
        for shape in returns.values()
    ]
    return parts[0] if len(parts) == 1 else parts


def _close(a: Any, b: Any) -> bool:
    if isinstance(a, dict):
        return _found(a) == _found(b) != set()
    if not isinstance(a, np.ndarray):
        return a == b
    return np.allclose(a, b, rtol=1e-3, atol=1e-4, equal_nan=True)


def _rounded(a: Any, b: Any) -> bool:
    """True if a value typed by hand, rounded as people do, is another one."""
    if isinstance(a, np.ndarray):
        return np.allclose(a, b, rtol=ROUNDED, atol=1e-4, equal_nan=True)
    return _close(a, b)


def _found(report: Mapping[str, Any]) -> set[str]:
    """The rules that an inspection has findings of."""
    return {finding["rule"] for finding in report["findings"] if finding["status"] == "finding"}


def _parts(returns: Mapping[str, Shape], output: Any) -> dict[str, Any]:
    """Like `parse_answer`, but NaN may stand where a number was not finite."""
    if len(returns) == 1:
        values = [output]
    elif isinstance(output, dict):
        values = [output.get(name) for name in returns]
    else:
        values = output
    if not isinstance(values, list) or len(values) != len(returns):
        raise AnswerError(f"does not have {len(returns)} parts")
    return {
        name: _part(name, shape, value)
        for (name, shape), value in zip(returns.items(), values, strict=True)
    }


def _part(name: str, shape: Shape, value: Any) -> Any:
    typed = _quoted(value)
    if shape == REPORT:
        if not isinstance(value, dict) or "rigkit_inspection" not in value:
            raise AnswerError("is not a rig file")
        return value
    if shape == WORDS:
        if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
            raise AnswerError(f"has something other than a list of words for {name}: {typed}")
        return value
    if _is_choice(shape):
        if not isinstance(value, str) or value.strip().lower() not in shape:
            raise AnswerError(f"has something else for {name}: {typed}")
        return value.strip().lower()
    if _has(value, str) or _has(value, bool):
        raise AnswerError(
            f"has {'text' if _has(value, str) else 'true or false'} for {name}, where numbers"
            f" belong: {typed}"
        )
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        raise AnswerError(f"has rows of different lengths in {name}") from None
    if shape == () and _is_decimal_comma(array):
        whole, part = map(int, array)
        raise AnswerError(
            f"has a decimal comma: {whole},{part} is two numbers in Python; write {whole}.{part}"
        )
    if array.shape != shape and array.squeeze().shape != shape:
        raise AnswerError(f"has shape {array.shape} for {name}")
    return array.reshape(shape)


def _quoted(value: Any) -> str:
    """A part of an answer as it was typed, cut short."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return "nothing" if value is None else short(value)


def _is_decimal_comma(array: np.ndarray) -> bool:
    """True if an array is what Python makes of "0,66"."""
    return array.shape == (2,) and bool((array == np.floor(array)).all()) and array[1] >= 0


def _part_text(shape: Shape) -> str:
    if shape in (REPORT, WORDS):
        return "a rig file, .glb or .gltf" if shape == REPORT else "a list of words"
    if _is_choice(shape):
        return " or ".join(f'"{option}"' for option in shape)
    return "a number" if shape == () else " × ".join(map(str, shape)) + " numbers"


def _is_choice(shape: Shape) -> bool:
    return len(shape) > 0 and isinstance(shape[0], str)


def _has(value: Any, kind: type) -> bool:
    return any(_has(v, kind) for v in value) if isinstance(value, list) else isinstance(value, kind)


def _json(value: Any) -> Any:
    if isinstance(value, str):
        return value
    if _has(value, str):
        return [*value]
    return np.asarray(value, dtype=float).tolist()


def _array(value: Any) -> Any:
    return (
        np.array(value, dtype=float) if isinstance(value, list) and not _has(value, str) else value
    )
