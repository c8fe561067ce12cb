"""Words, shapes and inks that all pages of a marked class share."""

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from markupsafe import Markup

from rigkit import course, stage, templates
from rigkit.homework import catalogue, checking
from rigkit.homework.question import Question
from rigkit.marking.entry import Entry, Terms
from rigkit.page import MOST, plain, safe

MOST_NAME = 120  # bytes of a name
UNJAILED = "unjailed"

_CODE = re.compile("`([^`]{1,80})`")

WORDS = {  # of an outcome: its sign and the class of its ink
    checking.RIGHT: ("✓", "right"),
    checking.NEARLY: ("◐", "nearly"),
    checking.NOT_YET: ("✗", "notyet"),
    checking.BLANK: ("–", "blank"),
}


# --- text


def sentence(text: str, most: int = MOST) -> Markup:
    """A sentence as HTML: with a capital, and what stands between backticks as code."""
    text = plain(text, most)
    return code(text[:1].upper() + text[1:])


def code(text: str) -> Markup:
    """A text as HTML, with what stands between backticks as code."""
    return Markup(_CODE.sub(r"<code>\1</code>", safe(text, 2 * MOST)))


def percent(score: float) -> Markup:
    """A score of 0 to 1 in words."""
    return Markup(f"{100 * score:.0f}\N{NO-BREAK SPACE}%")


def when(time: str) -> str:
    """A time of the record for people: "2026-11-25 10:00 UTC"."""
    found = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(:\d\d)?(\.\d+)?(\+00:00|Z)?", time)
    return f"{found[1]} {found[2]} UTC" if found else plain(time)


def count(number: int, what: str, several: str = "") -> str:
    """A number with its noun: "1 question", "3 questions"."""
    return f"{number:,} {what if number == 1 else several or what + 's'}"


def question_of(question_id: str, terms: Terms) -> Question | None:
    """The `Question` of an id such as "06/solve_leg"; None if neither course nor plan has it."""
    lesson, _, name = question_id.partition("/")
    return terms.questions(lesson).get(name) if lesson in catalogue.works() else None


def asks_of(question_id: str, terms: Terms) -> str:
    """The text of a question, in one line; "" where it is not known."""
    question = question_of(question_id, terms)
    return question.asks if question else ""


@cache  # a lesson is a whole notebook
def lesson_title(number: str) -> str:
    """A lesson's title; "" if the course has none."""
    if number == catalogue.YOUR_LEG:
        return "A leg from the bench"
    return next((lesson.title for lesson in course.lessons() if lesson.number == number), "")


def words_of(entry: Entry) -> dict[str, str]:
    """The word of each question that has a score in an entry, by its id; corrections count."""
    corrected = {override.question for override in entry.overrides}
    measured = {outcome.question: outcome.word for outcome in entry.outcomes}
    return {
        question: (
            measured[question]
            if question not in corrected
            else checking.word_for(score, score == 1)
        )
        for question, score in entry.scores.items()
    }


def is_unjailed(about: Mapping[str, Any]) -> bool:
    """True if what is known of a run says that nothing confined it."""
    return jail_of(about).get("kind") == UNJAILED


def jail_of(about: Mapping[str, Any]) -> Mapping[str, Any]:
    """The facts of the jail something ran in; empty where nothing was run."""
    return about.get("jail") or {}


# --- shapes, for templates


def bar(counts: Mapping[str, int]) -> list[tuple[str, str, str]]:
    """The parts of a level bar of 1000: (ink, left edge, width) of each word that is there."""
    whole, x, parts = sum(counts.values()) or 1, 0.0, []
    for word, n in counts.items():
        share = 1000 * n / whole
        if n:
            parts.append((WORDS[word][1], f"{x:.1f}", f"{max(share - 3, 3):.1f}"))
        x += share
    return parts


def columns(counts: Mapping[str, int], width: int = 560, height: int = 150) -> dict[str, Any]:
    """The sizes of upright bars over their names, each with its number on top."""
    top, step, least = max(counts.values(), default=0) or 1, width / max(len(counts), 1), 22
    shapes = []
    for i, (name, n) in enumerate(counts.items()):
        tall = (height - 2 * least) * n / top
        sizes = {
            "x": i * step + 3,
            "y": height - least - tall,
            "width": step - 6,
            "height": tall,
            "middle": (i + 0.5) * step,
            "above": height - least - tall - 6,
        }
        shapes.append({"name": name, "n": n} | {key: f"{size:.1f}" for key, size in sizes.items()})
    return {
        "width": width,
        "height": height,
        "base": height - least,
        "under": height - 4,
        "columns": shapes,
        "said": "; ".join(f"{name}: {n}" for name, n in counts.items() if n),
    }


def _inks(dark: bool) -> str:
    """The page's variables, from the inks of pictures."""
    inks = {name: pair[dark] for name, pair in stage.INKS.items()}
    page, line = ("#16191d", "#3a4149") if dark else ("#ffffff", "#d5dade")
    nearly, nearly_text = ("#f0c34a", "#f0c34a") if dark else ("#b87d00", "#8a5a00")
    notyet, notyet_text = ("#ff8a4c", "#ff8a4c") if dark else ("#d55e00", "#b04a00")
    variables = {
        "page": page,
        "rig-paper": page,
        "ground": inks["floor"],
        "edge": line,
        "ink": inks["ink"],
        "soft": inks["soft-text"],
        "link": inks["inverse-text"],
        "column": inks["inverse"],
        "right": inks["goal"],
        "right-text": inks["goal-text"],
        "nearly": nearly,
        "nearly-text": nearly_text,
        "notyet": notyet,
        "notyet-text": notyet_text,
        "blank": inks["soft"],
        "blank-text": inks["soft-text"],
        "alarm": inks["miss"],
        "font": stage.FONT,
    }
    return ";".join(f"--{name}:{value}" for name, value in variables.items())


STYLE = Markup(
    f":root{{{_inks(dark=False)}}}@media screen and (prefers-color-scheme:dark){{:root"
    f"{{{_inks(dark=True)}}}}}{stage.STYLE}"
    + (templates.TEMPLATES / "marking" / "style.css").read_text("utf-8")
)
