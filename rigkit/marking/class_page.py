"""The teacher's page of a whole class: runs to look at, questions to explain again, everyone.

Without a script nothing can be sorted by hand, so every list stands in the order of need.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigkit import course, templates
from rigkit.homework import checking
from rigkit.marking import learner_page, page
from rigkit.marking.entry import FINISHED, Entry, Learner, Terms

__all__ = ["html", "models", "needing", "reasons", "sentence_of", "tenths", "to_explain", "write"]

NAME = "class.html"
MANY = 100  # a table of more learners than that is folded away
SHORT = 400  # bytes of a text in a list; a learner's page has more
FEW = 10  # so many names stand beside a count


def write(entries: Sequence[Entry], out: Path, **found: Any) -> Path:
    """Write the class page into the folder `out`; takes what `html` takes, returns its path."""
    course.write_whole(out / NAME, html(entries, **found).encode())
    return out / NAME


def html(
    entries: Sequence[Entry],
    groups: Iterable[Any] = (),
    missing: Sequence[tuple[str, Learner]] = (),
    problems: Iterable[Any] = (),
    cut: bool = False,
) -> str:
    """The page of a class: self-contained HTML, the same each time.

    Parameters
    ----------
    entries : sequence of Entry
        The latest of each learner and lesson.
    groups : sequence
        Submissions that are alike: each with `lesson`, `learners` (their ids), `share` (1 for
        identical ones) and a `sentence` on how.
    missing : sequence of (lesson, Learner)
        Learners who handed in nothing.
    problems : sequence
        Files that belong to nobody or cannot be read: each with `place` and `why`.
    cut : bool
        True if not everything was looked at, so that it is not known who handed in nothing.

    Returns
    -------
    str
    """
    entries = sorted(entries, key=lambda entry: (entry.lesson, *_order(entry.learner)))
    lessons = sorted({entry.lesson for entry in entries} | {lesson for lesson, _ in missing})
    sections = _sections(entries, lessons, groups, missing, problems)
    return templates.render(
        "marking/class.html",
        page=page,
        style=page.STYLE,
        page_of=learner_page.address,
        reasons=reasons,
        cells=_cells,
        lessons=sorted({entry.lesson for entry in entries}),
        several=len(lessons) > 1,
        by_id={entry.learner.id: entry for entry in entries},
        tiles=_tiles(entries, None if cut else len({learner.id for _, learner in missing})),
        unjailed=sum(page.is_unjailed(entry.about) for entry in entries),
        sections=[section for section in sections if section.data or section.always],
        FEW=FEW,
        MANY=MANY,
        SHORT=SHORT,
    )


@dataclass(frozen=True)
class _Section:
    """A section of the page: the macro that shows it, and the data it shows."""

    kind: str
    id: str
    title: str
    data: Any
    more: str = ""  # of the heading, after a colon
    always: bool = False


def _sections(
    entries: Sequence[Entry],
    lessons: Sequence[str],
    groups: Iterable[Any],
    missing: Sequence[tuple[str, Learner]],
    problems: Iterable[Any],
) -> Iterator[_Section]:
    """The sections, in their order."""
    of = {lesson: [entry for entry in entries if entry.lesson == lesson] for lesson in lessons}
    yield _Section("look", "look", "Look at these first", needing(entries), always=True)
    for lesson in lessons:
        title, data = f"Lesson {page.plain(lesson, 20)}", _lesson(of[lesson])
        yield _Section("lesson", f"lesson-{lesson}", title, data, page.lesson_title(lesson), True)
    alike = sorted(groups, key=lambda group: (-group.share, -len(group.learners), group.learners))
    yield _Section("alike", "alike", "Alike", alike)
    absent = sorted(missing, key=lambda pair: (pair[0], *_order(pair[1])))
    yield _Section("missing", "missing", "Missing", absent, f"{len(absent):,}")
    yield _Section("files", "files", "Files left over", list(problems))
    corrected = [
        {"entry": entry, "override": override} for entry in entries for override in entry.overrides
    ]
    yield _Section("corrections", "corrections", "Corrections", corrected)
    for lesson in lessons:
        title = f"Everyone in lesson {page.plain(lesson, 20)}" if lessons[1:] else "Everyone"
        data = _everyone(lesson, of[lesson]) if of[lesson] else None
        yield _Section("everyone", f"everyone-{lesson}", title, data)
    yield _Section("how", "how", "How it was marked", _how(entries), always=True)


def _tiles(entries: Sequence[Entry], missing: int | None) -> list[tuple[str, str]]:
    """The numbers of people: not marked and missing are those who are so in one lesson at least."""
    theirs: dict[str, list[float | None]] = defaultdict(list)
    for entry in entries:
        theirs[entry.learner.id].append(entry.score)
    marked = {who: scores for who, scores in theirs.items() if None not in scores}
    known = [[score for score in scores if score is not None] for scores in theirs.values()]
    return [
        (f"{len(theirs):,}", "handed in"),
        (f"{len(marked):,}", "marked"),
        (f"{len(theirs) - len(marked):,}", "not marked"),
        ("?" if missing is None else f"{missing:,}", "missing"),
        (_mean(sum(scores) / len(scores) for scores in known if scores), "on average"),
    ]


def _need(entry: Entry) -> int:
    if not entry.needs_a_look:
        return 3
    return 0 if entry.score is None else 1 if entry.end != FINISHED else 2


def _lesson(entries: Sequence[Entry]) -> dict[str, Any] | None:
    """One lesson: the question to explain again, the spread of totals, questions, wrong models."""
    marked = [entry for entry in entries if entry.score is not None]
    if not marked:
        return None
    followed = sorted(models(marked).items(), key=lambda item: (-len(item[1]), item[0]))
    terms = marked[0].terms
    return {
        "again": _again(marked),
        "totals": page.columns(tenths(marked)),
        "questions": list(_questions(marked)),
        "models": [
            {
                "question": question,
                "name": model,
                "sentence": sentence_of(question, model, terms),
                "entries": who,
            }
            for (question, model), who in followed
        ],
    }


def _again(entries: Sequence[Entry]) -> dict[str, Any] | None:
    """The question to explain again in class, and why; None if there is none."""
    question = to_explain(entries)
    if question is None:
        return None
    asks = page.asks_of(question, entries[0].terms)
    followed = {model: who for (asked, model), who in models(entries).items() if asked == question}
    answers = sum(map(len, followed.values()))
    if answers >= 2:
        model = max(followed, key=lambda name: (len(followed[name]), name))
        return {
            "question": question,
            "asks": asks,
            "answers": answers,
            "learners": len(followed[model]),
            "model": sentence_of(question, model, entries[0].terms),
        }
    scores = [score for _, score in _by_question(entries)[question]]
    again = {"question": question, "asks": asks, "mean": _mean(scores), "model": ""}
    return again if min(scores) < 1 else None


def _questions(entries: Sequence[Entry]) -> Iterator[dict[str, Any]]:
    """The spread of each question: how many answers have each word, and the mean score."""
    words: dict[str, Counter[str]] = defaultdict(Counter)
    for entry in entries:
        for question, word in page.words_of(entry).items():
            words[question][word] += 1
    for question, scores in _by_question(entries).items():
        yield {
            "id": question,
            "asks": page.asks_of(question, entries[0].terms),
            "counts": {word: words[question][word] for word in page.WORDS},
            "mean": _mean(score for _, score in scores),
        }


def _everyone(lesson: str, entries: Sequence[Entry]) -> dict[str, Any]:
    """Everyone who handed in, the neediest first, with the questions that have scores."""
    ordered = sorted(
        entries,
        key=lambda entry: (
            _need(entry) if entry.score is None else 1,
            -1 if entry.score is None else entry.score,
            *_order(entry.learner),
        ),
    )
    return {"lesson": lesson, "entries": ordered, "questions": list(_by_question(entries))}


def _cells(entry: Entry, questions: Iterable[str]) -> Iterator[tuple[str, str]]:
    """(ink, score in percent) of each question; the ink is empty where there is no score."""
    words = page.words_of(entry)
    for question in questions:
        word = words.get(question)
        score = "–" if word in (None, checking.BLANK) else f"{100 * entry.scores[question]:.0f}"
        yield page.WORDS[word][1] if word else "", score


def _how(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """The facts of how a class was marked."""
    said = {"kind": "", "bwrap": "", "kernel": "kernel ", "python": "Python ", "numpy": "NumPy "}
    runs = {
        tuple(f"{word}{jail[name]}" for name, word in said.items() if jail.get(name))
        for entry in entries
        if (jail := page.jail_of(entry.about))
    }
    facts = [("jail", ", ".join(run)) for run in sorted(runs)]
    versions = {str(entry.about["rigkit"]) for entry in entries if entry.about.get("rigkit")}
    facts += [("rigkit", version) for version in sorted(versions)]
    times = sorted(entry.time for entry in entries if entry.time)
    if times:
        ends = dict.fromkeys((page.when(times[0]), page.when(times[-1])))
        facts.append(("marked", " to ".join(ends)))
    return facts


# --- what the notebook asks too


def needing(entries: Sequence[Entry]) -> list[Entry]:
    """The entries whose run needs a look: not marked first, then cut short, then flagged."""
    return sorted(
        (entry for entry in entries if _need(entry) < 3),
        key=lambda e: (_need(e), *_order(e.learner)),
    )


def reasons(entry: Entry) -> Sequence[str]:
    """Sentences on why an entry needs a look; the flags tell of a run cut short already."""
    return (
        [text for text in (entry.why, *entry.notes) if text]
        if entry.score is None
        else entry.notes or (entry.why,)
    )


def to_explain(entries: Sequence[Entry]) -> str | None:
    """The id of the question to explain again; None where nothing has a score.

    It is the one with most answers that follow a wrong model, at least two, else the one with the
    lowest average.
    """
    means = {
        question: sum(score for _, score in scores) / len(scores)
        for question, scores in _by_question(entries).items()
    }
    asked: Counter[str] = Counter()
    for (question, _), who in models(entries).items():
        asked[question] += len(who)
    if max(asked.values(), default=0) >= 2:
        return max(asked, key=lambda question: (asked[question], -means[question], question))
    return min(means, key=lambda question: (means[question], question)) if means else None


def tenths(entries: Sequence[Entry]) -> dict[str, int]:
    """The number of totals in each tenth, by its name in percent."""
    found = Counter(min(int(10 * entry.score), 9) for entry in entries if entry.score is not None)
    return {f"{10 * i}–{10 * i + 9 if i < 9 else 100}": found[i] for i in range(10)}


def models(entries: Sequence[Entry]) -> dict[tuple[str, str], list[Entry]]:
    """Entries that follow a wrong model, by (question's id, misconception's name), as measured."""
    found: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        for outcome in entry.outcomes if entry.marked else ():
            if outcome.misconception:
                found.setdefault((outcome.question, outcome.misconception), []).append(entry)
    return found


def sentence_of(question_id: str, model: str, terms: Terms) -> str:
    """A wrong model in words; its name where neither course nor plan has it any more."""
    question = page.question_of(question_id, terms)
    found = (
        [wrong.sentence for wrong in question.misconceptions if wrong.name == model]
        if question
        else []
    )
    return found[0] if found else model


def _by_question(entries: Sequence[Entry]) -> dict[str, list[tuple[Entry, float]]]:
    """Each question's (entry, score) pairs, in the lesson's order."""
    found: dict[str, list[tuple[Entry, float]]] = {}
    for entry in sorted(entries, key=lambda entry: -len(entry.outcomes)):
        for question, score in entry.scores.items():
            found.setdefault(question, []).append((entry, score))
    return found


def _mean(scores: Iterable[float]) -> str:
    scores = list(scores)
    return page.percent(sum(scores) / len(scores)) if scores else "–"


def _order(learner: Learner) -> tuple[str, str]:
    return learner.name.casefold(), learner.id
