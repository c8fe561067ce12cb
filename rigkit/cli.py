"""The command `rigkit`: what each subcommand takes and does, its help, and the one voice in which
it refuses.

Only the standard library is loaded until a subcommand runs, so help comes at once.
"""

import argparse
import difflib
import json
import os
import re
import shutil
import signal
import sys
import textwrap
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import rigkit

if TYPE_CHECKING:
    from rigkit.course import Copies

PUPPETS = ("Tamsin", "Odo", "Pip", "heron")  # written out, because their module needs NumPy
FEW = 6  # so many names of files are told one by one
OPTIONS = {
    "path": "--out",
    "vertices": "--vertices",
    "mapping": "--map",
    "thresholds": "--threshold",
    "lesson": "--lesson",
    "school": "--school",
}  # what an argument of the library is called here
DONE, UNDONE, WRONG_USE = 0, 1, 2
STATUS = ((DONE, "done"), (UNDONE, "it could not be done"), (WRONG_USE, "wrong use"))


class Undone(Exception):
    """Work that could not be done; the text says why, and what would do."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # to be ended is to be interrupted
    words = list(sys.argv[1:] if argv is None else argv)
    if words[:1] == ["help"]:
        words = [*words[1:2], "--help"]
    arguments = argparse.Namespace(prog="rigkit", stopped=UNDONE)
    try:
        _parser().parse_args(words, arguments)
        status = arguments.run(arguments)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        return _refuse(arguments, "Stopped.", UNDONE) if arguments.stopped else DONE
    except BrokenPipeError:  # whoever read the output has had enough, as `head` does
        _drop_output()
        return UNDONE
    except (ValueError, Undone, OSError) as problem:
        return _refuse(arguments, *_in_words(problem))


# --- the voice
# -----------------------------------------------------------------------------------------------------


def _refuse(arguments: argparse.Namespace, text: str, status: int) -> int:
    print(f"{arguments.prog}: {text}", file=sys.stderr)
    return status


def _in_words(problem: Exception) -> tuple[str, int]:
    """What to say of a problem, and the exit status."""
    from rigkit import course

    if isinstance(problem, OSError):
        if problem.filename is None:
            _drop_output()  # what could not be written is the output itself
        return course.in_the_way(problem), UNDONE
    kept_from = isinstance(problem, Undone) or isinstance(problem.__context__, OSError)
    return _with_options(str(problem)), UNDONE if kept_from else WRONG_USE


def _with_options(text: str) -> str:
    """A sentence of the library with its arguments named as they are here: "`mapping['up']`" is
    "--map up"."""

    def option(found: re.Match[str]) -> str:
        name, key = OPTIONS.get(found[1]), found[2]
        return found[0] if name is None else f"{name} {key}" if key else name

    return re.sub(r"`(\w+)(?:\['([^']*)'\])?`", option, text)


def _drop_output() -> None:
    """Let what Python still has to write at its end go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


