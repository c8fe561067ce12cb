"""The teacher's page of a whole class: who needs a look first, what to explain again, then
everyone.

Without a script nothing can be sorted by hand, so every list stands in the order of need.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.homework import checking
from rigkit.marking import learner_page, page
from rigkit.marking.entry import FINISHED, Entry, Learner

NAME = "class.html"
MANY = 100  # a table of more learners than that is folded away
SHORT = 400  # bytes of a text in a list; a learner's page has more
FEW = 10  # so many names stand beside a count


def write(entries: Sequence[Entry], out: Path, **found: Any) -> Path:
    """Write the class page into the folder `out`; returns its path. `found` is what `html` takes
    besides entries."""
    course.write_whole(out / NAME, html(entries, **found).encode())
    return out / NAME


def html(
    entries: Sequence[Entry],
    groups: Iterable[Any] = (),
    missing: Sequence[tuple[str, Learner]] = (),
    problems: Iterable[Any] = (),
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
        Who handed in nothing.
    problems : sequence
        Files that belong to nobody or cannot be read: each with `place` and `why`.

    Returns
    -------
    str
    """
    entries = sorted(entries, key=lambda entry: (entry.lesson, *_order(entry.learner)))
    lessons = sorted({entry.lesson for entry in entries} | {lesson for lesson, _ in missing})
    several, of = (
        len(lessons) > 1,
        {lesson: [e for e in entries if e.lesson == lesson] for lesson in lessons},
    )
    sections = [
        ("look", "Look at these first", _look(entries, several)),
        *((f"lesson-{lesson}", _title(lesson), _lesson(of[lesson])) for lesson in lessons),
        ("alike", "Alike", _alike(groups, entries, several)),
        ("missing", f"Missing: {len(missing):,}", _missing(missing, several)),
        ("files", "Files left over", _problems(problems)),
        ("corrections", "Corrections", _corrected(entries)),
        *(
            (
                f"everyone-{lesson}",
                f"Everyone{f' in lesson {page.safe(lesson, 20)}' if several else ''}",
                _everyone(lesson, of[lesson]),
            )
            for lesson in lessons
        ),
        ("how", "How it was marked", _how(entries)),
    ]
    sections = [(page.safe(name, 40), head, inner) for name, head, inner in sections if inner]
    links = " · ".join(
        f'<a href="#{name}">{head.partition(":")[0]}</a>' for name, head, _ in sections
    )
    body = "".join(
        f'<section id="{name}"><h2>{head}</h2>{inner}</section>' for name, head, inner in sections
    )
    head = f"{_head(entries, missing)}<nav>{links}</nav>"
    return page.document("The class", f"{head}<main>{_stamp(entries)}{body}</main>")


# --- the sections, in their order


def _head(entries: Sequence[Entry], missing: Sequence[tuple[str, Learner]]) -> str:
    marked = [entry.score for entry in entries if entry.score is not None]
    tiles = [
        (f"{len(entries):,}", "handed in"),
        (f"{len(marked):,}", "marked"),
        (f"{len(entries) - len(marked):,}", "not marked"),
        (f"{len(missing):,}", "missing"),
        (_mean(marked), "on average"),
    ]
    lessons = ", ".join(sorted({page.safe(entry.lesson, 20) for entry in entries}))
    shown = "".join(f"<li><b>{number}</b>{what}</li>" for number, what in tiles)
    return (
        f'<header><p class="soft">Homework {lessons}</p><h1>The class</h1><ul'
        f' class="tiles">{shown}</ul></header>'
    )


def _stamp(entries: Sequence[Entry]) -> str:
    unjailed = [entry for entry in entries if page.is_unjailed(entry.about)]
    if not unjailed:
        return ""
    return (
        f'<p class="alarm"><strong>unjailed</strong>: {page.count(len(unjailed), "submission")} ran'
        " with nothing between their code and this machine. What they left behind, and whether the"
        " marks are honest, nobody can say.</p>"
    )


def _look(entries: Sequence[Entry], several: bool) -> str:
    """Runs that need a look."""
    return page.listed(
        (f"{_link(entry, several)}: {_why(entry)}" for entry in needing(entries)), most=20
    ) or ("<p>No run needs a look.</p>")


def _need(entry: Entry) -> int:
    return 0 if entry.score is None else 1 if entry.end != FINISHED else 2 if entry.flags else 3


def _why(entry: Entry) -> str:
    said = [] if entry.score is not None else ["<strong>not marked.</strong>"]
    if entry.end not in ("", FINISHED):
        said.append(f"<strong>{page.safe(entry.end)}.</strong>")
    return " ".join([*said, *(page.sentence(text, SHORT) for text in reasons(entry))])


def _title(lesson: str) -> str:
    title = page.lesson_title(lesson)
    return f"Lesson {page.safe(lesson, 20)}" + (f": {page.escape(title)}" if title else "")


