"""One learner's page: what every answer was worth and why, with a picture of where it went wrong.

It is the learner's own: it names nobody else, and shows neither what a teacher should look at nor
any seed.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.homework import checking, picture
from rigkit.homework.checking import Outcome
from rigkit.marking import page
from rigkit.marking.entry import FINISHED, Entry, Learner, Override

FOLDER = "learners"

_PLAIN_ID = re.compile(r"[a-z0-9](?:[a-z0-9._-]{0,62}[a-z0-9])?")
_TAKEN = re.compile(
    r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?|.*-[0-9a-f]{16}"
)  # by Windows, and by ids made longer
_ENDS = {  # what to say of an end, or to do about it
    FINISHED: "Your notebook was run from its first cell to its last.",
    "time limit": "Look for a loop that never ends.",
    "memory": "Look for something that grows without end.",
    "output limit": "Look for a print in a loop that never ends.",
    "stopped early": "Look for a line that ends Python itself.",
}
# What a page says of how something was run; all else that is known stays in the record.
_HOW = {
    "kind": "jail",
    "bwrap": "its program",
    "kernel": "kernel",
    "python": "Python",
    "numpy": "NumPy",
    "rigkit": "rigkit",
}


def name_of_file(learner: Learner) -> str:
    """The name of a learner's page in `learners`: their id where any system can have it, else one
    made from it."""
    text = learner.id
    if _PLAIN_ID.fullmatch(text) and not _TAKEN.fullmatch(text):
        return f"{text}.html"
    stem = re.sub("[^a-z0-9]+", "-", text[:200].lower()).strip("-")[:40] or "learner"
    return f"{stem}-{hashlib.sha256(text.encode(errors='surrogatepass')).hexdigest()[:16]}.html"


def write(learner: Learner, entries: Iterable[Entry], out: Path) -> Path:
    """Write a learner's page into the folder `out`/learners; returns its path."""
    return write_html(learner, html(learner, entries), out)


def write_html(learner: Learner, page: str, out: Path) -> Path:
    """Write a page that is made already; returns its path."""
    path = out / FOLDER / name_of_file(learner)
    course.write_whole(path, page.encode())
    return path


def is_there(learner: Learner, out: Path) -> bool:
    """True if a learner has a page; a power cut can leave an empty one, which is none."""
    path = out / FOLDER / name_of_file(learner)
    return path.is_file() and path.stat().st_size > 0


def html(learner: Learner, entries: Iterable[Entry]) -> str:
    """The page of one learner: self-contained HTML, the same each time.

    Parameters
    ----------
    learner : Learner
    entries : sequence of Entry
        Theirs, one a lesson.

    Returns
    -------
    str
    """
    entries = sorted(entries, key=lambda entry: entry.lesson)
    who = [
        page.safe(text, page.MOST_NAME)
        for text in (learner.id, learner.group)
        if text and text != learner.name
    ]
    head = (
        f'<header><p class="soft">Homework</p><h1>{page.name_of(learner)}</h1>'
        + (f'<p class="soft"><bdi>{"</bdi> · <bdi>".join(who)}</bdi></p>' if who else "")
        + "</header>"
    )
    parts = [_lesson(entry) for entry in entries] or ["<p>Nothing was handed in.</p>"]
    title = f"Homework of {page.safe(learner.name or learner.id, page.MOST_NAME)}"
    return page.document(title, f"{head}<main>{''.join(parts)}</main>")


def _lesson(entry: Entry) -> str:
    title = page.lesson_title(entry.lesson)
    head = (
        f"<h2>{page.safe(entry.lesson, 20)}"
        + (f" · {page.escape(title)}" if title else "")
        + "</h2>"
    )
    found = {outcome.question: outcome for outcome in entry.outcomes} if entry.marked else {}
    overrides = {override.question: override for override in entry.overrides}
    questions = [*found, *(question for question in overrides if question not in found)]
    articles = [
        _question(question, found.get(question), overrides.get(question)) for question in questions
    ]
    return (
        f"<section>{head}{_stamp(entry)}{_total(entry)}{''.join(articles)}{_run(entry)}</section>"
    )


def _stamp(entry: Entry) -> str:
    if not page.is_unjailed(entry.about):
        return ""
    return (
        '<p class="alarm"><strong>unjailed</strong>: this homework was run with nothing between it'
        " and the machine that marked it.</p>"
    )


