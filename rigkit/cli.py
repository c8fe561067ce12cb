"""The command `rigkit`: its subcommands with their options, help and refusals.

Only the standard library is loaded until a subcommand runs, so help comes at once.
"""

import argparse
import json
import os
import re
import shutil
import signal
import sys
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import rigkit

if TYPE_CHECKING:
    from rigkit.course import Copies
    from rigkit.gltf import Animation

PUPPETS = ("Tamsin", "Odo", "Pip", "heron")  # written out, because their module needs NumPy
JAILS = ("bwrap", "landlock")
SEVERITIES = ("serious", "moderate", "slight")
FEW = 6  # so many names of files are told one by one
OPTIONS = {
    "path": "--out",
    "vertices": "--vertices",
    "rate": "--rate",
    "mapping": "--map",
    "thresholds": "--threshold",
    "pair": "--pair",
    "out": "--fix",
    "lesson": "--lesson",
    "school": "--school",
}  # the option that sets an argument of the library
DONE, FAILED, WRONG_USE = 0, 1, 2
STATUS = ((DONE, "done"), (FAILED, "it could not be done"), (WRONG_USE, "wrong use"))


class CommandError(Exception):
    """Work that could not be done; the text says why, and what would do."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after `rigkit`; by default those it was started with.

    Returns
    -------
    int
        The exit status: 0 done, 1 it could not be done, 2 wrong use.
    """
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # treat SIGTERM like Ctrl-C
    words = list(sys.argv[1:] if argv is None else argv)
    if words[:1] == ["help"]:
        words = [*words[1:2], "--help"]
    arguments = argparse.Namespace(prog="rigkit", stopped=FAILED)
    try:
        _parser().parse_args(words, arguments)
        status = arguments.run(arguments)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        return _refuse(arguments, "Stopped.", FAILED) if arguments.stopped else DONE
    except BrokenPipeError:  # whoever read the output has had enough, as `head` does
        _discard_output()
        return FAILED
    except (ValueError, CommandError, OSError) as problem:
        return _refuse(arguments, *_describe(problem))


# --- refusals ----


def _refuse(arguments: argparse.Namespace, text: str, status: int) -> int:
    print(f"{arguments.prog}: {text}", file=sys.stderr)
    return status


def _describe(problem: Exception) -> tuple[str, int]:
    """Return the message for a problem, and the exit status."""
    from rigkit import course

    if isinstance(problem, OSError):
        if problem.filename is None:
            _discard_output()  # what could not be written is the output itself
        return course.describe_os_error(problem), FAILED
    failed = isinstance(problem, CommandError) or isinstance(problem.__context__, OSError)
    return _with_options(str(problem)), FAILED if failed else WRONG_USE


def _with_options(text: str) -> str:
    """Name options in place of the library's arguments: "--map up" for "`mapping['up']`"."""

    def option(found: re.Match[str]) -> str:
        name, key = OPTIONS.get(found[1]), found[2]
        return found[0] if name is None else f"{name} {key}" if key else name

    return re.sub(r"`(\w+)(?:\['([^']*)'\])?`", option, text)


def _discard_output() -> None:
    """Let what Python still has to write at its end go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


# --- help ----


class _Parser(argparse.ArgumentParser):
    """A parser with the purpose first, examples and exit status last, and errors in one line."""

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
        first = [_filled(self.purpose), "", super().format_help()]
        return "\n".join([*first, "examples:", *examples, "", "exit status:", *status, ""])

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        found, more = super().parse_known_args(args, namespace)
        if more:  # refused here, where the command is known
            self.error(f"unrecognized arguments: {' '.join(more)}")
        return found, more

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG_USE, f"{self.prog}: {message}. See {self.prog} --help.\n")


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
        subsequent_indent=" " * (indent if further is None else further),
        break_on_hyphens=False,
    )


class _AtMostTwo(argparse.Action):
    """Take one word or two."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: Any, words: Any, option: Any = None
    ) -> None:
        if len(words) > 2:
            raise argparse.ArgumentError(self, f"expected LEARNER [LESSON]; got {words}")
        setattr(namespace, self.dest, words)


