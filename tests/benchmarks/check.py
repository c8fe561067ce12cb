"""The time of a check, its card included, beside one run of the solution alone."""

from contextlib import redirect_stdout
from dataclasses import replace
from functools import partial
from io import StringIO
from statistics import median

from rigkit.homework import calling, catalogue
from tests.benchmarks.figures import Figure, compared, take_turns
from tests.homework.solved import answered

ROUNDS = 20


def measure():
    figures = []
    for lesson in catalogue.lessons():
        for figure in checked(lesson):
            yield figure
            figures.append(figure)
    ours, theirs = (median(getattr(f, side) for f in figures) for side in ("ours", "theirs"))
    middle = f"check, the middle of {len(figures)} questions"
    yield Figure(middle, ours, "the solution alone", theirs)
    longest = max(figures, key=lambda figure: figure.ours)
    yield replace(longest, what=f"check, the longest: {longest.what}", detail=False)


def checked(lesson):
    """A figure for each question of a lesson that asks for a function."""
    with redirect_stdout(StringIO()):  # what its cells print
        names = answered(lesson, "ada")
    hw = names["hw"]
    for name, question in hw.questions.items():
        answer = names[name]
        if not callable(answer):  # a value takes no time of its own
            continue
        cases = hw.cases(question, 1)
        answers = {"right": answer, "wrong": question.misconceptions[0].answer}
        works = {way: partial(shown, hw, name, each) for way, each in answers.items()}
        times = take_turns(works | {"alone": partial(calling.call, answer, cases)}, ROUNDS)
        # The wrong one may be slower: it is compared with every misconception.
        slower = max((times[way] for way in answers), key=median)
        yield compared(
            f"{lesson}/{name}", slower, "the solution alone", times["alone"], detail=True
        )


def shown(hw, name, answer):
    """Check an answer and make its card."""
    return hw.check(**{name: answer})._repr_mimebundle_()