# --- the help
# ------------------------------------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """argparse with a purpose before the usage, examples and exit status after the options, and
    errors in our voice."""

    def __init__(
        self,
        purpose: str = "",
        examples: Sequence[tuple[str, str]] = (),
        status: Sequence[tuple[int, str]] = STATUS,
        **options: Any,
    ) -> None:
        super().__init__(add_help=False, allow_abbrev=False, formatter_class=_Lines, **options)
        self.purpose, self.examples, self.status = purpose, examples, status
        self.set_defaults(prog=self.prog)

    def format_help(self) -> str:
        examples = [f"  {command}\n{_filled(f'{what}.', 6)}" for command, what in self.examples]
        status = [_filled(f"{number}  {meaning}", 2, 5) for number, meaning in self.status]
        return "\n".join(
            [
                _filled(self.purpose),
                "",
                super().format_help(),
                "examples:",
                *examples,
                "",
                "exit status:",
                *status,
                "",
            ]
        )

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        found, more = super().parse_known_args(args, namespace)
        if more:
            self.error(self._unknown(more[0].partition("=")[0]))
        return found, more

    def error(self, message: str) -> NoReturn:
        """Refuse in one line: what is wrong, what came, what would do."""
        unknown = re.match(
            r"argument COMMAND: invalid choice: '(.*)' \(choose from (.*)\)", message
        )
        if unknown:
            commands = re.findall(r"\w+", unknown[2])
            message = (
                f"There is no command {unknown[1]!r}."
                f" {_nearest(unknown[1], commands, 'The commands are')}"
            )
        for argparses, ours in _OURS:
            message = re.sub(argparses, ours, message)
        message = message if message.endswith((".", "?")) else f"{message}."
        see = "" if ". " in message or " must " in message else f" See {self.prog} --help."
        self.exit(WRONG_USE, f"{self.prog}: {message}{see}\n")

    def _unknown(self, word: str) -> str:
        if not word.startswith("-"):
            return f"{word!r} is one word more than is taken here"
        near = _nearest(word, self._option_string_actions)
        return f"There is no option {word}" + (f". {near}" if near else "")


_OURS = (  # what argparse says, and what we say instead
    (r"^argument (\S+): (must )", r"\1 \2"),
    (
        r"^argument (\S+): expected (?:one|at least one) argument$",
        r"\1 needs a value, and none came",
    ),
    (r"^argument (\S+): expected (\d+) arguments$", r"\1 needs \2 values, and fewer came"),
    (
        r"^argument (\S+): not allowed with argument (\S+)$",
        r"\1 and \2 do not go together. Leave one out",
    ),
    (r"^argument (\S+): ignored explicit argument (.+)$", r"\1 takes no value; got \2"),
    (r"^the following arguments are required: ([^,]+)$", r"\1 is missing"),
    (r"^the following arguments are required: (.+), ([^,]+)$", r"\1 and \2 are missing"),
)


class _Lines(argparse.HelpFormatter):
    """Lines of at most 80 columns, names never broken at their hyphens."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=22, width=_columns())

    def _split_lines(self, text: str, width: int) -> list[str]:
        return textwrap.wrap(text, width, break_on_hyphens=False)


def _columns() -> int:
    return max(20, min(80, shutil.get_terminal_size().columns) - 2)


def _filled(text: str, indent: int = 0, further: int | None = None) -> str:
    return textwrap.fill(
        text,
        _columns(),
        initial_indent=" " * indent,
        break_on_hyphens=False,
        subsequent_indent=" " * (indent if further is None else further),
    )


def _nearest(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """Which of the words that there are may have been meant; else all of them, if there are words
    to say so."""
    bare = {each.lstrip("-"): each for each in known}
    near = difflib.get_close_matches(word.lstrip("-"), bare, 1)
    if near:
        return f"Did you mean {bare[near[0]]}?"
    return f"{otherwise} {_listed(list(known), 'and')}" if otherwise else ""


def _listed(names: Sequence[str], last: str = "or") -> str:
    return f" {last} ".join(filter(None, (", ".join(names[:-1]), names[-1])))


# --- what is taken
# -------------------------------------------------------------------------------------------------


def _parser() -> _Parser:
    parser = _Parser(
        purpose="Learn to rig a character's legs, look over a finished rig, mark a class.",
        prog="rigkit",
        usage="rigkit COMMAND [OPTIONS]",
        examples=[
            ("rigkit learn", "Open the course"),
            ("rigkit mark --help", "Say all about one command"),
        ],
    )
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", prog="rigkit", parser_class=_Parser
    )
    _offer_learn(commands)
    _offer_export(commands)
    _offer_inspect(commands)
    _offer_pack(commands)
    _offer_mark(commands)
    more = _also(parser)
    more.add_argument("--version", action=_Version, nargs=0, help="print the version")
    more.add_argument(
        "--completion",
        action=_Completion,
        nargs=0,
        commands=commands.choices,
        help=(
            "print what lets bash complete commands and options with the Tab key; use it by "
            'eval "$(rigkit --completion)"'
        ),
    )

    def alone(_: argparse.Namespace) -> int:
        parser.print_help()
        return DONE

    parser.set_defaults(run=alone)
    return parser


def _also(parser: argparse.ArgumentParser) -> Any:
    """The last group of options, with the one that every command has."""
    group = parser.add_argument_group("also")
    group.add_argument("-h", "--help", action="help", help="print this")
    return group


