"""The words of the course: what each means, the lesson that builds it, what other fields call it.

They stand in `data/words.toml`, and nowhere else; `page()` makes lessons/words.ipynb of them.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from rigkit import course

__all__ = ["FIELDS", "Word", "page", "word", "words"]

FIELDS = (
    "the trade at large",
    "glTF",
    "anatomy",
    "biomechanics",
    "robotics",
    "graphics papers",
    "mathematics",
    "engineering",
)
_TITLE = """# Words

Every word that the lessons use in a sense of their own, each in one sentence. To find one, press
Ctrl F (on a Mac ⌘ F) and type it, or take it from this list: {index}."""


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Word:
    """One word of the course.

    Attributes
    ----------
    name : str
        Its heading on the page of words.
    meaning : str
        One sentence, in Markdown.
    lesson : str
        The number of the lesson that builds it, two digits.
    also : mapping of str to str
        What other fields, those of `FIELDS`, call the same thing; empty for a word of our own.

    Raises
    ------
    ValueError
        If one of them is missing, or `also` names another field.
    """

    name: str
    meaning: str
    lesson: str
    also: Mapping[str, str]

    def __post_init__(self) -> None:
        for field in ("name", "meaning", "lesson"):
            if not isinstance(getattr(self, field), str) or not getattr(self, field):
                raise ValueError(
                    f"`{field}` of a word must be text; got {getattr(self, field)!r}."
                    f" Say it in words.toml, at {self.name!r}."
                )
        others = [field for field in self.also if field not in FIELDS]
        if others:
            raise ValueError(
                f"`also` of {self.name!r} must be by fields; got {', '.join(others)}."
                f" Fields: {', '.join(FIELDS)}."
            )

    @property
    def anchor(self) -> str:
        """The end of a link to its heading, such as "Bend-plane" in `words.ipynb#Bend-plane`."""
        return self.name.replace(" ", "-")


@cache
def words() -> tuple[Word, ...]:
    """Return all words.

    Returns
    -------
    tuple of Word
        From A to Z.

    Raises
    ------
    ValueError
        If the file misses a part of a word, or has a word twice.
    """
    text = (resources.files("rigkit") / "data" / "words.toml").read_text(encoding="utf-8")
    found = [_read(entry) for entry in tomllib.loads(text)["word"]]
    names = [each.name for each in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"a word must stand once in words.toml; twice: {', '.join(twice)}.")
    return tuple(sorted(found, key=lambda each: each.name.lower()))


def word(name: str) -> Word:
    """Return one word.

    Parameters
    ----------
    name : str
        In capitals or small letters.

    Returns
    -------
    Word

    Raises
    ------
    ValueError
        If there is none; the message lists those there are.

    Examples
    --------
    >>> from rigkit.words import word
    >>> word("miss").meaning
    "The miss is the distance between a chain's end and its goal."
    """
    for each in words():
        if each.name.lower() == str(name).lower():
            return each
    there = ", ".join(each.name for each in words())
    raise ValueError(f"`name` must be a word of the course; got {name!r}. Words: {there}.")


def page() -> dict[str, Any]:
    """Return the page of words, as a notebook in JSON data; its pictures are made by running it.

    Returns
    -------
    dict
    """
    index = ", ".join(f"[{each.name}](#{each.anchor})" for each in words())
    files = {each.number: each.path.name for each in course.lessons()}
    cells = [_text("title", _TITLE.format(index=index))]
    for each in words():
        own = each.anchor.lower()
        cells += [
            _text(own, _entry(each, files[each.lesson])),
            _picture(f"{own}-picture", each.name),
        ]
    return {"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def _read(entry: Mapping[str, Any]) -> Word:
    try:
        return Word(entry["name"], entry["meaning"], entry["lesson"], entry["also"])
    except KeyError as missing:
        raise ValueError(f"a word in words.toml must say {missing}; got {dict(entry)}.") from None


def _entry(word: Word, file: str) -> str:
    """One word's heading, sentence, lesson and other names, as Markdown."""
    built = f"Built in [lesson {word.lesson}]({file})."
    also = " ".join(f"In {field}: {said}." for field, said in word.also.items())
    return f"## {word.name}\n\n{word.meaning}\n\n{built} {also or 'Our own word.'}"


def _text(name: str, source: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "id": name, "metadata": {}, "source": source}


def _picture(name: str, of: str) -> dict[str, Any]:
    return {
        "cell_type": "code",
        "id": name,
        "metadata": {"jupyter": {"source_hidden": True}},
        "source": f'from rigkit.scenes import word_pictures\n\nword_pictures.picture("{of}")',
        "execution_count": None,
        "outputs": [],
    }
