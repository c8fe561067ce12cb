"""A leg's own page: what it tells is measured anew, what it refuses, what it writes over."""

import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest

from rigkit import cli, export, gltf
from rigkit.bench import build, showing, sign_off
from rigkit.bench._views import numbers, value_of
from rigkit.bench.state import STEPS, State
from rigkit.bench.steps import TITLES
from tests.marking.markup import Page
from tests.unit.legs_on_the_bench import MINE, put, sound

REASON = "Pip crouches: <b>the lamps</b> are low & he carries buns."


@pytest.fixture(scope="module")
def state():
    """A leg with three steps given, one number out, and a slight finding that is kept."""
    leg = put(State.bare("Pip").with_sound("12"), "pelvis", drop_mm=120)
    return leg.changed(kept={"human-range": REASON}, given=("01", "02", "03"))


@pytest.fixture(scope="module")
def html(state):
    return showing.page(state)


@pytest.fixture
def file(tmp_path):
    return sign_off.write(sound("Pip"), tmp_path / "my-leg.json")


def cells(html):
    """The table's rows, in words."""
    body = html.split('<table class="steps">')[1].split("</table>")[0]
    rows = re.findall(r"<tr class=.*?</tr>", body)
    return [
        [unescape(re.sub("<[^>]+>", "", cell)) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in rows
    ]


# --- what it tells


def test_each_step_shows_the_number_that_matters(html, state):
    rows = cells(html)
    assert [row[0] for row in rows] == [f"{step} {TITLES[step]}" for step in STEPS]
    for step, (_, name, value, limit, mark) in zip(list(STEPS)[:-1], rows[:-1], strict=True):
        measured = numbers(state, step)
        wrong = [each for each in measured if not each.right]
        shown = (wrong or measured)[0]
        assert (name.lower(), value, limit) == (shown.name.lower(), value_of(shown), shown.limit)
        assert mark == ("✗" if wrong else "✓ given" if step in ("01", "02", "03") else "✓")
    assert rows[-1][1:] == ["Steps before that are not done", "1", "there may be none", "✗"]
    assert [row[0][:2] for row in rows if row[4] == "✗"] == ["10", "12"]
    assert "7 of 12 steps done. The kit filled in 3." in html


def test_the_step_length_is_a_quarter_of_the_way_through_two_strides(html, state):
    """As the file's own walk has it, which lasts two strides: four steps."""
    asset = build.asset(state)
    (walk,) = asset.animations
    ends = asset.pose_world(walk, [0.0, walk.duration])[:, 0, 2, 3]
    length = re.search(r"<dt>Step length</dt><dd><b>(\d+) cm</b>", html)[1]
    assert float(length) == pytest.approx(100 * np.ptp(ends) / 4, abs=0.6)


def test_the_walk_says_slide_and_pops_with_their_limits(html):
    told = re.findall(r"<dt>([^<]+)</dt><dd><b>([^<]+)</b> <span>([^<]+)</span>", html)
    assert told == [
        ("Foot slides in a stride", "0.0 cm", "✓ 1.3 cm at most"),
        ("Knees that snap straight", "0", "✓ there may be none"),
    ]


def test_a_kept_finding_stands_with_its_reason_harmless(html):
    assert "A joint goes beyond human range" in html
    assert (
        "<b>Kept, and why.</b> Pip crouches: &lt;b&gt;the lamps&lt;/b&gt; are low &amp; he" in html
    )


def test_a_reason_for_what_is_not_slight_or_not_found_is_not_shown():
    leg = sound("Pip").changed(
        softness=0.35, kept={"knee-stretch": "I like it.", "foot-slide": "x"}
    )
    told = showing.page(leg)
    assert "I like it." not in told
    assert "Kept, and why" not in told


def test_a_leg_without_findings_says_so(file):
    told = showing.page(showing.read(file))
    assert re.search(r"Nothing: all \d\d rules that could be measured pass\.", told)


def test_it_is_one_well_formed_file_with_headings_in_order_and_small(html, state):
    assert Page(html).wrong == []
    assert [int(level) for level in re.findall(r"<h(\d)", html)][:5] == [1, 2, 2, 2, 2]
    assert len(html.encode()) < 600_000
    assert not re.search(r"""(src|href)=|url\(|https?://(?!www\.w3\.org)""", html)
    assert html == showing.page(state)
    for picture in re.findall(r"<svg[^>]*role=\"img\".*?</svg>", html):
        assert "<title>" in picture


def test_of_a_leg_that_is_not_together_there_is_no_page():
    with pytest.raises(ValueError, match="nothing for hip, knee"):
        showing.page(State.bare("Pip"))


# --- what it refuses


def written(path, asset):
    gltf.write(asset, path, replace=True)
    return path


def refusal(path):
    with pytest.raises(ValueError, match=r"^Cannot show ") as refused:
        showing.read(path)
    said = str(refused.value)
    assert said.endswith(".")
    assert "\n" not in said
    return said


def test_a_file_gives_its_state_back(file, tmp_path):
    heron = sound("heron")
    assert showing.read(sign_off.write(heron, tmp_path / "my-leg-heron.json")) == heron
    assert showing.read(file) == sound("Pip")
    assert repr(showing.Leg(sound("Pip"))) == (
        "Leg: Pip. Rigged by hand on the bench: 1 of 12 steps done. The kit filled in 11."
    )


def told(asset, **changes):
    """The asset with other words in its state."""
    state = dict(asset.extras[build.EXTRAS]) | changes
    return replace(asset, extras={build.EXTRAS: state})


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"bench": 3}, "must be of version 2 or older; got version 3. A newer rigkit reads it."),
        ({"bench": "x"}, "it must be a leg from the bench"),
        ({"puppet": "Nobody"}, "The leg must be of one of Tamsin, Odo, Pip,"),
        ({"puppet": 3}, "its state says 3"),
        ({"puppet": "Odo"}, "must be a leg of 'Odo'"),
        ({"soft_mm": 9000}, "`soft_mm` must be a whole number from 0 to 200"),
        ({"more": 1}, "the unknown 'more'"),
        ({"inverse": False}, "the walk has other keys"),
        ({"parents": {}}, "no file can be made of its state"),
    ],
    ids=str,
)
def test_a_state_that_is_odd_is_refused(file, changes, said):
    assert said in refusal(written(file, told(gltf.read(file), **changes)))


