"""The marks of a class in a notebook: the class, one question, one learner.

room = open_results("results.sqlite")
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rigkit import course, templates
from rigkit.homework import checking, picture
from rigkit.marking import class_page, page, record, tables
from rigkit.marking.anonymous import Mask, mask_of
from rigkit.marking.entry import Entry, Learner

if TYPE_CHECKING:
    from rigkit.plots import Plot
    from rigkit.stage import Row

NOTEBOOK = Path(__file__).parents[1] / "data" / "classroom" / "class-results.ipynb"
MOST_ROWS = 50  # of a table, shown in a notebook


def open_results(path: str | Path = "results.sqlite") -> "ClassResults":
    """The class that a record holds; the record is only read.

    Parameters
    ----------
    path : path-like
        `results.sqlite`, or the folder it is in.

    Returns
    -------
    ClassResults

    Raises
    ------
    ValueError
        No record there.
    """
    path = Path(path)
    path = path / record.RECORD if path.is_dir() else path
    with record.Record(path, create=False) as found:
        last = found.last_run()
        room = ClassResults(
            found.entries(),
            found.learners(),
            path.parent,
            last.get("school"),
            last.get("cut", False),
        )
        room.decimal_comma, room.mask = last.get("decimal_comma", False), mask_of(found)
        return room


def hand_notebook(out: str | Path) -> Path:
    """Copy the teacher's notebook into the folder `out`, unless it is there; returns its path."""
    path = Path(out) / NOTEBOOK.name
    if not path.exists():
        course.write_whole(path, NOTEBOOK.read_bytes())
    return path


class Table(list):
    """Rows as dicts with the same keys; it shows itself as a table, and so does a part of it."""

    def __getitem__(self, which: Any) -> Any:
        found = super().__getitem__(which)
        return Table(found) if isinstance(which, slice) else found

    def only(self, *columns: str) -> "Table":
        """The same rows with these columns alone."""
        return Table({name: row[name] for name in columns} for row in self)

    def __repr__(self) -> str:
        if not self:
            return "Nothing."
        lines = [
            list(self[0]),
            *([page.plain(cell, 60) for cell in row.values()] for row in self[:MOST_ROWS]),
        ]
        wide = [max(map(len, column)) for column in zip(*lines, strict=True)]
        shown = ["  ".join(map(str.ljust, line, wide)).rstrip() for line in lines]
        return "\n".join([*shown, *([self._rest()] if self[MOST_ROWS:] else [])])

    def _repr_html_(self) -> str:
        rest = self._rest() if self[MOST_ROWS:] else ""
        rows = list(self[:MOST_ROWS])
        return templates.render("marking/table.html", page=page, rows=rows, rest=rest)

    def _rest(self) -> str:
        return (
            f"{len(self) - MOST_ROWS:,} more rows are not shown; a table is a list, so take a part"
            " of it."
        )


