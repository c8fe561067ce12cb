"""Pictures a second of a rig that is orbited and played, and the time to the first one.

Beside it three.js, a general library, draws the same vertices by the same matrices in as large a
canvas, in turns. It is fetched from npm into a folder of its own. The flat picture, which stands
there first, is timed in a page that holds nothing else.
"""

import json
import shutil
import subprocess
import tempfile
from base64 import b64encode
from pathlib import Path
from statistics import median

from tests.benchmarks.figures import Figure, Missing, needs_chromium
from tests.browser.lab import chromium

TURNS, SECONDS, VERTICES = 3, 5.0, 5000
WIDE, HIGH = 640, 480
THREE = "three@0.170.0"
SITE = "http://view.test/"
CANVAS = (
    f"<style>.rig-scene-stage{{flex:none!important;width:{WIDE}px;height:{HIGH}px;overflow:hidden}}"
    "</style>"
)

# Both: `frames` counts pictures, `first` is when the first one stood there, ms after the page
# began.
OURS = """
  const seen = document.querySelector('.rig-scene');
  const ready = () => seen.classList.contains('rig-drawn') && (window.first ??= performance.now());
  new MutationObserver(ready).observe(seen, {attributes: true});
  window.run = () => {
    const {figure} = seen;
    const draw = figure.draw.bind(figure);
    window.frames = 0;
    figure.draw = () => { figure.turn = (figure.turn + 183) % 360 - 180; window.frames++; draw(); };
    figure.play();
  };
"""
THEIRS = """
<!DOCTYPE html><title>three</title><body style="margin:0"><script type="module">
import * as THREE from './three.module.js';
const {head, packed} = %s;
const stream = new Blob([Uint8Array.from(atob(packed), x => x.charCodeAt(0))]).stream()
  .pipeThrough(new DecompressionStream('deflate'));
const bytes = await new Response(stream).arrayBuffer();
const KINDS = {f4: Float32Array, u1: Uint8Array, u2: Uint16Array, i4: Int32Array};
const arrays = Object.fromEntries(head.arrays.map(({name, kind, shape, start}) =>
  [name, new KINDS[kind](bytes, start, shape.reduce((a, b) => a * b, 1))]));
const renderer = new THREE.WebGLRenderer({antialias: true, alpha: true});
renderer.setPixelRatio(devicePixelRatio);
renderer.setSize(%d, %d);
document.body.append(renderer.domElement);
const geometry = new THREE.BufferGeometry();
geometry.setAttribute('position', new THREE.BufferAttribute(arrays.positions, 3));
geometry.setAttribute('skinIndex', new THREE.BufferAttribute(arrays.joints, 4));
geometry.setAttribute('skinWeight', new THREE.BufferAttribute(arrays.weights, 4));
geometry.setIndex(new THREE.BufferAttribute(arrays.triangles, 1));
geometry.computeVertexNormals();
const mesh = new THREE.SkinnedMesh(geometry, new THREE.MeshLambertMaterial({color: 0x7d858f}));
mesh.frustumCulled = false;
const count = arrays['matrices.0'].length / 12;
const bones = Array.from({length: count}, () => Object.assign(new THREE.Bone(),
  {matrixAutoUpdate: false, matrixWorldAutoUpdate: false}));
mesh.bind(new THREE.Skeleton(bones, bones.map(() => new THREE.Matrix4())), new THREE.Matrix4());
const scene = new THREE.Scene();
const floor = new THREE.Mesh(new THREE.PlaneGeometry(1, 1).rotateX(-Math.PI / 2),
  new THREE.MeshBasicMaterial({color: 0xf1f3f5}));
scene.add(mesh, floor, new THREE.AmbientLight(0xffffff, 1.4));
scene.add(new THREE.DirectionalLight(0xffffff, 1));
const [wide, tall] = head.half;
const camera = new THREE.OrthographicCamera(-wide, wide, tall, -tall, 0.1, 50);
const {seconds, count: many} = head.clips[1];
let turn = 0;
const draw = now => {
  const moment = Math.floor(now / 1000 %% seconds / seconds * (many - 1));
  bones.forEach((bone, i) => {
    const at = 12 * (moment * count + i);
    bone.matrixWorld.set(...arrays['matrices.1'].subarray(at, at + 12), 0, 0, 0, 1);
  });
  turn += 3 * Math.PI / 180;
  const root = arrays['points.1'].subarray(3 * count * moment);
  camera.position.set(root[0] + 5 * Math.sin(turn), 1.4, root[2] + 5 * Math.cos(turn));
  camera.lookAt(root[0], head.middle[1], root[2]);
  renderer.render(scene, camera);
  window.first ??= performance.now();
};
draw(0);
window.run = () => {
  window.frames = 0;
  const next = now => { draw(now); window.frames++; requestAnimationFrame(next); };
  requestAnimationFrame(next);
};
</script>
"""


