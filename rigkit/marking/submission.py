"""Submissions, before anything of them is run.

A `File` is one notebook or rig file, a `Submission` all that one learner handed in for one lesson.
"""

import hashlib
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from rigkit.marking.entry import Learner

__all__ = ["File", "Problem", "Stray", "Submission", "UnreadableError", "is_rig", "shown"]

MOST_BYTES = 10 * 2**20
LONGEST_NAME = 500
RIGS = (".glb", ".gltf")

NO_NOTEBOOK = "The file is not a notebook"
HAND_IN = "Hand in the exercise itself, the file whose name ends in .ipynb."


class UnreadableError(Exception):
    """A file cannot be read as what it should be; the text says why, and what would do.

    `lesson` is what it must have been meant for, where its inside says that.
    """

    def __init__(self, text: str, lesson: str | None = None) -> None:
        super().__init__(text)
        self.lesson = lesson


@dataclass(frozen=True)
class File:
    """A notebook or a rig file of the submissions.

    Attributes
    ----------
    place : str
        Its path inside, with forward slashes; a zip inside is a step of it. For people:
        characters that cannot be shown are replaced.
    digest : str
        The SHA-256 of its bytes.
    modified : str
        The time of its last change, ISO: UTC in a folder, as the zip says in a zip.
    lesson : str or None
        The lesson that a notebook's code opens, two digits; "your-leg" of what holds a leg from
        the bench.
    read : callable
        Reads its bytes anew, so that a class takes no memory.
    names : Mapping of str to str
        The rig files that a notebook's code names: see `Notebook`.
    claimed : str or None
        The learner's name that is typed in a notebook; no proof of who it is.
    """

    place: str
    digest: str
    modified: str
    lesson: str | None
    read: Callable[[], bytes] = field(repr=False, compare=False)
    names: Mapping[str, str] = field(default_factory=dict, compare=False)
    claimed: str | None = field(default=None, compare=False)

    @property
    def is_rig(self) -> bool:
        """True if it is a rig file, by its name."""
        return is_rig(self.place)

    @property
    def data(self) -> bytes:
        """Its bytes; raises `UnreadableError` when they have changed since it was collected."""
        data = self.read()
        if digest_of(data) != self.digest:
            raise UnreadableError(
                "The file was changed while it was being marked. Give the same command again."
            )
        return data

    def held(self) -> "File":
        """The same with its bytes in memory, to be sent elsewhere."""
        return replace(self, read=partial(bytes, self.data))


@dataclass(frozen=True)
class Problem:
    """Something that cannot be marked.

    Attributes
    ----------
    place : str
    why : str
        A sentence on why, and what would do.
    cut : bool
        True if it is a folder with more in it than was read.
    lesson : str or None
        What it must have been meant for, where its inside says that.
    """

    place: str
    why: str
    cut: bool = False
    lesson: str | None = None


@dataclass(frozen=True)
class Stray:
    """A file that is in nobody's submission.

    Attributes
    ----------
    place, why : str
    matters : bool
        True if it may be missing from somebody's marks.
    """

    place: str
    why: str
    matters: bool = True


@dataclass(frozen=True)
class Submission:
    """All that one learner handed in for one lesson.

    With its bytes and its seed, as `loaded` makes it, the same marks come of it on any machine.

    Attributes
    ----------
    learner : Learner
    lesson : str
        Two digits, or "your-leg".
    place, digest : str
        The file's path, and its SHA-256: see `Entry`. No digest where there is nothing to read.
    notebook : File or None
        The leg's file for "your-leg". None where only rig files were handed in, or nothing that can
        be read.
    rivals : tuple of File
        Other notebooks, where nothing tells which is the newest: all are marked, and the best one
        counts.
    rigs : Mapping of str to File
        The rig files, by the name of the question each is for.
    notes : tuple of str
        Sentences for the teacher on how it came to be these files.
    problem, rig_problem : str
        Why the notebook, or another rig file, cannot be read, where one cannot.
    untold : bool
        True if it cannot be told whose the file is or for what; it replaces nothing that is marked.
    seed : str
        The secret that its cases are drawn from.
    """

    learner: Learner
    lesson: str
    place: str
    digest: str = ""
    notebook: File | None = None
    rigs: Mapping[str, File] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    problem: str = ""
    rig_problem: str = ""
    untold: bool = False
    seed: str = ""
    rivals: tuple[File, ...] = ()

    @property
    def key(self) -> tuple[str, str]:
        """(learner's id, lesson)."""
        return self.learner.id, self.lesson

    @property
    def each(self) -> tuple["Submission", ...]:
        """The same with one notebook each, of those of which the best counts."""
        alone = replace(self, rivals=())
        others = (replace(alone, notebook=file, place=file.place) for file in self.rivals)
        return (alone, *others)

    @property
    def handed_in(self) -> str:
        """The date of the newest of its files; empty where there is nothing to read."""
        files = [*([self.notebook] if self.notebook else []), *self.rigs.values()]
        return max((file.modified for file in files), default="")

    def loaded(self, seed: str) -> "Submission":
        """The same with all bytes in memory and its seed; with a problem where they are gone."""
        try:
            notebook = self.notebook and self.notebook.held()
            rivals = tuple(file.held() for file in self.rivals)
            rigs = {name: file.held() for name, file in self.rigs.items()}
        except UnreadableError as why:
            return replace(self, notebook=None, rivals=(), rigs={}, problem=str(why), seed=seed)
        return replace(self, notebook=notebook, rivals=rivals, rigs=rigs, seed=seed)


def digest_of(data: bytes) -> str:
    """The SHA-256 of bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def is_rig(place: str) -> bool:
    """True if a file of this name is a rig file."""
    return place.casefold().endswith(RIGS)


def shown(text: str, most: int = LONGEST_NAME) -> str:
    """A name as people can be shown it, cut to `most` characters.

    Every space is plain, and what cannot be seen or turns text is replaced.
    """
    return "".join(
        character
        if character.isprintable()
        else " "
        if unicodedata.category(character) == "Zs"
        else "\N{REPLACEMENT CHARACTER}"
        for character in text[:most]
    )


def too_large(name: str = "") -> UnreadableError:
    """The error for a file of more than `MOST_BYTES`, with what to do about a file of its name."""
    smaller = "Export fewer vertices" if is_rig(name) else "Clear the outputs of all cells, save"
    return UnreadableError(
        f"The file is larger than {MOST_BYTES // 2**20} MiB. {smaller}, and hand it in again."
    )
