"""The command on many files, with a list of what is left out, and against an earlier file."""

import json
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from rigkit import cli, gltf, inspecting, inspection
from rigkit.inspection import leave_out
from rigkit.inspection.compare import compare
from tests.unit import rigs

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
RULES = [rule.id for rule in inspection.RULES]


@pytest.fixture(scope="module")
def made():
    """Rigs: sound, sliding (moderate), without a bend, with loose feet (serious), without legs."""
    return {
        "sound.glb": rigs.walk(),
        "sliding.glb": rigs.walk(rigs.carried),
        "straight.glb": rigs.BROKEN["preset-bend"](),
        "loose.glb": rigs.BROKEN["chain-unbroken"](),
        "birds/sound.glb": rigs.BROKEN["names-say-sides"](),
        "birds/prop.glb": rigs.without_legs(),
    }


@pytest.fixture
def folder(made, tmp_path, monkeypatch):
    """A folder of rigs, which is the working folder's `rigs`."""
    monkeypatch.chdir(tmp_path)
    for name, asset in made.items():
        path = tmp_path / "rigs" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        gltf.write(asset, path)
    (tmp_path / "rigs" / "broken.gltf").write_text("{")
    (tmp_path / "rigs" / "notes.txt").write_text("no rig")
    return tmp_path


def inspect(*words):
    return cli.main(["inspect", *map(str, words)])


# Many files.


def test_a_folder_gives_a_row_for_each_file_and_a_page_for_each_that_could_be_read(folder, capsys):
    assert inspect("rigs", "--html", "out") == 2  # one could not be read
    shown = capsys.readouterr()
    assert shown.err == ""  # no terminal, no progress
    assert shown.out.startswith(
        "7 files: 4 with findings, 1 without, 1 without legs, 1 could not be read.\n"
    )
    rows = {line.split()[0]: line for line in shown.out.splitlines()[3:10]}
    assert re.search(r"%  +0  +1  +0  L_hip and R_hip; foot-slide, \d", rows["sliding.glb"])
    assert re.search(r"%  +0  +0  +0  L_hip and R_hip$", rows["sound.glb"])
    assert "could not be read: " in rows["broken.gltf"]
    assert rows["birds/prop.glb"].endswith("  no legs")
    pages = {path.name for path in (folder / "out").iterdir()}
    assert pages == {
        "index.html",
        "sliding.html",
        "straight.html",
        "loose.html",
        "prop.html",
        "sound.glb.html",
        "birds-sound.glb.html",
    }
    index = (folder / "out" / "index.html").read_text("utf-8")
    assert set(re.findall(r'href="([^"]*)"', index)) == pages - {"index.html"}
    assert "<title>Inspection of 7 files" in index


def test_a_later_run_writes_over_its_own_pages_and_nothing_else(folder, capsys):
    for _ in range(2):
        assert inspect("rigs/sound.glb", "rigs/sliding.glb", "--html", "out") == 1
    mine = folder / "out" / "sound.html"
    mine.write_text("my diary")
    assert inspect("rigs/sound.glb", "rigs/sliding.glb", "--html", "out") == 2
    assert "sound.html is there already, and is no report." in capsys.readouterr().err
    assert mine.read_text() == "my diary"
    assert inspect("rigs", "--html", mine) == 2
    assert "--html must be a folder for several files" in capsys.readouterr().err


def test_json_of_many_is_a_list(folder, capsys):
    assert inspect("rigs", "--json") == 2
    reports = {each["file"]: each for each in json.loads(capsys.readouterr().out)}
    assert len(reports) == 7
    assert set(reports["broken.gltf"]) == {"file", "error"}
    assert reports["birds/sound.glb"]["counts"]["finding"] == 1
    assert reports["birds/prop.glb"]["inspected"] is False


@pytest.mark.parametrize(
    ("told", "names"),
    [
        (["a.glb", "b.glb"], ["a.html", "b.html"]),
        (["a.glb", "a.gltf"], ["a.glb.html", "a.gltf.html"]),
        (["x/a.glb", "y/A.glb"], ["x-a.glb.html", "y-A.glb.html"]),
        (["index.glb"], ["index.glb.html"]),
        (["x/a.glb", "x-a.glb", "a.glb"], ["x-a.glb.html", "x-a.html", "a.glb.html"]),
        (["x/a.glb", "a.glb", "x-a.glb.glb"], ["x-a.glb.html", "a.glb.html", "_x-a.glb.html"]),
    ],
)
def test_names_of_pages_that_collide_get_their_folder(told, names):
    from rigkit.inspecting import _page_names

    assert _page_names(told) == names


