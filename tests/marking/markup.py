"""Demands on every page of a marked class: well-formed, complete in itself, nothing that acts."""

import hashlib
import re
from base64 import b64encode
from html.parser import HTMLParser
from itertools import pairwise

VOID = {"meta", "br"}
_TAGS = """
    html head meta title style body header main nav section article figure figcaption h1 h2 h3
    p div span b strong bdi code ul li dl dt dd a details summary table thead tbody tr th td
    svg desc g path rect circle text
"""
TAGS = set(_TAGS.split())
_ATTRIBUTES = """
    lang charset http-equiv content name class id href role aria-label aria-hidden tabindex
    scope open xmlns viewbox width height d x y cx cy r rx preserveaspectratio text-anchor
    fill
"""
ATTRIBUTES = set(_ATTRIBUTES.split())
LINKS = re.compile(r"#[\w-]+|learners/[a-z0-9._-]+\.html|(grades|lineItems|results)\.csv")
CONTROLS = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\ud800-\udfff\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff]"
)


class Page(HTMLParser):
    """A parsed page: its elements, the words in it, and what is wrong with its markup."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.html, self.elements, self.words, self.wrong, self._open = html, [], [], [], []
        self.feed(html)
        self.close()
        self.wrong += [f"{tag} stays open" for tag in self._open]

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        names = [name for name, _ in attributes]
        if len(set(names)) != len(names):
            self.wrong.append(f"{tag} has an attribute twice")
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        if not self._open or self._open.pop() != tag:
            self.wrong.append(f"/{tag} where something else is open")

    def handle_data(self, data):
        if not self._open or self._open[-1] != "style":
            self.words.append(data)

    def handle_comment(self, data):
        self.wrong.append("a comment")

    def handle_pi(self, data):
        self.wrong.append("a processing instruction")

    def unknown_decl(self, data):
        self.wrong.append("a declaration")

    @property
    def text(self):
        return " ".join(self.words)

    def all(self, tag):
        return [attributes for name, attributes in self.elements if name == tag]


def check(html):
    """Raise if a page is not as every page must be; gives it parsed."""
    page = Page(html)
    assert page.wrong == []
    assert html.startswith("<!DOCTYPE html>\n")
    html.encode()  # no half characters
    assert not CONTROLS.search(html)
    assert {tag for tag, _ in page.elements} - TAGS == set()
    assert {name for _, attributes in page.elements for name in attributes} - ATTRIBUTES == set()
    assert [link["href"] for link in page.all("a") if not LINKS.fullmatch(link["href"])] == []
    assert page.all("html") == [{"lang": "en"}]
    assert len(page.all("title")) >= 1
    _check_policy(page)
    headings = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h\d", tag)]
    assert headings[0] == 1
    assert headings.count(1) == 1
    assert all(deeper - above <= 1 for above, deeper in pairwise(headings))
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(set(ids)) == len(ids)
    assert {link["href"][1:] for link in page.all("a") if link["href"].startswith("#")} <= set(ids)
    for i, (tag, attributes) in enumerate(page.elements):
        if tag == "svg" and attributes.get("aria-hidden") != "true":
            assert attributes["role"] == "img"
            assert page.elements[i + 1][0] == "title"
            assert page.elements[i + 2][0] == "desc"
    return page


def _check_policy(page):
    """Nothing may be loaded or run; the style sheet is the one that the policy names."""
    policy = next(
        meta["content"]
        for meta in page.all("meta")
        if meta.get("http-equiv") == "Content-Security-Policy"
    )
    style = re.findall(r"<style>(.*?)</style>", page.html, re.DOTALL)
    assert len(style) == 1
    assert not re.search(r"@import|url\(|expression|https?:", style[0])
    digest = b64encode(hashlib.sha256(style[0].encode()).digest()).decode()
    assert (
        policy
        == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )
