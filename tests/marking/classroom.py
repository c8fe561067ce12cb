"""A made-up class of the harbour parade and what it hands in, for tests and benchmarks of marking.

    python -m tests.marking.classroom FOLDER 200 [06]

Everyone here is invented. The same arguments make the same files.
"""

import ast
import csv
import json
import random
import sys
from functools import partial
from pathlib import Path

from rigkit.homework import catalogue, notebook
from rigkit.marking.submission import File, digest_of
from tests.marking import rig_files

ROOT = Path(__file__).parents[2]
_FIRST = """
    Anneke Bastian Cleo Dagny Emre Fenja Gesa Hauke Ilka Joris Kaja Lennart Maren Nuno Oluchi
    Pelle Quirin Rike Sören Tjark Ulla Vigga Wiebke Xenia Yorick Zoë Birk Frauke Henrike Imke
    Momme Swantje
"""
FIRST = tuple(_FIRST.split())
_LAST = """
    Anchorage Bollard Capstan Driftwood Eddystream Foghorn Gangway Halyard Inshore Jetty
    Keelson Lanternby Moorland Netmender O'Tide Pilotson Quayside Ropewalk Sailwright
    Tidewater Undertow Vanguard Winchcombe Yardarm Breakwater Caulker Dockray Ebb Fairlead
    Gull Harbourne Islet
"""
LAST = tuple(_LAST.split())
PATTERN = (
    "right",
    "partly",
    "misconception",
    "misconception",
    "broken",
    "blank",
    "misconception",
    "right",
    "hostile",
    "unreadable",
    "copy",
    "missing",
    "right",
    "partly",
    "misconception",
    "right",
    "partly",
    "misconception",
    "right",
    "misconception",
)

HOSTILE = {  # what a cell before the answers does, which are right
    "reads outside": "print(open('/etc/passwd').read())",
    "ends the process": "import os\nos._exit(0)",
    "answers for the checker": (
        "import contextlib, os\nfor place in range(3, 64):\n"
        "    with contextlib.suppress(OSError):\n"
        '        os.write(place, b\'{"id": 0, "out": 1}\\n\')'
    ),
    "starts a program": "import subprocess\nsubprocess.run(['/bin/sh', '-c', 'true'])",
    "fills the memory": "hoard = []\nwhile True:\n    hoard.append(bytes(2**24))",
    "markup in its words": (
        "class Script(Exception):\n    pass\n\nScript.__name__ = '<script>alert(1)</script>'\n"
        "raise Script('<img src=x onerror=alert(2)>')"
    ),
    "floods the page": "while True:\n    print('x' * 10**6)",
    "shuts the doors": "import os\nos.closerange(0, 64)",
    "never ends": "while True:\n    pass",
}


def make_class(folder, n, lesson="06", kinds=PATTERN, seed=0):
    """Write n learners' homework into `folder`/submissions and the list of them into
    `folder`/roster.csv.

    Each learner has a folder "Name (id)" with one notebook, and the rig files that the lesson asks
    for. The kinds follow `kinds`, again and again: "right", "partly", "misconception" (the
    lesson's, one after the other, the rest right), "broken" (a cell that does not parse), "blank",
    "hostile" (see `HOSTILE`, one after the other), "hostile rig" (see `rig_files.UNREADABLE`,
    likewise), "no rig", "unreadable", "copy" (of the first that is right, under other names),
    "missing" (no file).

    Returns
    -------
    dict of str to str
        For each learner's id its kind, with what there is to add: "misconception: 06/solve_leg
        degrees".
    """
    folder, rng = Path(folder), random.Random(seed)
    turns = {
        "misconception": _in_turn(_misconceptions(lesson)),
        "hostile": _in_turn(HOSTILE),
        "hostile rig": _in_turn(rig_files.UNREADABLE),
    }
    made, first = {}, None
    (folder / "submissions").mkdir(parents=True)
    with open(folder / "roster.csv", "w", newline="", encoding="utf-8") as file:
        roster = csv.writer(file)
        roster.writerow(["id", "name", "email"])
        for number in range(n):
            learner, name = f"p{number:04d}", _name(number)
            roster.writerow([learner, name, f"{learner}@parade.example"])
            kind = kinds[number % len(kinds)]
            what = next(turns[kind]) if kind in turns else None
            made[learner] = (
                kind
                if what is None
                else f"{kind}: {what if isinstance(what, str) else ' '.join(what)}"
            )
            if kind != "missing":
                place = (
                    folder
                    / "submissions"
                    / f"{name} ({learner})"
                    / _template("exercises", lesson).name
                )
                place.parent.mkdir()
                data = submission("right" if kind == "copy" else kind, what, lesson, name, rng)
                rigs = rigs_of(kind, what, lesson, name)
                if kind == "copy" and first:
                    data, rigs = _copied(*first[:2], name), first[2]
                first = first or ((data, name, rigs) if kind == "right" else None)
                place.write_bytes(data)
                for question, rig in rigs.items():
                    place.with_name(f"{question}.glb").write_bytes(rig)
    return made


