"""`rigkit mark` at the terminal: what is said while it runs and at its end, and the exit status."""

import json
import sys
import time

from rigkit.marking import run
from rigkit.marking.cluster import ClusterError
from rigkit.marking.jail import NoJail
from rigkit.marking.record import RecordError

DONE, NOT_ALL, WRONG_USE = 0, 1, 2
EVERY = 10.0  # seconds between lines, where there is no terminal to write in place
GOES_ON = "What is marked is recorded; the same command goes on from there."
UNJAILED = """\
WITHOUT A JAIL every submission runs as you: it can read, change and delete your files, use the network, start
programs, and change the marks. Nothing is protected. Every record and report will say "unjailed".
"""


def mark(arguments):
    """Run the subcommand; returns the exit status: 0 all marked, 1 something could not be marked, 2 wrong use."""
    say, done = _Line(), _correct if arguments.override else _mark
    try:
        status, text, data = done(arguments, say)
    except ValueError as problem:
        status, text, data = WRONG_USE, str(problem), None
    except (NoJail, RecordError, ClusterError) as problem:
        status, text, data = NOT_ALL, str(problem), None
    except OSError as problem:
        why = f"{problem.strerror}: {problem.filename}" if problem.filename else problem.strerror or problem
        status, text, data = NOT_ALL, f"{why}. {GOES_ON}", None
    except KeyboardInterrupt:
        status, text, data = NOT_ALL, f"Stopped. {GOES_ON}", None
    say.end()
    if data is None:
        print(f"rigkit: {text}", file=sys.stderr)
    elif not arguments.json:
        print(text)
    if arguments.json:
        print(json.dumps(data or {"error": text}))
    return status


def _mark(arguments, say):
    if arguments.submissions is None:
        raise ValueError("Give the folder or zip of submissions, or a correction with --override.")
    if arguments.reason is not None:
        raise ValueError("--reason belongs to --override.")
    if arguments.jail == "unjailed":
        print(UNJAILED, file=sys.stderr)
    summary = run.mark_class(arguments.submissions, arguments.out, arguments.roster, workers=arguments.workers,
                             cluster=arguments.cluster, lessons=arguments.lesson, anew=arguments.again,
                             jail=arguments.jail, progress=say.progress)
    return NOT_ALL if summary.not_marked else DONE, str(summary), summary.data


def _correct(arguments, say):
    if arguments.submissions is not None:
        raise ValueError("A correction needs no submissions: give --out, --override and --reason alone.")
    learner, question, score = arguments.override
    entry = run.correct(arguments.out, learner, question, score, arguments.reason)
    who, score = entry.learner, entry.scores[question]
    return (DONE, f"{who.name or who.id}, {question}: {score:g}. All files in {arguments.out} are up to date.",
            {"learner": who.id, "question": question, "score": score})


class _Line:
    """The line that says how far it is: in place on a terminal, else one now and then."""

    def __init__(self):
        self._in_place, self._said, self._open = sys.stderr.isatty(), time.monotonic(), False

    def progress(self, progress):
        due = 0.1 if self._in_place else EVERY
        if time.monotonic() - self._said < due and progress.done < progress.total:
            return
        self._said, self._open = time.monotonic(), self._in_place
        print(f"\r{progress}\x1b[K" if self._in_place else progress, end="" if self._in_place else "\n",
              file=sys.stderr, flush=True)

    def end(self):
        if self._open:
            print(file=sys.stderr)
            self._open = False
