"""How long a check takes, picture included, beside one run of the solution alone: python -m tests.benchmarks.check."""

import os
import tempfile
from statistics import median
from time import perf_counter

from rigkit.homework import calling, notebook
from tests.homework.solved import answered


def seconds(work, repeats=30):
    """The median and the longest time of `work` in seconds."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return median(times), max(times)


def main():
    os.chdir(tempfile.mkdtemp())  # progress is remembered, not written
    print(f"{'question':22} {'solution':>10} {'check':>10} {'longest':>10} {'ratio':>7}   milliseconds")
    for lesson in notebook.lessons():
        names = answered(lesson, "ada")
        hw = names["hw"]
        for name, question in hw.questions.items():
            answer, cases = names[name], hw.cases(question, 1)
            alone, _ = seconds(lambda a=answer, c=cases: calling.call(a, c) if callable(a) else calling.give(a))
            check, longest = seconds(lambda a=answer, n=name, h=hw: h.check(**{n: a})._repr_mimebundle_())
            wrong = question.misconceptions[0].answer
            if callable(answer):  # a wrong answer is compared with every misconception too
                slow, longest = seconds(lambda a=wrong, n=name, h=hw: h.check(**{n: a})._repr_mimebundle_())
                check = max(check, slow)
            ratio = f"{check / alone:7.1f}" if callable(answer) else "      –"  # a value takes no time of its own
            print(f"{lesson}/{name:19} {1e3 * alone:10.2f} {1e3 * check:10.2f} {1e3 * longest:10.2f} {ratio}")


if __name__ == "__main__":
    main()
