"""A rig that can be turned, in a real Chromium: drawn where the arrays say, moved by keys, mouse
and fingers, still where nothing can draw it.

Places are compared with `gltf.Asset.skin_points` and `skin.dual_quaternion_blend`, which have
references of their own, and what WebGL paints with where these places are seen.
"""

import base64
import io
import re

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from rigkit import export, frames, inspection, rotation, skin, view
from rigkit.inspection.subject import Subject
from rigkit.leg import LegRig
from tests.browser import lab
from tests.unit import rigs

pytestmark = pytest.mark.needs_browser

FIGURE = "document.querySelector('.rig-scene').figure"
STATE = f"(({{turn, tilt, moment, clip, zoom}}) => ({{turn, tilt, moment, clip, zoom}}))({FIGURE})"
LIVE = ".rig-scene.rig-drawn"
SAID = ".rig-scene [role=status]"


@pytest.fixture(scope="module")
def asset():
    return export.puppet_asset("Tamsin", 1500)


@pytest.fixture(scope="module")
def tamsin(asset):
    return view.view(asset)


@pytest.fixture(scope="module")
def file(tamsin, tmp_path_factory):
    """Its page as a file."""
    path = tmp_path_factory.mktemp("pages") / "tamsin.html"
    path.write_text(tamsin.html(), encoding="utf-8")
    return path


def opened(browser, file, wait=LIVE, **options):
    """A page of a file, in a context of its own, and what went wrong in it."""
    page = browser.new_context(viewport={"width": 900, "height": 1000}, **options).new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("console", lambda told: told.type == "error" and page.errors.append(told.text))
    page.goto(file.as_uri())
    page.wait_for_selector(wait, timeout=30_000)
    return page


@pytest.fixture
def page(browser, file):
    page = opened(browser, file)
    yield page
    assert page.errors == []
    page.context.close()


def state(page):
    return page.evaluate(STATE)


# --- places ----


@pytest.fixture(scope="module")
def module(browser, tamsin):
    """A page that holds the script's own functions, and the scene as it reads it."""
    page = browser.new_context().new_page()
    names = "readScene, momentOf, linearBlend, dualQuaternionBlend, kneeBends, camera, place"
    page.add_script_tag(type="module", content=f"{tamsin.script}\nwindow.kit = {{{names}}};")
    page.wait_for_function("() => window.kit")
    packed = base64.b64encode(tamsin.packed).decode()
    page.evaluate(
        """async ([head, packed]) => {
          const bytes = Uint8Array.from(atob(packed), letter => letter.charCodeAt(0));
          window.scene = await kit.readScene(head, bytes);
        }""",
        [tamsin.head, packed],
    )
    yield page
    page.context.close()


def blended(module, way, clip, moment):
    """The vertices as the script moves them, shape (v, 3)."""
    call = f"kit.{way}(scene, kit.momentOf(scene, {clip}, {moment}).matrices)"
    return np.reshape(module.evaluate(f"() => [...{call}]"), (-1, 3))


@pytest.mark.parametrize("moment", [0, 17, 40])
def test_the_script_skins_as_gltf_does(module, asset, tamsin, moment):
    motion = tamsin.head["clips"][1]
    world = asset.pose_world(0, motion["seconds"] * moment / (motion["count"] - 1))
    there = Subject(asset).to_metres
    node = next(i for i, node in enumerate(asset.nodes) if node.skin is not None)
    wanted = asset.skin_points(node, world) @ there[:3, :3].T + there[:3, 3]
    assert_allclose(blended(module, "linearBlend", 1, moment), wanted, atol=1e-5)


def test_the_script_blends_dual_quaternions_as_the_library_does(module, tamsin):
    sent = tamsin.arrays
    matrices = np.pad(sent["matrices.1"][17].astype(float), ((0, 0), (0, 1), (0, 0)))
    matrices[:, 3, 3] = 1
    table = np.zeros((len(sent["positions"]), len(matrices)))
    np.add.at(table, (np.arange(len(table))[:, None], sent["joints"]), sent["weights"])
    matrices[:, :3, :3] = rotation.orthonormalise(matrices[:, :3, :3])  # exact again after 32 bits
    wanted = skin.dual_quaternion_blend(sent["positions"].astype(float), table, matrices)
    found = blended(module, "dualQuaternionBlend", 1, 17)
    assert_allclose(found, wanted, atol=1e-5)
    assert np.abs(found - blended(module, "linearBlend", 1, 17)).max() > 1e-3  # another way


