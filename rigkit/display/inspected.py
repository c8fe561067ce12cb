"""The results of an inspection."""

from collections.abc import Iterable, Iterator

from rigkit import _format, page
from rigkit import inspection as insp
from rigkit.display.formats import name
from rigkit.display.showing import Piece, show
from rigkit.display.tables import folded, table

_PLACES = "Joints by their place in the list of joints."
_SIDES = {"L": "left", "R": "right"}


@show.register
def show_leg(thing: insp.Leg) -> Iterator[Piece]:
    yield _leg_table([thing], _PLACES)


@show.register
def show_legs(thing: insp.Legs) -> Iterator[Piece]:
    reasons = ("legs", "animal", "up", "forward", "metres")
    because = {key: thing.because.get(key, "") for key in reasons}
    if not thing.legs:
        yield table(("Legs", "why"), [("none found", because["legs"])])
        return
    yield _leg_table(thing.legs.values(), f"{because['legs']}. {_PLACES}")
    rows = [
        ("up", _format.direction(thing.up), because["up"]),
        ("forward", _format.direction(thing.forward), because["forward"]),
        ("unit", _format.amount(thing.metres, " m"), because["metres"]),
    ]
    rows += [("whose", "an animal's", because["animal"])] * thing.animal
    yield folded(
        "Which way it stands, in which unit, and whose legs these are",
        table(("Axis", "direction", "why"), rows),
    )


def _leg_table(legs: Iterable[insp.Leg], caption: str) -> str:
    rows = [
        (
            f"{_SIDES.get(each.side, each.side)} {part}",
            place,
            _format.amount(each.certainty[part], " %", 0, 100.0),
            each.why[part],
        )
        for each in legs
        for part, place in each.joints.items()
    ]
    return table(("Part", "joint", "certain", "why"), rows, caption)


@show.register
def show_finding(thing: insp.Finding) -> Iterator[Piece]:
    if thing.picture is not None:
        yield thing.picture
    rows = [
        ("found" if thing.status == "finding" else "asks", thing.title),
        ("measured", thing.measured),
        ("that is", page.plain(thing.said)),
        ("limit because", thing.because),
        ("why it matters", thing.why),
        ("what to do", thing.todo),
        *([("left out because", page.plain(thing.reason))] if thing.reason else []),
    ]
    about = f"In {name(thing.about)}" if thing.about else ""
    status = thing.severity if thing.status == "finding" else thing.status
    yield table((thing.rule, status), rows, about)


@show.register
def show_rule(thing: insp.Rule) -> Iterator[Piece]:
    rows = [
        ("asks", thing.title),
        ("limit", f"{thing.sense} {thing.limit:g} {thing.unit}".rstrip()),
        ("because", thing.because),
        ("why it matters", thing.why),
        ("what to do", thing.todo),
    ]
    yield table((thing.id, thing.severity), rows)
