"""`rigkit mark` at the terminal: its progress, its last words and its exit status."""

import json
import sys
import time
from argparse import Namespace
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.marking import correct, corrections, page, pipeline
from rigkit.marking.cluster import ClusterError
from rigkit.marking.jail import JailError
from rigkit.marking.record import RecordError
from rigkit.marking.summary import Progress

__all__ = ["MarkingError", "mark"]

DONE, NOT_ALL = 0, 1
EVERY = 10.0  # seconds between lines, where there is no terminal to write in place
GOES_ON = "What is marked is recorded; the same command goes on from there."
UNJAILED = """\
WITHOUT A JAIL every submission runs as you: it can read, change and delete your files, use the
network, start programs, and change the marks. Nothing is protected. Every record and report will
say "unjailed".
"""


class MarkingError(Exception):
    """A class could not be marked; the text says why, and what would do."""


def mark(arguments: Namespace) -> int:
    """Run the subcommand; returns the exit status: 0 all marked, 1 something could not be marked.

    Raises
    ------
    ValueError
        Wrong use.
    MarkingError
        Something is in the way; what is recorded until then stays.
    """
    say = _Line()
    by_hand = arguments.override or arguments.corrections or arguments.seen
    done = _correct if by_hand else _mark
    try:
        status, text, data = done(arguments, say)
    except (JailError, RecordError, ClusterError) as problem:
        raise MarkingError(_sentence(str(problem))) from None
    except OSError as problem:
        raise MarkingError(f"{course.describe_os_error(problem)} {GOES_ON}") from None
    except KeyboardInterrupt:
        raise MarkingError(f"Stopped. {GOES_ON}") from None
    finally:
        say.end()
    print(json.dumps(data) if arguments.json else text)
    return status


def _mark(arguments: Namespace, say: "_Line") -> tuple[int, str, dict[str, Any]]:
    if arguments.submissions is None:
        raise ValueError(
            "SUBMISSIONS is missing. Give the folder or zip of them, before any --lesson; or a"
            " correction with --override or --corrections."
        )
    if arguments.reason is not None:
        raise ValueError("--reason came without --override. Give both or neither.")
    if arguments.columns and arguments.roster is None:
        raise ValueError("--columns came without --roster. Give both or neither.")
    if arguments.jail == "unjailed":
        print(UNJAILED, file=sys.stderr)
    say.begin()
    summary = pipeline.mark_class(
        arguments.submissions,
        arguments.out,
        arguments.roster,
        workers=arguments.workers,
        cluster=arguments.cluster,
        lessons=arguments.lesson,
        anew=arguments.again,
        jail=arguments.jail or "bwrap",
        allowed=tuple(dict.fromkeys(arguments.allow)),
        school=dict(arguments.school),
        columns=dict(arguments.columns),
        plan=arguments.plan,
        decimal_comma=arguments.decimal_comma,
        anonymous=arguments.anonymous,
        progress=say.progress,
    )
    return NOT_ALL if summary.not_marked else DONE, str(summary), summary.data


def _correct(arguments: Namespace, say: "_Line") -> tuple[int, str, dict[str, Any]]:
    """Keep what a teacher gives by hand."""
    if arguments.submissions is not None or arguments.school or arguments.plan:
        raise ValueError(
            "A correction needs --out and --override with --reason, --corrections or --seen alone."
            " Leave out the rest."
        )
    if bool(arguments.override) + bool(arguments.corrections) + bool(arguments.seen) > 1:
        raise ValueError("Give one of --override, --corrections and --seen at a time.")
    if arguments.reason is not None and not arguments.override:
        raise ValueError("--reason came without --override. Give both or neither.")
    up_to_date = f"All files in {arguments.out} are up to date."
    if arguments.override:
        learner, question, score = arguments.override
        entry = correct.correct(arguments.out, learner, question, score, arguments.reason)
        who = entry.learner
        score = entry.whole.score if entry.whole and "/" not in question else entry.scores[question]
        said = f"{who.name or who.id}, {question}: {score:g}. {up_to_date}"
        return DONE, said, {"learner": who.id, "question": question, "score": score}
    if arguments.corrections:
        rows = correct.apply(arguments.out, corrections.read(arguments.corrections))
        people = len({entry.learner.id for entry in rows})
        said = f"{page.count(len(rows), 'row')} for {page.count(people, 'learner')}. {up_to_date}"
        return DONE, said, {"rows": len(rows), "learners": people}
    entries = correct.see(arguments.out, *arguments.seen)
    who, lessons = entries[0].learner, [entry.lesson for entry in entries]
    said = f"{who.name or who.id}, {', '.join(lessons)}: seen. {up_to_date}"
    return DONE, said, {"learner": who.id, "seen": lessons}


def _sentence(text: str) -> str:
    """A text with a capital, unless it begins with a file's path."""
    first = text.split(maxsplit=1)[0] if text.strip() else ""
    return text[:1].upper() + text[1:] if first.isalpha() and not Path(first).exists() else text


class _Line:
    """The line that says how far it is: in place on a terminal, else one now and then."""

    def __init__(self) -> None:
        self._in_place, self._said, self._open = sys.stderr.isatty(), time.monotonic(), False

    def begin(self) -> None:
        """Say at once, where it is written over later, that something goes on."""
        if self._in_place:
            self._open = True
            print("Reading the submissions ...", end="", file=sys.stderr, flush=True)

    def progress(self, progress: Progress) -> None:
        due = 0.1 if self._in_place else EVERY
        if time.monotonic() - self._said < due and progress.done < progress.total:
            return
        self._said, self._open = time.monotonic(), self._in_place
        print(
            f"\r{progress}\x1b[K" if self._in_place else progress,
            end="" if self._in_place else "\n",
            file=sys.stderr,
            flush=True,
        )

    def end(self) -> None:
        if self._open:
            print(file=sys.stderr)
            self._open = False