@pytest.mark.parametrize("deg", [60, 170, 250, 300])
def test_dual_quaternions_go_the_short_way_round(module, deg):
    matrices = frames.frame(rotation.matrix_about("y", np.radians([0, deg])), [0.1, 0.2, 0])
    points, shares = [(1, 0, 0), (0, 0.5, 0.2)], [(0.6, 0.4), (0.3, 0.7)]
    found = module.evaluate(
        """([points, shares, matrices]) => {
          const small = {positions: points.flat(), weights: [], joints: []};
          for (const [one, other] of shares) {
            const strongest = one > other ? [0, 1] : [1, 0];
            small.joints.push(...strongest, 0, 0);
            small.weights.push(...strongest.map(i => [one, other][i]), 0, 0);
          }
          return [...kit.dualQuaternionBlend(small, Float32Array.from(matrices))];
        }""",
        [points, shares, matrices[:, :3].ravel().tolist()],
    )
    wanted = skin.dual_quaternion_blend(points, shares, matrices)
    assert_allclose(np.reshape(found, (-1, 3)), wanted, atol=1e-6)


def test_the_script_bends_knees_as_the_library_does(module, tamsin):
    for clip, moment in ((0, 0), (1, 30)):
        found = module.evaluate(
            f"() => kit.kneeBends(scene, kit.momentOf(scene, {clip}, {moment}).points)"
        )
        assert found == pytest.approx(tamsin.knee_bends_deg(clip, moment), abs=0.01)


def test_the_flat_picture_and_the_turned_one_have_their_points_in_one_place(module, tamsin):
    picture = tamsin.picture
    points = tamsin.arrays["points.0"][0].astype(float)
    seen = module.evaluate(
        """([turn, tilt, width, height, points]) => {
          const see = kit.camera(turn, tilt, scene.middle, scene.half);
          return points.map(point => kit.place(see, point, width, height));
        }""",
        [view.TURN_DEG, view.TILT_DEG, picture.width, picture.height, points.tolist()],
    )
    assert_allclose(seen, [picture.place(point) for point in points], atol=0.6)


@pytest.mark.parametrize("dual", [False, True], ids=["linear", "dual quaternion"])
@pytest.mark.parametrize("turn", [0, 120])
def test_what_is_painted_is_where_the_script_says(page, module, tamsin, dual, turn):
    tilt, moment = 20, 17
    page.evaluate(
        f"""() => {{
          const figure = {FIGURE};
          Object.assign(figure, {{turn: {turn}, tilt: {tilt}, dual: {str(dual).lower()}}});
          figure.show(1, {moment});
        }}"""
    )
    data, middle = page.evaluate(
        f"""() => {{
          const figure = {FIGURE};
          const draw = figure.painter.draw.bind(figure.painter);
          let middle;
          figure.painter.draw = told => {{ middle = told.middle; draw({{...told, size: 0}}); }};
          figure.draw();
          return [figure.canvas.toDataURL(), [...middle]];
        }}"""
    )
    image = Image.open(io.BytesIO(base64.b64decode(data.split(",")[1])))
    painted = np.array(image)[..., 3] > 100
    points = blended(module, "dualQuaternionBlend" if dual else "linearBlend", 1, moment)
    seen = np.array(
        module.evaluate(
            """([turn, tilt, middle, width, height, points]) => {
              const see = kit.camera(turn, tilt, middle, scene.half);
              return points.map(point => kit.place(see, point, width, height));
            }""",
            [turn, tilt, middle, image.width, image.height, points.tolist()],
        )
    )
    rows, columns = np.nonzero(painted)
    low, high = seen.min(axis=0), seen.max(axis=0)
    assert_allclose([columns.min(), rows.min()], low, atol=1.6)
    assert_allclose([columns.max() + 1, rows.max() + 1], high, atol=1.6)
    near = np.pad(painted, 1)
    near = np.max([np.roll(near, (y, x), (0, 1)) for y in (-1, 0, 1) for x in (-1, 0, 1)], axis=0)
    x, y = np.clip(seen.astype(int) + 1, 0, [near.shape[1] - 1, near.shape[0] - 1]).T
    assert near[y, x].mean() > 0.999


