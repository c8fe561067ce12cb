"""Rig files that learners hand in: inspected in the jail, given to their questions, marked, shown."""

import dataclasses
import json

import pytest

from rigkit.homework import rig_file
from rigkit.marking import jail, talk
from rigkit.marking.jail import Call, Request
from tests.marking import rig_files
from tests.marking.jails import opened
from tests.unit.test_gltf_hostile import BOMBS

in_a_jail = pytest.mark.needs_jail


# --- in the jail ---------------------------------------------------------------------------------------------------


def inspected(data, *cells, kind="bwrap", seconds=20.0, most=10.0):
    return opened(kind).run(Request(cells, (Call("my_rig", "file", [], most, data),), {}), seconds)


@in_a_jail
@pytest.mark.parametrize("kind", jail.KINDS)
def test_a_rig_file_is_inspected_inside_as_it_is_in_the_notebook(kind):
    found = inspected(rig_files.WALKER, kind=kind)
    assert found.end == "finished", found.printed
    assert found.records["my_rig"] == [rig_file.record(rig_files.WALKER)]
    assert len(found.records["my_rig"][0]["out"]["findings"]) > 20


@in_a_jail
def test_a_rig_with_many_animations_is_inspected_too():
    walk, = rig_files.puppet().animations
    walks = [dataclasses.replace(walk, name=f"walk {number}") for number in range(40)]
    many = rig_files.data(dataclasses.replace(rig_files.puppet(), animations=walks))
    record, = inspected(many).records["my_rig"]
    assert talk.MOST_LINE < len(json.dumps(record)) < talk.MOST_FINDINGS
    assert record == rig_file.record(many)


@in_a_jail
@pytest.mark.parametrize("what", rig_files.UNREADABLE)
def test_what_is_no_rig_file_gets_a_sentence(what):
    found = inspected(rig_files.UNREADABLE[what])
    assert found.end == "finished"
    record, = found.records["my_rig"]
    assert record["end"] == "unreadable"
    assert "cannot be read" in record["what"]


@in_a_jail
@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_an_answer_too(bomb):
    make, _ = BOMBS[bomb]
    found = inspected(make())
    assert found.end == "finished"
    assert found.records["my_rig"][0].keys() & {"out", "end"}


@in_a_jail
def test_names_that_are_markup_come_back_as_words():
    record, = inspected(rig_files.data(rig_files.called(rig_files.MARKUP))).records["my_rig"]
    assert record["out"]["findings"]
    assert not set("\u202e\u2066\0") & set(json.dumps(record, ensure_ascii=False))


@in_a_jail
@pytest.mark.parametrize(("does", "end", "record"), [
    ("time.sleep(60)", "finished", {"end": "stopped", "seconds": 0.5}),
    ("calling._limited = lambda work, seconds: time.sleep(60)", "time limit", None),
    ("bytes(2**31)", "memory", {"end": "raised", "type": "MemoryError", "message": ""}),
    ("{}[1]", "finished", {"end": "raised", "type": "KeyError", "message": ""}),
    ("os._exit(3)", "stopped early", None),
    ("print('x' * 10**6)", "finished", {"end": "nothing"}),
])
def test_an_inspection_that_goes_wrong_ends_as_its_limits_say(does, end, record):
    """As if our own code did it: the file is all that a run of marking gives it."""
    breaks = "import os, time\nfrom rigkit.homework import calling, rig_file\n"
    breaks += does if does.startswith("calling") else f"def record(data):\n    {does}\nrig_file.record = record"
    found = inspected(rig_files.WALKER, breaks, seconds=3.0, most=0.5)
    assert found.end == end
    got, = found.records.get("my_rig", [None])
    assert got is None if record is None else record.items() <= got.items()