def pages(folder):
    """The files of both sides, and the flat picture alone, in a folder."""
    from rigkit import export, view

    seen = view.view(export.puppet_asset("Tamsin", VERTICES))
    html = seen.html().replace("<meta http-equiv=", "<meta name=", 1)  # for the script that counts
    html = html.replace("</body>", f"{CANVAS}<script>{OURS}</script></body>")
    alone = f"<!DOCTYPE html><title>flat</title>{seen.picture.svg()}"
    data = json.dumps({"head": seen.head, "packed": b64encode(seen.packed).decode()})
    sides = {"ours": html, "flat": alone, "three": THEIRS % (data, WIDE, HIGH)}
    for name, text in sides.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return len(seen.script.encode())


def fetch_three(folder):
    """three.js as it is used, and its bytes; `Missing` where npm cannot fetch it."""
    npm = shutil.which("npm")
    if npm is None:
        raise Missing("it fetches three.js by npm")
    words = [npm, "install", "--no-save", "--silent", "--prefix", str(folder), THREE]
    if subprocess.run(words, check=False, capture_output=True, timeout=300).returncode:
        raise Missing("three.js could not be fetched")
    built = folder / "node_modules" / "three" / "build" / "three.module.min.js"
    shutil.copy(built, folder / "three.module.js")
    return built.stat().st_size


def serve(page, folder):
    """Answer what a page asks of `SITE` from a folder."""
    kinds = {".html": "text/html", ".js": "text/javascript"}

    def answer(route):
        path = folder / route.request.url.removeprefix(SITE)
        if path.is_file():
            route.fulfill(body=path.read_bytes(), content_type=kinds[path.suffix])
        else:
            route.fulfill(status=404)

    page.route(f"{SITE}**", answer)


def shown(browser, folder, name):
    """Seconds to the first paint of anything, to the first picture, and for each one after that."""
    page = browser.new_context(viewport={"width": 900, "height": 800}).new_page()
    serve(page, folder)
    page.goto(f"{SITE}{name}.html")
    page.wait_for_function("() => performance.getEntriesByName('first-contentful-paint').length")
    paint = "() => performance.getEntriesByName('first-contentful-paint')[0].startTime"
    painted = page.evaluate(paint) / 1000
    first = each = None
    if name != "flat":
        page.wait_for_function("() => window.first", timeout=60_000)
        first = page.evaluate("() => window.first") / 1000
        page.evaluate("() => run()")
        page.wait_for_timeout(500)  # under way
        page.evaluate("() => { window.frames = 0; }")
        page.wait_for_timeout(1000 * SECONDS)
        each = SECONDS / page.evaluate("() => window.frames")
    page.context.close()
    return painted, first, each


def measure():
    needs_chromium()
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        folder = Path(place)
        bytes_of_three, bytes_of_ours = fetch_three(folder), pages(folder)
        runs = {name: [] for name in ("ours", "three", "flat")}
        for _ in range(TURNS):
            for name, each in runs.items():
                each.append(shown(browser, folder, name))

    def middle(name, i):
        return median(run[i] for run in runs[name])

    what = f"view, {VERTICES} vertices"
    yield Figure(f"{what}, time for a picture", middle("ours", 2), "three.js", middle("three", 2))
    yield Figure(f"{what}, the first picture", middle("ours", 1), "three.js", middle("three", 1))
    yield Figure(
        f"{what}, anything at all", middle("ours", 0), "its flat picture alone", middle("flat", 0)
    )
    yield Figure(
        "view, its script", bytes_of_ours, "three.js", bytes_of_three, unit="MiB", detail=True
    )