def test_a_terminal_sees_how_far_it_is(folder, capsys, monkeypatch):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    assert inspect("rigs/sound.glb", "rigs/sliding.glb") == 1
    err = capsys.readouterr().err
    assert "\r1 of 2 files, now sliding.glb\x1b[K" in err
    assert err.endswith("\r\x1b[K")


def test_a_folder_without_rigs_is_said_to_be_one(folder, capsys):
    (folder / "empty").mkdir()
    assert inspect("empty") == 2
    assert "empty must hold rigs (.glb, .gltf, .vrm, .bvh)" in capsys.readouterr().err


def test_a_limit_for_no_rule_is_refused_once(folder, capsys):
    assert inspect("rigs", "--threshold", "slide=1") == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("rigkit inspect: --threshold must name rules (legs-found, ")


@pytest.mark.parametrize("option", ["--against", "--fix"])
def test_what_needs_one_file_says_so(folder, capsys, option):
    assert inspect("rigs", option, "rigs/sound.glb") == 2
    assert f"{option} needs one FILE." in capsys.readouterr().err


# The exit status.


@pytest.mark.parametrize(
    ("name", "severity", "status"),
    [
        ("sound.glb", "slight", 0),
        ("birds/sound.glb", "slight", 1),
        ("birds/sound.glb", "moderate", 0),
        ("sliding.glb", "moderate", 1),
        ("sliding.glb", "serious", 0),
        ("loose.glb", "serious", 1),
        ("birds/prop.glb", "slight", 0),
    ],
)
def test_fail_on_says_which_findings_count(folder, name, severity, status):
    assert inspect(f"rigs/{name}", "--fail-on", severity) == status
    assert inspect(f"rigs/{name}", "rigs/birds/prop.glb", "--fail-on", severity) == status


# What is left out.


def listed(folder, text):
    (folder / "list.toml").write_text(text, encoding="utf-8")
    return "list.toml"


def test_what_is_left_out_is_shown_with_its_reason(folder, capsys):
    entry = '[[leave-out]]\nrule = "foot-slide"\nanimation = "walk"\nreason = "no <b>floor</b>"\n'
    name = listed(folder, entry)
    assert inspect("rigs/sliding.glb", "--leave-out", name, "--html", "page.html") == 0
    shown = capsys.readouterr()
    assert re.match(r"sliding.glb: No findings; \d+ pass, 1 left out", shown.out)
    assert re.search(r"Left out:\n  foot-slide in 'walk', \d.*: no <b>floor</b>\n", shown.out)
    assert shown.err == ""
    html = (folder / "page.html").read_text("utf-8")
    assert "no &lt;b&gt;floor&lt;/b&gt;" in html
    report, used = leave_out.apply(
        inspection.inspect("rigs/sliding.glb"), leave_out.read(folder / name, RULES)
    )
    assert len(used) == 1
    (out,) = report.data()["left_out"]
    assert (out["rule"], out["about"], out["reason"]) == ("foot-slide", "walk", "no <b>floor</b>")
    assert report.data()["counts"]["left out"] == 1


@pytest.mark.parametrize(
    ("entry", "status"),
    [
        ('rule = "foot-slide"', 0),
        ('animation = "walk"', 0),
        ('rule = "foot-slide"\nup-to = 20', 0),
        ('rule = "foot-slide"\nfile = "sliding.glb"', 0),
        ('rule = "foot-slide"\nup-to = 3.0', 1),
        ('rule = "foot-slide"\nfile = "other.glb"', 1),
        ('rule = "knee-flip"', 1),
        ('animation = "swim"', 1),
    ],
)
def test_an_entry_leaves_out_what_it_names_and_is_told_if_there_is_none(
    folder, capsys, entry, status
):
    name = listed(folder, f'# why\n\n[[leave-out]]\n{entry}\nreason = "so"\n')
    assert inspect("rigs/sliding.glb", "--leave-out", name) == status
    err = capsys.readouterr().err
    assert (err == "") == (status == 0)
    assert status == 0 or err.startswith(
        "rigkit inspect: list.toml, line 3: nothing was found to leave out for "
    )


def test_the_list_in_the_readme_is_one(tmp_path):
    (text,) = re.findall(r"^```toml\n(\[\[leave-out.*?)^```", README, re.MULTILINE | re.DOTALL)
    (tmp_path / "list.toml").write_text(text, encoding="utf-8")
    swim, captain = leave_out.read(tmp_path / "list.toml", RULES)
    assert str(swim) == "foot-slide in 'Swim'"
    assert str(captain) == "sides-mirror up to 1.5 of old-captain.glb"