class _Version(argparse.Action):
    """Print the version, looked up only then: that takes longer than all else here."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        print(f"rigkit {rigkit.__version__}")
        parser.exit()


class _Completion(argparse.Action):
    """Print the completion script for a shell."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: Any, shell: Any, option: Any = None
    ) -> None:
        import shtab

        _complete_files(parser, shtab.FILE)
        print(shtab.complete(parser, shell))
        parser.exit()


def _complete_files(parser: argparse.ArgumentParser, how: dict[str, Any]) -> None:
    """Let arguments that are paths be completed by the names of files."""
    for action in parser._actions:
        if action.type is Path:
            action.complete = how  # type: ignore[attr-defined]  # read by shtab
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                _complete_files(command, how)


# --- arguments ----


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
    for add in (_add_learn, _add_export, _add_inspect, _add_show, _add_pack, _add_mark):
        add(commands)
    more = _add_help(parser)
    more.add_argument("--version", action=_Version, nargs=0, help="print the version")
    more.add_argument(
        "--completion",
        action=_Completion,
        nargs="?",
        const="bash",
        choices=("bash", "zsh", "tcsh"),
        help=(
            "print what lets a shell complete commands and options with the Tab key (if none is "
            'named: bash); use it by eval "$(rigkit --completion)"'
        ),
    )

    def alone(_: argparse.Namespace) -> int:
        parser.print_help()
        return DONE

    parser.set_defaults(run=alone)
    return parser


def _add_help(parser: argparse.ArgumentParser) -> Any:
    """Add the last group of options, with the one that every command has."""
    group = parser.add_argument_group("also")
    group.add_argument("-h", "--help", action="help", help="print this")
    return group


def _add_learn(commands: Any) -> None:
    learn = commands.add_parser("learn", **_LEARN)
    what = learn.add_argument_group("what to open")
    number = "the number of a lesson, such as 06"
    what.add_argument("lesson", nargs="?", metavar="LESSON", help=number)
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
    port = "the port to answer on (if not given: a free one)"
    where.add_argument("--port", type=_whole(1, 65535), metavar="N", help=port)
    _add_help(learn)
    learn.set_defaults(run=_learn, stopped=DONE)  # Ctrl-C is how it ends


def _add_export(commands: Any) -> None:
    export = commands.add_parser("export", **_EXPORT)
    what = export.add_argument_group("what to write")
    puppets = f"{', '.join(PUPPETS[:-1])} or {PUPPETS[-1]}"
    what.add_argument(
        "puppet", type=_any_case(PUPPETS), choices=PUPPETS, metavar="PUPPET", help=puppets
    )
    walk = what.add_mutually_exclusive_group()
    walk.add_argument("--rest", action="store_true", help="the rest pose only, without the walk")
    walk.add_argument(
        "--rate",
        type=_number(1, 240),
        default=30.0,
        metavar="N",
        help="about how many keys a second the walk has, from 1 to 240, but at least 8 a stride; "
        "twice as many while a foot pushes off (if not given: 30)",
    )
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
    _add_help(export)
    export.set_defaults(run=_export)


def _add_inspect(commands: Any) -> None:
    inspect = commands.add_parser("inspect", **_INSPECT)
    what = inspect.add_argument_group("what to inspect")
    files = "rigs (.glb, .gltf, .vrm, .bvh), and folders of them"
    what.add_argument("files", nargs="+", type=Path, metavar="FILE", help=files)
    what.add_argument(
        "--map",
        type=_corrected,
        action="append",
        default=[],
        metavar="PART=NAME",
        help="which joint is what: left.knee=NAME, left.ball= for none; or up=+z, forward=-y, "
        "metres=0.01. Give it again for another",
    )
    pair = "which pair of legs, where there are several, such as hind"
    what.add_argument("--pair", metavar="NAME", help=pair)
    limit = "another limit, such as sides-mirror=1. Give it again for another"
    _add_pairs(what, "--threshold", "RULE=VALUE", limit)
    left = "a list of what need not be told, each with its reason"
    what.add_argument("--leave-out", type=Path, metavar="LIST", help=left)
    _add_report(inspect)
    _add_help(inspect)
    inspect.set_defaults(run=_inspect)


