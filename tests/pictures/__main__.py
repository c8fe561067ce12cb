"""The pictures of README.md and DEVELOPERS.md, made anew beside this file: `python -m
tests.pictures`.

A lesson's panel and the page of a made-up learner are photographed in headless Chromium; the
learner's homework is marked for it, so a jail is needed too. The conventions and the walkers are
drawn by stages; `python -m tests.pictures walking.svg` makes such a picture alone, without a
browser. None of this goes to learners.

    python -m tests.pictures FOLDER [NAME …]    make them, or some, there instead
"""

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image, ImageOps

from rigkit import course
from rigkit.marking import pipeline
from tests.browser import lab
from tests.marking.classroom import make_class
from tests.pictures import conventions, walking

HERE = Path(__file__).parent
PANEL = "04", "13 cm down"  # a lesson, and a moment of its first panel
REPORT = "07"  # a lesson, of which someone took the first question for something else
SHARP = 2  # pixels of the file for one of the page
INKS = 64  # flat pictures look the same in so few colours, in a quarter of the bytes
MARGIN = 16  # px around what is shown


def main(folder=HERE, *names):
    """Make all of them, or some by name, and say how large each file is."""
    if folder in MAKERS:
        folder, names = HERE, (folder, *names)
    for name in names or MAKERS:
        data = MAKERS[name]()
        (Path(folder) / name).write_bytes(data)
        print(f"{name}: {len(data) / 1024:.0f} KiB", flush=True)


def panel():
    """A PNG of a panel as a learner sees it in JupyterLab."""
    number, moment = PANEL
    with (
        tempfile.TemporaryDirectory() as place,
        lab.learn(Path(place) / "leg-rigging") as server,
        lab.chromium() as browser,
    ):
        browser.new_context(device_scale_factor=SHARP)  # the one that `Lab` takes
        page = lab.Lab(browser, server, size=(1280, 1000), windowing="none")
        page.open(f"lessons/{course.lesson(number).path.name}")
        page.run_all()
        page.skip_guesses()
        first = page.panels()[0]
        first.click(moment)
        page.page.evaluate("document.activeElement.blur()")
        page.page.mouse.move(0, 0)
        first.locator.evaluate("panel => panel.scrollIntoView({block: 'center'})")
        page.page.wait_for_timeout(1000)
        shot = first.locator.screenshot()
        page.close()
    return png(shot)


def report():
    """A PNG of a learner's page, from the lesson's heading to the end of the first question."""
    with tempfile.TemporaryDirectory() as place:
        submissions, results = Path(place) / "submissions", Path(place) / "results"
        (learner,) = make_class(place, 1, REPORT, ("misconception",))
        pipeline.mark_class(
            submissions, results, submissions.with_name("roster.csv"), lessons=[REPORT]
        )
        with lab.chromium() as browser:
            page = browser.new_page(
                device_scale_factor=SHARP, viewport={"width": 848, "height": 1000}
            )
            page.goto((results / "learners" / f"{learner}.html").as_uri())
            top = page.locator("h2").first.bounding_box()["y"]
            card = page.locator("article").first.bounding_box()
            clip = {"x": 0, "y": top, "width": 848, "height": card["y"] + card["height"] - top}
            return png(page.screenshot(clip=clip))


def png(shot):
    """A screenshot cut to what is on it, with an even margin, in few colours."""
    image = Image.open(io.BytesIO(shot)).convert("RGB")
    image = image.crop(ImageOps.invert(image).getbbox())
    image = ImageOps.expand(image, SHARP * MARGIN, "white").quantize(INKS, dither=Image.Dither.NONE)
    data = io.BytesIO()
    image.save(data, "PNG", optimize=True)
    return data.getvalue()


MAKERS = {
    "walking.svg": lambda: walking.svg().encode(),
    "conventions.svg": lambda: f"{conventions.picture().card()}\n".encode(),
    "panel.png": panel,
    "report.png": report,
}

if __name__ == "__main__":
    main(*sys.argv[1:])
