"""One learner's page: the worth of every answer and why, with a picture of where it went wrong.

It is the learner's own: it names nobody else, and shows neither a teacher's flags nor any seed.
"""

import hashlib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from markupsafe import Markup

from rigkit import course, templates
from rigkit.homework import checking, picture
from rigkit.homework.checking import Outcome
from rigkit.marking import page
from rigkit.marking.entry import FINISHED, Entry, Learner, Override

__all__ = [
    "FOLDER",
    "address",
    "drawing",
    "html",
    "is_there",
    "name_of_file",
    "write",
    "write_html",
]

FOLDER = "learners"

_PLAIN_ID = re.compile(r"[a-z0-9](?:[a-z0-9._-]{0,62}[a-z0-9])?")
# by Windows, and by ids made longer
_TAKEN = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?|.*-[0-9a-f]{16}")
_ENDS = {  # words on an end, or advice
    FINISHED: "Your notebook was run from its first cell to its last.",
    "time limit": "Look for a loop that never ends.",
    "memory": "Look for something that grows without end.",
    "output limit": "Look for a print in a loop that never ends.",
    "file limit": "Look for a file that is made in a loop that never ends.",
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
    """The name of a learner's page: their id where any system can have it, else made from it."""
    text = learner.id
    if _PLAIN_ID.fullmatch(text) and not _TAKEN.fullmatch(text):
        return f"{text}.html"
    stem = re.sub("[^a-z0-9]+", "-", text[:200].lower()).strip("-")[:40] or "learner"
    return f"{stem}-{hashlib.sha256(text.encode(errors='surrogatepass')).hexdigest()[:16]}.html"


def address(learner: Learner) -> str:
    """The link to a learner's page from the folder of results."""
    return f"{FOLDER}/{name_of_file(learner)}"


def write(learner: Learner, entries: Iterable[Entry], out: Path) -> Path:
    """Write a learner's page into the folder `out`/learners; returns its path."""
    return write_html(learner, html(learner, entries), out)


def write_html(learner: Learner, page: str, out: Path) -> Path:
    """Write a page that is made already; returns its path."""
    path = out / address(learner)
    course.write_whole(path, page.encode())
    return path


def is_there(learner: Learner, out: Path) -> bool:
    """True if a learner has a page; a power cut can leave an empty one, which is none."""
    path = out / address(learner)
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
    return templates.render(
        "marking/learner.html",
        page=page,
        style=page.STYLE,
        learner=learner,
        also=[text for text in (learner.id, learner.group) if text and text != learner.name],
        lessons=[_lesson(entry) for entry in sorted(entries, key=lambda entry: entry.lesson)],
    )


def _lesson(entry: Entry) -> dict[str, Any]:
    """One lesson of the page."""
    found = {outcome.question: outcome for outcome in entry.outcomes} if entry.marked else {}
    overrides = {one.question: one for one in entry.overrides if one is not entry.whole}
    feedback = {question: text for question, text in entry.feedback.items() if "/" in question}
    words = list(page.words_of(entry).values())
    ran = entry.end == FINISHED and entry.marked and entry.about.get("cells") != []
    return {
        "entry": entry,
        "title": page.lesson_title(entry.lesson),
        "counts": {word: words.count(word) for word in page.WORDS},
        "feedback": entry.feedback.get(entry.lesson, ""),
        "advice": _ENDS.get(entry.end, ""),
        "questions": [
            _question(question, found.get(question), overrides.get(question))
            | {
                "asks": page.asks_of(question, entry.terms),
                "feedback": feedback.get(question, ""),
            }
            for question in dict.fromkeys([*found, *overrides, *feedback])
        ],
        "ran": entry.about.get("told") or ([_ENDS[FINISHED]] if ran else []),
        "facts": [
            (name, value) for name, value in _facts(entry).items() if value not in ("", None)
        ],
    }


def _question(
    question_id: str, outcome: Outcome | None, override: Override | None
) -> dict[str, Any]:
    """One question: its word and score, its outcome with a picture, the teacher's correction."""
    score, word, before = 0.0, "", ""
    if outcome:
        score, word = outcome.score, outcome.word
    if override:
        before = page.percent(score) if outcome else ""
        score, word = override.score, checking.word_for(override.score, override.score == 1)
    return {
        "id": question_id,
        "outcome": outcome,
        "override": override,
        "score": score,
        "word": word,
        "before": before if before != page.percent(score) else "",
        "drawing": drawing(outcome) if outcome and outcome.word != checking.RIGHT else "",
    }


def drawing(outcome: Outcome) -> Markup:
    """The picture of an outcome as SVG for a page that has the stage's style; "" without one."""
    if not outcome.picture:
        return Markup("")
    try:
        return Markup(picture.draw(_plain(outcome.picture)).svg(style=False))
    except Exception:  # whatever an answer did to its picture, there is a page
        return Markup('<p class="soft">This case is too far from a leg to be drawn.</p>')


def _plain(value: Any) -> Any:
    """A picture's ingredients with every text in them made harmless."""
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return page.plain(value, page.MOST_NAME * 4) if isinstance(value, str) else value


def _facts(entry: Entry) -> dict[str, Any]:
    """The facts of how a lesson was run, by the words for them."""
    rigs = {
        f"rig file for {name}": rig["file"]
        for name, rig in entry.about.get("rigs", {}).items()
        if rig["file"] != entry.file
    }
    known = {**entry.about, **page.jail_of(entry.about)}
    how = {said: known[name] for name, said in _HOW.items() if isinstance(known.get(name), str)}
    return {
        "file": entry.file,
        **rigs,
        f"SHA-256 of the file{'s, all together' if rigs else ''}": entry.digest,
        "marked": page.when(entry.time),
        **how,
    }