def moved_joint(asset):
    nodes = list(asset.nodes)
    knee = next(i for i, node in enumerate(nodes) if node.name == "L_ball")
    shift = np.asarray(nodes[knee].translation) + [0, 0, 0.0005]
    nodes[knee] = replace(nodes[knee], translation=shift)
    return replace(asset, nodes=tuple(nodes))


def other_weights(asset):
    (mesh,) = asset.meshes
    weights = mesh.weights.copy()
    bent = int(np.argmax((weights > 0.3).sum(axis=1)))  # shared by two joints
    weights[bent] = [1, *[0] * (weights.shape[1] - 1)]
    return replace(asset, meshes=(replace(mesh, weights=weights),))


def renamed(asset):
    nodes = (replace(asset.nodes[0], name="hips"), *asset.nodes[1:])
    return replace(asset, nodes=nodes)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (moved_joint, "the joint 'L_ball' stands 0.5 mm elsewhere"),
        (other_weights, "the weights of 1 vertex are others"),
        (renamed, "the nodes are others"),
        (
            lambda asset: replace(asset, animations=()),
            "and 0 animations; its state makes 1 skins",
        ),
    ],
    ids=["a joint", "weights", "a name", "no walk"],
)
def test_a_rig_that_is_not_of_its_state_is_refused(file, change, said):
    refused = refusal(written(file, change(gltf.read(file))))
    assert said in refused
    assert "It was changed after the bench had written it" in refused


def test_a_rig_of_something_else_and_no_rig_are_refused(tmp_path):
    other = written(tmp_path / "Pip.glb", export.puppet_asset("Pip", 400))
    assert (
        "The file holds no state of the bench (no 'rigkit_bench'). `rigkit inspect` looks over"
        in refusal(other)
    )
    (tmp_path / "no.glb").write_bytes(b"glTF and nothing more")
    refusal(tmp_path / "no.glb")
    with pytest.raises(FileNotFoundError):
        showing.read(tmp_path / "none.glb")


def test_a_personal_leg_is_refused_as_another_character(tmp_path):
    path = sign_off.write(sound(MINE), tmp_path / "my-leg.json")
    assert "The leg must be of one of Tamsin, Odo, Pip," in refusal(path)


# --- what it writes


def test_the_page_is_written_beside_the_rig_and_never_over_another_s(file):
    page = file.with_suffix(".html")
    page.write_text("mine")
    written = sign_off.write_page(sound("Pip"), file)
    assert (written.name, page.read_text()) == ("my-leg-2.html", "mine")
    assert sign_off.write_page(sound("Pip"), file) == written  # the kit's own is made anew
    assert written.read_text(encoding="utf-8") == showing.page(sound("Pip"))
    page.unlink()
    page.mkdir()
    assert sign_off.write_page(sound("Pip"), file) == written


def test_a_page_that_cannot_be_written_leaves_the_earlier_one_whole(file, monkeypatch):
    page = sign_off.write_page(sound("Pip"), file)
    before = page.read_bytes()
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError("full")))
    with pytest.raises(OSError, match="full"):
        showing.write(sound("Pip").changed(soft_mm=20), page)
    assert page.read_bytes() == before
    assert sorted(each.name for each in file.parent.iterdir()) == ["my-leg.glb", "my-leg.html"]


def test_the_command_writes_the_page_of_the_file(file, capsys, monkeypatch):
    monkeypatch.chdir(file.parent)
    assert cli.main(["show", "my-leg.glb"]) == 0
    assert capsys.readouterr().out == "my-leg.html: Pip’s legs, rigged on the bench\n"
    page = file.with_suffix(".html")
    assert page.read_text(encoding="utf-8") == showing.page(sound("Pip"))
    assert cli.main(["show", "my-leg.glb"]) == 0  # over the earlier one
    capsys.readouterr()
    page.write_text("mine")
    for words, status, said in (
        (["my-leg.glb"], 2, "my-leg.html is there already, and is no leg's page. Give another"),
        (["my-leg.glb", "--html", "no/page.html"], 1, "There is no folder no."),
        (["none.glb"], 1, "Cannot use none.glb (No such file or directory)."),
        (["my-leg.html"], 2, "Cannot show 'my-leg.html': The file is no .glb. `rigkit inspect`"),
    ):
        assert cli.main(["show", *words]) == status
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith(f"rigkit show: {said}")
        assert err.count("\n") == 1
    assert page.read_text() == "mine"
