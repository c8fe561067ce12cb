"""How long a check takes, its card included, beside one run of the solution alone, question by
question."""

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
    figures = [figure for lesson in catalogue.lessons() for figure in checked(lesson)]
    longest = max(figures, key=lambda figure: figure.ours)
    middle = median(figure.ours for figure in figures), median(figure.theirs for figure in figures)
    return [
        Figure(
            f"check, the middle of {len(figures)} questions",
            middle[0],
            "the solution alone",
            middle[1],
        ),
        replace(longest, what=f"check, the longest: {longest.what}", detail=False),
        *figures,
    ]


def checked(lesson):
    """A figure for each question of a lesson whose answer is a function: the slower of a right and
    a wrong answer."""
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
        slower = max(
            answers, key=lambda way: median(times[way])
        )  # a wrong one is compared with every misconception
        yield compared(
            f"{lesson}/{name}", times[slower], "the solution alone", times["alone"], detail=True
        )


def shown(hw, name, answer):
    """Check an answer and make its card."""
    return hw.check(**{name: answer})._repr_mimebundle_()
