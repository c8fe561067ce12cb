"""The inks, sizes and style sheet of all pictures.

The same markup is right on a light and on a dark page: all inks are CSS variables. Hue tells the
kind of chain; side is told by a letter and by the outline. Palette: M. Okabe and K. Ito, "Color
Universal Design" (2002/2008), with a lighter pair on dark and darker shades where small text needs
them.
"""

from importlib import resources
from string import Template

KINDS = ("forward", "inverse", "goal", "miss", "plain", "soft")

# Every ink on a light and on a dark page. Names ending in `text` are for letters, the others for
# shapes.
INKS = {
    "paper": ("#ffffff", "#111111"),
    "floor": ("#f1f3f5", "#262b31"),
    "ink": ("#1f2328", "#e8eaed"),
    "soft": ("#7d858f", "#8b939d"),
    "soft-text": ("#5c6570", "#a9b1bb"),
    "forward": ("#d55e00", "#e69f00"),
    "forward-text": ("#b04a00", "#e69f00"),
    "inverse": ("#0072b2", "#56b4e9"),
    "inverse-text": ("#0067a1", "#56b4e9"),
    "goal": ("#009e73", "#2fbf8f"),
    "goal-text": ("#007a59", "#2fbf8f"),
    "miss": ("#b00020", "#ff7a66"),
    "miss-text": ("#b00020", "#ff7a66"),
}

FONT = 'system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif'
TEXT, NUMBER, TITLE = 15, 21, 17  # sizes in px at the drawn width
LEAST_TEXT = 13  # a row wraps rather than draw TEXT smaller than this


def style_sheet(name: str, **values: object) -> str:
    """A style sheet of `rigkit/data` on one line, with values in place of its `$names`.

    Parameters
    ----------
    name : str
        The file's, without ".css".
    **values
        One for each of the sheet's `$names`.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If a value is missing.
    """
    sheet = (resources.files("rigkit") / "data" / f"{name}.css").read_text(encoding="utf-8")
    return Template("".join(map(str.strip, sheet.splitlines()))).substitute(values)


def _variables(dark: bool, page: str = "", paper: bool = True) -> str:
    """The variables of one theme; a page may set `--rig-ink` and the like itself."""
    inks = {name: pair[dark] for name, pair in INKS.items()}
    if paper:  # the page's own background, where the page says what it is
        inks["paper"] = f"var(--jp-layout-color0,{inks['paper']})"
    return f"{page}.rig{{{''.join(f'--{n}:var(--rig-{n},{ink});' for n, ink in inks.items())}}}"


SHAPES = (
    style_sheet("stage", font=FONT, text=TEXT, number=NUMBER, title=TITLE)
    + "".join(
        f".rig-{kind}{{--rig-hue:var(--{kind});--rig-hue-text:var(--{kind}-text)}}"
        for kind in KINDS
        if kind != "plain"
    )
    + ".rig,.rig-plain{--rig-hue:var(--ink);--rig-hue-text:var(--ink)}"
)
# What is printed is light.
STYLE = (
    f"{_variables(False)}@media screen and (prefers-color-scheme:dark){{"
    f"{_variables(True, 'body:not([data-jp-theme-light]) ')}}}"
    f"""{_variables(True, 'body[data-jp-theme-light="false"] ')}{SHAPES}"""
)
CARD_STYLE = _variables(False, paper=False) + SHAPES