def test_a_pose_is_made_once_and_seen_from_many_sides(page):
    made = page.evaluate(
        f"""async () => {{
          const figure = {FIGURE}, {{painter}} = figure;
          const move = painter.move.bind(painter);
          let count = 0;
          painter.move = (...told) => (count++, move(...told));
          const after = change => (change(), figure.draw(), count);
          return [
            after(() => figure.orbit(10, 5)), after(() => figure.orbit(10, 5)),
            after(() => figure.show(1, 3)), after(() => figure.orbit(10, 5)),
            after(() => {{ figure.dual = true; }}), after(() => figure.show(0)),
          ];
        }}"""
    )
    assert made == [0, 0, 1, 1, 2, 3]


def test_at_rest_it_is_drawn_finely_and_while_it_plays_as_the_screen_is(page):
    scale = f"({FIGURE}.canvas.width / {FIGURE}.stage.clientWidth)"
    page.wait_for_function(f"() => {scale} === 2")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function(f"() => {FIGURE}.moment > 2 && {scale} === 1")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function(f"() => {scale} === 2")
    page.evaluate(f"() => {{ {FIGURE}.orbit(5, 0); {FIGURE}.draw(); }}")
    assert page.evaluate(f"() => {scale}") == 1
    page.wait_for_function(f"() => {scale} === 2")
    assert page.evaluate(f"() => {FIGURE}.over.width / {FIGURE}.stage.clientWidth") == 1


# --- hands ----


def test_it_starts_still_where_the_flat_picture_stood(page, tamsin):
    assert page.locator(SAID).text_content() == tamsin.said
    assert state(page) == {"turn": 35, "tilt": 10, "moment": 0, "clip": 0, "zoom": 1}
    page.wait_for_timeout(300)
    assert state(page)["moment"] == 0
    assert page.locator(".rig-scene-stage > svg").evaluate(
        "e => getComputedStyle(e).visibility"
    ) == ("hidden")


def test_keys_on_the_rig_turn_tilt_play_and_go_home(page):
    stage = page.locator(".rig-scene-stage")
    stage.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowUp")
    assert state(page) == {"turn": 55, "tilt": 15, "moment": 0, "clip": 0, "zoom": 1}
    assert "Seen 55° from the front toward its left, 15° from above." in (
        page.locator(SAID).text_content()
    )
    page.keyboard.press(" ")
    page.wait_for_function(f"() => {FIGURE}.moment > 3")
    page.keyboard.press(" ")
    assert not page.evaluate(f"() => {FIGURE}.playing")
    assert "“walk” at " in page.locator(SAID).text_content()
    page.keyboard.press("Home")
    assert state(page) == {"turn": 35, "tilt": 10, "moment": 0, "clip": 0, "zoom": 1}
    assert page.evaluate("() => scrollY") == 0


def test_sliders_have_names_values_and_say_what_is_seen_when_they_rest(page):
    turn = page.get_by_role("slider", name="Turn")
    turn.focus()
    page.keyboard.press("ArrowRight")
    assert turn.get_attribute("aria-valuetext") == "36°"
    turn.fill("-90")
    assert state(page)["turn"] == -90
    assert "Seen from its right" in page.locator(SAID).text_content()
    tilt = page.get_by_role("slider", name="Tilt")
    tilt.fill("0")
    assert "Seen from its right, level." in page.locator(SAID).text_content()
    assert not page.get_by_role("slider", name="Moment").is_visible()
    page.get_by_label("Motion").select_option("walk")
    page.get_by_role("slider", name="Moment").fill("30")
    assert re.search(r"“walk” at 1\.\d\d s", page.locator(SAID).text_content())