def _lesson(entries: Sequence[Entry]) -> str:
    """One lesson: what to explain again, the spread of totals, each question, the wrong models."""
    marked = [entry for entry in entries if entry.score is not None]
    if not marked:
        return "<p>Nothing is marked yet.</p>"
    return _again(marked) + _totals(marked) + _questions(marked) + _models(marked)


def _again(entries: Sequence[Entry]) -> str:
    """What to explain again in class."""
    question = to_explain(entries)
    if question is None:
        return ""
    followed = {model: who for (asked, model), who in models(entries).items() if asked == question}
    answers = sum(map(len, followed.values()))
    if answers >= 2:
        model = max(followed, key=lambda name: (len(followed[name]), name))
        why = (
            f"{page.count(answers, 'answer follows', 'answers follow')} a wrong model; the"
            f" commonest, with {page.count(len(followed[model]), 'learner')}:"
            f" “{_sentence_of(question, model)}”."
        )
    else:
        scores = [score for _, score in _by_question(entries)[question]]
        if min(scores) == 1:
            return ""
        why = f"It has the lowest average, {_mean(scores)}; no wrong model stands out."
    return f'<p class="again"><strong>Explain again: {_asked(question)}.</strong> {why}</p>'


def _totals(entries: Sequence[Entry]) -> str:
    """How the totals spread."""
    return (
        "<h3>Totals, in"
        f" percent</h3>{page.columns(tenths(entries), 'How many learners have which total')}"
    )


def _questions(entries: Sequence[Entry]) -> str:
    """The spread of each question: a bar, and its parts in numbers."""
    words: dict[str, Counter[str]] = {question: Counter() for question in _by_question(entries)}
    for entry in entries:
        for question, word in page.words_of(entry).items():
            words[question][word] += 1
    items = []
    for question, scores in _by_question(entries).items():
        counts, mean = (
            {word: words[question][word] for word in page.WORDS},
            _mean(score for _, score in scores),
        )
        items.append(
            f"<p>{_asked(question)}</p><div>{page.bar(counts)}"
            f"{page.counts_in_words(counts, f'<span>{mean} on average</span>')}</div>"
        )
    return "<h3>Question by question</h3>" + page.listed(items, len(items), "questions")


def _models(entries: Sequence[Entry]) -> str:
    """The commonest wrong models, with who follows them."""
    followed = sorted(models(entries).items(), key=lambda item: (-len(item[1]), item[0]))
    if not followed:
        return ""
    return "<h3>Wrong models, the commonest first</h3>" + page.listed(
        (
            f"<strong>{page.count(len(who), 'learner')}</strong>, {_name_of(question)}: "
            f'{_sentence_of(question, model)} <span class="soft">({page.safe(model)})</span>.'
            f" {_names(who)}"
            for (question, model), who in followed
        ),
        most=10,
    )


def _alike(groups: Iterable[Any], entries: Sequence[Entry], several: bool) -> str:
    """Who handed in the same, or nearly."""
    by_id = {entry.learner.id: entry for entry in entries}
    items = []
    for group in sorted(
        groups, key=lambda group: (-group.share, -len(group.learners), group.learners)
    ):
        links = ", ".join(
            _link(by_id[who]) if who in by_id else f"<bdi>{page.safe(who)}</bdi>"
            for who in group.learners
        )
        where = f" in lesson {page.safe(group.lesson, 20)}" if several else ""
        items.append(
            f"<strong>{page.count(len(group.learners), 'learner')}</strong>{where}: {links}. "
            f"{page.sentence(group.sentence)}"
        )
    warning = (
        "<p>Likeness is a reason to ask, never a proof: short answers are alike by nature.</p>"
    )
    return warning + page.listed(items) if items else ""


def _missing(missing: Sequence[tuple[str, Learner]], several: bool) -> str:
    ordered = sorted(missing, key=lambda pair: (pair[0], *_order(pair[1])))
    return page.listed(
        (
            page.name_of(learner) + (f" ({page.safe(lesson, 20)})" if several else "")
            for lesson, learner in ordered
        ),
        60,
        "names",
    )


def _problems(problems: Iterable[Any]) -> str:
    items = (
        f"<bdi><code>{page.safe(problem.place, SHORT)}</code></bdi>:"
        f" {page.sentence(problem.why, SHORT)}"
        for problem in problems
    )
    return page.listed(items, 20)


def _corrected(entries: Sequence[Entry]) -> str:
    items = [
        f"{_link(entry)}, {_name_of(override.question)}: {page.percent(override.score)}. "
        f"{page.sentence(override.reason, SHORT)}"
        for entry in entries
        for override in entry.overrides
    ]
    return page.listed(items, 20)


def _everyone(lesson: str, entries: Sequence[Entry]) -> str:
    """All who handed in, the neediest first, with the score of every question."""
    if not entries:
        return ""
    questions = list(_by_question(entries))
    ordered = sorted(
        entries,
        key=lambda entry: (
            _need(entry) if entry.score is None else 1,
            -1 if entry.score is None else entry.score,
            *_order(entry.learner),
        ),
    )
    rows = [
        [_link(entry), _total(entry), *(_cell(entry, question) for question in questions)]
        for entry in ordered
    ]
    heads = [
        "Learner",
        "Total",
        *(f"<code>{page.safe(name.partition('/')[2])}</code>" for name in questions),
    ]
    made = (
        '<p class="soft small">Scores in percent; – where nothing was attempted.</p>'
        + page.table(heads, rows, f"Everyone's scores in lesson {page.safe(lesson, 20)}")
    )
    return page.folded(f"Show all {len(entries):,}", made) if len(entries) > MANY else made