def _add_report(inspect: argparse.ArgumentParser) -> None:
    how = inspect.add_argument_group("what to write")
    page = "write the report, with pictures, as a page; for several files, pages in a folder"
    how.add_argument("--html", type=Path, metavar="FILE", help=page)
    how.add_argument("--json", action="store_true", help="print the report as JSON")
    earlier = "say what changed since an earlier file"
    how.add_argument("--against", type=Path, metavar="FILE", help=earlier)
    fixed = "write a copy with all put right that moves no skin, and inspect that"
    how.add_argument("--fix", type=Path, metavar="OUT", help=fixed)
    listed = "write all that is found as a list for --leave-out, with reasons to fill in"
    how.add_argument("--write-leave-out", type=Path, metavar="LIST", help=listed)
    how.add_argument(
        "--fail-on",
        choices=SEVERITIES,
        default=SEVERITIES[-1],
        metavar="SEVERITY",
        help="exit with 1 for serious findings alone, from moderate or from slight ones on (if "
        "not given: slight)",
    )


def _add_show(commands: Any) -> None:
    show = commands.add_parser("show", **_SHOW)
    what = show.add_argument_group("what to show")
    file = "what the last step of the bench wrote, such as my-leg.glb"
    what.add_argument("file", type=Path, metavar="FILE", help=file)
    where = show.add_argument_group("where")
    page = "the page (if not given: beside the file, under its name)"
    where.add_argument("--html", type=Path, metavar="PAGE", help=page)
    _add_help(show)
    show.set_defaults(run=_show)


def _add_pack(commands: Any) -> None:
    pack = commands.add_parser("pack", **_PACK)
    what = pack.add_argument_group("what to pack")
    number = "the number of a lesson, such as 06"
    what.add_argument("lessons", nargs="*", metavar="LESSON", help=number)
    what.add_argument(
        "--questions",
        nargs="+",
        action="extend",
        default=[],
        metavar="NAME",
        help="only these of their questions, such as solve_leg",
    )
    plan = "what a plan asks, such as an earlier pack wrote: your own questions too"
    what.add_argument("--plan", type=Path, metavar="FILE", help=plan)
    zipped = "the zip to write; the plan is written beside it, unless it is there"
    what.add_argument("--out", type=Path, required=True, metavar="FILE", help=zipped)
    _add_help(pack)
    pack.set_defaults(run=_pack)


def _add_mark(commands: Any) -> None:
    mark = commands.add_parser("mark", **_MARK)
    _add_class(mark)
    _add_results(mark)
    _add_override(mark)
    _add_machine(mark)
    _add_help(mark)
    mark.set_defaults(run=_mark)


def _add_class(mark: argparse.ArgumentParser) -> None:
    what = mark.add_argument_group("what to mark")
    submissions = "a folder or zip of notebooks, and of legs from the bench"
    what.add_argument("submissions", nargs="?", type=Path, metavar="SUBMISSIONS", help=submissions)
    what.add_argument(
        "--roster",
        type=Path,
        metavar="FILE",
        help="who is in the class: a CSV file with id and name. It is kept for later runs",
    )
    what.add_argument(
        "--columns",
        type=_pair,
        nargs="+",
        action="extend",
        default=[],
        metavar="NAME=HEAD",
        help="the roster's columns, where their heads are in other words: id=Nr name=Navn; also "
        "surname, first, email, group",
    )
    what.add_argument(
        "--lesson",
        nargs="+",
        action="extend",
        default=[],
        metavar="NUMBER",
        help="only these lessons; your-leg for the leg from the bench",
    )
    what.add_argument(
        "--plan",
        type=Path,
        metavar="FILE",
        help="which questions count, their weights and the deadline, in the file that rigkit pack "
        "writes. It is kept for later runs",
    )
    again = (
        "also what has not changed: the same cases, anew. Needed only after another version of the "
        "kit came; a new plan or a correction counts without it"
    )
    what.add_argument("--again", action="store_true", help=again)