def test_it_plays_and_pauses_and_says_nothing_meanwhile(page):
    play = page.get_by_role("button", name="Play")
    assert play.get_attribute("aria-pressed") == "false"
    words = page.locator(SAID).text_content()
    play.click()
    assert play.get_attribute("aria-pressed") == "true"
    page.wait_for_function(f"() => {FIGURE}.moment > 5")
    page.locator(".rig-scene-stage").press("ArrowRight")
    assert state(page)["turn"] == 40
    assert page.locator(SAID).text_content() == words
    play.click()
    moment = state(page)["moment"]
    assert page.locator(SAID).text_content() != words
    page.wait_for_timeout(200)
    assert state(page)["moment"] == moment


def test_half_speed_takes_twice_as_long(page):
    played = f"""async () => {{
      const figure = {FIGURE};
      figure.show(1); figure.play();
      await new Promise(done => setTimeout(done, 900));
      const {{seconds}} = figure;
      figure.stop();
      return seconds;
    }}"""
    whole = page.evaluate(played)
    page.get_by_role("button", name="Half speed").click()
    half = page.evaluate(played)
    assert 0.3 < half / whole < 0.7


def test_joints_can_be_taken_away(page):
    ink = f"() => {FIGURE}.over.toDataURL()"
    before = page.evaluate(ink)
    page.get_by_label("joints").uncheck()
    page.wait_for_function(f"before => {FIGURE}.over.toDataURL() !== before", arg=before)


