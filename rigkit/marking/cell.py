"""One cell inside the jail: run as in a notebook, but for what cannot be had there.

A line for another program, and an import of what is not there, are skipped and told. Standard
library only; what the cell does wrong ends that cell only.
"""

import ast
import re

MOST_LINES = 200  # that only a notebook understands, in one cell
TIMES = ("%%time", "%%timeit", "%%capture", "%%prun")
SHOWS = ("%%html", "%%markdown", "%%latex", "%%javascript", "%%js", "%%svg")
_ASKS = re.compile(r"(!|%(pip|conda|mamba|uv|run|cd|load|sx|system|bash|sh)\b)")
_ASSIGNS = re.compile(r"[\w.,\s]+=\s*[!%]")


def run(source, name, namespace, limited):
    """Run a cell: `{"ok": true}`, or the error's type and its line in the cell.

    Parameters
    ----------
    source, name : str
    namespace : dict
    limited : callable
        Calls a function of no arguments, and ends it when its time is up.

    Returns
    -------
    dict
        With "skipped", where lines were: each with the name of what could not be imported, if that
        was why. An error for a name has the name.
    """
    skipped: list[dict] = []
    try:
        limited(lambda: _run(source, name, namespace, skipped))
        found: dict = {"ok": True}
    except BaseException as error:
        found = {"error": type(error).__name__, "line": _line(error, name), **_named(error)}
    return found | ({"skipped": skipped} if skipped else {})


def _run(source, name, namespace, skipped):
    tree = python(source, name, skipped)
    futures = [part for part in tree.body if getattr(part, "module", "") == "__future__"]
    for parts in _steps(tree.body):
        step = ast.Module([*futures, *parts], [])
        try:
            exec(compile(step, name, "exec"), namespace)
        except (ImportError, OSError) as error:
            if not _imports(parts[0]):
                raise
            skipped.append({"line": parts[0].lineno, "name": _missing(parts[0], error)})


def _steps(body):
    """The statements of a cell: each import by itself, what stands between two together."""
    between = []
    for part in body:
        if not _imports(part):
            between.append(part)
            continue
        if between:
            yield between
        between = []
        for alias in part.names:
            one = ast.Import([alias]) if isinstance(part, ast.Import) else _from(part, alias)
            yield [ast.copy_location(one, part)]
    if between:
        yield between


def _imports(part):
    return isinstance(part, (ast.Import, ast.ImportFrom))


def _from(part, alias):
    return ast.ImportFrom(part.module, [alias], part.level)


def _missing(part, error):
    """The name of what could not be imported."""
    if isinstance(error, ModuleNotFoundError) and isinstance(error.name, str):
        return error.name
    name = part.names[0].name
    return f"{part.module}.{name}" if isinstance(part, ast.ImportFrom) else name


def python(source, name="<cell>", skipped=None):
    """The syntax tree of a cell, without the lines that only a notebook understands.

    Those that another program would have to run are added to `skipped`. Of a cell under `%%time`,
    `%%timeit`, `%%capture` or `%%prun` the rest is there; under any other `%%` nothing is.
    """
    skipped = [] if skipped is None else skipped
    lines = _without_head(source.split("\n"), skipped)
    for _ in range(MOST_LINES):
        try:
            return compile("\n".join(lines), name, "exec", ast.PyCF_ONLY_AST)
        except SyntaxError as error:
            place = _notebooks_own(lines, (error.lineno or 1) - 1)
            if place is None:
                raise
            _take_out(lines, place, skipped)
    return compile("\n".join(lines), name, "exec", ast.PyCF_ONLY_AST)


def _without_head(lines, skipped):
    """A cell's lines without a head that begins with `%%`, or without any."""
    first = next((i for i, line in enumerate(lines) if line.strip()), 0)
    if not lines[first].startswith("%%"):
        return lines
    head = lines[first].split()[0]
    if head in TIMES:
        return [*lines[:first], "", *lines[first + 1 :]]
    if head not in SHOWS:
        skipped.append({"line": first + 1})
    return [""]


def _notebooks_own(lines, place):
    """The line that stopped Python's reading, if it is a notebook's own, or the last such before.

    A bracket or quote that one opens is found out further down only.
    """
    return next((i for i in range(min(place, len(lines) - 1), -1, -1) if _is_own(lines[i])), None)


def _is_own(line):
    text = line.strip()
    return text.startswith(("!", "%", "?")) or text.endswith("?") or bool(_ASSIGNS.match(text))


def _take_out(lines, place, skipped):
    """Put nothing in place of a line, and of those that it goes on in."""
    line = lines[place]
    start, text = line[: len(line) - len(line.lstrip())], line.strip()
    if _ASKS.match(text) or _ASSIGNS.match(text):
        skipped.append({"line": place + 1})
    timed = re.match(r"%time\s+(?=\S)", text)
    lines[place] = start + (text[timed.end() :] if timed else "pass")
    while not timed and text.endswith("\\") and place + 1 < len(lines):
        place += 1
        text, lines[place] = lines[place].strip(), ""


def _line(error, name):
    if isinstance(error, SyntaxError) and error.filename == name:
        return error.lineno
    line = None
    while line is None and error is not None:  # what ended a cell late came from what ended it
        step = error.__traceback__
        while step is not None:
            line = step.tb_lineno if step.tb_frame.f_code.co_filename == name else line
            step = step.tb_next
        error = error.__context__
    return line


def _named(error):
    """The name that an error is about, where it is about one."""
    name = error.name if type(error) in (NameError, ImportError, ModuleNotFoundError) else None
    return {"name": name} if isinstance(name, str) else {}