class _Version(argparse.Action):
    """Print the version; it is looked up only then, because that takes longer than all else
    here."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        print(f"rigkit {rigkit.__version__}")
        parser.exit()


class _Completion(argparse.Action):
    """Print a script for the shell, made from the parsers."""

    def __init__(self, commands: dict[str, _Parser], **options: Any) -> None:
        super().__init__(**options)
        self._commands = commands

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        cases = [
            f"    {name}) words='{' '.join(sorted(command._option_string_actions))}';;"
            for name, command in self._commands.items()
        ]
        first = (
            "    *)"
            f" words='{' '.join([*self._commands, *sorted(parser._option_string_actions)])}';;"
        )
        print(
            "\n".join(
                [
                    "_rigkit() {",
                    "  local words",
                    '  case "${COMP_WORDS[1]}" in',
                    *cases,
                    first,
                    "  esac",
                    '  COMPREPLY=($(compgen -W "$words" -- "${COMP_WORDS[COMP_CWORD]}"))',
                    "}",
                    "complete -o default -F _rigkit rigkit",
                ]
            )
        )
        parser.exit()


def _offer_learn(commands: Any) -> None:
    learn = commands.add_parser(
        "learn",
        help="open the course in your web browser",
        purpose="Open the course in your web browser.",
        usage="rigkit learn [LESSON] [OPTIONS]",
        description=(
            "Lessons and exercises are copied into a folder of your own. What you changed there is"
            " never overwritten. Stop with Ctrl-C."
        ),
        examples=[
            ("rigkit learn", "Open the first lesson, in the folder leg-rigging"),
            ("rigkit learn 06", "Open lesson 06"),
            ("rigkit learn --teach", "Get ready for a class, in the folder leg-rigging-teaching"),
            (
                "rigkit learn --dir my-rigs --no-browser --port 8899",
                "Use another folder, and open the address that is printed yourself",
            ),
        ],
    )
    what = learn.add_argument_group("what to open")
    what.add_argument(
        "lesson", nargs="?", metavar="LESSON", help="the number of a lesson, such as 06"
    )
    what.add_argument(
        "--teach",
        action="store_true",
        help="for a classroom: code folded, larger type, and a page of notes for the teacher",
    )
    where = learn.add_argument_group("where")
    where.add_argument(
        "--dir",
        type=Path,
        metavar="FOLDER",
        help="your own folder (if not given: leg-rigging, with --teach leg-rigging-teaching)",
    )
    where.add_argument(
        "--no-browser", dest="browser", action="store_false", help="only print the address"
    )
    where.add_argument(
        "--port",
        type=_whole(1, 65535),
        metavar="N",
        help="the port to answer on (if not given: a free one)",
    )
    _also(learn)
    learn.set_defaults(run=_learn, stopped=DONE)  # Ctrl-C is how it ends


def _offer_export(commands: Any) -> None:
    export = commands.add_parser(
        "export",
        help="write a puppet, skinned and walking, as a glTF file",
        purpose="Write a puppet of the parade, skinned and walking, as a glTF 2.0 file.",
        usage="rigkit export PUPPET [OPTIONS]",
        examples=[
            ("rigkit export Tamsin", "Write Tamsin.glb"),
            (
                "rigkit export heron --rest --out heron-at-rest.gltf",
                "Write the rest pose alone, as text",
            ),
            (
                "rigkit export Odo --vertices 2000 --replace",
                "Write a lighter Odo.glb, over one that is there",
            ),
        ],
    )
    what = export.add_argument_group("what to write")
    what.add_argument("puppet", type=_one_of(*PUPPETS), metavar="PUPPET", help=_listed(PUPPETS))
    what.add_argument("--rest", action="store_true", help="the rest pose only, without the walk")
    what.add_argument(
        "--vertices",
        type=_whole(300, 1_000_000),
        default=5000,
        metavar="N",
        help="about how many (if not given: 5000)",
    )
    where = export.add_argument_group("where")
    where.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="ends in .glb, or in .gltf for text (if not given: PUPPET.glb)",
    )
    where.add_argument("--replace", action="store_true", help="write over a file that is there")
    _also(export)
    export.set_defaults(run=_export)


def _offer_inspect(commands: Any) -> None:
    inspect = commands.add_parser(
        "inspect",
        help="look over a finished leg rig",
        purpose="Find the legs in a rig from any 3D application, and measure them by 23 rules.",
        usage="rigkit inspect FILE [OPTIONS]",
        examples=[
            ("rigkit inspect Tamsin.glb", "Print what was found"),
            ("rigkit inspect Tamsin.glb --html report.html", "Write it as a page, with pictures"),
            ("rigkit inspect Tamsin.glb --map left.knee=L_knee --map up=+y", "Say what is what"),
            (
                "rigkit inspect Tamsin.glb --threshold foot-slide=3 --json",
                "Set another limit, and print for a program",
            ),
        ],
        status=[
            (0, "every rule that could be measured passes"),
            (1, "there are findings"),
            (2, "wrong use, or a file that cannot be read or written"),
        ],
    )
    what = inspect.add_argument_group("what to inspect")
    what.add_argument("file", type=Path, metavar="FILE", help="a .glb or .gltf file")
    what.add_argument(
        "--map",
        type=_pair,
        action="append",
        default=[],
        metavar="PART=NAME",
        help=(
            "what a joint is, such as left.knee=NAME; or an axis, up=+z or forward=-y; or the unit,"
            " metres=0.01. Give it again for another"
        ),
    )
    what.add_argument(
        "--threshold",
        type=_pair,
        action="append",
        default=[],
        metavar="RULE=VALUE",
        help="another limit for a rule, such as sides-mirror=1. Give it again for another",
    )
    how = inspect.add_argument_group("how to say it")
    how.add_argument(
        "--html", type=Path, metavar="FILE", help="write the report, with pictures, as a page"
    )
    how.add_argument("--json", action="store_true", help="print the report as JSON")
    _also(inspect)
    inspect.set_defaults(run=_inspect)


def _offer_pack(commands: Any) -> None:
    pack = commands.add_parser(
        "pack",
        help="make a zip of exercises to hand out",
        purpose="Pack exercises, without solutions, for learners to answer and hand in.",
        usage="rigkit pack LESSON [LESSON ...] --out FILE",
        examples=[
            (
                "rigkit pack 06 --out hand-out.zip",
                "Pack one exercise, its pictures and how to go about it",
            ),
            ("rigkit pack 01 02 03 --out first-weeks.zip", "Pack several into one zip"),
        ],
    )
    what = pack.add_argument_group("what to pack")
    what.add_argument(
        "lessons", nargs="+", metavar="LESSON", help="the number of a lesson, such as 06"
    )
    what.add_argument("--out", type=Path, required=True, metavar="FILE", help="the zip to write")
    _also(pack)
    pack.set_defaults(run=_pack)


def _offer_mark(commands: Any) -> None:
    mark = commands.add_parser(
        "mark",
        help="mark a class's homework",
        purpose="Mark the notebooks in a folder or zip, each in a jail of its own.",
        usage=(
            "rigkit mark SUBMISSIONS --out RESULTS [OPTIONS]\n"
            "       rigkit mark --out RESULTS --override LEARNER QUESTION SCORE --reason TEXT"
        ),
        description="Given again, it goes on where it was, and marks only what is new or changed.",
        examples=[
            ("rigkit mark submissions.zip --roster roster.csv --out results", "Mark a class"),
            ("rigkit mark submissions.zip --out results --lesson 06 07", "Mark two of its lessons"),
            (
                "rigkit mark submissions.zip --out results --school classSourcedId=c-7",
                "Name the class as the school's own system does; it is kept",
            ),
            (
                'rigkit mark --out results --override p-17 06/solve_leg 1 --reason "a typo"',
                "Put a score of your own in place of a measured one",
            ),
        ],
        status=[
            (0, "all were marked"),
            (1, "something could not be marked; it says which"),
            (2, "wrong use"),
        ],
    )
    what = mark.add_argument_group("what to mark")
    what.add_argument(
        "submissions",
        nargs="?",
        type=Path,
        metavar="SUBMISSIONS",
        help="a folder or zip of notebooks",
    )
    what.add_argument(
        "--roster",
        type=Path,
        metavar="FILE",
        help="who is in the class: a CSV file with id and name. It is kept for later runs",
    )
    what.add_argument(
        "--lesson",
        nargs="+",
        action="extend",
        default=[],
        metavar="NUMBER",
        help="only these lessons",
    )
    what.add_argument(
        "--again", action="store_true", help="also what has not changed: the same cases, anew"
    )
    _offer_results(mark)
    _offer_machine(mark)
    _also(mark)
    mark.set_defaults(run=_mark)


def _offer_results(mark: argparse.ArgumentParser) -> None:
    results = mark.add_argument_group("marks and reports")
    results.add_argument(
        "--out", type=Path, required=True, metavar="RESULTS", help="the folder for them"
    )
    results.add_argument(
        "--school",
        type=_pair,
        action="append",
        default=[],
        metavar="NAME=VALUE",
        help=(
            "what only the school's own system knows, for its tables: classSourcedId, "
            "academicSessionSourcedId, schoolSourcedId, and assignDate and dueDate as YYYY-MM-DD. "
            "Give it again for another; it is kept for later runs"
        ),
    )
    results.add_argument(
        "--json", action="store_true", help="print one JSON object in place of the summary"
    )
    own = mark.add_argument_group("a score of your own")
    own.add_argument(
        "--override",
        nargs=3,
        metavar=("LEARNER", "QUESTION", "SCORE"),
        help="put a score, 0 to 1, in place of a measured one; needs --reason",
    )
    own.add_argument("--reason", metavar="TEXT", help="why")


def _offer_machine(mark: argparse.ArgumentParser) -> None:
    machine = mark.add_argument_group("the machine and the jail")
    machine.add_argument(
        "--workers",
        type=_whole(1),
        metavar="N",
        help="how many at once (if not given: as many as fit)",
    )
    machine.add_argument(
        "--cluster", metavar="ADDRESS", help="share the work out by a dask.distributed scheduler"
    )
    jail = machine.add_mutually_exclusive_group()
    # No default here: argparse would not notice that both came where the one says what is the
    # default anyway.
    jail.add_argument(
        "--jail",
        type=_one_of("bwrap", "landlock"),
        metavar="KIND",
        help="bwrap (if not given), or landlock: a weaker jail, where bwrap cannot be had",
    )
    jail.add_argument(
        "--unsafe-no-jail",
        dest="jail",
        action="store_const",
        const="unjailed",
        help=(
            "run strangers' code as yourself, with nothing protected; every record and report"
            " says so"
        ),
    )


def _whole(least: int, most: int | None = None) -> Callable[[str], int]:
    """Reads a whole number from `least` on."""

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and least <= int(text) <= (most or int(text))):
            until = "on" if most is None else f"to {most}"
            raise argparse.ArgumentTypeError(
                f"must be a whole number from {least} {until}; got {text!r}"
            )
        return int(text)

    return read


def _one_of(*names: str) -> Callable[[str], str]:
    """Reads one of some names, in capitals or not."""

    def read(text: str) -> str:
        for name in names:
            if name.casefold() == text.casefold():
                return name
        raise argparse.ArgumentTypeError(f"must be {_listed(names)}; got {text!r}")

    return read


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not (name and equals and value):
        raise argparse.ArgumentTypeError(f"must be a name, = and a value; got {text!r}")
    return name, value


# --- what is done
# --------------------------------------------------------------------------------------------------


def _learn(arguments: argparse.Namespace) -> int:
    from rigkit import (
        course,
        server,
        teaching,
    )  # JupyterLab takes a second to load; no other command needs it

    teach = arguments.teach
    folder = arguments.dir or Path("leg-rigging-teaching" if teach else "leg-rigging")
    what, page = _to_open(arguments.lesson, teaching.NOTES if teach else "")
    try:
        copies = (teaching if teach else course).hand_out(folder)
    except OSError as problem:
        why = problem.strerror or problem
        raise Undone(
            f"Cannot use {folder} as your folder ({why}). Choose another with --dir."
        ) from None
    obstacle = server.obstacle(arguments.port, arguments.browser)
    if obstacle:
        raise Undone(obstacle)
    print(_report(copies), flush=True)
    print(f"\n{what}:", flush=True)
    server.serve(copies.folder, page, arguments.port, arguments.browser, teach)
    return DONE


def _to_open(number: str | None, notes: str) -> tuple[str, str]:
    """What is opened, in words and as a path: the lesson asked for, a teacher's notes, or the first
    lesson."""
    from rigkit import course

    if number is None and notes:
        return "Notes for teaching", notes
    lesson = next(iter(course.lessons()), None) if number is None else course.lesson(number)
    return (
        (f"Lesson {lesson.number}, {lesson.title}", f"lessons/{lesson.path.name}")
        if lesson
        else ("The course", "")
    )


def _report(copies: "Copies") -> str:
    many = [("Copied", copies.copied), ("Brought up to date", copies.updated)]
    each = [
        ("Kept as you changed it", copies.kept),
        (
            "Kept as you changed it, though the course has a newer copy (rename yours to get it)",
            copies.newer,
        ),
        ("Left alone because of a link", copies.links),
    ]
    lines = [
        f"{what}: {', '.join(names) if len(names) <= FEW else f'{len(names)} files'}"
        for what, names in many
        if names
    ]
    lines += [f"{what}: {', '.join(names)}" for what, names in each if names]
    return "\n".join([f"Your folder: {copies.folder}", *lines])


def _export(arguments: argparse.Namespace) -> int:
    from rigkit import export, gltf, puppets  # all of the maths; no other command needs it

    out = arguments.out or Path(f"{arguments.puppet}.glb")
    if out.suffix.lower() not in (".glb", ".gltf"):
        raise ValueError(f"--out must end in .glb or .gltf; got {str(out)!r}.")
    if out.exists() and not arguments.replace:
        raise ValueError(
            f"{out} is there already. Give another name with --out, or write over it with"
            " --replace."
        )
    if not out.parent.is_dir():
        raise Undone(
            f"There is no folder {out.parent}. Make it, or choose another place with --out."
        )
    asset = export.puppet_asset(
        puppets.PUPPETS[arguments.puppet], arguments.vertices, not arguments.rest
    )
    gltf.write(asset, out, arguments.replace)
    (mesh,) = asset.meshes
    walk = f", a walk of {asset.animations[0].duration:.1f} s" if asset.animations else ""
    print(f"{out}: {len(mesh.positions)} vertices, {len(asset.skins[0].joints)} joints{walk}")
    return DONE


def _inspect(arguments: argparse.Namespace) -> int:
    from rigkit import course, inspection  # all of the maths; no other command needs it

    try:
        with open(arguments.file, "rb"):
            pass  # a file that is not there is said to be so, in the words of this command
        if arguments.html:
            _check_page(arguments.html)
        report = inspection.inspect(arguments.file, dict(arguments.map), dict(arguments.threshold))
        if arguments.html:
            course.write_whole(arguments.html, report.html().encode())
    except (ValueError, OSError) as problem:
        return _refuse(arguments, _in_words(problem)[0], WRONG_USE)
    print(report.json() if arguments.json else report.text(), end="")
    return 0 if report.passed else 1


def _check_page(path: Path) -> None:
    """Nothing but an earlier report may be written over."""
    if path.is_file():
        with open(path, "rb") as file:
            if b"<title>Inspection of " in file.read(2000):
                return
    if path.exists():
        raise ValueError(
            f"{path} is there already, and is no report. Give another name with --html."
        )


def _pack(arguments: argparse.Namespace) -> int:
    from rigkit.marking import pack

    names = pack.pack(arguments.lessons, arguments.out)
    print(f"{arguments.out}: {', '.join(names)}")
    return DONE


def _mark(arguments: argparse.Namespace) -> int:
    from rigkit.marking import command

    try:
        return command.mark(arguments)
    except ValueError as problem:
        text, status = _in_words(problem)[0], WRONG_USE
    except command.MarkingError as problem:
        text, status = str(problem), UNDONE
    if arguments.json:
        print(json.dumps({"error": text}))
    return _refuse(arguments, text, status)
