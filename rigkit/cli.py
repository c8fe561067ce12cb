"""The command `rigkit`: one function for each subcommand."""

import argparse
import os
import signal
import sys
from pathlib import Path

import rigkit
from rigkit import course, puppets


def main(argv=None):
    """Run the command line; returns the exit code."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # to be ended is to be interrupted: both are no error
    try:
        arguments = _parser().parse_args(argv)
        status = arguments.run(arguments) or 0
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        return 0
    except BrokenPipeError:  # whoever read the output has had enough, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # for what Python still has to write at its end
        return 1


def _parser():
    parser = _Parser(prog="rigkit", description="Learn to rig a character's legs.")
    parser.add_argument("--version", action="version", version=f"rigkit {rigkit.__version__}")
    parser.set_defaults(run=lambda arguments: parser.print_help())
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    learn = commands.add_parser("learn", help="open the course in your web browser",
                                description="Copy the course into a folder of your own and open it. "
                                            "What you changed there is never overwritten.")
    learn.add_argument("lesson", nargs="?", metavar="LESSON", help="the lesson to open, such as 06")
    learn.add_argument("--teach", action="store_true",
                       help="for a classroom: code folded, larger type, and a page of notes for the teacher")
    learn.add_argument("--dir", type=Path, metavar="FOLDER",
                       help="your own folder (default: leg-rigging, with --teach leg-rigging-teaching)")
    learn.add_argument("--no-browser", dest="browser", action="store_false",
                       help="only print the address")
    learn.add_argument("--port", type=_port, help="the port to answer on (default: a free one)")
    learn.set_defaults(run=_learn)

    export = commands.add_parser("export", help="write a puppet, skinned and walking, as a glTF file",
                                 description="Write a puppet of the parade as a .glb or .gltf file, for any program "
                                             "that reads glTF 2.0.")
    export.add_argument("puppet", choices=puppets.PUPPETS, metavar="PUPPET", help=", ".join(puppets.PUPPETS))
    export.add_argument("--out", type=Path, metavar="FILE", help="the file to write (default: PUPPET.glb)")
    export.add_argument("--vertices", type=int, default=5000, metavar="N", help="about how many (default: 5000)")
    export.add_argument("--rest", action="store_true", help="the rest pose only, without the walk")
    export.add_argument("--replace", action="store_true", help="write over a file that is there")
    export.set_defaults(run=_export)

    inspect = commands.add_parser("inspect", help="inspect a finished leg rig",
                                  description="Find the legs in a .glb or .gltf file and measure them by every rule. "
                                              "Exit status: 0 all pass, 1 findings, 2 wrong use or no such file.")
    inspect.add_argument("file", type=Path, metavar="FILE", help="a .glb or .gltf file, from any program")
    inspect.add_argument("--json", action="store_true", help="print the report as JSON")
    inspect.add_argument("--html", type=Path, metavar="OUT", help="write the report, with pictures, as a page")
    inspect.add_argument("--map", type=_pair, action="append", default=[], metavar="PART=NAME",
                         help="what a joint is: left.knee=NAME; or an axis: up=+z, forward=-y; or metres=0.01")
    inspect.add_argument("--threshold", type=_pair, action="append", default=[], metavar="RULE=VALUE",
                         help="another limit for a rule, such as sides-mirror=1")
    inspect.set_defaults(run=_inspect)

    pack = commands.add_parser("pack", help="make a zip of exercises to hand out",
                               description="Pack exercises, without solutions, for learners to answer and hand in.")
    pack.add_argument("lessons", nargs="+", metavar="LESSON", help="a lesson's number, such as 06")
    pack.add_argument("--out", type=Path, required=True, metavar="FILE", help="the zip to write")
    pack.set_defaults(run=_pack)

    mark = commands.add_parser("mark", help="mark a class's homework",
                               description="Mark the notebooks in a folder or zip, each in a jail of its own. Given "
                                           "again, it goes on where it was, and marks only what is new or changed.")
    mark.add_argument("submissions", nargs="?", type=Path, metavar="SUBMISSIONS", help="a folder or zip of notebooks")
    mark.add_argument("--out", type=Path, required=True, metavar="RESULTS", help="the folder for marks and reports")
    mark.add_argument("--roster", type=Path, metavar="FILE", help="who is in the class: a CSV file with id and name")
    mark.add_argument("--lesson", nargs="+", action="extend", default=[], metavar="NUMBER", help="only these lessons")
    mark.add_argument("--again", action="store_true", help="mark also what has not changed: the same cases, anew")
    mark.add_argument("--workers", type=_workers, metavar="N", help="how many at once (default: as many as fit)")
    mark.add_argument("--cluster", metavar="ADDRESS", help="share the work out by a dask.distributed scheduler")
    mark.add_argument("--json", action="store_true", help="print one JSON object in place of the summary")
    jail = mark.add_mutually_exclusive_group()
    jail.add_argument("--jail", choices=["bwrap", "landlock"], default="bwrap",
                      help="landlock: a weaker jail, where bwrap cannot be had")
    jail.add_argument("--unsafe-no-jail", dest="jail", action="store_const", const="unjailed",
                      help="run strangers' code as yourself, with nothing protected; every record and report says so")
    mark.add_argument("--override", nargs=3, metavar=("LEARNER", "QUESTION", "SCORE"),
                      help="put a score of your own, 0 to 1, in place of a measured one; needs --reason")
    mark.add_argument("--reason", metavar="TEXT")
    mark.set_defaults(run=_mark)
    return parser


class _Parser(argparse.ArgumentParser):
    """argparse that says what is wrong in one line."""

    def __init__(self, **options):
        super().__init__(allow_abbrev=False, **options)

    def error(self, message):
        self.exit(2, f"{self.prog}: {message}\n")


def _port(text):
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"must be a number from 1 to 65535; got {text!r}")
    return int(text)


def _pair(text):
    name, equals, value = text.partition("=")
    if not (name and equals and value):
        raise argparse.ArgumentTypeError(f"must be a name, = and a value; got {text!r}")
    return name, value


def _learn(arguments):
    from rigkit import server, teaching  # JupyterLab takes a second to load; no other command needs it

    teach = arguments.teach
    folder = arguments.dir or Path("leg-rigging-teaching" if teach else "leg-rigging")
    try:
        what, page = _to_open(arguments.lesson, teaching.NOTES if teach else "")
        copies = (teaching if teach else course).hand_out(folder)
    except ValueError as problem:
        return _refuse(problem)
    except OSError as problem:
        why = f"{problem.strerror}: {problem.filename}" if problem.strerror else problem
        return _refuse(f"Cannot use {folder} as your folder ({why}). Choose another with --dir.")
    obstacle = server.obstacle(arguments.port, arguments.browser)
    if obstacle:
        return _refuse(obstacle)
    print(_report(copies), flush=True)
    print(f"\n{what}:", flush=True)
    server.serve(copies.folder, page, arguments.port, arguments.browser, teach)
    return 0


def _export(arguments):
    from rigkit import export, gltf  # all of the maths; no other command needs it

    out = arguments.out or Path(f"{arguments.puppet}.glb")
    try:
        asset = export.puppet_asset(puppets.PUPPETS[arguments.puppet], arguments.vertices, not arguments.rest)
        gltf.write(asset, out, arguments.replace)
    except ValueError as problem:
        return _refuse(problem)
    (mesh,) = asset.meshes
    walk = f", a walk of {asset.animations[0].duration:.1f} s" if asset.animations else ""
    print(f"{out}: {len(mesh.positions)} vertices, {len(asset.skins[0].joints)} joints{walk}")
    return 0


def _inspect(arguments):
    from rigkit import inspection  # all of the maths; no other command needs it

    try:
        report = inspection.inspect(arguments.file, dict(arguments.map), dict(arguments.threshold))
        if arguments.html:
            course.write_whole(arguments.html, report.html().encode())
    except ValueError as problem:
        return _refuse(problem, 2)
    except OSError as problem:
        return _refuse(f"Cannot use {problem.filename or arguments.file} ({problem.strerror}).", 2)
    print(report.json() if arguments.json else report.text(), end="")
    return 0 if report.passed else 1


def _pack(arguments):
    from rigkit.marking import pack

    try:
        names = pack.pack(arguments.lessons, arguments.out)
    except ValueError as problem:
        return _refuse(problem)
    except OSError as problem:
        return _refuse(f"Cannot write {arguments.out} ({problem.strerror}). Choose another place with --out.")
    print(f"{arguments.out}: {', '.join(names)}")
    return 0


def _to_open(number, notes):
    """What is opened, in words and as a path: the lesson asked for, a teacher's notes, or the first lesson."""
    if number is None and notes:
        return "Notes for teaching", notes
    lesson = next(iter(course.lessons()), None) if number is None else course.lesson(number)
    return (f"Lesson {lesson.number}, {lesson.title}", f"lessons/{lesson.path.name}") if lesson else ("The course", "")


def _report(copies):
    said = [
        ("Copied", copies.copied),
        ("Brought up to date", copies.updated),
        ("Kept as you changed it", copies.kept),
        ("Kept as you changed it, though the course has a newer copy (rename yours to get it)", copies.newer),
        ("Left alone because of a link", copies.links),
    ]
    lines = [f"{what}: {', '.join(names)}" for what, names in said if names]
    return "\n".join([f"Your folder: {copies.folder}", *lines])


def _workers(text):
    if not (text.isascii() and text.isdigit() and int(text) >= 1):
        raise argparse.ArgumentTypeError(f"must be a number from 1 on; got {text!r}")
    return int(text)


def _mark(arguments):
    from rigkit.marking import command

    return command.mark(arguments)


def _refuse(problem, status=1):
    print(f"rigkit: {problem}", file=sys.stderr)
    return status