def _add_results(mark: argparse.ArgumentParser) -> None:
    results = mark.add_argument_group("marks and reports")
    folder = "the folder for them"
    results.add_argument("--out", type=Path, required=True, metavar="RESULTS", help=folder)
    _add_pairs(
        results,
        "--school",
        "NAME=VALUE",
        "what only the school's own system knows, for its tables: classSourcedId, "
        "academicSessionSourcedId, schoolSourcedId, and assignDate and dueDate as YYYY-MM-DD. "
        "Give it again for another; it is kept for later runs",
    )
    results.add_argument(
        "--decimal-comma",
        type=_switch,
        nargs="?",
        const=True,
        metavar="no",
        help="write half as 0,5 in grades.csv, with semicolons between cells, for a spreadsheet "
        "that wants it; it is kept for later runs, until --decimal-comma no",
    )
    results.add_argument(
        "--anonymous",
        type=_switch,
        nargs="?",
        const=True,
        metavar="no",
        help="pages and tables by number, the same in each run; key.csv and the record alone "
        "say who is who. It is kept for later runs, until --anonymous no",
    )
    json_ = "print one JSON object in place of the summary"
    results.add_argument("--json", action="store_true", help=json_)


def _add_override(mark: argparse.ArgumentParser) -> None:
    own = mark.add_argument_group("what you give by hand")
    own.add_argument(
        "--override",
        nargs=3,
        metavar=("LEARNER", "QUESTION", "SCORE"),
        help="put a score, 0 to 1, in place of a measured one; needs --reason. In place of a "
        "question a lesson, such as 06, for its whole score",
    )
    own.add_argument("--reason", metavar="TEXT", help="why")
    own.add_argument(
        "--corrections",
        type=Path,
        metavar="FILE",
        help="a table of such scores, for anyone in the class: CSV with the columns learner, "
        "question (or lesson), score, reason, feedback (a sentence for the learner) and seen",
    )
    own.add_argument(
        "--seen",
        nargs="+",
        action=_AtMostTwo,
        metavar=("LEARNER", "LESSON"),
        help="take a learner off the list of runs to look at, until another file of theirs comes",
    )


def _add_machine(mark: argparse.ArgumentParser) -> None:
    machine = mark.add_argument_group("the machine and the jail")
    many = "how many at once (if not given: as many as fit)"
    machine.add_argument("--workers", type=_whole(1), metavar="N", help=many)
    cluster = "share the work out by a dask.distributed scheduler"
    machine.add_argument("--cluster", metavar="ADDRESS", help=cluster)
    jail = machine.add_mutually_exclusive_group()
    # Without a default: argparse would not notice that both came where one names the default.
    jail.add_argument(
        "--jail",
        type=_any_case(JAILS),
        choices=JAILS,
        metavar="KIND",
        help="bwrap (if not given), or landlock: a weaker jail, where bwrap cannot be had",
    )
    jail.add_argument(
        "--unsafe-no-jail",
        dest="jail",
        action="store_const",
        const="unjailed",
        help=(
            "run strangers' code as yourself, with nothing protected; every record and report "
            "says so"
        ),
    )
    allow = "let homework import a package that is installed beside the kit; can be given again"
    machine.add_argument("--allow", metavar="PACKAGE", action="append", default=[], help=allow)


def _add_pairs(group: Any, option: str, metavar: str, help: str) -> None:
    """Add an option that takes NAME=VALUE and can be given again."""
    group.add_argument(option, type=_pair, action="append", default=[], metavar=metavar, help=help)


def _whole(least: int, most: int | None = None) -> Callable[[str], int]:
    """Return a reader of whole numbers from `least` on."""

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and least <= int(text) <= (most or int(text))):
            until = "on" if most is None else f"to {most}"
            raise argparse.ArgumentTypeError(
                f"must be a whole number from {least} {until}; got {text!r}"
            )
        return int(text)

    return read


def _number(least: float, most: float) -> Callable[[str], float]:
    """Return a reader of numbers from `least` to `most`."""

    def read(text: str) -> float:
        try:
            number = float(text)
        except ValueError:
            number = float("nan")
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(
                f"must be a number from {least:g} to {most:g}; got {text!r}"
            )
        return number

    return read


def _any_case(names: Sequence[str]) -> Callable[[str], str]:
    """Return a reader of names in capitals or not; a name that is not known stays as it is."""
    known = {name.casefold(): name for name in names}
    return lambda text: known.get(text.casefold(), text)


def _switch(text: str) -> bool:
    if text not in ("yes", "no"):
        raise argparse.ArgumentTypeError(f"must be yes or no, if anything; got {text!r}")
    return text == "yes"


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not (name and equals and value):
        raise argparse.ArgumentTypeError(f"must be a name, = and a value; got {text!r}")
    return name, value


