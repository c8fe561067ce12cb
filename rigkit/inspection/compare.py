"""Changes between two inspections of a rig.

As JSON, where the command compares:

    {"file": str, "unchanged": int, "done": [str],
     "changes": [{"rule": str, "title": str, "about": str, "kind": "new", "worse", "better", "gone"
                  or "no longer measured", "severity": str, "old": float or null, "new": float or
                  null, "unit": str}]}
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rigkit.inspection import text as texts
from rigkit.inspection.finding import FINDING, UNMEASURED, Finding, finite
from rigkit.inspection.report import Report
from rigkit.inspection.rule import SEVERITIES

NEW, WORSE, LOST, BETTER, GONE = "new", "worse", "no longer measured", "better", "gone"
KINDS = (NEW, WORSE, LOST, BETTER, GONE)


@dataclass(frozen=True)
class Change:
    """One finding that changed.

    Attributes
    ----------
    kind : {"new", "worse", "no longer measured", "better", "gone"}
    old, new : Finding or None
        Before and now; None where the animation was not, or is no longer, in the file.
    """

    kind: str
    old: Finding | None
    new: Finding | None

    @property
    def finding(self) -> Finding:
        """The finding as it is now, or as it was where it is gone."""
        now = self.new if self.kind in (NEW, WORSE, BETTER) else self.old
        assert now is not None
        return now

    @property
    def before(self) -> str:
        """The number there was, with its unit."""
        return "no such animation" if self.old is None else self.old.amount

    @property
    def now(self) -> str:
        """The number there is, with its unit."""
        return "no such animation" if self.new is None else self.new.amount

    def data(self) -> dict[str, Any]:
        """Return it as JSON's kinds of values.

        Returns
        -------
        dict[str, Any]
        """
        told = self.finding
        return {
            "rule": told.rule,
            "title": told.title,
            "about": told.about,
            "kind": self.kind,
            "severity": told.severity,
            "old": finite(self.old.number) if self.old else None,
            "new": finite(self.new.number) if self.new else None,
            "unit": told.unit,
        }


@dataclass(frozen=True)
class Comparison:
    """All that changed since an earlier file.

    Attributes
    ----------
    file : str
        The earlier one.
    changes : tuple of Change
        What is new or worse first, the serious first.
    unchanged : int
        Findings that are as they were.
    done : tuple of str
        Sentences on what was done to the earlier file to make this one.
    """

    file: str
    changes: tuple[Change, ...]
    unchanged: int
    done: tuple[str, ...] = ()

    def of(self, kind: str) -> list[Change]:
        """Return the changes of a kind.

        Parameters
        ----------
        kind : {"new", "worse", "no longer measured", "better", "gone"}

        Returns
        -------
        list of Change
        """
        return [change for change in self.changes if change.kind == kind]

    @property
    def headline(self) -> str:
        """All of it in one sentence."""
        counts = [f"{len(self.of(kind))} {kind}" for kind in KINDS if self.of(kind)]
        if not counts and not self.unchanged:
            return "nothing was found, before or now"
        same = f"{self.unchanged} finding{'s' * (self.unchanged != 1)} unchanged"
        return ", ".join([*counts, same])

    def text(self, width: int = 100) -> str:
        """Return it for a terminal.

        Parameters
        ----------
        width : int
            The longest line, in letters.

        Returns
        -------
        str
        """
        return texts.of_comparison(self, width)

    def data(self) -> dict[str, Any]:
        """Return it as JSON's kinds of values; see this module's docstring.

        Returns
        -------
        dict[str, Any]
        """
        return {
            "file": self.file,
            "unchanged": self.unchanged,
            "done": list(self.done),
            "changes": [change.data() for change in self.changes],
        }


def compare(old: Report, new: Report, done: tuple[str, ...] = ()) -> Comparison:
    """Say what changed between two inspections.

    Parameters
    ----------
    old, new : Report
        Of an earlier and a later file of one rig; animations are matched by their names.
    done : tuple of str
        What was done in between.

    Returns
    -------
    Comparison
    """
    before, now = _by_place(old), _by_place(new)
    changes, unchanged = [], 0
    for key in dict.fromkeys([*now, *before]):
        kind = _kind(before.get(key), now.get(key))
        if kind in KINDS:
            changes.append(Change(kind, before.get(key), now.get(key)))
        unchanged += kind == "unchanged"
    changes.sort(key=lambda each: (KINDS.index(each.kind), SEVERITIES.index(each.finding.severity)))
    return Comparison(old.file, tuple(changes), unchanged, done)


def _by_place(report: Report) -> dict[tuple[str, str, int], Finding]:
    """The findings by rule, animation, and which of several animations of one name it is."""
    found: dict[tuple[str, str, int], Finding] = {}
    for each in report.findings:
        which = 0
        while (each.rule, each.about, which) in found:
            which += 1
        found[each.rule, each.about, which] = each
    return found


def _kind(old: Finding | None, new: Finding | None) -> str:
    """The kind of a change, "unchanged" for a finding that is as it was, "" where there is none."""
    was, is_now = (each is not None and each.status == FINDING for each in (old, new))
    if not was:
        return NEW if is_now else ""
    if not is_now:
        return LOST if new is not None and new.status == UNMEASURED else GONE
    assert old is not None
    assert new is not None
    if old.amount == new.amount:
        return "unchanged"
    return WORSE if new.badness > old.badness else BETTER
