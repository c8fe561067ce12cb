"""Rig files as learners hand them in, right and wrong and spiteful, and a question that asks for
one."""

import dataclasses
import json
import tempfile
from functools import cache
from pathlib import Path

from rigkit import export, gltf, puppets
from rigkit.homework import catalogue
from rigkit.homework.picture import chain, side_view
from rigkit.homework.question import REPORT, Misconception, Question, Verdict
from tests.unit import gltf_files

TAMSIN = puppets.PUPPETS["Tamsin"]


def data(asset, kind=".glb"):
    """The bytes of an asset's file."""
    with tempfile.TemporaryDirectory() as folder:
        gltf.write(asset, Path(folder, f"rig{kind}"), as_is=True)
        return Path(folder, f"rig{kind}").read_bytes()


@cache
def puppet(name="Tamsin", **how):
    return export.puppet_asset(puppets.PUPPETS[name], **{"vertices": 1000} | how)


def straight(*_):
    return puppet(preset_bend_deg=0)


def swapped(*_):
    """Left called right, and right left."""
    other = {"L_": "R_", "R_": "L_"}
    nodes = [
        dataclasses.replace(node, name=other.get(node.name[:2], node.name[:2]) + node.name[2:])
        for node in puppet().nodes
    ]
    return dataclasses.replace(puppet(), nodes=nodes)


def called(name):
    """Tamsin's rig with another name in place of each joint's side, and of the walk's."""
    nodes = [
        dataclasses.replace(node, name=f"{name} {node.name[2:]} {name}") for node in puppet().nodes
    ]
    animations = [dataclasses.replace(each, name=name) for each in puppet().animations]
    return dataclasses.replace(puppet(), nodes=nodes, animations=animations)


def circle():
    """Two nodes, each the child of the other."""
    return gltf_files.as_text(
        {"asset": {"version": "2.0"}, "nodes": [{"children": [1]}, {"children": [0]}]}
    )


def no_numbers():
    file = gltf_files.leg()
    at = file.json["bufferViews"][1]["byteOffset"]
    file.data[at : at + 4] = b"\0\0\xc0\x7f"
    return file.glb()


def more_than_there_is():
    file = gltf_files.triangle()
    file.json["accessors"][0] |= {"count": 10**9}
    return file.glb()


WALKER = data(puppet())
MARKUP = "<script>alert(1)</script>\u202e\u2066\0]]>"
UNREADABLE = {
    "nothing": b"",
    "four letters": b"glTF",
    "cut short": WALKER[:-100],
    "a heap of brackets": b"[" * 10**6,
    "10 MiB of zeros": bytes(10 * 2**20),
    "10 MiB of junk": b"glTF\x02\0\0\0" + b"\xff\x5b" * (5 * 2**20 - 4),
    "markup": b"<script>alert(1)</script>",
    "a circle of nodes": circle(),
    "no numbers": no_numbers(),
    "more than there is": more_than_there_is(),
    "a notebook": json.dumps({"nbformat": 4, "cells": []}).encode(),
    "a file beside it": (
        json.dumps(
            {
                "asset": {"version": "2.0"},
                "buffers": [{"byteLength": 4, "uri": "/etc/passwd"}],
                "bufferViews": [{"buffer": 0, "byteLength": 4}],
                "accessors": [
                    {"bufferView": 0, "count": 1, "type": "SCALAR", "componentType": 5126}
                ],
                "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
            }
        ).encode()
    ),
}


def judge(inputs, output):
    report = output["report"]
    found = [
        f"{finding['rule']}, {finding['said']}"
        for finding in report["findings"]
        if finding["status"] == "finding"
    ]
    places = (
        [[report["places"][f"left.{part}"][i] for i in (2, 1)] for part in ("hip", "knee", "ankle")]
        if "left.knee" in report["places"]
        else []
    )
    drawn = (
        side_view("Your leg", "The left leg of the rig.", chain(places, ["hip", "knee", "ankle"]))
        if places
        else None
    )
    said = f"an inspection finds: {'; '.join(found)}" if found else "an inspection finds nothing."
    return Verdict(0.0 if found or not places else 1.0, said, {"Findings": str(len(found))}, drawn)


def question(name="my_rig", lesson="12"):
    """A rig of the size asked for, without findings."""
    return Question(
        lesson,
        name,
        "a rig of your own",
        "file",
        {"report": REPORT},
        lambda rng, character: [{"thigh_cm": 100 * TAMSIN.thigh}],
        judge,
        (Misconception("no bend", straight, "the legs are straight"),),
    )


BONES = Question(
    "12",
    "bones",
    "how many bones a leg has",
    "value",
    {"bones": ()},
    lambda rng, character: [{"n": 2.0}],
    lambda inputs, output: Verdict(float(output["bones"] == inputs["n"]), "count again."),
    (),
)


def as_lesson_12(monkeypatch, *questions):
    """Put questions in the place of lesson 12's, in this process."""
    given = {each.name: each for each in questions or (BONES, question())}
    before, lessons = catalogue.questions, catalogue.lessons()
    monkeypatch.setattr(
        catalogue, "questions", lambda lesson: given if str(lesson) == "12" else before(lesson)
    )
    monkeypatch.setattr(catalogue, "lessons", lambda: tuple(sorted({*lessons, "12"})))


def notebook_12(*cells, name="Tamsin"):
    """The bytes of a notebook that opens lesson 12."""
    sources = [
        f'from rigkit.homework import open_homework\nhw = open_homework("12", student="{name}")',
        *cells,
    ]
    return json.dumps(
        {
            "nbformat": 4,
            "nbformat_minor": 5,
            "metadata": {},
            "cells": [
                {"cell_type": "code", "source": source, "metadata": {}, "outputs": []}
                for source in sources
            ],
        }
    ).encode()
