"""A learner's JupyterLab in headless Chromium: start it, run and drag notebooks, look at them.

For tests and benchmarks alike; needs `playwright` and a Chromium, not pytest:

    with learn(folder) as server, chromium() as browser:
        lab = Lab(browser, server)
        lab.open("lessons/06-….ipynb")
        lab.run_all()
"""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

LIGHT, DARK = "JupyterLab Light", "JupyterLab Dark"
IN_LAB, IN_NOTEBOOK = "lab/tree", "notebooks"
CHROMIUM_OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",  # WebGL by the processor; else it says so on its own
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SCROLLER = ".jp-NotebookPanel:not(.lm-mod-hidden) .jp-WindowedPanel-outer"
CELLS = ".jp-NotebookPanel:not(.lm-mod-hidden) .jp-Cell"


# --- server and browser ----


@dataclass(frozen=True)
class Server:
    """A running `rigkit learn`: where it answers, its token, what it printed, its process."""

    base: str
    token: str
    printed: str
    process: subprocess.Popen

    @property
    def headers(self):
        return {"Authorization": f"token {self.token}"}


def script(name):
    """The JavaScript function of a file beside this one."""
    return Path(__file__).with_name(f"{name}.js").read_text(encoding="utf-8")


def code_notebook(cells):
    """A notebook of code cells (id: source)."""
    from nbformat import v4

    notebook = v4.new_notebook(
        cells=[v4.new_code_cell(source, id=name) for name, source in cells.items()]
    )
    notebook.metadata.kernelspec = {
        "name": "python3",
        "display_name": "Python 3 (ipykernel)",
        "language": "python",
    }
    return notebook


def free_port():
    """A port that was free a moment ago."""
    with socket.socket() as sock:
        sock.bind(("localhost", 0))
        return sock.getsockname()[1]


@contextmanager
def learn(
    folder,
    *options,
    command=(sys.executable, "-m", "rigkit", "learn"),
    wait=60,
    ends_well=True,
    **environment,
):
    """`rigkit learn` on `folder`, with Jupyter settings of its own; Ctrl-C must end it well.

    `command` may be any other that prints a Jupyter address with a token; how one ends that is not
    ours is not held to anything by `ends_well=False`.
    """
    with tempfile.TemporaryDirectory() as home:
        places = {
            "JUPYTER_CONFIG_DIR": f"{home}/config",
            "JUPYTER_DATA_DIR": f"{home}/data",
            "JUPYTER_RUNTIME_DIR": f"{home}/runtime",
            "IPYTHONDIR": f"{home}/ipython",
            "PYTHONUNBUFFERED": "1",
        }
        process = subprocess.Popen(
            [
                *map(str, command),
                "--no-browser",
                "--port",
                str(free_port()),
                *map(str, options or ("--dir", folder)),
            ],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            cwd=Path(folder).parent,
            env={**os.environ, **places, **environment},
        )
        try:
            yield _wait_for_address(process, wait)
        finally:
            if not ends_well:
                process.kill()
            code = stop(process)
        assert code == 0 or not ends_well, f"Ctrl-C ended the server with exit code {code}"


def stock(folder, program="jupyterlab", python=sys.executable, **more):
    """A stock JupyterLab, or Notebook 7 by `program="notebook"`, on `folder`; as `learn`."""
    options = ("-y", "--allow-root", f"--ServerApp.root_dir={folder}")
    return learn(folder, *options, command=(python, "-m", program), ends_well=False, **more)


def stop(process, wait=60):
    """End a server as Ctrl-C does; its exit code. Kill one that does not end, and raise."""
    if process.poll() is None:
        process.send_signal(signal.SIGINT if os.name == "posix" else signal.SIGTERM)
    try:
        return process.wait(wait)
    except subprocess.TimeoutExpired:
        process.kill()
        raise


def _wait_for_address(process, wait):
    lines, found = [], threading.Event()

    def read():  # goes on reading to the end, so that the server never waits for us
        for line in process.stdout:
            lines.append(line)
            if "token=" in line:
                found.set()
        found.set()

    threading.Thread(target=read, daemon=True).start()
    found.wait(wait)
    printed = "".join(lines)
    address = re.search(r"https?://\S+token=\w+", printed)
    if not address:
        raise RuntimeError(f"no address within {wait} s; printed:\n{printed}")
    parts = urlsplit(address[0])
    return Server(
        f"{parts.scheme}://{parts.netloc}", parse_qs(parts.query)["token"][0], printed, process
    )


