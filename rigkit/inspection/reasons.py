"""Reasons for what is taken for legs, and what for none, in words."""

from collections.abc import Sequence

from rigkit._types import Bools
from rigkit.inspection.pairs import Choice
from rigkit.inspection.tree import Tree

YOU_SAID_SO = "you said so"
Doubt = tuple[float, str]  # the share of certainty that is left, and why


def why_pairs(choice: Choice) -> str:
    """Return which pairs of legs there are and which is taken; empty for a single one."""
    if len(choice.names) < 2:
        return ""
    return (
        f"there are {len(choice.names)} pairs of legs ({', '.join(sorted(choice.names))}); "
        f"{choice.names[choice.taken]} is taken: {choice.why}"
    )


def why_up(said: bool, count: int) -> str:
    """Return why an axis is up."""
    if said:
        return YOU_SAID_SO
    return f"{'the legs hang' if count > 1 else 'the leg hangs'} down along it"


def why_joint(says: float, placed: float) -> str:
    """Return why a joint is taken for a part, from the scores of its name and its place."""
    place = "lies as one" if placed > 0.5 else "lies only roughly as one"
    return (
        f"is called like one and {place}"
        if says > 0.4
        else (
            f"{place}; its name says nothing of it"
            if says > -0.2
            else f"{place}, though its name says something else"
        )
    )


def why_legs(count: int, named: float, placed: float, doubts: Sequence[Doubt]) -> str:
    """Return why joints are taken for legs, from the scores of names and places, and doubts."""
    chains, they = (
        ("Two chains that mirror each other", "they reach")
        if count == 2
        else ("One chain", "it reaches")
    )
    names = (
        "names say so"
        if named > 0.6
        else "names say little"
        if named > -0.1
        else "names say something else"
    )
    roughly = "" if placed > 0.6 else " only roughly"
    stand = f"{chains}; {names}, and {they} the floor{roughly} as legs do"
    return "; ".join([stand, *(why for _, why in doubts)])


def why_unlikely(hips: Sequence[str], certainty: float, why: str) -> str:
    """Return why what lies most like legs is not taken for them."""
    below = " and ".join(map(repr, hips))
    return (
        f"what comes nearest, below {below}, is only {100 * certainty:.0f} % certain: "
        f"{why[:1].lower()}{why[1:]}"
    )


def why_none(tree: Tree, usual: Bools) -> str:
    """Return why nothing was found."""
    count = int(usual.sum())
    if count < 3:
        return f"a leg needs three joints; there {'is' if count == 1 else 'are'} {count or 'none'}"
    elsewhere = sum(
        reading.elsewhere for reading, use in zip(tree.readings, usual, strict=True) if use
    )
    more = f"; {elsewhere} are named as something else" if elsewhere else ""
    return f"no three of its {count} joints lie and are named like hip, knee and ankle{more}"