class ClassResults:
    """The marks of a class.

    Attributes
    ----------
    entries : list of Entry
        The latest of each learner and lesson, corrections applied.
    roster : list of Learner
        Everyone on the roster that was used last; empty without one.
    folder : Path
    school : dict of str to str
        The values given by `rigkit mark --school`.
    cut : bool
        True if not everything handed in was looked at: see `rigkit.marking.tables.write`.
    decimal_comma : bool
        True if `grades.csv` is for a spreadsheet that wants one.
    mask : Mask or None
        The numbers that tables have in place of names; None for names.
    """

    decimal_comma: bool
    mask: Mask | None

    def __init__(
        self,
        entries: Iterable[Entry],
        roster: Iterable[Learner] = (),
        folder: str | Path = ".",
        school: Mapping[str, str] | None = None,
        cut: bool = False,
    ) -> None:
        self.entries, self.roster, self.folder = list(entries), list(roster), Path(folder)
        self.school, self.cut = dict(school or {}), cut
        self.decimal_comma, self.mask = False, None

    def __repr__(self) -> str:
        marked = [entry.score for entry in self.entries if entry.score is not None]
        mean = f", {sum(marked) / len(marked):.0%} on average" if marked else ""
        lessons = ", ".join(sorted({entry.lesson for entry in self.entries})) or "none"
        return (
            f"Homework {lessons}: {page.count(len(self.entries), 'submission')}, {len(marked)}"
            f" marked{mean}, {len(self.look())} to look at,"
            f" {sum(row['handed in'] == 'no' for row in self.learners)} missing."
        )

    @property
    def learners(self) -> Table:
        """One row per learner and lesson, with the scores that are in `grades.csv`."""
        return Table(tables.grades(self.entries, self.roster, self.cut))

    @property
    def questions(self) -> Table:
        """One row per question: how many answers have each word, and the average in percent."""
        rows = Table()
        for question in self._questions():
            answers = self._answers(question)
            words, scores = (
                Counter(word for _, word, _ in answers),
                [score for _, _, score in answers],
            )
            rows.append(
                {
                    "question": question,
                    "asks": page.asks_of(question, answers[0][0].terms),
                    **{word.lower(): words[word] for word in page.WORDS},
                    "average (%)": round(100 * sum(scores) / len(scores), 1),
                }
            )
        return rows

    def question(self, question: str) -> Table:
        """One row per learner for one question, the lowest score first.

        Parameters
        ----------
        question : str
            Its id, such as "06/solve_leg".

        Raises
        ------
        ValueError
            Nobody was asked that.
        """
        self._check(question)
        rows = []
        for entry, word, score in sorted(self._answers(question), key=lambda answer: answer[2]):
            found = next(
                (outcome for outcome in entry.outcomes if outcome.question == question), None
            )
            rows.append(
                {
                    "id": entry.learner.id,
                    "name": entry.learner.name,
                    "word": word,
                    "score (%)": round(100 * score, 1),
                    "sentence": found.sentence if found else "",
                    "wrong model": (found.misconception or "") if found else "",
                    "corrected": (
                        "yes" if any(o.question == question for o in entry.overrides) else ""
                    ),
                }
            )
        return Table(rows)

    def learner(self, who: str) -> "LearnerResults":
        """One learner's homework, question by question, with pictures of what went wrong.

        Parameters
        ----------
        who : str
            Their id or name.

        Raises
        ------
        ValueError
            Nobody of that name handed in anything, or several did.
        """
        wanted = str(who).strip().casefold()
        ids = {entry.learner.id: entry.learner for entry in self.entries}
        found = [learner for learner in ids.values() if learner.id == who] or [
            learner
            for learner in ids.values()
            if wanted in (learner.id.casefold(), learner.name.casefold())
        ]
        if len(found) != 1:
            some = ", ".join(f"{learner.name} ({learner.id})" for learner in found or ids.values())
            raise ValueError(
                f"`who` must be one learner who handed in homework; got {who!r}. "
                f"Among them: {page.plain(some, 300)}."
            )
        return LearnerResults(
            found[0], [entry for entry in self.entries if entry.learner.id == found[0].id]
        )

    def misconceptions(self) -> Table:
        """One row per wrong model that somebody follows, the commonest first, with who does."""
        followed = sorted(
            class_page.models(self.entries).items(), key=lambda item: (-len(item[1]), item[0])
        )
        return Table(
            {
                "learners": len(who),
                "question": question,
                "wrong model": model,
                "in words": class_page.sentence_of(question, model, who[0].terms),
                "who": ", ".join(entry.learner.name or entry.learner.id for entry in who),
            }
            for (question, model), who in followed
        )

    def look(self) -> Table:
        """One row per run that needs a look, those not marked first."""
        return Table(
            {
                "id": entry.learner.id,
                "name": entry.learner.name,
                "lesson": entry.lesson,
                "marked": "no" if entry.score is None else "yes",
                "end": entry.end,
                "why": " ".join(class_page.reasons(entry)),
            }
            for entry in class_page.needing(self.entries)
        )

    def hardest(self) -> str:
        """The id of the question to explain again: see `class_page.to_explain`.

        Raises
        ------
        ValueError
            Nothing is marked.
        """
        found = class_page.to_explain([entry for entry in self.entries if entry.score is not None])
        if found is None:
            raise ValueError("Nothing is marked yet, so no question is the hardest.")
        return found

    def spread_plot(self, question: str | None = None) -> "Plot":
        """Bars of how many learners have which total, or answered one question how well.

        Returns
        -------
        Plot
        """
        from rigkit import plots  # matplotlib takes a second

        if question is None:
            tenths = class_page.tenths(self.entries)
            return plots.bars(tenths, "learners", "Totals, in percent", form="{:.0f}")
        self._check(question)
        words = Counter(word for _, word, _ in self._answers(question))
        kinds = dict(zip(page.WORDS, ("goal", "inverse", "miss", "soft"), strict=True))
        return plots.bars(
            {word: words[word] for word in page.WORDS},
            "learners",
            f"Answers to {question}",
            form="{:.0f}",
            kinds=kinds,
        )

    def write_tables(self, out: str | Path | None = None, **school: str) -> None:
        """Write the tables again, with the school's own ids and days: see `rigkit.marking.tables`.

        room.write_tables(classSourcedId="…", academicSessionSourcedId="…", schoolSourcedId="…",
                          assignDate="2026-11-02", dueDate="2026-11-23")
        """
        out = self.folder if out is None else Path(out)
        entries, roster = self.entries, self.roster
        if self.mask:
            entries = list(map(self.mask.entry, entries))
            roster = list(map(self.mask.learner, roster))
        comma, school = self.decimal_comma, self.school | school
        tables.write(entries, roster, out, school, self.cut, decimal_comma=comma)

    def _questions(self) -> list[str]:
        return list(
            dict.fromkeys(
                question
                for entry in sorted(self.entries, key=lambda entry: entry.lesson)
                for question in entry.scores
            )
        )

    def _answers(self, question: str) -> list[tuple[Entry, str, float]]:
        """(entry, word, score) of everyone who has a score in a question."""
        return [
            (entry, page.words_of(entry)[question], entry.scores[question])
            for entry in self.entries
            if question in entry.scores
        ]

    def _check(self, question: str) -> None:
        there = self._questions()
        if question not in there:
            raise ValueError(
                f"`question` must be one of {', '.join(there) or 'none, for nothing is marked'}; "
                f"got {question!r}."
            )