def find_chromium():
    """The path of a Chromium, of the one that RIGKIT_CHROMIUM names if it is set; or None."""
    named = os.environ.get("RIGKIT_CHROMIUM")
    names = [named] if named else ["chromium", "chromium-browser", "google-chrome"]
    return next(filter(None, map(shutil.which, names)), None)


@contextmanager
def chromium():
    """A headless Chromium, driven by playwright."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_OPTIONS)
        try:
            yield browser
        finally:
            browser.close()


# --- a page of JupyterLab ----


class Lab:
    """One browser window on a server.

    Parameters
    ----------
    browser : playwright Browser or BrowserContext
        A browser's first context is used, one cache for all pages.
    server : Server
    size : (int, int)
        Width and height of the window in pixels.
    theme : str
        `LIGHT` or `DARK`.
    windowing : str, optional
        JupyterLab's windowing mode, such as "none" to keep all cells in the page; None leaves its
        default.
    watch : bool
        Whether to read what the kernel sends, to find errors that no cell shows; a benchmark turns
        it off.
    way : str
        Where on the server a notebook opens: `IN_LAB` or `IN_NOTEBOOK`.

    Attributes
    ----------
    page : playwright Page
    errors : list of str
        What went wrong so far in the page, its console, and the kernel.
    """

    def __init__(
        self,
        browser,
        server,
        size=(1280, 800),
        theme=LIGHT,
        windowing=None,
        watch=True,
        way=IN_LAB,
    ):
        self.server, self.windowing, self.way = server, windowing, way
        self.errors = []
        self.page = _context(browser).new_page()
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.set_extra_http_headers(server.headers)
        self.page.on("pageerror", self._stumble)
        self.page.on("console", self._hear)
        if watch:
            self.page.on("websocket", lambda socket: socket.on("framereceived", self._receive))
        self._set("@jupyterlab/apputils-extension:themes", theme=theme)
        self._set(
            "@jupyterlab/notebook-extension:tracker",
            **({"windowingMode": windowing} if windowing else {}),
        )

    def write(self, path, notebook):
        """Put a notebook into the learner's folder."""
        self._ask(
            "PUT",
            f"api/contents/{path}",
            {"type": "notebook", "format": "json", "content": notebook},
        )

    def open(self, notebook, kernel=True):
        """Open a notebook by its path in the learner's folder, alone; wait for its cells and its
        kernel."""
        self.page.goto(f"{self.server.base}/{self.way}/{notebook}?token={self.server.token}&reset")
        self.page.wait_for_selector(CELLS, timeout=60_000)
        if kernel:  # the page says "Idle" before there is one, and would run cells into nothing
            end = time.monotonic() + 60
            while not self._has_kernel():
                assert time.monotonic() < end, "waited 60 s for a kernel"
                self.page.wait_for_timeout(100)
            self._wait_idle(60)

    def close(self):
        """Close the window and end its kernels."""
        for session in self._ask("GET", "api/sessions"):
            self._ask("DELETE", f"api/sessions/{session['id']}")
        self.page.close()

    # What a learner does.

    def run_all(self, wait=120):
        """Run all cells and wait until the kernel has nothing more to do."""
        self.menu("Run", "Run All Cells")
        prompts = (  # of folded code, only the outputs have one
            f"{CELLS} .jp-InputPrompt, {CELLS} .jp-OutputPrompt"
        )
        self.page.wait_for_function(
            f"() => [...document.querySelectorAll('{prompts}')]"
            ".some(p => /[*]|\\d/.test(p.textContent))",
            timeout=wait * 1000,
        )
        self._wait_idle(wait)

    def menu(self, *path):
        """Choose from JupyterLab's menus: `menu("Run", "Run All Cells")`."""
        self.page.locator(".lm-MenuBar-item", has_text=re.compile(f"^{path[0]}$")).click()
        for name in path[1:]:
            self.page.locator(
                ".lm-Menu-itemLabel", has_text=re.compile(f"^{re.escape(name)}")
            ).last.click()

    def panels(self):
        """All panels in the page that have controls, in order, as `PanelView`s.

        Neither brushes nor views of a rig are panels.
        """
        panels = ".rig-panel:not(.rig-brush, .rig-scene)"
        controlled = self.page.locator(f"{panels}:has(.rig-control-row)")
        return [PanelView(each) for each in controlled.all()]

    def unfold(self):
        """Unfold what goes further."""
        folded = self.page.get_by_role("button", name=re.compile("cells? hidden"))
        while folded.count():
            folded.first.click()

    def skip_guesses(self):
        """See every picture without guessing."""
        skip = self.page.get_by_role("button", name="Show me without guessing")
        while skip.count():
            skip.first.click()

    def scroll_through(self):
        """Show all of the notebook, one windowful after another; yields after each.

        Once only where all cells are in the page anyway.
        """
        if self.windowing == "none":
            self.page.wait_for_timeout(300)
            yield
            return
        scroller = self.page.locator(SCROLLER).first
        scroller.evaluate("e => e.scrollTo(0, 0)")
        while True:
            self.page.wait_for_timeout(300)  # cells are built as they come into sight
            yield
            if scroller.evaluate("e => e.scrollTop + e.clientHeight >= e.scrollHeight - 2"):
                return
            scroller.evaluate("e => e.scrollBy(0, e.clientHeight * 0.9)")

    # What a learner sees.

    def troubles(self):
        """Everything that went wrong, looking through all cells.

        `errors`, each error text in an output, each code cell left unrun, each picture or panel
        that is cut off or makes its output scroll sideways.
        """
        shown = set()
        for _ in self.scroll_through():
            shown.update(self.page.evaluate(script("troubles")))
        return [*self.errors, *sorted(shown)]

    def look(self, size, type_px=None):
        """Set the size of the window, and of type as large as JupyterLab's settings can, px."""
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.evaluate(script("type_size"), type_px)

    def room(self):
        """The height in which cells are seen, px."""
        return self.page.locator(SCROLLER).first.evaluate("e => e.clientHeight")

    def screenshots(self, folder, name):
        """PNG files of the notebook from top to bottom, one windowful each; their paths."""
        Path(folder).mkdir(parents=True, exist_ok=True)
        paths = []
        for number, _ in enumerate(self.scroll_through(), 1):
            paths.append(Path(folder) / f"{name}-{number:02d}.png")
            self.page.screenshot(path=paths[-1])
        return paths

    def wait_for_change(self, look, before, what, wait=10):
        """Wait until `look()` is no longer `before`; fail naming `what` after `wait` seconds."""
        end = time.monotonic() + wait
        while look() == before:
            assert time.monotonic() < end, f"{what} stayed as it was for {wait} s"
            self.page.wait_for_timeout(20)

    # How it is done.

    def _set(self, plugin, **settings):
        self._ask("PUT", f"lab/api/settings/{plugin}", {"raw": json.dumps(settings)})

    def _ask(self, method, path, data=None):
        answer = self.page.request.fetch(
            f"{self.server.base}/{path}", method=method, data=data, headers=self.server.headers
        )
        assert answer.ok, f"{method} {path}: {answer.status} {answer.text()[:300]}"
        return json.loads(answer.text() or "null")

    def _has_kernel(self):
        """True if a kernel is connected and idle; while one starts, the server answers 500."""
        answer = self.page.request.get(
            f"{self.server.base}/api/kernels", headers=self.server.headers
        )
        return answer.ok and any(
            k["connections"] and k["execution_state"] == "idle" for k in answer.json()
        )

    def _wait_idle(self, wait):
        """Idle, nothing waiting to run, and still so a moment later."""
        for _ in range(2):
            self.page.wait_for_function(
                "() => document.querySelector('.jp-NotebookPanel:not(.lm-mod-hidden) "
                ".jp-Notebook-ExecutionIndicator')?.dataset.status === 'idle'"
                f" && ![...document.querySelectorAll('{CELLS} .jp-InputPrompt')]"
                ".some(p => p.textContent.includes('*'))",
                timeout=wait * 1000,
            )
            self.page.wait_for_timeout(250)

    def _stumble(self, error):
        if _PATIENCE not in str(error):
            self.errors.append(f"page: {error}")

    def _hear(self, message):
        starting = "500" in message.text and re.search(_STARTING, message.location["url"])
        known = any(known in message.text for known in _HARMLESS)
        if message.type == "error" and not starting and not known:
            self.errors.append(f"console: {message.text}")

    def _receive(self, frame):
        text = frame if isinstance(frame, str) else frame.decode("utf-8", "replace")
        if re.search(r'"msg_type": ?"error"|"name": ?"stderr"', text) and not any(
            known in text for known in _HARMLESS
        ):
            self.errors.append(f"kernel: {text[text.rfind('}{') + 1 :]}")


