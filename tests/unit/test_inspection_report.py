import json
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from rigkit import cli, gltf, inspection, page
from rigkit.inspection.finding import amount
from rigkit.inspection.text import span
from rigkit.stage.inks import TEXT
from rigkit.stage.labels import text_width
from rigkit.view import view as view_of
from tests.unit import rigs

HOSTILE = {
    "L_knee": "L_knee<script>alert(1)</script>",
    "R_knee": "R_knee\x1b[31m\u202eleft\x00",
    "L_ball": "L_ball" + "x" * 10**5,
    "R_ball": 'R_ball"><img src=x onerror=alert(1)>',
}
KEYS = {
    "rule",
    "title",
    "about",
    "status",
    "severity",
    "number",
    "unit",
    "sense",
    "limit",
    "because",
    "said",
    "parts",
    "why",
    "todo",
    "reason",
}


def hostile():
    asset = rigs.renamed(rigs.walk(rigs.carried), lambda name: HOSTILE.get(name, name))
    return replace(asset, animations=[replace(asset.animations[0], name="</p><script>\x07")])


class Page(HTMLParser):
    def __init__(self, html):
        super().__init__()
        self.tags, self.attributes, self.open = [], [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += [(name, value) for name, value in attributes]
        if tag not in ("meta", "br", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    where = tmp_path_factory.mktemp("rigs") / "tamsin.glb"
    gltf.write(rigs.walk(rigs.carried), where)
    return where


def test_text_says_it_all():
    text = inspection.inspect(rigs.BROKEN["sides-mirror"]()).text()
    assert text.startswith(
        f"1 finding; {len(inspection.RULES) - 9} pass, 8 could not be measured.\n"
    )
    assert "left: hip L_hip, knee L_knee, ankle L_ankle, ball L_ball, toe L_toe" in text
    assert "MODERATE  sides-mirror  1.2 % of the leg (at most 0.6 %)" in text
    assert "    Do: Place one side, mirror it to the other, then bind." in text
    assert all(len(line) <= 100 for line in text.splitlines())
    assert "The file holds no animation. foot-slide, ground-speed, through-floor" in text


def test_one_of_a_kind_is_said_as_one():
    def forget(positions, joints, weights):
        weights[int(positions[:, 1].argmax())] = 0
        return joints, weights

    found = inspection.inspect(rigs.with_weights(rigs.clean(), forget))["weights-missing"]
    assert found.measured == "1 vertex (at most 0 vertices)"


def test_the_bytes_of_a_file_do_as_well(file):
    here, there = inspection.inspect(file), inspection.inspect(file.read_bytes())
    assert (here.file, there.file) == ("tamsin.glb", "")
    assert here.data()["findings"] == there.data()["findings"]


def test_json_keeps_its_schema():
    data = json.loads(inspection.inspect(hostile()).json())
    assert set(data) == {
        "rigkit_inspection",
        "file",
        "passed",
        "inspected",
        "counts",
        "taken",
        "notes",
        "remarks",
        "left_out",
        "findings",
    }
    assert data["rigkit_inspection"] == 2
    assert data["passed"] is False
    assert set(data["taken"]) == {
        "certainty",
        "why",
        "animal",
        "animal_why",
        "pairs",
        "up",
        "up_why",
        "forward",
        "forward_why",
        "metres",
        "metres_why",
        "pelvis",
        "helpers",
        "joints",
    }
    assert all(set(finding) == KEYS for finding in data["findings"])
    assert sum(data["counts"].values()) == len(data["findings"]) == len(inspection.RULES)
    knee = next(
        joint
        for joint in data["taken"]["joints"]
        if (joint["side"], joint["part"]) == ("left", "knee")
    )
    assert knee["name"] == HOSTILE["L_knee"]
    assert data["taken"]["up"] == [0, 1, 0]


def test_json_knows_no_infinity():
    asset = rigs.clean()
    (skin,) = asset.skins
    bind = skin.inverse_bind.copy()
    bind[4] = 0
    data = json.loads(
        inspection.inspect(replace(asset, skins=[replace(skin, inverse_bind=bind)])).json()
    )
    found = next(finding for finding in data["findings"] if finding["rule"] == "inverse-bind")
    assert (found["status"], found["number"]) == ("finding", None)


@pytest.mark.parametrize(
    "make", [hostile, rigs.clean, rigs.BROKEN["legs-found"], rigs.without_legs]
)
def test_the_page_is_complete_and_holds_no_script(make):
    html = inspection.inspect(make()).html()
    seen = Page(html)
    assert seen.open == []
    assert not {"script", "img", "iframe", "link", "form", "object"} & set(seen.tags)
    assert not [
        name
        for name, _ in seen.attributes
        if name.startswith("on") or name in ("src", "href", "style")
    ]
    assert "default-src 'none'" in html
    assert not re.search("[\x00-\x08\x0e-\x1f\x7f\u202e]", html)
    assert "http:" not in html.replace("http://www.w3.org/2000/svg", "")


def test_only_a_page_or_a_card_loads_jinja():
    """Inspection in the jail has none."""
    code = (
        "import sys; from rigkit import gltf, inspection\n"
        "report = inspection.inspect(gltf.Asset([gltf.Node('hip')]))\n"
        "report.json(), report.text(); print('jinja2' in sys.modules)\n"
        "report.html(); print('jinja2' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]


def test_names_of_strangers_are_shown_but_do_nothing():
    report = inspection.inspect(hostile())
    html = report.html()
    assert "L_knee&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "x" * 200 not in html
    text = report.text()
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "R_knee[31m\ufffdleft" in text
    card = report._repr_mimebundle_()["text/html"]
    assert not {"script", "img"} & set(Page(card).tags)


def test_each_finding_has_a_picture_with_its_number():
    for rule, make in rigs.BROKEN.items():
        finding = inspection.inspect(make())[rule]
        svg = finding.picture.svg()
        assert "<desc>" in svg
        assert "rig-miss" in svg or rule == "sides-turn" or rule == "rest-reads-zero", rule


def test_what_passes_is_not_inked_as_a_miss():
    for finding in inspection.inspect(rigs.walk()).of("pass"):
        assert finding.picture is None or 'class="rig-miss' not in finding.picture.svg(
            style=False
        ), finding.rule


def test_the_report_shows_itself_in_a_notebook():
    report = inspection.inspect(rigs.BROKEN["preset-bend"]())
    shown = report._repr_mimebundle_()
    assert shown["text/plain"] == repr(report) == report.text().rstrip()
    assert "A leg has no preset bend" in shown["text/html"]
    assert "<svg" in shown["text/html"]
    with pytest.raises(KeyError):
        _ = report["no-such-rule"]


def test_what_could_not_be_read_is_said():
    assert (
        "Not read: a morph" in inspection.inspect(replace(rigs.clean(), notes=["a morph"])).text()
    )


def test_what_is_said_once_stands_at_the_top():
    report = replace(inspection.inspect(rigs.clean()), remarks=("The nodes <b> stand crouched.",))
    text, html = report.text(), report.html()
    assert text.index("The nodes <b> stand crouched.") < text.index("Passed:")
    said = html.index("The nodes &lt;b&gt; stand crouched.")
    assert html.index("<svg") < said < html.index("What was taken for what</h2>")
    assert "stand crouched" in report._repr_mimebundle_()["text/html"]
    assert report.data()["remarks"] == ["The nodes <b> stand crouched."]


# The rig that a report opens with.

NAME = re.compile(
    r'<text class="rig-(?:plain|miss)" x="([\d.]+)" y="([\d.]+)" text-anchor="start">([^<]*)'
)


@pytest.mark.parametrize(
    "naming",
    [
        lambda name: name,
        lambda name: f"Character_Of_The_Harbour:{name}_Joint_With_A_Long_Name",
        lambda name: "W" * 60 + name,
    ],
    ids=["ours", "long", "wide"],
)
def test_a_report_opens_with_the_rig_from_two_sides_with_its_joints_named(naming):
    """The names stand in the picture, on none of each other, whatever they are."""
    report = inspection.inspect(rigs.renamed(rigs.clean(), naming))
    front, side = report.picture.pictures
    for view, tag, count in ((front, "L", 6), (side, "R", 5)):
        texts = NAME.findall(view.svg(style=False))
        assert len(texts) == count
        assert all(len(text) <= 22 for *_, text in texts)
        heights = sorted(float(y) for _, y, _ in texts)
        assert min(b - a for a, b in pairwise(heights)) >= TEXT
        for x, _, text in texts:
            assert float(x) + text_width(text, TEXT) <= view.width
        ends = [naming(f"{tag}_{part}")[-8:] for part in ("hip", "knee", "ankle", "ball", "toe")]
        assert all(any(text.endswith(end) for *_, text in texts) for end in ends)
    assert "left leg: hip" in front.desc
    html = report.html()
    assert html.index("From the front") < html.index("What was taken for what")


def test_a_joint_that_is_not_certain_is_named_in_the_ink_of_a_miss():
    inked = '<text class="rig-miss"'
    front, _ = inspection.inspect(rigs.BROKEN["legs-found"]()).picture.pictures
    assert inked in front.svg(style=False)
    assert inked not in inspection.inspect(rigs.clean()).picture.svg(style=False)


# Many animations.


@pytest.fixture(scope="module")
def many():
    return inspection.inspect(rigs.clips())


def test_a_rule_is_said_once_for_all_animations(many):
    (group,) = many.groups("finding")
    assert (group.scope, len(group.others)) == ("in 26 of 76 animations", 25)
    assert group.worst.about == "take 75"
    numbers = [finding.number for finding in group.findings]
    assert numbers == sorted(numbers, reverse=True)
    assert many.headline.startswith("1 finding; ")
    text = many.text()
    assert len(text.splitlines()) < 120
    assert text.count(group.worst.why[:40]) == 1
    assert "foot-slide in 26 of 76 animations, at worst" in text
    assert "'take 72', " in text
    assert "and in 21 more animations, " in text
    assert "foot-slide in 50 of 76 animations, at worst" in text


def test_the_page_has_a_table_of_the_other_animations(many):
    html = many.html()
    (group,) = many.groups("finding")
    assert html.count(group.worst.why) == 2  # found, and passed elsewhere
    found, passed = html.split("<h2>Passed</h2>")
    assert (
        re.findall(r"“(take \d\d)”", found)
        == [each.about for each in (group.worst, group.worst, *group.others)][1:]
    )
    assert "“take 01”" in passed
    assert Page(html).open == []


def test_the_numbers_of_every_animation_are_in_the_json(many):
    data = many.data()
    counts = data["counts"]
    assert counts["finding"] == 26
    assert sum(counts.values()) == len(data["findings"]) > 4 * 76
    assert sum(many.counts().values()) == len(inspection.RULES)


# The digits of a number.


@pytest.mark.parametrize(
    ("number", "limit", "unit", "said"),
    [
        (0.0208, 2.0, "cm", "under 0.1 cm"),
        (0.0208, 0.5, "cm", "0.02 cm"),
        (12.64, 2.0, "cm", "12.6 cm"),
        (0.503, 0.5, "cm", "0.503 cm"),
        (0.499, 0.5, "cm", "0.499 cm"),
        (0.5, 0.5, "cm", "0.5 cm"),
        (-5.02, 2.0, "°", "−5°"),
        (12345, 0.0, "vertices", "12,345 vertices"),
        (1, 0.0, "vertices", "1 vertex"),
        (0.0, 0.5, "cm", "0 cm"),
        (1e-17, 0.5, "cm", "0 cm"),
        (418.3, 600.0, "° a second", "418° a second"),
        (float("inf"), 0.1, "cm", "beyond all bounds"),
    ],
)
def test_a_number_has_the_digits_that_matter_beside_its_limit(number, limit, unit, said):
    assert amount(number, limit, unit) == said


def test_a_share_is_named_once_beside_its_limit():
    finding = inspection.inspect(rigs.walk(rigs.carried))["foot-slide"]
    share = replace(finding, number=7.46, limit=2.5, unit="% of the leg")
    assert share.measured == "7.5 % of the leg (at most 2.5 %)"
    assert share.bound == "at most 2.5 % of the leg"
    assert span([share, replace(share, number=3.0)]) == "3 to 7.5 % of the leg"
    assert span([share, share]) == "7.5 % of the leg"


# A file without legs.


def test_a_file_without_legs_is_nothing_to_inspect():
    report = inspection.inspect(rigs.without_legs())
    assert (report.passed, report.inspected, report.picture) == (True, False, None)
    assert report.headline == "Nothing to inspect: no legs were found"
    assert {finding.status for finding in report.findings} == {"not measured"}
    text = report.text()
    assert report.legs.because["legs"][:20] in text
    assert "Looked for: chains of hip, knee and ankle" in text
    assert "Passed" not in text
    assert "SERIOUS" not in text
    assert report.data()["inspected"] is False
    assert "Looked for" in report.html()


def test_plain_text():
    assert page.plain("a\x00b\x1b[2Jc\n\nd") == "ab[2Jc d"
    assert page.plain("\u202eabc") == "\ufffdabc"
    assert page.plain("x" * 100, 10) == "x" * 10 + "…"
    assert page.safe("<b>") == "&lt;b&gt;"


# The command.


def test_status_says_whether_all_rules_pass(tmp_path, file, capsys):
    clean = tmp_path / "clean.glb"
    gltf.write(rigs.walk(), clean)
    assert cli.main(["inspect", str(clean)]) == 0
    said = f"clean.glb: No findings; {len(inspection.RULES) - 1} pass, 1 could"
    assert capsys.readouterr().out.startswith(said)
    assert cli.main(["inspect", str(file)]) == 1
    assert "foot-slide in 'walk'" in capsys.readouterr().out


def test_json_and_page(tmp_path, file, capsys):
    out = tmp_path / "report.html"
    assert cli.main(["inspect", str(file), "--json", "--html", str(out)]) == 1
    assert json.loads(capsys.readouterr().out)["file"] == "tamsin.glb"
    report = inspection.inspect(file)
    assert out.read_text(encoding="utf-8") == report.html(scene=view_of(report))


def test_corrections_and_limits(file, capsys):
    arguments = ["--map", "left.knee=L_knee", "--map", "metres=2", "--threshold", "foot-slide=30"]
    assert cli.main(["inspect", str(file), *arguments]) == 0
    assert "in units of 2 m (you said so)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["no-such.glb"], "no-such.glb"),
        (["FILE", "--map", "left.knee=nobody"], "which no joint has"),
        (["FILE", "--threshold", "sides=1"], "must name rules"),
        (["FILE", "--html", "FILE/x/report.html"], "Cannot use"),
        (["broken.glb"], "broken.glb"),
    ],
)
def test_wrong_use_is_status_two(arguments, said, file, tmp_path, capsys):
    (tmp_path / "broken.glb").write_bytes(b"glTF but not quite")
    arguments = [
        str(tmp_path / "broken.glb") if each == "broken.glb" else each.replace("FILE", str(file))
        for each in arguments
    ]
    assert cli.main(["inspect", *arguments]) == 2
    shown = capsys.readouterr()
    assert said in shown.err
    assert shown.out == ""


@pytest.mark.parametrize("pair", ["left.knee", "=x"])
def test_a_pair_needs_both_sides(pair, file, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(["inspect", str(file), "--map", pair])
    assert ended.value.code == 2
    assert "must be a name, = and a value" in capsys.readouterr().err