def test_a_number_that_must_be_large_is_left_out_down_to_a_bound(folder):
    for bound, status in ((-1, 0), (1, 1)):
        entry = f'[[leave-out]]\nrule = "preset-bend"\nup-to = {bound}\nreason = "so"\n'
        assert inspect("rigs/straight.glb", "--leave-out", listed(folder, entry)) == status


GOOD = '[[leave-out]]\nrule = "foot-slide"\nreason = "so"\n\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD + '[[leave-out]]\nrule = "slide"\nreason = "so"\n', "line 5: no such rule: 'slide'"),
        (GOOD + '[[leave-out]]\nrule = "foot-slide"\n', "line 5: `reason` must say why"),
        (GOOD + '[[leave-out]]\nrule = "foot-slide"\nreason = " "\n', "line 5: `reason` must"),
        (GOOD + '[[leave-out]]\nreason = "so"\n', "line 5: `rule` or `animation` must say"),
        (
            GOOD + '[[leave-out]]\nanimation = "a"\nup-to = 2\nreason = "so"\n',
            "line 5: `rule` must",
        ),
        (GOOD + '[[leave-out]]\nclip = "a"\nreason = "so"\n', "line 5: no such key: 'clip'"),
        (GOOD + '[[leave-out]]\nrule = 3\nreason = "so"\n', "line 5: `rule` must stand in quotes"),
        (
            '[[leave-out]]\nrule = "foot-slide"\nup-to = "2"\nreason = "a"',
            "`up-to` must be a number",
        ),
        ("[rules]\n", "must hold nothing but [[leave-out]] tables; got 'rules'"),
        ('leave-out = "all"\n', "must hold nothing but [[leave-out]] tables"),
        ("[[leave-out]\n", "must be TOML"),
    ],
)
def test_a_wrong_list_is_refused_in_one_line_with_its_number(folder, capsys, text, said):
    assert inspect("rigs/sound.glb", "--leave-out", listed(folder, text)) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("rigkit inspect: list.toml")
    assert said in shown.err
    assert shown.err.count("\n") == 1


def test_a_list_is_written_of_what_is_found_and_leaves_it_out_once_it_has_reasons(folder, capsys):
    assert inspect("rigs/sliding.glb", "--write-leave-out", "list.toml") == 1
    text = (folder / "list.toml").read_text("utf-8")
    assert inspect("rigs/sliding.glb", "--leave-out", "list.toml") == 2
    assert "`reason` must say why" in capsys.readouterr().err
    listed(folder, text.replace('reason = ""', 'reason = "so"'))
    assert inspect("rigs/sliding.glb", "--leave-out", "list.toml") == 0
    assert inspect("rigs/sliding.glb", "--write-leave-out", "list.toml") == 2
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    "name", ['say "hm"', "back\\slash", "two\nlines\x00\x7f", "", "日本", "x" * 300]
)
def test_a_written_list_finds_its_animation_again_whatever_it_is_called(tmp_path, name):
    sliding = rigs.walk(rigs.carried)
    asset = replace(sliding, animations=[replace(sliding.animations[0], name=name)])
    report = inspection.inspect(asset)
    text = leave_out.write(report).replace('reason = ""', 'reason = "so"')
    (tmp_path / "list.toml").write_text(text, encoding="utf-8")
    left, used = leave_out.apply(report, leave_out.read(tmp_path / "list.toml", RULES))
    assert left.passed
    assert len(used) == 1


# What changed.


def kinds(comparison):
    return {(each.finding.rule, each.finding.about): each.kind for each in comparison.changes}