def _total(entry: Entry) -> str:
    if entry.score is None:
        why = f"<p>{page.sentence(entry.why)}</p>" if entry.why else ""
        return (
            f'<div class="total"><b>Not marked</b><div>{why}<p>This is not a zero. Ask your'
            " teacher.</p></div></div>"
        )
    words = list(page.words_of(entry).values())
    counts = {word: words.count(word) for word in page.WORDS}
    cut = (
        ""
        if entry.end == FINISHED
        else f"<p>{page.sentence(entry.why)} {_ENDS.get(entry.end, '')}</p>"
    )
    return (
        f'<div class="total"><b>{page.percent(entry.score)}</b><div>{page.bar(counts)}'
        f"{page.counts_in_words(counts)}</div></div>{cut}"
    )


def _question(question_id: str, outcome: Outcome | None, override: Override | None) -> str:
    """One question: its word and score, what was measured, a picture, and the teacher's
    correction."""
    question = page.question_of(question_id)
    name = page.safe(question_id.partition("/")[2] or question_id, page.MOST_NAME)
    asks = f": {page.escape(question.asks)}" if question else ""
    if override:
        score, word = override.score, checking.word_for(override.score, override.score == 1)
    elif outcome:
        score, word = outcome.score, outcome.word
    parts = [
        f"<h3><code>{name}</code>{asks}</h3>",
        f"<p>{page.mark(word)} · {page.percent(score)}{_cases(outcome)}</p>",
    ]
    if override:
        before = page.percent(outcome.score) if outcome else ""
        instead = f" instead of {before}" if before not in ("", page.percent(score)) else ""
        parts.append(
            f"<p><strong>Corrected by your teacher:</strong> {page.percent(score)}{instead}. "
            f"{page.sentence(override.reason)}</p>"
        )
    figure = ""
    if outcome:
        parts += _found(outcome)
        figure = "" if outcome.word == checking.RIGHT else _figure(outcome)
    kinds = f"said {page.WORDS[word][1]}{' drawn' if figure else ''}"
    return f'<article class="{kinds}"><div>{"".join(parts)}</div>{figure}</article>'


def _cases(outcome: Outcome | None) -> str:
    return (
        f" · {outcome.right} of {outcome.cases} cases right"
        if outcome and outcome.cases > 1
        else ""
    )


def _found(outcome: Outcome) -> Iterator[str]:
    yield f"<p>{page.sentence(outcome.sentence)}</p>"
    if outcome.misconception:
        yield (
            "<p>A known slip, and your answer agrees with it in every case: "
            f"<strong>{page.safe(outcome.misconception, page.MOST_NAME)}</strong>.</p>"
        )
    if outcome.measured:
        rows = "".join(
            f"<dt>{page.safe(name)}</dt><dd>{page.safe(value)}</dd>"
            for name, value in outcome.measured.items()
        )
        yield f'<dl class="measured">{rows}</dl>'


def _figure(outcome: Outcome) -> str:
    drawn = drawing(outcome)
    caption = "<figcaption>The case that went worst</figcaption>" if outcome.cases > 1 else ""
    return f"<figure>{caption}{drawn}</figure>" if drawn else ""


def drawing(outcome: Outcome) -> str:
    """The picture of an outcome as SVG for a page that has the stage's style; "" where there is
    none."""
    if not outcome.picture:
        return ""
    try:
        return picture.draw(_plain(outcome.picture)).svg(style=False)
    except Exception:  # whatever an answer did to its picture, there is a page
        return '<p class="soft">This case is too far from a leg to be drawn.</p>'


def _plain(value: Any) -> Any:
    """A picture's ingredients with every text in them made harmless."""
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return page.plain(value, page.MOST_NAME * 4) if isinstance(value, str) else value


def _run(entry: Entry) -> str:
    rigs = {
        f"rig file for {name}": rig["file"]
        for name, rig in entry.about.get("rigs", {}).items()
        if rig["file"] != entry.file
    }
    facts = {
        "file": entry.file,
        **rigs,
        f"SHA-256 of the file{'s, all together' if rigs else ''}": entry.digest,
        "marked": page.when(entry.time),
        **_how(entry.about),
    }
    rows = "".join(
        f"<dt>{page.escape(name)}</dt><dd><bdi>{page.safe(value)}</bdi></dd>"
        for name, value in facts.items()
        if value not in ("", None)
    )
    ran = entry.end == FINISHED and entry.marked and entry.about.get("cells") != []
    end = f"<p>{_ENDS[FINISHED]}</p>" if ran else ""
    return end + page.folded("What was run, and how", f"<dl>{rows}</dl>")


def _how(about: Mapping[str, Any]) -> dict[str, str]:
    """What may be told of how a homework was run, by the words for it."""
    known = {**about, **page.jail_of(about)}
    return {said: known[name] for name, said in _HOW.items() if isinstance(known.get(name), str)}
