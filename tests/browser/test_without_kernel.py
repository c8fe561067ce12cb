"""A notebook that was saved with its panel and is opened, or made a page of, with no kernel."""

import subprocess
import sys

import nbclient
import nbformat
import pytest

from tests.browser.lab import IN_LAB, IN_NOTEBOOK, Lab, code_notebook, stock

pytestmark = pytest.mark.needs_browser

CELL = (
    "from rigkit import puppets\nfrom rigkit.scenes import forward_and_inverse\n"
    "forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])"
)
WAYS = {"jupyterlab": IN_LAB, "notebook": IN_NOTEBOOK}
TITLE, WORDS = "One pelvis moves two legs, a forward and an inverse one", "Pelvis 0.0 cm down"


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    """A notebook that was run and saved, in a folder of its own."""
    notebook = code_notebook({"panel": CELL})
    nbclient.NotebookClient(notebook, store_widget_state=False).execute()
    path = tmp_path_factory.mktemp("saved") / "learner" / "saved.ipynb"
    path.parent.mkdir()
    nbformat.write(notebook, path)
    return path


def shows_it(page):
    """Hold a page to the sentence, the words, and a picture with a text alternative."""
    page.get_by_text(TITLE).first.wait_for()
    page.get_by_text(WORDS).first.wait_for()
    body = page.locator("body")
    assert "Error displaying widget" not in body.text_content()
    assert "Loading widget" not in body.text_content()
    pictures = page.get_by_role("img", name="From the side")
    assert pictures.first.bounding_box()["width"] > 200


THOROUGH = pytest.mark.thorough


@pytest.mark.parametrize("program", ["jupyterlab", pytest.param("notebook", marks=THOROUGH)])
def test_it_is_there_when_the_notebook_is_opened_again(browser, saved, program):
    with stock(saved.parent, program) as server:
        lab = Lab(browser.new_context(), server, windowing="none", way=WAYS[program])
        lab.open(saved.name, kernel=False)
        lab.page.wait_for_timeout(5000)  # until it would have given up a widget
        shows_it(lab.page)
        lab.page.context.close()


ANEW = ["--execute", "--ExecutePreprocessor.store_widget_state=False"]  # as DEVELOPERS.md says


@pytest.mark.parametrize(
    "options", [[], pytest.param(ANEW, marks=THOROUGH)], ids=["as saved", "run anew"]
)
def test_it_is_there_in_a_page_made_of_the_notebook(browser, saved, options, tmp_path):
    subprocess.run(
        [
            sys.executable,
            "-m",
            "nbconvert",
            "--to",
            "html",
            *options,
            "--output-dir",
            tmp_path,
            saved,
        ],
        check=True,
        capture_output=True,
    )
    page = browser.new_context(offline=True).new_page()
    page.goto((tmp_path / "saved.html").as_uri())
    shows_it(page)
    page.context.close()