def test_the_mouse_turns_it_and_the_wheel_is_the_pages_until_it_has_the_keyboard(page):
    box = page.locator(".rig-scene-stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.wheel(0, -100)
    assert state(page)["zoom"] == 1
    page.mouse.down()
    page.mouse.move(x - 60, y + 20, steps=6)
    page.mouse.up()
    assert state(page)["turn"] == pytest.approx(65, abs=1)
    assert state(page)["tilt"] == pytest.approx(20, abs=1)
    assert "° from the front toward its left" in page.locator(SAID).text_content()
    page.mouse.wheel(0, -100)
    page.wait_for_function(f"() => {FIGURE}.zoom > 1.05")
    page.evaluate("() => document.activeElement.blur()")
    zoom = state(page)["zoom"]
    page.mouse.wheel(0, -100)
    page.wait_for_timeout(100)
    assert state(page)["zoom"] == zoom


def test_one_finger_turns_it_and_two_enlarge_it(browser, file):
    page = opened(browser, file, has_touch=True)
    box = page.locator(".rig-scene-stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    session = page.context.new_cdp_session(page)

    def touch(kind, *points):
        told = [{"x": px, "y": py, "id": i} for i, (px, py) in enumerate(points)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": told})

    touch("touchStart", (x, y))
    for right in range(10, 70, 10):
        touch("touchMove", (x + right, y))
    touch("touchEnd")
    assert state(page)["turn"] < 25
    before = state(page)
    touch("touchStart", (x - 20, y), (x + 20, y))
    for apart in range(25, 65, 5):
        touch("touchMove", (x - apart, y), (x + apart, y))
    touch("touchEnd")
    assert state(page)["zoom"] > 1.5
    assert state(page)["turn"] == before["turn"]
    assert page.errors == []
    page.context.close()


def test_joints_without_a_skin_are_drawn_too(browser, tmp_path):
    (tmp_path / "bare.html").write_text(view.view(LegRig.from_puppet("Pip")).html(), "utf-8")
    page = opened(browser, tmp_path / "bare.html")
    ink = page.evaluate(
        f"""() => {{
          const {{over, pen}} = {FIGURE};
          return pen.getImageData(0, 0, over.width, over.height).data.filter(part => part).length;
        }}"""
    )
    assert ink > 5000
    assert page.get_by_role("button", name="Play").count() == 0  # nothing moves
    page.locator(".rig-scene-stage").press(" ")
    assert state(page)["moment"] == 0
    assert page.errors == []
    page.context.close()


# --- where nothing can draw it, or something else is asked for ----


def stands_still(page, tamsin):
    """The flat picture and the sentence are there, and nothing that would do nothing."""
    picture = page.locator(".rig-scene-stage > svg")
    assert picture.bounding_box()["width"] > 300
    assert picture.evaluate("e => getComputedStyle(e).visibility") == "visible"
    assert page.locator(SAID).text_content() == tamsin.said
    for control in page.locator(".rig-scene :is(input, button, select, canvas)").all():
        assert not control.is_visible()


@pytest.fixture(scope="module")
def poor(browser):
    """A browser without WebGL."""
    options = [*lab.CHROMIUM_OPTIONS, "--disable-3d-apis"]
    poor = browser.browser_type.launch(executable_path=lab.find_chromium(), args=options)
    yield poor
    poor.close()


def test_without_webgl_the_flat_picture_stays_and_turns_by_the_same_slider(poor, file, tamsin):
    page = opened(poor, file, wait=".rig-scene input")
    assert page.evaluate(f"() => {FIGURE}") is None
    picture = page.locator(".rig-scene-stage > svg")
    first = picture.evaluate("e => e.outerHTML")
    assert page.locator(SAID).text_content() == tamsin.said
    turn = page.get_by_role("slider", name="Turn")
    assert turn.get_attribute("aria-valuetext") == "35°"
    assert page.locator(".rig-scene :is(input, button, select):visible").count() == 1
    turn.focus()
    page.keyboard.press("ArrowRight")
    assert turn.get_attribute("aria-valuetext") == "45°"
    assert page.locator(SAID).text_content() == tamsin.said.replace("35°", "45°")
    assert picture.locator("desc").text_content() == page.locator(SAID).text_content()
    assert picture.evaluate("e => e.outerHTML") != first
    turn.fill("-90")
    assert "Seen from its right, 10° from above." in page.locator(SAID).text_content()
    seen = rotation.matrix_about("y", np.radians(90)) @ tamsin.subject.points.T
    knees = [tamsin.subject.names.index(name) for name in ("L_knee", "R_knee")]
    rings = np.array(
        picture.locator("circle").evaluate_all(
            "all => all.map(e => [e.cx, e.cy].map(x => x.baseVal.value))"
        )
    )
    scale = tamsin.picture.px_per_metre
    middle = tamsin._middle
    for knee in knees:
        x, y, z = seen[:, knee] - rotation.matrix_about("y", np.radians(90)) @ middle
        tilt = np.radians(view.TILT_DEG)
        across = tamsin.picture.width / 2 + scale * x
        down = tamsin.picture.height / 2 - scale * (y * np.cos(tilt) - z * np.sin(tilt))
        assert np.linalg.norm(rings - [across, down], axis=-1).min() < 1
    assert page.errors == []
    page.context.close()


def test_without_webgl_its_one_control_fits_a_phone_and_is_not_printed(poor, file):
    page = opened(poor, file, wait=".rig-scene input")
    page.set_viewport_size({"width": 320, "height": 700})
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
    turn = page.get_by_role("slider", name="Turn")
    assert turn.bounding_box()["height"] >= 24
    page.emulate_media(media="print")
    assert not turn.is_visible()
    page.context.close()


def test_without_a_script_the_flat_picture_stays(browser, file, tamsin):
    page = opened(browser, file, wait=".rig-scene", java_script_enabled=False)
    picture = page.locator(".rig-scene-stage > svg")
    assert picture.bounding_box()["width"] > 300
    assert page.locator(SAID).is_visible()
    assert page.locator(SAID).text_content() == tamsin.said
    page.context.close()


def test_when_its_context_is_lost_the_flat_picture_comes_back_until_there_is_another(page, tamsin):
    page.evaluate(
        f"""() => {{
          window.lose = {FIGURE}.painter.gl.getExtension('WEBGL_lose_context');
          lose.loseContext();
        }}"""
    )
    page.wait_for_selector(".rig-scene:not(.rig-drawn)", state="attached")
    stands_still(page, tamsin)
    page.evaluate("() => lose.restoreContext()")
    page.wait_for_selector(LIVE)
    page.evaluate(f"() => {FIGURE}.draw()")
    assert page.evaluate(f"() => {FIGURE}.painter.gl.getError()") == 0


def test_it_is_printed_as_the_flat_picture(page, tamsin):
    page.emulate_media(media="print")
    stands_still(page, tamsin)


def test_it_is_drawn_in_the_inks_of_the_theme(page):
    def dark_share():
        shot = page.locator(".rig-scene-stage").screenshot()
        return (np.array(Image.open(io.BytesIO(shot)).convert("L")) < 60).mean()

    light = dark_share()
    page.emulate_media(color_scheme="dark")
    page.wait_for_timeout(300)
    assert light < 0.1
    assert dark_share() > 0.4


def test_who_asks_for_less_motion_gets_half_speed(browser, file):
    page = opened(browser, file, reduced_motion="reduce")
    assert page.get_by_role("button", name="Half speed").get_attribute("aria-pressed") == "true"
    page.context.close()


def test_its_controls_are_large_enough_and_fit_a_narrow_page(browser, file):
    page = opened(browser, file)
    page.set_viewport_size({"width": 320, "height": 700})
    for control in page.locator(".rig-scene :is(input[type=range], button, select)").all():
        if control.is_visible():
            assert control.bounding_box()["height"] >= 24
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
    page.context.close()


# --- a report, and a notebook ----


@pytest.mark.parametrize("rule", ["sides-mirror", "weights-missing", "knee-flip"])
def test_a_finding_of_a_report_is_marked_on_the_rig(browser, tmp_path, rule):
    report = inspection.inspect(rigs.BROKEN[rule]())
    seen = view.view(report)
    (tmp_path / "report.html").write_text(report.html(scene=seen), encoding="utf-8")
    page = opened(browser, tmp_path / "report.html")
    mark = seen.head["marks"][rule]
    ink = f"() => {FIGURE}.over.toDataURL()"
    page.evaluate(f"() => {FIGURE}.show({mark['clip']}, {mark['moment'] or 0})")
    page.wait_for_timeout(200)
    before = page.evaluate(ink)
    page.locator(f"[data-rule={rule}]").get_by_role("button", name="Mark it on the rig").click()
    page.wait_for_function(f"before => {FIGURE}.over.toDataURL() !== before", arg=before)
    assert page.locator(SAID).text_content().startswith(f"Marked: {report[rule].title}. Seen ")
    now = state(page)
    assert (now["clip"], now["moment"]) == (mark["clip"], mark["moment"] or 0)
    assert page.evaluate("() => document.activeElement.className") == "rig-scene-stage"
    assert page.errors == []
    page.context.close()


CELLS = {
    "view": (
        "from rigkit import export\nfrom rigkit.view import view\n"
        "seen = view(export.puppet_asset('Tamsin', 600))\nseen"
    ),
    "mark": "seen.mark(['L_knee'])\nNone",
}


def test_in_a_notebook_it_is_turned_marked_and_gives_its_context_back(browser, server):
    context = browser.new_context()
    notebook = lab.Lab(context, server, windowing="none")
    notebook.write("view.ipynb", lab.code_notebook(CELLS))
    notebook.open("view.ipynb")
    page = notebook.page
    notebook.run_all()
    page.locator(LIVE).wait_for(timeout=30_000)
    page.wait_for_timeout(500)
    stage = page.locator(".rig-scene-stage")
    stage.click()
    page.keyboard.press("ArrowRight")
    said = page.locator(SAID).first
    assert said.text_content().startswith("Marked: L_knee. Seen 40° from the front")
    shot = Image.open(io.BytesIO(stage.screenshot())).convert("RGB")
    red = np.array(shot).astype(int)
    assert ((red[..., 0] > 150) & (red[..., 1] < 40) & (red[..., 2] < 70)).sum() > 20  # the mark
    lost = page.evaluate(
        """() => {
          const canvas = document.querySelector('.rig-scene canvas');
          window.gone = canvas.getContext('webgl2');
          return gone.isContextLost();
        }"""
    )
    assert not lost
    notebook.menu("Edit", "Clear Outputs of All Cells")
    page.wait_for_function("() => gone.isContextLost()")
    assert notebook.errors == []
    notebook.close()
    context.close()