class LearnerResults:
    """One learner's homework; it shows itself.

    Attributes
    ----------
    learner : Learner
    entries : list of Entry
        One a lesson.
    """

    def __init__(self, learner: Learner, entries: Iterable[Entry]) -> None:
        self.learner, self.entries = learner, sorted(entries, key=lambda entry: entry.lesson)

    @property
    def table(self) -> Table:
        """One row per question: word, score, sentence, and the teacher's reason if corrected."""
        rows = Table()
        for entry in self.entries:
            words, scores = page.words_of(entry), entry.scores
            found = {outcome.question: outcome for outcome in entry.outcomes}
            reasons = {override.question: override.reason for override in entry.overrides}
            rows += [
                {
                    "question": question,
                    "word": words[question],
                    "score (%)": round(100 * scores[question], 1),
                    "sentence": found[question].sentence if question in found else "",
                    "measured": (
                        "; ".join(
                            f"{name} {value}" for name, value in found[question].measured.items()
                        )
                        if question in found
                        else ""
                    ),
                    "corrected because": reasons.get(question, ""),
                }
                for question in scores
            ]
        return rows

    @property
    def pictures(self) -> "Row | None":
        """A `Row` of the worst cases of answers not right yet; None with nothing to draw."""
        from rigkit import stage

        drawn = [
            picture.draw(outcome.picture)
            for entry in self.entries
            for outcome in entry.outcomes
            if outcome.picture and outcome.word != checking.RIGHT
        ]
        return stage.row(*drawn) if drawn else None

    def __repr__(self) -> str:
        return f"{self._headline()}\n{self.table!r}"

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:
        pictures = self.pictures
        drawn = pictures._repr_mimebundle_()["text/html"] if pictures else ""
        head = f"<p><strong>{page.safe(self._headline())}</strong></p>"
        html = f"{head}{self.table._repr_html_()}{drawn}"
        return {"text/plain": repr(self), "text/html": html}

    def _headline(self) -> str:
        totals = (
            f"lesson {entry.lesson}: "
            + ("not marked" if entry.score is None else f"{entry.score:.0%}")
            for entry in self.entries
        )
        return f"{self.learner.name or self.learner.id}, {'; '.join(totals)}"
