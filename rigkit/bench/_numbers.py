"""The bench's numbers and how far each step is, as markup."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from html import escape
from importlib import resources

from rigkit import stage
from rigkit.bench._views import value_of
from rigkit.bench.measure import Measured
from rigkit.scenes.words import capital

_SHEET = (resources.files("rigkit") / "data" / "bench.css").read_text(encoding="utf-8")
STYLE = f"<style>{stage.STYLE}{_SHEET}</style>"


def table(measured: Sequence[Measured] | str) -> str:
    """A step's numbers, each with its limit and its mark; or why there are none."""
    if isinstance(measured, str):
        return f"<p>{escape(measured)}</p>"
    rows = "".join(map(_row, measured))
    return f'<div class="rig rig-numbers"><p>Measured on this leg</p><dl>{rows}</dl></div>'


def _row(each: Measured) -> str:
    kind, mark = ("", "✓") if each.right else (' class="rig-wrong"', "✗")
    return (
        f"<div{kind}><dt>{escape(capital(each.name))}</dt>"
        f"<dd><b>{escape(value_of(each))}</b> <span>{mark} {escape(each.limit)}</span></dd></div>"
    )


def standing(how: Mapping[str, str], changed: Collection[str], trouble: str = "") -> str:
    """A sentence or two on how far all steps are; and what else there is to be told."""
    lists = {
        kind: [step for step, each in how.items() if each == kind] for kind in ("done", "given")
    }
    said = [f"Done: {_listed(lists['done'])}."]
    if lists["given"]:
        said.append(f"Filled in by the kit: {_listed(lists['given'])}.")
    if changed:
        said.append(f"An earlier change undid: {_listed(sorted(changed))}.")
    told = f"<p><strong>{escape(trouble)}</strong></p>" if trouble else ""
    return f"{told}<p>{' '.join(said)}</p>"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) or "nothing yet"
