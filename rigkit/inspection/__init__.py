"""Inspection: what a finished leg rig must meet; each finding says how much.

bvh.py             motion out of a BVH file
source.py          a rig from a file of either kind, and what of it could not be read
names.py           the meaning of a joint's name
tree.py            joints as a tree, and their likeness to a leg
corrections.py     joints, axes and unit that the user corrects
search.py          the search for hips, knees and ankles
whole.py           whole legs, with a third bone and a foot
pairs.py           several pairs of legs: hind and front
humanoid.py        the legs as a file's own map of bones has them
evidence.py        what the rest of the body says: symmetry, like limbs, an animal's or a person's
facing.py          the way the legs face, and so which is the left one
reasons.py         why something is taken for legs, in words
bound.py           the pose the skin was bound in: what a rig is at rest
legs.py            where the legs are, which way is forward, in which unit; corrections
subject.py         the rig in metres, y up, facing +Z; its skin; its animations, sampled
rule.py            a rule, and the decorator that makes one of a function
stance.py          feet in an animation: when and where they stand
skeleton_rules.py, weight_rules.py, skin_rules.py, motion_rules.py   the rules, each beside its
                   function
piece.py           a piece of a limb's skin, cut off and closed, in several poses
pictures.py        the picture of each finding
opening.py         the picture that a report opens with
finding.py         a rule's outcome, and those of several animations together
report.py          all of them as an object, as JSON; the schema
text.py            the same as text
view.py            the same as a page, and as a card in a notebook
leave_out.py       a list of findings that do not count, each with its reason
compare.py         what changed since an earlier file
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import numpy as np

from rigkit import gltf
from rigkit.inspection import (
    motion_rules,
    opening,
    skeleton_rules,
    skin_rules,
    source,
    weight_rules,
)
from rigkit.inspection import rule as rules
from rigkit.inspection import subject as subjects
from rigkit.inspection.finding import FINDING, PASS, UNMEASURED, Finding
from rigkit.inspection.legs import Leg, Legs, find_legs
from rigkit.inspection.report import Report
from rigkit.inspection.rule import Rule
from rigkit.page import plain

__all__ = ["inspect", "find_legs", "Leg", "Legs", "Finding", "Report", "Rule", "RULES"]

RULES = (
    *skeleton_rules.RULES,
    *weight_rules.RULES,
    *skin_rules.RULES,
    *motion_rules.RULES,
)


def inspect(
    asset_or_path: gltf.Asset | str | os.PathLike[str] | bytes,
    mapping: Mapping[str, object] | None = None,
    thresholds: Mapping[str, float] | None = None,
    pair: str | None = None,
) -> Report:
    """Inspect a rig: find its legs, measure them by every rule.

    Parameters
    ----------
    asset_or_path : Asset, or str, Path or bytes
        A rig, or a .glb, .gltf or .bvh file, or what stands in one.
    mapping : mapping of str to str, optional
        Corrections to what is taken for what, such as {"left.knee": "shin_01"}; see `find_legs`.
    thresholds : mapping of rule id to float, optional
        Limits other than the rules' own.
    pair : str, optional
        Which of several pairs of legs, such as "hind"; see `find_legs`.

    Returns
    -------
    Report

    Raises
    ------
    ValueError
        For a file that cannot be read as glTF or BVH, a mapping or a threshold that names nothing.

    Examples
    --------
    >>> from rigkit import export, inspection, puppets
    >>> report = inspection.inspect(export.puppet_asset(puppets.PUPPETS["Tamsin"], 500))
    >>> report.passed
    True
    >>> report["preset-bend"].measured
    '5° (at least 2°)'
    """
    limits = rules.limits(RULES, thresholds or {})
    asset = asset_or_path if isinstance(asset_or_path, gltf.Asset) else source.read(asset_or_path)
    file = Path(asset_or_path).name if isinstance(asset_or_path, str | os.PathLike) else ""
    subject = subjects.Subject(asset, mapping, pair)
    found: dict[str, list[Finding]] = {}
    moving = []
    for each in RULES:
        reason = _reason_not_to_apply(each, subject)
        if reason or "moves" not in each.needs:
            outcome = rules.Unmeasured(reason) if reason else _measured(each, subject)
            found[each.id] = [_finding(each, limits[each.id], outcome)]
        else:
            moving.append(each)
    notes = list(asset.notes)
    for motion in subject.motions() if moving else ():
        for each in moving:
            outcome = _measured(each, subject, motion)
            finding = _finding(each, limits[each.id], outcome, motion.name)
            found.setdefault(each.id, []).append(finding)
        if not motion.whole:
            name, end = plain(motion.name, 80), motion.times[-1]
            notes.append(f"The animation {name!r} is not read beyond its first {end:.0f} s.")
    findings = tuple(finding for each in RULES for finding in found[each.id])
    remarks = (*source.remarks(asset), *subject.remarks)
    drawn = partial(opening.draw, subject) if subject.sides else None
    return Report(
        file, subject.legs, subject.names, findings, tuple(notes), remarks, drawn, subject
    )


def _measured(rule: Rule, subject: subjects.Subject, *motion: subjects.Motion) -> rules.Outcome:
    try:
        return rule.measure(subject, *motion)
    except (ValueError, np.linalg.LinAlgError) as problem:  # a rig too odd to have numbers
        return rules.Unmeasured(f"its numbers cannot be made sense of ({problem})")


def _reason_not_to_apply(rule: Rule, subject: subjects.Subject) -> str | None:
    if not subject.sides:
        return f"no legs were found: {subject.legs.because['legs']}"
    if "both" in rule.needs and len(subject.sides) < 2:
        return "there is only one leg"
    if reason := source.no_rest(subject.asset, rule.id):
        return reason
    if "skin" in rule.needs and subject.surface is None:
        return source.unread_skin(subject.asset) or "no skin moves with the joints"
    if "moves" in rule.needs and not subject.asset.animations:
        return source.unread_motion(subject.asset) or "the file holds no animation"
    return None


def _finding(rule: Rule, limit: float, outcome: rules.Outcome, about: str = "") -> Finding:
    shared = {
        name: getattr(rule, name)
        for name in ("severity", "unit", "sense", "because", "why", "todo")
    }
    if isinstance(outcome, rules.Unmeasured):
        said = f"{outcome.reason[:1].upper()}{outcome.reason[1:]}."
        return Finding(
            rule=rule.id,
            title=rule.title,
            about=about,
            status=UNMEASURED,
            number=None,
            limit=limit,
            said=said,
            parts=(),
            **shared,
        )
    number = float(outcome.number)
    passed = number <= limit if rule.sense == "at most" else number >= limit
    return Finding(
        rule=rule.id,
        title=rule.title if passed else rule.fault,
        about=about,
        status=PASS if passed else FINDING,
        number=number,
        limit=limit,
        said=outcome.said,
        parts=outcome.parts,
        draw=outcome.draw,
        where=outcome.where,
        **shared | ({"todo": outcome.todo} if outcome.todo else {}),
    )


def __dir__() -> list[str]:
    return __all__