def submission(kind, what=None, lesson="06", name="Tamsin", rng=None):
    """The bytes of one notebook of a kind; `what` is the (question's id, misconception's name) or
    the hostile act."""
    rng = rng or random.Random(0)
    if kind == "unreadable":
        return b'{"cells": [{"cell_type": "code", "source": ["import num'
    book = _read("exercises", lesson)
    answers = {} if kind == "blank" else right_answers(lesson)
    answers |= {
        each.id: f'{each.name} = "{each.name}.glb"'
        for each in catalogue.questions(lesson).values()
        if each.kind == "file" and answers
    }
    answers = {question: _of_ones_own(source, rng) for question, source in answers.items()}
    if kind == "partly":
        for question in rng.sample(sorted(answers), 1 + len(answers) // 3):
            del answers[question]
    if kind == "misconception" and not _asks_for_file(lesson, what[0]):
        answers[what[0]] = misconception_source(lesson, *what)
    if kind == "broken":
        answers[next(iter(answers))] = "def broken(:\n    return"
    for cell in book["cells"]:
        question = cell["metadata"].get("rigkit", {}).get("question")
        if question in answers:
            cell["source"] = answers[question]
    if kind == "hostile":
        first = next(
            i
            for i, cell in enumerate(book["cells"])
            if "question" in cell["metadata"].get("rigkit", {})
        )
        book["cells"].insert(
            first,
            {
                "cell_type": "code",
                "execution_count": None,
                "id": "hostile",
                "metadata": {},
                "outputs": [],
                "source": HOSTILE[what],
            },
        )
    text = json.dumps(book, ensure_ascii=False, indent=1)
    return text.replace('student=\\"learner-07\\"', f'student=\\"{name}\\"').encode()


def held(place, data):
    """Bytes as a file that was collected, held in memory."""
    return File(place, digest_of(data), "", None, partial(bytes, data))


def rigs_of(kind, what=None, lesson="12", name="Tamsin"):
    """The bytes of the rig files that a learner of a kind hands in, by the name of the question
    each is for."""
    asked = [each.name for each in catalogue.questions(lesson).values() if each.kind == "file"]
    if not asked or kind in ("blank", "unreadable", "no rig"):
        return {}
    if kind == "hostile rig":
        return dict.fromkeys(asked, rig_files.UNREADABLE[what])
    rigs = _right_rigs(lesson, name, asked)
    if kind == "misconception" and _asks_for_file(lesson, what[0]):
        homework = notebook.open_homework(lesson, name)
        question = homework.questions[what[0].split("/")[1]]
        wrong = next(wrong for wrong in question.misconceptions if wrong.name == what[1])
        rigs[question.name] = rig_files.data(wrong.answer(*homework.cases(question, 0)[0].values()))
    return rigs


def _right_rigs(lesson, name, asked):
    """The files that the lesson's solution writes for a learner."""
    names = {}
    for cell in _read("solutions", lesson)["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "code" and "hw.check" not in source:
            exec(source.replace('student="learner-07"', f"student={name!r}"), names)
    return {question: Path(names[question]).read_bytes() for question in asked}


def _asks_for_file(lesson, question_id):
    return catalogue.questions(lesson)[question_id.split("/")[1]].kind == "file"


def _copied(data, name, new):
    """Someone's notebook with their name replaced, and the names of their idle steps."""
    return data.decode().replace(name, new).replace("try_", "attempt_").encode()


def right_answers(lesson):
    """The source of each answer in the lesson's solution, by the question's id."""
    return {
        cell["metadata"]["rigkit"]["question"]: "".join(cell["source"])
        for cell in _read("solutions", lesson)["cells"]
        if "question" in cell["metadata"].get("rigkit", {})
    }


def misconception_source(lesson, question_id, name):
    """A cell that answers as a misconception does, in the words of the module that knows it."""
    question = catalogue.questions(lesson)[question_id.split("/")[1]]
    path = ROOT / "rigkit" / "homework" / f"questions_{lesson}.py"
    text = path.read_text(encoding="utf-8")
    module = ast.parse(text)
    answer = next(
        call.args[1]
        for call in _misconception_calls(module, question_id)
        if call.args[0].value == name
    )
    lines = [ast.get_source_segment(text, part) for part in _needed(module, answer)]
    model = ast.get_source_segment(text, answer)
    if question.kind == "function":
        lines += [f"def {question.name}(*values):\n    return ({model})(*values)"]
    else:
        lines += [f"{question.name} = ({model})(*vars(hw.inputs({question.name!r})).values())"]
    return "\n".join(lines)


def _misconceptions(lesson):
    """(question's id, name) of each: the first of every question, then the second of every
    question, and so on."""
    numbered = [
        (number, (question.id, wrong.name))
        for question in catalogue.questions(lesson).values()
        for number, wrong in enumerate(question.misconceptions)
    ]
    return [which for _, which in sorted(numbered, key=lambda pair: pair[0])]


def _misconception_calls(module, question_id):
    for part in module.body:
        for call in ast.walk(part):
            if (
                _called(call) == "Question"
                and "/".join(arg.value for arg in call.args[:2]) == question_id
            ):
                yield from (inner for inner in ast.walk(call) if _called(inner) == "Misconception")


def _called(node):
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else None


def _needed(module, answer):
    """The statements of a module that an expression needs, in their order; nothing of the
    homework's own."""
    makes = {name: part for part in module.body for name in _names_made(part)}
    needed, ask = [], [answer]
    while ask:
        for node in ast.walk(ask.pop()):
            part = makes.get(node.id) if isinstance(node, ast.Name) else None
            if part is not None and part not in needed:
                needed.append(part)
                ask.append(part)
    return sorted(needed, key=lambda part: part.lineno)


def _names_made(part):
    if isinstance(part, (ast.Import, ast.ImportFrom)):
        homework = isinstance(part, ast.ImportFrom) and part.module.startswith("rigkit.homework")
        return [] if homework else [alias.asname or alias.name for alias in part.names]
    if isinstance(part, ast.FunctionDef):
        return [part.name]
    if isinstance(part, ast.Assign):
        return [
            node.id
            for target in part.targets
            for node in ast.walk(target)
            if isinstance(node, ast.Name)
        ]
    return []


def _of_ones_own(source, rng):
    """The same answer with some idle steps in front, different for every learner, as people's work
    is."""
    steps = [f"try_{rng.randrange(100)} = {_idle(rng, 3)}" for _ in range(rng.randint(2, 4))]
    return "\n".join([*steps, source])


def _idle(rng, depth):
    if depth == 0 or rng.random() < 0.15:
        return str(rng.randint(1, 9))
    inner = _idle(rng, depth - 1)
    return rng.choice(
        [
            f"({inner} {rng.choice('+-*')} {_idle(rng, depth - 1)})",
            f"abs({inner})",
            f"max({inner}, 3)",
            f"sum([{inner}, {_idle(rng, depth - 1)}])",
            f"round({inner} / 4, 2)",
            f"min(5, {inner})",
        ]
    )


def _in_turn(things):
    things = list(things)
    while True:
        yield from things


def _name(number):
    return f"{FIRST[number % len(FIRST)]} {LAST[(number // len(FIRST) + number) % len(LAST)]}"


def _read(part, lesson):
    return json.loads(_template(part, lesson).read_text(encoding="utf-8"))


def _template(part, lesson):
    return next((ROOT / part).glob(f"{lesson}-*.ipynb"))


if __name__ == "__main__":
    for who, kind in make_class(sys.argv[1], int(sys.argv[2]), *sys.argv[3:]).items():
        print(who, kind)
