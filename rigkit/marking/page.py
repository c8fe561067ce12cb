"""What everything that is shown of a marked class shares: its words, the parts of a page, its
ink."""

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from html import escape as escape  # for those who show things
from typing import Any

from rigkit import course, stage
from rigkit import page as shell
from rigkit.homework import checking, notebook
from rigkit.homework.question import Question
from rigkit.marking.entry import Entry, Learner
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


def name_of(learner: Learner) -> str:
    """A learner's name as HTML, in its own direction of writing; the id where there is no name."""
    return f"<bdi>{safe(plain(learner.name) or learner.id, MOST_NAME)}</bdi>"


def sentence(text: str, most: int = MOST) -> str:
    """A sentence as HTML: with a capital, and what stands between backticks as code."""
    text = plain(text, most)
    return code(text[:1].upper() + text[1:])


def code(text: str) -> str:
    """A text as HTML, with what stands between backticks as code."""
    return _CODE.sub(r"<code>\1</code>", safe(text, 2 * MOST))


def percent(score: float) -> str:
    """A score of 0 to 1 in words."""
    return f"{100 * score:.0f}\N{NO-BREAK SPACE}%"


def when(time: str) -> str:
    """A time of the record for people: "2026-11-25 10:00 UTC"."""
    found = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(:\d\d)?(\.\d+)?(\+00:00|Z)?", time)
    return f"{found[1]} {found[2]} UTC" if found else safe(time)


def count(number: int, what: str, several: str = "") -> str:
    """A number with its noun: "1 question", "3 questions"."""
    return f"{number:,} {what if number == 1 else several or what + 's'}"


def question_of(question_id: str) -> Question | None:
    """The `Question` of an id such as "06/solve_leg"; None if the course has none."""
    lesson, _, name = question_id.partition("/")
    return notebook.questions(lesson).get(name) if lesson in notebook.lessons() else None


@cache  # a lesson is a whole notebook
def lesson_title(number: str) -> str:
    """A lesson's title; "" if the course has none."""
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
    """Whether what is known of a run says that nothing confined it."""
    return jail_of(about).get("kind") == UNJAILED


def jail_of(about: Mapping[str, Any]) -> Mapping[str, Any]:
    """What is known of the jail something ran in; empty where nothing was run."""
    return about.get("jail") or {}


# --- parts of a page


def mark(word: str) -> str:
    """An outcome's word with its sign, in its ink."""
    sign, ink = WORDS[word]
    return f'<span class="mark {ink}"><span aria-hidden="true">{sign}</span> {word}</span>'