def _context(browser):
    contexts = getattr(browser, "contexts", None)  # a context has none
    if contexts is None:
        return browser
    return contexts[0] if contexts else browser.new_context()


@contextmanager
def lab_with(cells):
    """A lab with one notebook of cells (id: source), whose kernel can import the tests."""
    root = Path(__file__).parents[2]
    notebook = code_notebook(cells)
    path = os.pathsep.join(filter(None, (str(root), os.environ.get("PYTHONPATH"))))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "learner"
        folder.mkdir()
        with learn(folder, PYTHONPATH=path) as server, chromium() as browser:
            lab = Lab(browser, server, windowing="none", watch=False)
            lab.write("cells.ipynb", notebook)
            lab.open("cells.ipynb")
            yield lab
            lab.close()


class PanelView:
    """A panel in the page: what it shows, and what can be moved on it."""

    def __init__(self, locator):
        self.locator = locator

    def picture(self):
        """The markup of its picture."""
        return "".join(
            self.locator.locator("svg[role=img]").evaluate_all("all => all.map(s => s.outerHTML)")
        )

    def readout(self):
        """The words that it says."""
        return self.locator.locator(".rig-readout").text_content()

    def sliders(self):
        """Its sliders, from top to bottom."""
        rows = self.locator.locator(".rig-control-row:has(> input[type=range])")
        return [SliderView(row) for row in rows.all()]

    def grips(self):
        """What can be taken in its pictures, in their order."""
        return [GripView(grip) for grip in self.locator.locator(".rig-grip:not([hidden])").all()]

    def buttons(self):
        """The names of its moments and its reset."""
        names = self.locator.locator(".rig-buttons button").all_text_contents()
        return [name for name in names if name not in OWN_BUTTONS]

    def height(self):
        """From its title to its buttons, px."""
        return self.locator.bounding_box()["height"]

    def click(self, name):
        """Press the button of that name."""
        self.locator.get_by_role("button", name=name, exact=True).click()


