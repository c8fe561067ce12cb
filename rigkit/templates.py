"""HTML from the templates in `rigkit/data/templates`, by Jinja.

Every text that goes into a template is a stranger's until it is marked as HTML
(`markupsafe.Markup`): it passes `page.plain` and is escaped. Hence templates join no texts inside
an expression and never call `escape` themselves. Jinja is not in the jail: what runs there does not
import this.

A page fetches nothing. Its policy lets the browser use the one style sheet named by its digest,
and a script only in the pages that show a rig to turn (`view`), named by its digest too.
"""

from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from rigkit import page

__all__ = ["render"]

TEMPLATES = Path(__file__).parent / "data" / "templates"


def render(name: str, **data: Any) -> str:
    """Return the HTML that a template makes of data.

    Parameters
    ----------
    name : str
        The template's file name, such as "page.html".
    **data
        The names that the template uses.

    Returns
    -------
    str
        The same for the same data.
    """
    return _environment().get_template(name).render(data)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        finalize=_harmless,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
    environment.filters |= {"plain": page.plain, "digest": _digest}
    return environment


def _harmless(value: Any) -> Any:
    """The value of an expression as it may be shown; only HTML and numbers stay as they are."""
    return page.plain(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _digest(style: str) -> str:
    """The SHA-256 of a style sheet, as a page's content security policy names it."""
    return b64encode(sha256(style.encode()).digest()).decode()