def _corrected(text: str) -> tuple[str, str]:
    """A part and a name, or no name: "left.ball=" says that there is no such part."""
    name, equals, value = text.partition("=")
    if not (name and equals):
        raise argparse.ArgumentTypeError(f"must be a name, = and a value; got {text!r}")
    return name, value


# --- texts of the help ----

_LEARN: dict[str, Any] = {
    "help": "open the course in your web browser",
    "purpose": "Open the course in your web browser.",
    "usage": "rigkit learn [LESSON] [OPTIONS]",
    "description": (
        "Lessons and exercises are copied into a folder of your own. What you changed there is "
        "never overwritten. Stop with Ctrl-C."
    ),
    "examples": [
        ("rigkit learn", "Open the first lesson, in the folder leg-rigging"),
        ("rigkit learn 06", "Open lesson 06"),
        ("rigkit learn --teach", "Get ready for a class, in the folder leg-rigging-teaching"),
        (
            "rigkit learn --dir my-rigs --no-browser --port 8899",
            "Use another folder, and open the address that is printed yourself",
        ),
    ],
}
_EXPORT: dict[str, Any] = {
    "help": "write a puppet, skinned and walking, as a glTF file",
    "purpose": "Write a puppet of the parade, skinned and walking, as a glTF 2.0 file.",
    "usage": "rigkit export PUPPET [OPTIONS]",
    "examples": [
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
}
_INSPECT: dict[str, Any] = {
    "help": "look over a finished leg rig",
    "purpose": "Find the legs in rigs from any 3D application, and measure them by 34 rules.",
    "usage": "rigkit inspect FILE [FILE ...] [OPTIONS]",
    "examples": [
        ("rigkit inspect Tamsin.glb", "Print what was found"),
        ("rigkit inspect Tamsin.glb --html report.html", "Write it as a page, with pictures"),
        ("rigkit inspect . --html pages --fail-on serious", "A table of all, a page for each"),
        ("rigkit inspect Tamsin.glb --map left.knee=L_knee --map up=+y", "Say what is what"),
        ("rigkit inspect Tamsin.glb --against Odo.glb --json", "What changed, for a program"),
    ],
    "status": [
        (0, "no findings: every rule that could be measured passes"),
        (1, "there are findings, at least as bad as --fail-on says"),
        (2, "wrong use, or a file that cannot be read or written"),
    ],
}
_SHOW: dict[str, Any] = {
    "help": "make a page of a leg that was rigged on the bench",
    "purpose": "Write a leg's own page: the rig to turn and to play, its numbers, its walk.",
    "usage": "rigkit show FILE [OPTIONS]",
    "description": (
        "The page is one file, which any browser opens without a network. Every number in it is "
        "measured anew. An earlier such page is written over, and nothing else."
    ),
    "examples": [
        ("rigkit show my-leg.glb", "Write my-leg.html"),
        ("rigkit show my-leg.glb --html parade.html", "Write it under another name"),
    ],
}
_PACK: dict[str, Any] = {
    "help": "make a zip of exercises to hand out",
    "purpose": "Pack exercises, without solutions, for learners to answer and hand in.",
    "usage": (
        "rigkit pack LESSON [LESSON ...] --out FILE [--questions NAME ...]\n"
        "       rigkit pack --plan FILE --out FILE"
    ),
    "examples": [
        (
            "rigkit pack 06 --out hand-out.zip",
            "Pack one exercise, its pictures and how to go about it",
        ),
        ("rigkit pack 01 02 03 --out first-weeks.zip", "Pack several into one zip"),
        ("rigkit pack 06 --questions solve_leg steps --out two.zip", "Ask two of its questions"),
        ("rigkit pack --plan two-plan.toml --out own.zip", "Ask what a plan says, your own too"),
    ],
}
_MARK: dict[str, Any] = {
    "help": "mark a class's homework",
    "purpose": "Mark notebooks, each in a jail of its own, and legs from the bench.",
    "usage": (
        "rigkit mark SUBMISSIONS --out RESULTS [OPTIONS]\n"
        "       rigkit mark --out RESULTS --override LEARNER QUESTION SCORE --reason TEXT\n"
        "       rigkit mark --out RESULTS --corrections FILE\n"
        "       rigkit mark --out RESULTS --seen LEARNER [LESSON]"
    ),
    "description": (
        "Given again, it goes on where it was, and marks only what is new or changed. A later file "
        "of the same learner and lesson is marked in place of the earlier one, whose marks stay in "
        "the record."
    ),
    "examples": [
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
        ("rigkit mark --out results --seen p-17", "Say that you have looked at a learner's runs"),
    ],
    "status": [
        (0, "all were marked"),
        (1, "something could not be marked; it says which"),
        (2, "wrong use"),
    ],
}


# --- commands ----


def _learn(arguments: argparse.Namespace) -> int:
    from rigkit import course, server, teaching  # JupyterLab takes a second to load

    teach = arguments.teach
    folder = arguments.dir or Path("leg-rigging-teaching" if teach else "leg-rigging")
    what, page = _to_open(arguments.lesson, teaching.NOTES if teach else "")
    try:
        copies = (teaching if teach else course).hand_out(folder)
    except OSError as problem:
        why = problem.strerror or problem
        raise CommandError(
            f"Cannot use {folder} as your folder ({why}). Choose another with --dir."
        ) from None
    obstacle = server.obstacle(arguments.port, arguments.browser)
    if obstacle:
        raise CommandError(obstacle)
    print(_report(copies), flush=True)
    print("Starting: some ten seconds until the page opens.", flush=True)
    print(f"\n{what}:", flush=True)
    server.serve(copies.folder, page, arguments.port, arguments.browser, teach)
    return DONE


def _to_open(number: str | None, notes: str) -> tuple[str, str]:
    """Return the page that opens, in words and as a path."""
    from rigkit import course

    if number is None and notes:
        return "Notes for teaching", notes
    lesson = next(iter(course.lessons()), None) if number is None else course.lesson(number)
    if lesson is None:
        return "The course", ""
    return f"Lesson {lesson.number}, {lesson.title}", f"lessons/{lesson.path.name}"


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
        raise CommandError(
            f"There is no folder {out.parent}. Make it, or choose another place with --out."
        )
    asset = export.puppet_asset(
        puppets.PUPPETS[arguments.puppet],
        arguments.vertices,
        not arguments.rest,
        rate=arguments.rate,
    )
    gltf.write(asset, out, arguments.replace)
    (mesh,) = asset.meshes
    walk = _walk_in_words(asset.animations[0]) if asset.animations else ""
    print(f"{out}: {len(mesh.positions)} vertices, {len(asset.skins[0].joints)} joints{walk}")
    return DONE


def _walk_in_words(walk: "Animation") -> str:
    return f", a walk of {walk.duration:.1f} s with {len(walk.channels[0].times)} keys"


def _inspect(arguments: argparse.Namespace) -> int:
    from rigkit import inspecting  # all of the maths; no other command needs it

    try:
        return inspecting.inspect(arguments)
    except BrokenPipeError:
        raise
    except (ValueError, OSError) as problem:
        return _refuse(arguments, _describe(problem)[0], WRONG_USE)


def _show(arguments: argparse.Namespace) -> int:
    from rigkit.bench import showing  # all of the maths; no other command needs it

    page = arguments.html or arguments.file.with_suffix(".html")
    if not page.parent.is_dir():
        raise CommandError(
            f"There is no folder {page.parent}. Make it, or choose another place with --html."
        )
    state = showing.read(arguments.file)
    showing.write(state, page)
    print(f"{page}: {showing.Leg(state).title}")
    return DONE


def _pack(arguments: argparse.Namespace) -> int:
    from rigkit.marking import pack

    packed = pack.pack(arguments.lessons, arguments.out, arguments.questions, arguments.plan)
    print(f"{arguments.out}: {', '.join(packed.names)}")
    if packed.plan:
        print(f"{packed.plan}: what is asked, its weights and the deadline, for rigkit mark --plan")
    return DONE


def _mark(arguments: argparse.Namespace) -> int:
    from rigkit.marking import forks

    if arguments.submissions and not arguments.cluster:
        forks.begin()  # it imports what workers need while this process imports the rest
    from rigkit.marking import command

    try:
        return command.mark(arguments)
    except ValueError as problem:
        text, status = _describe(problem)[0], WRONG_USE
    except command.MarkingError as problem:
        text, status = str(problem), FAILED
    if arguments.json:
        print(json.dumps({"error": text}))
    return _refuse(arguments, text, status)