OWN_BUTTONS = ("Play", "Pause", "Half speed", "Show alone", "Back to the page")


class GripView:
    """What can be taken in a picture of a panel."""

    def __init__(self, locator):
        self.locator = locator
        self.name = locator.get_attribute("aria-label")

    def said(self):
        """The values of what it moves, in words."""
        return self.locator.get_attribute("aria-valuetext")

    def middle(self):
        """Where it is on the screen, px."""
        box = self.locator.bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def drag(self, right, down, steps=8):
        """Take it with the mouse, bring it so many px from where it is, and let go."""
        self.locator.scroll_into_view_if_needed()
        mouse, (x, y) = self.locator.page.mouse, self.middle()
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + right, y + down, steps=steps)
        mouse.up()

    def press(self, key, times=1):
        """Press a key on it, as ArrowRight."""
        self.locator.scroll_into_view_if_needed()
        self.locator.focus()
        for _ in range(times):
            self.locator.page.keyboard.press(key)


class SliderView:
    """A slider in the page and its typed box."""

    def __init__(self, row):
        self.handle = row.locator("input[type=range]")
        self.box = row.locator("input[type=number]")
        self.label = self.handle.get_attribute("aria-label")

    def value(self):
        """The number in its typed box."""
        return float(self.box.input_value())

    def lowest(self):
        """The least it can be."""
        return float(self.handle.get_attribute("min"))

    def highest(self):
        """The most it can be."""
        return float(self.handle.get_attribute("max"))

    def press(self, key, times=1):
        """Press a key on its handle, as ArrowRight."""
        self.handle.scroll_into_view_if_needed()
        self.handle.focus()
        for _ in range(times):
            self.handle.page.keyboard.press(key)

    def type(self, number):
        """Type a number into its box and confirm it."""
        self.box.fill(f"{number:g}")
        self.box.press("Enter")


# What a stock JupyterLab says while it looks for widgets in a kernel that has loaded none yet.
_HARMLESS = ("No such comm",)
# The server answers so while a kernel starts, and the page asks again.
_STARTING = r"/api/(kernels|sessions)"
# anywidget after 2 s, as they pass on a busy machine; a panel works all the same (test_kernel.py)
_PATIENCE = "[anywidget] Failed to initialize model."