def _how(entries: Sequence[Entry]) -> str:
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
        facts.append(
            ("marked", " to ".join(dict.fromkeys((page.when(times[0]), page.when(times[-1])))))
        )
    rows = "".join(
        f"<dt>{page.safe(name)}</dt><dd>{page.safe(value)}</dd>" for name, value in facts
    )
    files = ", ".join(
        f'<a href="{name}">{name}</a>' for name in ("grades.csv", "lineItems.csv", "results.csv")
    )
    return (
        f"<dl>{rows}</dl><p>Beside this page: {files}, the record results.sqlite, and"
        " class-results.ipynb to look further.</p>"
    )


# --- what the notebook asks too


def needing(entries: Sequence[Entry]) -> list[Entry]:
    """The entries whose run needs a look: not marked first, then cut short, then flagged."""
    return sorted(
        (entry for entry in entries if _need(entry) < 3),
        key=lambda e: (_need(e), *_order(e.learner)),
    )


def reasons(entry: Entry) -> Sequence[str]:
    """Why an entry needs a look, a sentence each; what cut a run short is among its flags
    already."""
    return (
        [text for text in (entry.why, *entry.flags) if text]
        if entry.score is None
        else entry.flags or (entry.why,)
    )


def to_explain(entries: Sequence[Entry]) -> str | None:
    """The id of the question to explain again: with most answers that follow a wrong model, at
    least two, else the lowest average. None where nothing has a score.
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
    """How many totals lie in each tenth, by its name in percent."""
    found = Counter(min(int(10 * entry.score), 9) for entry in entries if entry.score is not None)
    return {f"{10 * i}–{10 * i + 9 if i < 9 else 100}": found[i] for i in range(10)}


def models(entries: Sequence[Entry]) -> dict[tuple[str, str], list[Entry]]:
    """Who follows each wrong model: (question's id, misconception's name) to entries, as
    measured."""
    found: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        for outcome in entry.outcomes if entry.marked else ():
            if outcome.misconception:
                found.setdefault((outcome.question, outcome.misconception), []).append(entry)
    return found


def sentence_of(question_id: str, model: str) -> str:
    """What a wrong model does, in words; its name where the course no longer has it."""
    question = page.question_of(question_id)
    found = (
        [wrong.sentence for wrong in question.misconceptions if wrong.name == model]
        if question
        else []
    )
    return found[0] if found else model


# --- what they share


def _by_question(entries: Sequence[Entry]) -> dict[str, list[tuple[Entry, float]]]:
    """Each question's (entry, score) pairs, in the lesson's order."""
    found: dict[str, list[tuple[Entry, float]]] = {}
    for entry in sorted(entries, key=lambda entry: -len(entry.outcomes)):
        for question, score in entry.scores.items():
            found.setdefault(question, []).append((entry, score))
    return found


def _sentence_of(question_id: str, model: str) -> str:
    return page.code(sentence_of(question_id, model))


def _asked(question_id: str) -> str:
    question = page.question_of(question_id)
    return _name_of(question_id) + (f", {page.escape(question.asks)}" if question else "")


def _name_of(question_id: str) -> str:
    return f"<code>{page.safe(question_id.partition('/')[2] or question_id, page.MOST_NAME)}</code>"


def _names(entries: Sequence[Entry]) -> str:
    few = FEW if len(entries) > 1.5 * FEW else len(entries)
    rest = ", ".join(_link(entry) for entry in entries[few:])
    return ", ".join(_link(entry) for entry in entries[:few]) + (
        page.folded(f"{len(entries) - few:,} more", rest) if rest else ""
    )


def _link(entry: Entry, several: bool = False) -> str:
    where = f" ({page.safe(entry.lesson, 20)})" if several else ""
    return f'<a href="{learner_page.FOLDER}/{learner_page.name_of_file(entry.learner)}">{page.name_of(entry.learner)}</a>{where}'


def _cell(entry: Entry, question: str) -> str:
    word = page.words_of(entry).get(question)
    if word is None:
        return "<td></td>"
    score = "–" if word == checking.BLANK else f"{100 * entry.scores[question]:.0f}"
    return f'<td class="n {page.WORDS[word][1]}">{score}</td>'


def _total(entry: Entry) -> str:
    return (
        f'<td class="n">{"not marked" if entry.score is None else page.percent(entry.score)}</td>'
    )


def _mean(scores: Iterable[float]) -> str:
    scores = list(scores)
    return page.percent(sum(scores) / len(scores)) if scores else "–"


def _order(learner: Learner) -> tuple[str, str]:
    return learner.name.casefold(), learner.id