def bar(counts: Mapping[str, int]) -> str:
    """A level bar cut into as many parts as there are words, as SVG; the numbers stand beside it in
    words."""
    whole, x, parts = sum(counts.values()) or 1, 0.0, []
    for word, n in counts.items():
        share = 1000 * n / whole
        if n:
            parts.append(
                f'<rect class="fill {WORDS[word][1]}" x="{x:.1f}" width="{max(share - 3, 3):.1f}" '
                'height="10"/>'
            )
        x += share
    return (
        '<svg class="bar" viewBox="0 0 1000 10" preserveAspectRatio="none" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


def counts_in_words(counts: Mapping[str, int], more: str = "") -> str:
    """How many of each word there are, as a line of HTML, with something more at its end."""
    said = [
        f'<span class="mark {WORDS[word][1]}"><span aria-hidden="true">{WORDS[word][0]}</span> {n} '
        f"{word.lower()}</span>"
        for word, n in counts.items()
        if n
    ]
    return f'<p class="counts">{" ".join([*said, more]).rstrip()}</p>'


def columns(counts: Mapping[str, int], title: str, width: int = 560, height: int = 150) -> str:
    """Upright bars over their names, each with its number on top, as SVG with a text
    alternative."""
    top, step, least = max(counts.values(), default=0) or 1, width / max(len(counts), 1), 22
    parts = []
    for i, (name, n) in enumerate(counts.items()):
        tall, middle = (height - 2 * least) * n / top, (i + 0.5) * step
        parts.append(
            f'<rect class="fill column" x="{i * step + 3:.1f}" y="{height - least - tall:.1f}" '
            f'width="{step - 6:.1f}" height="{tall:.1f}"/>'
            + (
                f'<text x="{middle:.1f}" y="{height - least - tall - 6:.1f}">{n}</text>'
                if n
                else ""
            )
            + f'<text class="under" x="{middle:.1f}" y="{height - 4}">{name}</text>'
        )
    said = "; ".join(f"{name}: {n}" for name, n in counts.items() if n)
    return (
        f'<svg class="columns" viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
        ' role="img">'
        f'<title>{title}</title><desc>{said}.</desc><path class="base" d="M0'
        f' {height - least}H{width}"/>'
        f"{''.join(parts)}</svg>"
    )


def folded(summary: str, inner: str, opened: bool = False) -> str:
    """Something that a click unfolds."""
    return f"<details{' open' if opened else ''}><summary>{summary}</summary>{inner}</details>"


def listed(items: Iterable[str], most: int = 12, kind: str = "") -> str:
    """A list, its tail folded away where it is long."""
    items = list(items)
    most = most if len(items) > 1.5 * most else len(items)  # a fold for one or two is no help
    html = _list(items[:most], kind)
    return html + (
        folded(f"{len(items) - most:,} more", _list(items[most:], kind)) if items[most:] else ""
    )


def _list(items: Sequence[str], kind: str) -> str:
    kind = f' class="{kind}"' if kind else ""
    return f"<ul{kind}>{''.join(f'<li>{item}</li>' for item in items)}</ul>" if items else ""


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], label: str) -> str:
    """A table that scrolls sideways by itself where it is too wide; `rows` are lists of cells, the
    first a heading."""
    first, *others = heads
    head = f'<th scope="col">{first}</th>' + "".join(
        f'<th scope="col" class="n">{name}</th>' for name in others
    )
    body = "".join(
        f'<tr><th scope="row">{first}</th>{"".join(cells)}</tr>' for first, *cells in rows
    )
    return (
        f'<div class="wide" role="region" aria-label="{label}"'
        f' tabindex="0"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
    )


def document(title: str, body: str) -> str:
    """A whole page, complete in itself."""
    return shell.document(title, body, STYLE)


_LIGHT = {name: light for name, (light, _) in stage.INKS.items()}
_DARK = {name: dark for name, (_, dark) in stage.INKS.items()}


def _inks(
    inks: Mapping[str, str],
    line: str,
    page: str,
    nearly: str,
    nearly_text: str,
    notyet: str,
    notyet_text: str,
) -> str:
    return (
        f"--page:{page};--rig-paper:{page};--ground:{inks['floor']};--edge:{line};--ink:{inks['ink']};"
        f"--soft:{inks['soft-text']};--link:{inks['inverse-text']};--column:{inks['inverse']};"
        f"--right:{inks['goal']};--right-text:{inks['goal-text']};--nearly:{nearly};--nearly-text:{nearly_text};"
        f"--notyet:{notyet};--notyet-text:{notyet_text};--blank:{inks['soft']};--blank-text:{inks['soft-text']};"
        f"--alarm:{inks['miss']}"
    )


