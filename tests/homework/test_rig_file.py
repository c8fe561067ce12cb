"""A question for a rig file: read as data, inspected, scored like any other answer."""

import dataclasses

import numpy as np
import pytest

from rigkit import export, gltf, puppets
from rigkit.homework import checking, notebook, rig_file
from rigkit.homework.question import REPORT, Misconception, Question, Verdict

TAMSIN = export.puppet_asset(puppets.PUPPETS["Tamsin"], vertices=1000)


def straight(leg_cm):
    return export.puppet_asset(puppets.PUPPETS["Tamsin"], vertices=1000, preset_bend_deg=0)


def judge(inputs, output):
    report = output["report"]
    found = [finding["rule"] for finding in report["findings"] if finding["status"] == "finding"]
    thigh = np.subtract(report["places"]["left.hip"], report["places"]["left.knee"])
    long = abs(100 * np.linalg.norm(thigh) - inputs["leg_cm"]) < 0.1
    return Verdict(float(long and not found), "it was inspected.", {"Findings": str(len(found))})


QUESTION = Question(
    "12",
    "my_rig",
    "a rig",
    "file",
    {"report": REPORT},
    lambda rng, character: [{"leg_cm": 100 * puppets.PUPPETS["Tamsin"].thigh}],
    judge,
    (Misconception("no bend", straight, "the legs are straight"),),
)


@pytest.fixture
def homework(monkeypatch):
    monkeypatch.setattr(notebook.course, "record", lambda *args, **details: None)
    return notebook.Homework({"my_rig": QUESTION}, "ada")


def test_a_file_is_inspected_and_weighed(tmp_path, homework):
    gltf.write(TAMSIN, tmp_path / "mine.glb")
    card = homework.check(my_rig=tmp_path / "mine.glb")
    assert (card.outcome.word, card.outcome.measured) == ("Right", {"Findings": "0"})
    assert homework.check(my_rig=str(tmp_path / "mine.glb")).score == 1


def test_a_misconception_is_known_by_the_rules_it_breaks(tmp_path, homework):
    gltf.write(straight(0), tmp_path / "mine.glb")
    outcome = homework.check(my_rig=tmp_path / "mine.glb").outcome
    assert (outcome.word, outcome.misconception) == ("Not yet", "no bend")
    assert outcome.sentence == "this is the rig you get when the legs are straight."


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ("nowhere.glb", "cannot be opened"),
        (3.5, "a float, where the name of a file belongs"),
        (None, "where the name of a file belongs"),
        (TAMSIN, "where the name of a file belongs"),
        (b"glTF", "cannot be read"),
        (b"", "cannot be read"),
    ],
)
def test_anything_else_is_answered_by_a_sentence(homework, answer, said):
    outcome = homework.check(my_rig=answer).outcome
    assert outcome.score == 0
    assert said in outcome.sentence


def test_no_answer_yet_is_no_wrong_answer(homework):
    assert homework.check(my_rig=...).outcome.word == checking.BLANK


def test_a_file_is_handed_in_by_its_keyword(homework):
    def my_rig():
        return None

    assert "is a file" in homework.check(my_rig).outcome.sentence


def test_too_large_a_file_is_not_read(tmp_path):
    path = tmp_path / "large.glb"
    with open(path, "wb") as file:
        file.truncate(rig_file.MOST_BYTES + 1)
    assert "10 MiB" in rig_file.record_file(path)["what"]


def test_a_rig_without_legs_is_weighed_too(tmp_path):
    root = dataclasses.replace(TAMSIN, nodes=TAMSIN.nodes[:1], skins=(), meshes=(), animations=())
    gltf.write(root, tmp_path / "root.glb")
    assert rig_file.record_file(tmp_path / "root.glb")["out"]["places"] == {}


@pytest.mark.parametrize("error", [MemoryError, IndexError, KeyError, ZeroDivisionError])
def test_a_fault_of_the_inspection_is_a_sentence_too(monkeypatch, tmp_path, error):
    def fails(asset):
        raise error

    gltf.write(TAMSIN, tmp_path / "mine.glb")
    monkeypatch.setattr(rig_file.inspection, "inspect", fails)
    assert error.__name__ in rig_file.record_file(tmp_path / "mine.glb")["what"]
