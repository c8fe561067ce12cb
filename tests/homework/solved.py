"""The committed solution notebooks, run in this process for any learner."""

from pathlib import Path

from rigkit import authoring

ROOT = Path(__file__).parents[2]
LEARNER = 'student="learner-07"'


def solutions():
    """The paths of the solution notebooks, by their lesson's number."""
    return {path.name[:2]: path for path in authoring.notebooks("solutions", root=ROOT)}


def answered(lesson, student):
    """The names a lesson's solution leaves when `student` runs it; `hw` is the homework."""
    source = "\n".join(
        cell.source
        for cell in authoring.read(solutions()[lesson]).cells
        if cell.cell_type == "code"
    )
    assert source.count(LEARNER) == 1
    names = {}
    exec(
        compile(source.replace(LEARNER, f"student={student!r}"), str(solutions()[lesson]), "exec"),
        names,
    )
    return names
