"""For contributors: run the notebooks, save their outputs, derive exercises from solutions.

`python -m rigkit.authoring` derives all exercises, runs lessons and solutions, and saves their
outputs; with numbers, `python -m rigkit.authoring 06`, only those lessons. `--check` changes
nothing, says what would change, and exits with 1 if anything would. Running it twice changes
nothing the second time. `words` in place of a number is the page of words, made from
`data/words.toml`.

Tags: `answer` (with the question's id in the metadata, {"rigkit": {"question": "06/solve_leg"}}),
`solution-only` (dropped from the exercise), `live` (shows a panel: its code is folded, its output
saved as it stands still where no kernel answers, and not compared), `nbval-ignore-output` (saved
but not compared: its last digits differ between machines).

A scene's function that makes a panel is named `…_panel`, one behind a guess `…_guess`, and a quick
check `…_check`: so a lesson's time is counted. `YourLeg("06")` is a step on the learner's own leg.
"""

import argparse
import ast
import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from rigkit import words as glossary
from rigkit.course import LEG_FILES

ROOT = Path(__file__).parents[1]
KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
SAVED = ("text/plain", "text/html", "image/svg+xml")
IGNORED = "nbval-ignore-output"
PAGE_OF_WORDS, YOUR_LEG = "words.ipynb", "your-leg.ipynb"  # pages beside the lessons
FURTHER = "## Further: "  # a heading's beginning: what stands under it is folded at first
WORDS, PANEL, CHECK, STEP = 180, 2, 1, 3  # words a minute; minutes for each of these
_READABLE_ID = re.compile(r"[a-z]+(-[a-z0-9]+)*")
_ADDRESS = re.compile(r"\bat 0x[0-9a-f]+")
_IMAGES = re.compile(r"<img\b[^>]*>|!\[[^\]]*\]\(")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        By default those of the command line.

    Returns
    -------
    int
        The exit status: 1 for problems, or with `--check` for changes.
    """
    about = (__doc__ or "").partition("\n\n")[0]
    parser = argparse.ArgumentParser(prog="python -m rigkit.authoring", description=about)
    numbers = "only these lessons, such as 06; words for the page of words"
    parser.add_argument("lessons", nargs="*", metavar="NUMBER", help=numbers)
    check = "change nothing; exit with 1 if something would change"
    parser.add_argument("--check", action="store_true", help=check)
    options = parser.parse_args(arguments)
    found: list[str] = []
    changed = 0
    for path, make in authored(options.lessons):
        try:
            text = make()
        except ValueError as error:
            found.append(f"{_from_root(path)}: {error}")
            continue
        found += [f"{_from_root(path)}: {problem}" for problem in problems(text)]
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            changed += 1
            print(f"{'would change' if options.check else 'wrote'} {_from_root(path)}")
            if not options.check:
                path.write_text(text, encoding="utf-8", newline="\n")
    print("\n".join(found) or f"{changed} changed.", file=sys.stderr if found else sys.stdout)
    return 1 if found or (options.check and changed) else 0


def authored(
    numbers: Sequence[str] = (), root: Path = ROOT
) -> Iterator[tuple[Path, Callable[[], str]]]:
    """Yield every lesson, solution, exercise and further page, each with what makes it anew.

    Parameters
    ----------
    numbers : sequence of str
        Only these lessons, such as "06".
    root : pathlib.Path
        The folder of the project.

    Yields
    ------
    (pathlib.Path, callable)
        The callable returns the text to keep there; lessons and solutions are run for it.
    """
    for path in [*notebooks("lessons", numbers, root), *notebooks("solutions", numbers, root)]:
        yield path, partial(_run_again, path)
    for path in notebooks("solutions", numbers, root):
        yield root / "exercises" / path.name, partial(_derived, path)
    for page, make in ((PAGE_OF_WORDS, _page_of_words), (YOUR_LEG, _run_again)):
        path = root / "lessons" / page
        if path.exists() and (not numbers or path.stem in numbers):
            yield path, partial(make, path)


def _page_of_words(path: Path) -> str:
    import nbformat

    return text_of(run(nbformat.from_dict(glossary.page()), path.parent))


def _run_again(path: Path) -> str:
    """A notebook's text once it was run; refused where it would show somebody's own leg."""
    if left := sorted(each.name for each in path.parent.glob(LEG_FILES)):
        raise ValueError(
            f"move {', '.join(left)} away first, or its leg would be saved in a lesson"
        )
    return text_of(run(read(path), path.parent))


def _derived(path: Path) -> str:
    return text_of(exercise(read(path)))


def paths(notebook: Any) -> tuple[list[Any], list[Any]]:
    """Return a lesson's cells on its main path, and those that go further.

    Parameters
    ----------
    notebook : nbformat notebook

    Returns
    -------
    tuple of two lists of cells
        A heading that begins with "Further: " and what follows it goes further, up to the next
        heading of its level.
    """
    main: list[Any] = []
    beyond: list[Any] = []
    here = main
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and cell.source.startswith("## "):
            here = beyond if cell.source.startswith(FURTHER) else main
        here.append(cell)
    return main, beyond


def words(cells: Iterable[Any]) -> int:
    """Count the words of prose that cells hold; a formula is one, a link counts by its text.

    Parameters
    ----------
    cells : iterable of cells

    Returns
    -------
    int
    """
    text = "\n".join(cell.source for cell in cells if cell.cell_type == "markdown")
    text = re.sub(r"\]\([^)]*\)", "]", re.sub(r"\$\$?[^$]+\$\$?", "formula", text))
    return sum(bool(re.search(r"\w", word)) for word in text.split())


def minutes(cells: Sequence[Any]) -> int:
    """Return the time that cells take: their words, panels with guesses, checks, bench steps.

    Parameters
    ----------
    cells : sequence of cells

    Returns
    -------
    int
        Minutes, rounded to a whole one.
    """
    code = "\n".join(cell.source for cell in cells if cell.cell_type == "code")
    panels, checks = (len(re.findall(rf"_{kind}\(", code)) for kind in ("(?:panel|guess)", "check"))
    steps = len(re.findall(r"\bYourLeg\(", code))
    return round(words(cells) / WORDS + PANEL * panels + CHECK * checks + STEP * steps)


def notebooks(part: str, numbers: Sequence[str] = (), root: Path = ROOT) -> list[Path]:
    """Return the notebooks of one part of the course.

    Parameters
    ----------
    part : str
        "lessons", "exercises" or "solutions".
    numbers : sequence of str
        Only these lessons, such as "06".
    root : pathlib.Path
        The folder of the project.

    Returns
    -------
    list of pathlib.Path
        In order.
    """
    paths = sorted((root / part).glob("[0-9][0-9]-*.ipynb"))
    return [path for path in paths if not numbers or path.name[:2] in numbers]


def read(path: Path) -> Any:
    """Read a notebook, in today's format.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    nbformat.NotebookNode
    """
    import nbformat

    return nbformat.read(path, as_version=4)


def text_of(notebook: Any) -> str:
    """Return a notebook as text, the same each time.

    Parameters
    ----------
    notebook : nbformat.NotebookNode

    Returns
    -------
    str
    """
    import nbformat

    return nbformat.writes(tidy(notebook)).rstrip("\n") + "\n"


def run(notebook: Any, folder: Path) -> Any:
    """Run a notebook from top to bottom.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
    folder : pathlib.Path
        Its current folder.

    Returns
    -------
    nbformat.NotebookNode
        A copy with fresh outputs.

    Raises
    ------
    ValueError
        If a cell fails, or warns, with the cell's id.
    """
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    client = NotebookClient(
        notebook.copy(),
        timeout=120,
        kernel_name=KERNEL["name"],
        store_widget_state=False,
        record_timing=False,
        coalesce_streams=True,
        resources={"metadata": {"path": str(folder)}},
        extra_arguments=["--log-level=ERROR"],  # a new kernel warns of its own connection
    )
    try:
        client.execute(env={**os.environ, "PYTHONPATH": path})
    except CellExecutionError as error:
        raise ValueError(f"it stopped: {error}") from None
    for cell in _code(client.nb):
        for output in cell.outputs:
            if output.get("name") == "stderr" and "live" not in _tags(cell):
                raise ValueError(f"cell {cell.id} warns: {output.text}")
    return client.nb


def tidy(notebook: Any) -> Any:
    """Reduce a notebook to what is kept: no times, no widget state, static outputs.

    Parameters
    ----------
    notebook : nbformat.NotebookNode

    Returns
    -------
    nbformat.NotebookNode
        A copy, its code cells counted from 1.
    """
    import nbformat

    notebook = nbformat.from_dict(notebook)
    kept = {"rigkit": notebook.metadata["rigkit"]} if "rigkit" in notebook.metadata else {}
    kept |= {"kernelspec": KERNEL, "language_info": {"name": "python"}}
    notebook.metadata = nbformat.from_dict(kept)
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    ran = any(cell.execution_count for cell in _code(notebook))
    for cell in notebook.cells:
        _tidy_cell(cell)
    for count, cell in enumerate(_code(notebook), start=1):
        cell.execution_count = count if ran else None
        cell.outputs = [o for o in map(_static, cell.outputs) if o]
        if "live" in _tags(cell):  # what it prints speaks of this machine
            cell.outputs = [o for o in cell.outputs if "text/html" in o.get("data", {})]
        for output in cell.outputs:
            if "execution_count" in output:
                output["execution_count"] = count
    return notebook


def _tidy_cell(cell: Any) -> None:
    """Keep a cell's tags, what it says to the kit and what is folded; trim the ends of its lines.

    A live cell only fetches what it shows, so its code is folded; so is what goes further.
    """
    import nbformat

    tags = list(_tags(cell))
    if "live" in tags and IGNORED not in tags:
        tags.append(IGNORED)
    about: dict[str, Any] = {"tags": tags} if tags else {}
    if "rigkit" in cell.metadata:
        about["rigkit"] = cell.metadata["rigkit"]
    if "live" in tags or cell.metadata.get("jupyter", {}).get("source_hidden"):
        about["jupyter"] = {"source_hidden": True}
    if cell.source.startswith(FURTHER):
        about["jp-MarkdownHeadingCollapsed"] = True
    cell.metadata = nbformat.from_dict(about)
    cell.source = "\n".join(line.rstrip() for line in cell.source.strip("\n").split("\n"))


def exercise(solution: Any) -> Any:
    """Derive the exercise that a solution answers: answers blanked, reasoning dropped.

    Parameters
    ----------
    solution : nbformat.NotebookNode

    Returns
    -------
    nbformat.NotebookNode
        Not run.
    """
    import nbformat

    notebook = nbformat.from_dict(solution)
    notebook.cells = [cell for cell in notebook.cells if "solution-only" not in _tags(cell)]
    for cell in _code(notebook):
        cell.outputs, cell.execution_count = [], None
        if "answer" in _tags(cell):
            cell.source = blank(cell.source, question_of(cell))
    return notebook


def question_of(cell: Any) -> str:
    """Return the name of the question that an answer cell answers.

    Parameters
    ----------
    cell : nbformat.NotebookNode

    Returns
    -------
    str
        The last part of its question's id.

    Raises
    ------
    ValueError
        If its metadata names none.
    """
    question = cell.metadata.get("rigkit", {}).get("question", "")
    if not question:
        raise ValueError(f"Cell {cell.id} is tagged answer; its metadata must name its question.")
    return question.rpartition("/")[2]


def blank(source: str, name: str) -> str:
    """Take the answer out of an answer cell.

    A function `name` keeps its signature and docstring, a value `name` becomes `...`; imports and
    comments outside statements stay; every other statement goes.

    Parameters
    ----------
    source : str
        Python.
    name : str

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If the cell does not define `name`, exactly once and at its top.
    """
    lines, after = source.split("\n"), 0
    kept: list[str] = []
    statements = ast.parse(source).body
    answers = [node for node in statements if name in _defined(node)]
    if len(answers) != 1:
        times = len(answers)
        raise ValueError(
            f"An answer cell must define `{name}` once, at its top; it does so {times} times."
        )
    for node in statements:
        first = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", []))])
        kept += lines[after : first - 1]
        if node is answers[0]:
            kept += _blanked(node, name, lines, first)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            kept += lines[first - 1 : node.end_lineno]
        after = node.end_lineno or after
    text = "\n".join(line.rstrip() for line in [*kept, *lines[after:]])
    return re.sub(r"\n{4,}", "\n\n\n", text).strip("\n")


def problems(text: str) -> list[str]:
    """List what keeps a notebook from being kept as it is.

    Parameters
    ----------
    text : str
        The notebook's file.

    Returns
    -------
    list of str
        Sentences, none if all is well.
    """
    import nbformat

    notebook = nbformat.reads(text, as_version=4)
    found = []
    if text_of(notebook) != text:
        found.append("is not as authoring writes it; run python -m rigkit.authoring")
    ids = [cell.get("id", "") for cell in json.loads(text)["cells"]]  # nbformat renames doubles
    found += [f"cell id {i!r} is not one a person can read" for i in ids if not _is_readable(i)]
    found += [f"cell id {i!r} stands twice" for i in sorted(set(ids)) if ids.count(i) > 1]
    return found + [f"cell {c.id} {problem}" for c in notebook.cells for problem in _problems_of(c)]


def _problems_of(cell: Any) -> Iterator[str]:
    for text in (cell.source if cell.cell_type == "markdown" else "", *_texts(cell)):
        for image in _without_alternative(text):
            yield f"has a picture without a text alternative: {image}"
        for _ in _ADDRESS.findall(text):
            yield "shows an address in memory"
    for output in cell.get("outputs", []):
        if output.output_type == "error":
            yield "holds an error"


def _defined(node: ast.stmt) -> set[str]:
    """Return the names that a statement at the top of a cell defines."""
    if isinstance(node, ast.FunctionDef):
        return {node.name}
    if not isinstance(node, ast.Assign | ast.AnnAssign):
        return set()
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    names = [name for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]
    return {name.id for name in names if isinstance(name.ctx, ast.Store)}


def _blanked(node: ast.stmt, name: str, lines: Sequence[str], first: int) -> list[str]:
    if not isinstance(node, ast.FunctionDef):
        return [f"{name} = ..."]
    body = node.body[0]
    if body.lineno == node.lineno:  # all on one line
        return [lines[body.lineno - 1][: body.col_offset].rstrip() + " ..."]
    has_docstring = ast.get_docstring(node) is not None
    until = body.end_lineno if has_docstring else body.lineno - 1
    head = [*lines[first - 1 : until]]
    while not has_docstring and head[-1].strip().startswith("#"):
        head.pop()  # a comment on the body goes with it
    return [*head, " " * body.col_offset + "..."]


def _static(output: Any) -> Any:
    """Return an output as it is saved, None if it is not."""
    if output.output_type in ("stream", "error"):
        return output
    if any("widget" in kind for kind in output.data) and "text/html" not in output.data:
        return None
    output.data = {kind: value for kind, value in output.data.items() if kind in SAVED}
    output.metadata = {}
    return output if output.data else None


def _without_alternative(text: str) -> Iterator[str]:
    for match in _IMAGES.finditer(text):
        image = match.group()
        if image.startswith("<img") and not re.search(r'\balt="[^"]+"', image):
            yield image[:60]
        if image == "![](":
            yield image
    if "<svg" in text and not ('role="img"' in text and "<title>" in text):
        yield "<svg"


def _texts(cell: Any) -> Iterator[str]:
    """Yield all that a cell's outputs say, as text."""
    for output in cell.get("outputs", []):
        yield output.get("text", "")
        yield from ("".join(value) for value in output.get("data", {}).values())


def _is_readable(cell_id: str) -> bool:
    return bool(_READABLE_ID.fullmatch(cell_id)) and not re.fullmatch(r"[0-9a-f]{8}", cell_id)


def _code(notebook: Any) -> list[Any]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def _tags(cell: Any) -> Iterable[str]:
    return cell.metadata.get("tags", [])


def _from_root(path: Path) -> Path:
    return path.relative_to(ROOT) if path.is_relative_to(ROOT) else path


if __name__ == "__main__":
    sys.exit(main())