def test_what_changed_is_said_for_each_rule_and_animation():
    def skating(speed, name="walk"):
        asset = rigs.walk(lambda world, times: rigs.carried(world, times, speed))
        return replace(asset.animations[0], name=name)

    def report(*animations, make=rigs.walk):
        return inspection.inspect(replace(make(), animations=animations))

    sound, slow, fast = skating(0.0), skating(0.12), skating(0.2)
    slide = ("foot-slide", "walk")
    assert kinds(compare(report(sound), report(slow))) == {slide: "new"}
    assert kinds(compare(report(slow), report(sound))) == {slide: "gone"}
    assert kinds(compare(report(slow), report(fast))) == {slide: "worse"}
    assert kinds(compare(report(fast), report(slow))) == {slide: "better"}
    assert kinds(compare(report(slow), report())) == {slide: "gone"}
    same = compare(report(slow), report(slow))
    assert (same.changes, same.unchanged) == ((), 1)
    twice = compare(report(slow, sound), report(sound, slow))  # two of one name: by their order
    assert [change.kind for change in twice.changes] == ["new", "gone"]
    two = compare(
        report(slow, skating(0.12, "run")), report(fast, skating(0.0, "run"), skating(0.3, "hop"))
    )
    assert kinds(two) == {
        ("foot-slide", "hop"): "new",
        ("foot-slide", "walk"): "worse",
        ("foot-slide", "run"): "gone",
    }
    assert two.headline == "1 new, 1 worse, 1 gone, 0 findings unchanged"


def test_what_can_no_longer_be_measured_is_not_called_gone():
    old = inspection.inspect(rigs.BROKEN["weights-sum"]())
    bare = rigs.clean()
    nodes = [replace(node, mesh=None, skin=None) for node in bare.nodes]
    new = inspection.inspect(replace(bare, nodes=nodes))
    assert kinds(compare(old, new)) == {("weights-sum", ""): "no longer measured"}


def test_both_numbers_are_told_in_text_page_and_json(folder, capsys):
    words = ["rigs/sliding.glb", "--against", "rigs/straight.glb"]
    assert inspect(*words, "--html", "page.html") == 1
    told = capsys.readouterr().out.split("Since straight.glb: ")[1]
    assert told.startswith("1 new, 1 gone, 0 findings unchanged.\nNEW  foot-slide in 'walk' (")
    assert re.search(r"  [\d.]+ .*, the animation is new\nGONE", told)
    assert re.search(r"GONE  preset-bend \(\w+\)  5°, was 0°\n", told)
    html = (folder / "page.html").read_text("utf-8")
    assert "1 new, 1 gone, 0 findings unchanged" in html
    assert '<td class="n">0°</td><td class="n">5°</td>' in html
    assert inspect(*words, "--json") == 1
    against = json.loads(capsys.readouterr().out)["against"]
    assert (against["file"], against["unchanged"], against["done"]) == ("straight.glb", 0, [])
    gone = against["changes"][1]
    assert (gone["rule"], gone["kind"], gone["unit"]) == ("preset-bend", "gone", "°")
    assert (gone["old"], gone["new"]) == pytest.approx((0, 5), abs=1e-6)


def test_one_of_against_and_fix(folder, capsys):
    words = ["rigs/sliding.glb", "--against", "rigs/straight.glb", "--fix", "out.glb"]
    assert inspect(*words) == 2
    assert "Give one of --against and --fix at a time." in capsys.readouterr().err
    assert not (folder / "out.glb").exists()


def test_what_was_put_right_is_said_with_what_changed(folder, capsys, monkeypatch):
    """With a stand-in for what mends, so that this asks for the command's own part only."""

    def fix(source, out, mapping, pair):
        assert (mapping, pair) == ({"left.knee": "L_knee"}, None)
        asset = rigs.clean()
        gltf.write(rigs.renamed(asset, lambda name: name.replace("L_knee", "L_middle")), out)
        return ("The <bend> was set.", "Nothing else was.")

    monkeypatch.setattr(inspecting.fix, "fix", fix)
    words = ["rigs/straight.glb", "--fix", "out.glb", "--map", "left.knee=L_knee"]
    assert inspect(*words, "--html", "page.html") == 1  # L_middle has no partner
    shown = capsys.readouterr().out
    assert shown.startswith("out.glb: 1 finding; ")
    assert "Since straight.glb: 1 new, 1 gone, 0 findings unchanged.\n" in shown
    assert "- The <bend> was set.\n- Nothing else was.\n" in shown
    assert "The &lt;bend&gt; was set." in (folder / "page.html").read_text("utf-8")


def test_an_animal_and_pairs_of_legs_are_said(folder):
    report = inspection.inspect("rigs/sound.glb")
    because = report.legs.because | {"animal": "the trunk lies level", "pairs": "there are 2 pairs"}
    report = replace(report, legs=replace(report.legs, animal=True, because=because))
    for shown in (report.text(), unescape(report.html())):
        assert "an animal's legs (the trunk lies level): what holds for people alone" in shown
        assert "there are 2 pairs; take another with --pair NAME" in shown
    assert report.data()["taken"]["animal"] is True
    assert report.data()["taken"]["animal_why"] == "the trunk lies level"