STYLE = (
    ":root{"
    + _inks(_LIGHT, "#d5dade", "#ffffff", "#b87d00", "#8a5a00", "#d55e00", "#b04a00")
    + "}@media screen and (prefers-color-scheme:dark){:root{"
    + _inks(_DARK, "#3a4149", "#16191d", "#f0c34a", "#f0c34a", "#ff8a4c", "#ff8a4c")
    + "}}"
    + stage.STYLE
    + "body{font:16px/1.5"
    f" {stage.FONT};color:var(--ink);background:var(--page);max-width:60rem;margin:0"
    " auto;padding:1.5rem 1rem"
    " 4rem;overflow-wrap:anywhere;font-variant-numeric:tabular-nums}h1{font-size:1.9rem;line-height:1.2;margin:.2rem"
    " 0}h2{font-size:1.35rem;line-height:1.3;margin:2.5rem 0"
    " .6rem;padding-top:.9rem;border-top:1px solid"
    " var(--edge)}h3{font-size:1.1rem;line-height:1.35;margin:1.6rem 0 .4rem}p{margin:.4rem"
    " 0}ul{margin:.4rem 0;padding-left:1.3rem}li{margin:.2rem"
    " 0}a{color:var(--link)}code{font-size:.94em;background:var(--ground);padding:0"
    " .25em;border-radius:3px}nav{margin:1rem"
    " 0}.soft{color:var(--soft)}.small{font-size:.9rem}.names{columns:13rem}.names"
    " li{margin:0}.counts{display:flex;flex-wrap:wrap;gap:0"
    " 1rem}.tiles{display:flex;flex-wrap:wrap;gap:.75rem;margin:1.2rem"
    " 0;padding:0;list-style:none}.tiles li{flex:1 1"
    " 7.5rem;background:var(--ground);border-radius:8px;padding:.6rem .9rem;margin:0}.tiles"
    " b{display:block;font-size:1.8rem;line-height:1.2}.total{display:flex;flex-wrap:wrap;gap:.25rem"
    " 1.25rem;align-items:center;margin:.6rem 0}.total"
    " b{font-size:2.6rem;line-height:1.1}.total div{flex:1 1"
    " 16rem;max-width:26rem}.said{border-left:4px solid var(--edge);padding:.1rem 0 .1rem"
    " .9rem;margin:1.8rem 0;display:grid;gap:0 1.5rem;break-inside:avoid}.said h3{margin:0 0"
    " .2rem}.said>*{min-width:0}.said.right{border-color:var(--right)}.said.nearly{border-color:var(--nearly)}.said.notyet{border-color:var(--notyet)}.said.blank{border-color:var(--blank)}figure{margin:.4rem"
    " 0}figcaption{color:var(--soft);font-size:.9rem;margin-bottom:.3rem}dl{margin:.6rem"
    " 0}dt{color:var(--soft);font-size:.9rem}dd{margin:0 0 .5rem}.measured"
    " dd{font-weight:600}.mark{font-weight:600;white-space:nowrap}.mark.right{color:var(--right-text)}.mark.nearly{color:var(--nearly-text)}.mark.notyet{color:var(--notyet-text)}.mark.blank{color:var(--blank-text)}.fill.right{fill:var(--right)}.fill.nearly{fill:var(--nearly)}.fill.notyet{fill:var(--notyet)}.fill.blank{fill:var(--blank)}.fill.column{fill:var(--column)}.bar{display:block;width:100%;height:14px;margin:.3rem"
    " 0}.columns{display:block;max-width:100%;height:auto;margin:.6rem 0}.columns"
    f" text{{fill:var(--ink);font:600 15px {stage.FONT};text-anchor:middle}}.columns"
    " .under{fill:var(--soft);font-weight:400;font-size:14px}.columns"
    " .base{stroke:var(--edge);fill:none}.questions{list-style:none;padding:0}.questions"
    " li{display:grid;gap:0 1.5rem;padding:.6rem 0;margin:0;break-inside:avoid}.questions"
    " li+li{border-top:1px solid var(--ground)}.questions"
    " p{margin:0}.wide{overflow-x:auto;margin:.6rem"
    " 0}table{border-collapse:collapse;overflow-wrap:normal}th,td{padding:.3rem .9rem .3rem"
    " 0;text-align:left;vertical-align:top}thead"
    " th{font-size:.85rem;color:var(--soft);font-weight:600;border-bottom:1px solid"
    " var(--edge);vertical-align:bottom}tbody"
    " th{font-weight:400;min-width:8rem;max-width:16rem;overflow-wrap:anywhere}tbody"
    " tr+tr>*{border-top:1px solid"
    " var(--ground)}td.n,th.n{text-align:right;white-space:nowrap}td.right{color:var(--right-text)}td.nearly{color:var(--nearly-text)}td.notyet{color:var(--notyet-text);font-weight:600}td.blank{color:var(--blank-text)}.alarm,.again{border:2px"
    " solid var(--alarm);border-radius:8px;padding:.6rem .9rem;margin:1rem"
    " 0}.again{border-color:var(--column)}details{margin:.6rem"
    " 0}summary{cursor:pointer;color:var(--link)}@media"
    " (min-width:46rem){.said.drawn{grid-template-columns:minmax(0,1fr) 320px}.questions"
    " li{grid-template-columns:minmax(0,1fr) minmax(0,1fr)}}@media"
    " print{body{max-width:none;padding:0;font-size:10.5pt}a{color:inherit}h2,h3{break-after:avoid}nav{display:none}.said.drawn{grid-template-columns:minmax(0,1fr)"
    " 260px}.wide{overflow:visible}.fill,.tiles"
    " li{print-color-adjust:exact;-webkit-print-color-adjust:exact}}"
)
