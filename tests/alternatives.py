"""Text alternatives: whether each picture in some markup says what it shows, with its numbers (WCAG
2.2, 1.1.1)."""

import re
import xml.etree.ElementTree as ET
from html import unescape

SVG = "{http://www.w3.org/2000/svg}"
LEAST = 2  # words of a description, beside the name of the view
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def pictures(markup):
    """The pictures in markup, each as an element."""
    found = []
    for start in (match.start() for match in re.finditer(r'<svg\b[^>]*\brole="img"', markup)):
        depth = 0
        for tag in re.finditer(r"<(/?)svg\b[^>]*?(/?)>", markup[start:]):
            depth += -1 if tag[1] else 0 if tag[2] else 1
            if depth == 0:
                found.append(ET.fromstring(_within_svg(markup[start : start + tag.end()])))
                break
    return found


def faults(markup):
    """Faults of the text alternatives in markup, as sentences."""
    return [fault for picture in pictures(markup) for fault in _faults(picture)] + [
        f"a picture has no words: {image[:60]}"
        for image in re.findall(r"<img\b[^>]*>", markup)
        if len(_words((re.search(r'\balt="([^"]*)"', image) or [""] * 2)[1])) < LEAST
    ]


def _faults(picture):
    title, desc = (
        unescape(picture.findtext(SVG + name) or "").strip() for name in ("title", "desc")
    )
    if not title or picture[0].tag != SVG + "title":
        yield "a picture has no title before all else"
    if len(_words(desc)) < LEAST or desc == title:
        yield f"a picture says too little: {title!r}, {desc!r}"
    drawn = [
        number
        for text in picture.iter(SVG + "text")
        if "rig-number" in text.get("class", "")
        for number in numbers("".join(text.itertext()))
    ]
    unsaid = set(drawn) - set(numbers(f"{title} {desc}"))
    if unsaid:
        yield f"a picture does not say {sorted(unsaid)}: {title!r}, {desc!r}"


def _words(text):
    return re.findall(r"\w+", re.sub(r"(?i)\b(side|front|top|turntable) view\b", "", text))


def numbers(text):
    """The numbers in a text, however their minus is written."""
    text = re.sub(r"\bminus (?=\d)", "-", text.replace("\N{MINUS SIGN}", "-"))
    return [float(number) for number in _NUMBER.findall(re.sub(r"(?<=[\w)])-(?=\d)", " ", text))]


def _within_svg(markup):
    return (
        markup
        if "xmlns=" in markup[: markup.index(">")]
        else markup.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    )
