"""A notebook's run, and further ones without what ended it.

So a cell that ends everything, or never ends, costs what it was to do, and an answer that does is
the only one lost.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from rigkit.marking.calls import Call, CaseRecord, Request, Run
from rigkit.marking.entry import NOT_STARTED
from rigkit.marking.jail import Jail

__all__ = ["run_through"]

MOST_RUNS = 4
STOPPED: CaseRecord = {"end": "stopped", "seconds": None}


def run_through(request: Request, jail: Jail) -> Run:
    """Run a request; again without the cell, or from after the answer, that ended the run.

    Parameters
    ----------
    request : Request
    jail : Jail

    Returns
    -------
    Run
        The last, with the answers of all. A cell that was left out is `{"left out": end}` in it;
        its end is that of the first run that an answer ended.
    """
    left_out: dict[int, dict[str, Any]] = {}
    records: dict[str, list[CaseRecord]] = {}
    end, asked, tries = "", request, 1
    ran = jail.run(asked)
    while tries < MOST_RUNS and ran.end != NOT_STARTED:
        number, rest = len(ran.cells), _unanswered(asked.calls, ran)
        if number < len(asked.cells) and not ran.records:
            left_out[number] = {"left out": ran.end}
            sources = tuple("" if i in left_out else cell for i, cell in enumerate(asked.cells))
            asked = replace(asked, cells=sources)
        elif len(rest) > 1:
            end = end or ran.end
            records |= ran.records
            records[rest[0].question] = [*ran.records.get(rest[0].question, []), STOPPED]
            asked = replace(asked, calls=rest[1:])
        else:
            break
        tries += 1
        ran = _later(ran, jail.run(asked))
    cells = tuple(left_out.get(i, cell) for i, cell in enumerate(ran.cells))
    return replace(ran, end=end or ran.end, cells=cells, records=records | dict(ran.records))


def _unanswered(calls: Sequence[Call], ran: Run) -> tuple[Call, ...]:
    """The calls from the first on that did not come to its end."""
    full = [len(_got(ran.records, call)) >= max(1, len(call.cases)) for call in calls]
    return tuple(calls[full.index(False) :]) if False in full else ()


def _got(records: Mapping[str, list[CaseRecord]], call: Call) -> list[CaseRecord]:
    return records.get(call.question, [])


def _later(first: Run, second: Run) -> Run:
    """The second of two runs, with what both took; the first where the second did not start."""
    if second.end == NOT_STARTED:
        return first
    cpu = None if None in (first.cpu, second.cpu) else (first.cpu or 0) + (second.cpu or 0)
    return replace(
        second,
        signal=second.signal or first.signal,
        wall=first.wall + second.wall,
        cpu=cpu,
        bytes_out=first.bytes_out + second.bytes_out,
    )
