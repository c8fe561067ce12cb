"""Names to learners: whose each file is, and for which lesson and question.

A learner is known by the id, the name, the e-mail address and other names the roster gives. A file
is theirs where one of these stands, whole, among the words of a folder's or the file's name. What
the notebook claims is no proof; but without a roster, a name typed in it is its learner's where it
stands so in the places of their files and nobody else's. A rig file goes to a question that asks
for one, of a lesson that its learner hands in; a leg from the bench is a work of its own.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from rigkit import course
from rigkit.homework import catalogue
from rigkit.marking.entry import Learner
from rigkit.marking.roster import LONGEST, Roster, composed, folded, spellings, words
from rigkit.marking.submission import RIGS, File, Problem, is_rig

__all__ = ["Aside", "Assigned", "asking", "assign", "lesson_of", "lesson_of_place"]

_Owners = Mapping[str, Mapping[Learner, bool]]  # whose a place is or may be, and whether surely
_Label = tuple[str, ...]  # words that name somebody
_COUNTER = re.compile(r"(?<=.)(?:[\s_-]*\((\d{1,3})\)|[\s_-]+copy[\s_-]*(\d{0,3})|-(\d{1,3}))$")
# the name of the bench's file
_LEG = re.compile(r"(?<![^\W_])(?:my|your)[\W_]*leg(?:-\d{1,3})?(?![^\W_])", re.I)
EDGES = " _-.,()"  # what is left at the ends of a name when part of it is taken out
MOST_RIVALS = 5  # notebooks of one learner that are all marked
_Span = tuple[int, int]  # the first of some words, and the one after the last


@dataclass(frozen=True)
class Aside:
    """A file that is not marked: why, in a sentence, and the ids of those it may be of."""

    file: File
    why: str
    learners: tuple[str, ...] = ()


# the file that counts, the others with a sentence on why not, and a sentence on all, if several
_Chosen = tuple[File, list[tuple[File, str]], str]


@dataclass(frozen=True)
class Assigned:
    """Each file with its learner, lesson and question.

    Attributes
    ----------
    learners : tuple of Learner
        The roster's, or without one those whom the places name.
    of : dict of (learner's id, lesson) to File
        The notebook that is marked: the newest where there are several.
    rigs : dict of (learner's id, lesson) to dict of question's name to File
        The rig files that are inspected, also where there is no notebook.
    rivals : dict of (learner's id, lesson) to tuple of File
        Other notebooks, where nothing tells which is the newest.
    notes : dict of (learner's id, lesson) to tuple of str
        Sentences for the teacher on the choice; only where there is something to say.
    extra : tuple of Aside
        Older files of the same learner and lesson.
    unasked : tuple of Aside
        Rig files of learners whose lessons ask for none.
    unplaced : tuple of Aside
        Files that nobody on the roster goes with, or whose lesson or question cannot be told.
    ambiguous : tuple of Aside
        Files that several learners go with.
    problems : dict of learner's id to tuple of Problem
        Other files of theirs, that could not be read. Problems that go with nobody are not here.
    missing : tuple of Learner
        Those for whom nothing was found: neither a notebook nor anything else.
    """

    learners: tuple[Learner, ...]
    of: Mapping[tuple[str, str], File]
    rigs: Mapping[tuple[str, str], Mapping[str, File]]
    rivals: Mapping[tuple[str, str], tuple[File, ...]]
    notes: Mapping[tuple[str, str], tuple[str, ...]]
    extra: tuple[Aside, ...]
    unasked: tuple[Aside, ...]
    unplaced: tuple[Aside, ...]
    ambiguous: tuple[Aside, ...]
    problems: Mapping[str, tuple[Problem, ...]]
    missing: tuple[Learner, ...]


def assign(
    files: Iterable[File], roster: Roster | None = None, problems: Iterable[Problem] = ()
) -> Assigned:
    """Give each file to its learner and lesson.

    The words of each part of a file's place are searched for what a learner is known by, after NFC
    and case folding: an id, or a name's words in any order, beside each other or run together. A
    name within a longer one that fits does not count. Folders that all files are in do not count
    where the rest names several learners. Files that two learners go with are given to neither. A
    number of one or two digits, which may be a lesson's or a copy's, is taken for an id only beside
    the learner's name, or alone where nothing else names anybody. Without a roster the first folder
    that differs is the learner, or else the file's name less that of the exercise or the question.

    Of several rig files for one question that one counts which the notebook names; else one whose
    name says the question; else the newest.

    Parameters
    ----------
    files : iterable of File
    roster : Roster, optional
    problems : iterable of Problem

    Returns
    -------
    Assigned
    """
    files, problems = list(files), list(problems)
    learners, owners, advise = _whose(files, problems, roster)
    theirs, rigs, unplaced, ambiguous = _told_apart(files, owners, advise)
    spoilt: dict[str, list[Problem]] = defaultdict(list)
    for problem in problems:
        if len(owners[problem.place]) == 1:
            spoilt[next(iter(owners[problem.place])).id].append(problem)
    found = {who for who, _ in theirs} | rigs.keys() | spoilt.keys()
    found |= {who for a in unplaced for who in a.learners}
    rivals = {key: _rivals(several, owners) for key, several in sorted(theirs.items())}
    chosen = {key: _chosen(theirs[key], equal, owners) for key, equal in rivals.items()}
    notebooks = {key: file for key, (file, _, _) in chosen.items()}
    _add_named(rigs, theirs, notebooks)
    fittest, unasked, untold = _to_questions(rigs, notebooks)
    inspected: dict[tuple[str, str], dict[str, File]] = defaultdict(dict)
    for (who, lesson, name), (file, _, _) in fittest.items():
        inspected[who, lesson][name] = file
    counted = [
        *chosen.items(),
        *(((who, lesson), one) for (who, lesson, _), one in fittest.items()),
    ]
    extra = tuple(
        Aside(other, why, key[:1]) for key, (_, others, _) in counted for other, why in others
    )
    return Assigned(
        learners,
        notebooks,
        dict(inspected),
        {key: equal[1:] for key, equal in rivals.items() if equal[1:]},
        _notes(inspected.keys() - notebooks.keys(), counted),
        extra,
        tuple(unasked),
        (*unplaced, *untold),
        tuple(ambiguous),
        {who: tuple(what) for who, what in spoilt.items()},
        tuple(learner for learner in learners if learner.id not in found),
    )


def _notes(
    without_notebook: Iterable[tuple[str, str]], counted: Iterable[tuple[tuple[str, str], _Chosen]]
) -> dict[tuple[str, str], tuple[str, ...]]:
    """Sentences on the files that count, where there was a choice or no notebook."""
    notes: dict[tuple[str, str], tuple[str, ...]] = dict.fromkeys(
        without_notebook, ("A rig file was handed in, and no notebook.",)
    )
    for key, (_, _, note) in counted:
        notes |= {key: (*notes.get(key, ()), note)} if note else {}
    return notes


def _whose(
    files: Sequence[File], problems: Sequence[Problem], roster: Roster | None
) -> tuple[tuple[Learner, ...], _Owners, "_Advice"]:
    """The learners, of each place those whom it names, and what would do where that fails."""
    places = [*(file.place for file in files), *(problem.place for problem in problems)]
    common = _common([file.place for file in files])
    if roster:
        known = _Known(roster)
        return (*_by_roster(places, common, known), _Advice(known, common))
    learners, owners = _with_typed_names(*_by_place(places, common), files, common)
    return learners, owners, _Advice(_Known(learners), common)


def _told_apart(
    files: Iterable[File], owners: _Owners, advise: "_Advice"
) -> tuple[dict[tuple[str, str], list[File]], dict[str, list[File]], list[Aside], list[Aside]]:
    """Notebooks by learner's id and lesson, rig files by learner's id, and all other files.

    The others are those of nobody, and those of several.
    """
    theirs: dict[tuple[str, str], list[File]] = defaultdict(list)
    rigs: dict[str, list[File]] = defaultdict(list)
    unplaced, ambiguous = [], []
    for file in files:
        named, lesson = list(owners[file.place]), lesson_of(file)
        if len(named) > 1:
            ambiguous.append(Aside(file, advise.which(file, named), _ids(named)))
        elif not named:
            typed = advise.typed(file)
            unplaced.append(Aside(file, advise.who(file, typed), _ids(typed)))
        elif file.is_rig and not _is_leg(file):
            rigs[named[0].id].append(file)
        elif file.lesson and file.lesson not in catalogue.works():
            unplaced.append(Aside(file, _no_lesson(file.lesson), _ids(named)))
        elif not lesson:
            unplaced.append(
                Aside(
                    file,
                    "Nothing in the file opens homework, and its name is not that of an exercise. "
                    "If it should be one, name it so.",
                    _ids(named),
                )
            )
        else:
            theirs[named[0].id, lesson].append(file)
    return theirs, rigs, unplaced, ambiguous


def _is_leg(file: File) -> bool:
    """True if a rig file is, or is called, a leg from the bench."""
    return file.lesson == catalogue.YOUR_LEG or bool(_LEG.search(file.place.rpartition("/")[2]))


def _add_named(
    rigs: dict[str, list[File]],
    theirs: Mapping[tuple[str, str], list[File]],
    notebooks: Mapping[tuple[str, str], File],
) -> None:
    """Add the legs that a notebook of the same learner names: they are its rigs too."""
    for (who, _), book in notebooks.items():
        named = set(map(folded, book.names.values()))
        for file in theirs.get((who, catalogue.YOUR_LEG), ()):
            if folded(file.place.rpartition("/")[2]) in named and file not in rigs[who]:
                rigs[who].append(file)


def _no_lesson(number: str) -> str:
    first, *_, last = catalogue.lessons()
    return (
        f'The notebook says open_homework("{number}", …), and there is no homework {number}; there'
        f" are {first} to {last}. Put the exercise's own number there, and hand it in again."
    )


def _rivals(files: Sequence[File], owners: _Owners) -> tuple[File, ...]:
    """The notebook that counts; with others, where nothing tells which is the newest.

    One that is surely theirs counts before one that may be another's, one whose code opens homework
    before one that only has the name, and then the newest; of copies with one time that with the
    highest counter in its name.
    """

    def worth(file: File) -> tuple[bool, bool, str]:
        return all(owners[file.place].values()), file.lesson is not None, file.modified

    most = max(map(worth, files))
    equal: dict[str, File] = {}  # by name less the counter
    for file in sorted(files, key=lambda file: _copy(file.place)):
        if worth(file) == most:
            equal[_copy(file.place)[0]] = file
    different = {file.digest: file for file in equal.values()}
    return tuple(different.values())[-MOST_RIVALS:][::-1]


def _chosen(files: Sequence[File], equal: Sequence[File], owners: _Owners) -> _Chosen:
    """The notebook that counts, the others with a sentence each, and a sentence on all of them."""
    best, others = equal[0], [file for file in files if file not in equal]
    others.sort(key=lambda file: (file.modified, _copy(file.place)))
    sure = all(owners[best.place].values())
    unsure = {file.place for file in others if sure and not all(owners[file.place].values())}
    if len(equal) > 1:
        what = f"nothing tells which of {_listed(equal)} is the newest: each was marked"
        why, which = "the newest that can be told were marked", ", and the best counts"
    else:
        same = any(file.modified == best.modified for file in others if file.place not in unsure)
        newest = "the latest copy by its name" if same else "the newest"
        what = f"{best.place}, {'the one most surely theirs' if unsure else newest}, was marked"
        why, which = f"{best.place} is newer and was marked", ""
    surer = f"{best.place} is more surely theirs and was marked"
    but = f", and not {_listed(others)}" if others else ""
    return (
        best,
        [(file, f"{surer if file.place in unsure else why}.") for file in others],
        f"{len(files)} files were handed in; {what}{but}{which}." if files[1:] else "",
    )


def _copy(place: str) -> tuple[str, list[list[int]], list[tuple[int, str]]]:
    """A key to put copies in order: the place less their counters, and the counters."""
    parts, counters = [], []
    for part in folded(place).split("/"):
        stem = _stem(part)
        found: list[int] = []
        while match := _COUNTER.search(stem):
            stem, found = stem[: match.start()], [int("".join(match.groups("")) or 1), *found]
        parts.append(stem)
        counters.append(found)
    return "/".join(parts), counters, _natural(place)


def _listed(files: Sequence[File]) -> str:
    return ", ".join(file.place for file in files[:5]) + (" and more" if len(files) > 5 else "")


def _natural(text: str) -> list[tuple[int, str]]:
    return [
        (len(part), part) if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", text)
    ]


def _ids(learners: Iterable[Learner]) -> tuple[str, ...]:
    return tuple(learner.id for learner in learners)


def _by_roster(
    places: Sequence[str], common: Sequence[str], known: "_Known"
) -> tuple[tuple[Learner, ...], _Owners]:
    owners = {place: known.who(_below(place, common)) for place in places}
    if len(set().union(*owners.values())) < 2:  # then a folder all are in may be the learner's own
        owners = {place: known.who(place.split("/")) for place in places}
    return known.learners, {
        place: {known.learners[i]: who[i] for i in sorted(who)} for place, who in owners.items()
    }


def _by_place(places: Sequence[str], common: Sequence[str]) -> tuple[tuple[Learner, ...], _Owners]:
    found: dict[str, Learner] = {}
    owners: dict[str, dict[Learner, bool]] = {}

    def named(place: str) -> Learner:
        name = composed(_named_by(place.split("/"), len(common)))
        return found.setdefault(folded(name), Learner(name, name))

    apart = {place for place in places if len(_below(place, common)) > 1}
    for place in (place for place in places if not _goes_along(place)):
        handed_in = place in apart or place.casefold().endswith(
            (".ipynb", ".zip", *RIGS)
        )  # else a letter beside them
        owners[place] = {named(place): True} if handed_in else {}
    lone = (
        tuple(found.values()) if len(found) == 1 else ()
    )  # whose a rig file must be, whatever it is called
    for place in filter(_goes_along, places):
        owners[place] = {lone[0] if lone and place not in apart else named(place): True}
    return tuple(sorted(found.values(), key=lambda learner: _natural(folded(learner.id)))), owners


def _goes_along(place: str) -> bool:
    """True for a rig file, which goes along with a notebook; not for a leg that names somebody."""
    own = _stem(place.rpartition("/")[2])
    alone = _LEG.search(own) and _less_exercise(own).strip(EDGES)
    return is_rig(place) and not alone


def _with_typed_names(
    learners: Sequence[Learner], owners: _Owners, files: Sequence[File], common: Sequence[str]
) -> tuple[tuple[Learner, ...], _Owners]:
    """The same with the names typed in notebooks.

    Only those that stand in the places of their own learner's files alone.
    """
    names = sorted({file.claimed for file in files if file.claimed})
    known, typed, placed = (
        _Known([Learner(name, name) for name in names]),
        defaultdict(set),
        defaultdict(set),
    )
    for file in files:
        for learner in owners[file.place]:
            typed[learner.id].add(file.claimed)
            for number in known.who(_below(file.place, common)):
                placed[names[number]].add(learner.id)
    told = {
        learner.id: replace(
            learner,
            also=tuple(
                name for name in names if name in typed[learner.id] and placed[name] == {learner.id}
            ),
        )
        for learner in learners
    }
    return tuple(told.values()), {
        place: {told[each.id]: sure for each, sure in who.items()} for place, who in owners.items()
    }


def _below(place: str, common: Sequence[str]) -> Sequence[str]:
    """The parts of a place less the folders that all files are in."""
    parts = place.split("/")
    return parts[len(common) :] if parts[: len(common)] == common else parts


def _named_by(parts: Sequence[str], common: int) -> str:
    below, above = (
        [_stem(folder) for folder in folders if folder.casefold() not in course.PARTS]
        for folders in (parts[common:-1], parts[:common])
    )
    rest = _less_exercise(_stem(parts[-1]))
    rest = (_less_question(rest) if is_rig(parts[-1]) else rest).strip(EDGES)
    return (*below[:1], *([rest] if rest else above[-1:]), _stem(parts[-1]))[0][:LONGEST]


def _stem(name: str) -> str:
    return re.sub(r"\.(ipynb|zip|glb|gltf)$", "", name, flags=re.I)


def _common(places: Sequence[str]) -> list[str]:
    """The folders that all places begin with."""
    common = []
    for steps in zip(*(place.split("/")[:-1] for place in places), strict=False):
        if len(set(steps)) > 1:
            break
        common.append(steps[0])
    return common


class _Known:
    """The names that each learner is known by, ready to be looked for among words."""

    def __init__(self, learners: Iterable[Learner]) -> None:
        self.learners = tuple(learners)
        self._labels = defaultdict(set)  # words in order of the alphabet → learners' numbers
        self._written: set[str] = set()  # all names, as the list writes them
        for number, learner in enumerate(self.learners):
            written = {spelling for text in _names(learner) for spelling in spellings(text)}
            self._written |= written
            for label in set().union(*(_labels(words(text)) for text in written)):
                self._labels[label].add(number)
        self._lengths = sorted({len(label) for label in self._labels} - {0})

    def who(self, parts: Sequence[str]) -> dict[int, bool]:
        """The numbers of those whom a place names, and whether surely.

        Those in every part that names anybody, or else all of them. It is sure where the first part
        names them, and nobody else's name stands within theirs.
        """
        first, *others = (self._in_part(part) for part in parts)
        named = [found for found in (first, *others) if found]
        named = named or [found for found in map(self._by_short_number, parts) if found]
        if not named:
            return {}
        every = set.intersection(*map(set, named)) or set().union(*named)
        sure = first or self._by_short_number(parts[0])
        return {number: sure.get(number, False) for number in every}

    def called(self, name: str) -> set[int]:
        """The numbers of those who have a name, however it is written."""
        for texts in ({folded(name)}, spellings(name)):
            labels = {tuple(sorted(words(text))) for text in texts}
            if found := set().union(*(self._labels.get(label, set()) for label in labels)):
                return found
        return set()

    def _in_part(self, part: str) -> dict[int, bool]:
        """Those whom a part of a place names, as it is written or else without its marks."""
        text = folded(_less_exercise(_stem(part)))
        found = self._in_text(text)
        for spelling in () if found else spellings(text) - {text}:
            for number, sure in self._in_text(spelling).items():
                found[number] = sure and found.get(number, True)
        return found

    def _in_text(self, text: str) -> dict[int, bool]:
        spots = [match.span() for match in re.finditer(r"[^\W_]+", text)]
        spans = self._spans([text[start:end] for start, end in spots])
        covered = {
            number: {i for span in mine for i in range(*span)} for number, mine in spans.items()
        }
        found = {}
        for number, mine in covered.items():
            longer = [who for who, theirs in covered.items() if mine < theirs]
            if all(self._may_be_apart(spans[number], spans[who], text, spots) for who in longer):
                others = {span for who in spans.keys() - {number} for span in spans[who]}
                around = _around(others, spans[number])
                found[number] = all(_spelt(span, text, spots) in self._written for span in around)
        return found

    def _spans(self, here: Sequence[str]) -> dict[int, set[_Span]]:
        """Where, among some words, each learner's names stand; a short number only beside one."""
        found: dict[int, set[_Span]] = defaultdict(set)
        weak: dict[int, set[_Span]] = defaultdict(set)
        for length in self._lengths:
            for start in range(len(here) - length + 1):
                label = tuple(sorted(here[start : start + length]))
                for number in self._labels.get(label, ()):
                    kind = weak if _is_short_number(label) else found
                    kind[number].add((start, start + length))
        return {number: spans | weak[number] for number, spans in found.items()}

    def _may_be_apart(
        self,
        shorter: Iterable[_Span],
        longer: Iterable[_Span],
        text: str,
        spots: Sequence[tuple[int, int]],
    ) -> bool:
        """True if a name around a shorter one may be that and more words, by what is between.

        In one name it is the same all along, but for a comma, or as the list writes it.
        """
        for start, end in _around(shorter, longer):
            between = {
                text[spots[i][1] : spots[i + 1][0]].replace(",", "") for i in range(start, end - 1)
            }
            if len(between) > 1 and _spelt((start, end), text, spots) not in self._written:
                return True
        return False

    def _by_short_number(self, part: str) -> dict[int, bool]:
        """Those whom a number of one or two digits names: it stands alone, and is no lesson's."""
        label = words(_less_exercise(_stem(part)))
        alone = _is_short_number(label) and label[0] not in catalogue.lessons()
        return dict.fromkeys(self._labels.get(label, ()), True) if alone else {}


@dataclass(frozen=True)
class _Advice:
    """Sentences on files whose learner cannot be told, and what would do."""

    known: _Known
    common: Sequence[str]

    def which(self, file: File, learners: Sequence[Learner]) -> str:
        """A sentence on a file that several go with."""
        names = " and ".join(learner.name for learner in learners[:5])
        ways = "; or ".join(
            f"if it is of {learner.id}, {self._rename(file, learner)}" for learner in learners[:5]
        )
        return f"The file's place names {names}. {ways[:1].upper()}{ways[1:]}."

    def typed(self, file: File) -> list[Learner]:
        """The only learner who has the name that is typed in a file, if there is one."""
        found = self.known.called(file.claimed) if file.claimed else set()
        return [self.known.learners[number] for number in found] if len(found) == 1 else []

    def who(self, file: File, typed: Sequence[Learner]) -> str:
        """A sentence on a file that nobody goes with; it proposes whose name is typed in it."""
        nobody = "Nobody on the roster goes with the file's place."
        for learner in typed:
            return (
                f'{nobody} The name typed in it, "{file.claimed:.80}", is that of {learner.id}. If'
                f" it is theirs, {self._rename(file, learner)}."
            )
        return (
            f"{nobody} Put the learner's id and name, as the roster has them, into the file's name;"
            " or add the name it has to the roster, in a column `also`, and give that again by"
            " --roster."
        )

    def _rename(self, file: File, learner: Learner) -> str:
        """The new name by which a file goes with a learner, in words."""
        who = dict.fromkeys((learner.id, learner.name))
        lesson = lesson_of(file)
        own = file.place.rpartition("/")[2]
        work = own if file.is_rig else f"homework {lesson}.ipynb" if lesson else "work.ipynb"
        name = re.sub(r"[\\/:]", "-", f"{' '.join(who)} {work}")
        number = self.known.learners.index(learner)
        within = [*_below(file.place, self.common)[:-1], name]
        where = (
            "" if self.known.who(within).keys() == {number} else "put it beside the folders, and "
        )
        return f'{where}call it "{name}"'


def _around(shorter: Iterable[_Span], longer: Iterable[_Span]) -> list[_Span]:
    """The longer spans that have a shorter one, and more, within them."""
    return [
        (start, end)
        for start, end in longer
        if any(start <= a and b <= end and b - a < end - start for a, b in shorter)
    ]


def _spelt(span: _Span, text: str, spots: Sequence[tuple[int, int]]) -> str:
    """The text of some of its words, with all that stands between them."""
    return text[spots[span[0]][0] : spots[span[1] - 1][1]]


def _names(learner: Learner) -> tuple[str, ...]:
    """All that a learner is known by."""
    before_at = learner.email.partition("@")[0]
    return learner.id, learner.name, learner.email, before_at, *learner.also


def _labels(label: _Label) -> set[_Label]:
    """A label's words in order of the alphabet, and those run together to one or two.

    The words may be turned, as where the surname stands in front.
    """
    label = label[:12]
    turns = [(label[i:], label[:i]) for i in range(len(label))]
    apart = {tuple(sorted(filter(None, map("".join, turn)))) for turn in turns}
    together = {("".join(front + back),) for front, back in turns}
    return {tuple(sorted(label))} | (apart | together if len(label) > 1 else set())


def _is_short_number(label: _Label) -> bool:
    """True for one or two digits: they stand in many names, and by themselves name nobody."""
    return len(label) == 1 and label[0].isdecimal() and len(label[0]) < 3


# --- which question


def _to_questions(
    rigs: Mapping[str, list[File]], notebooks: Mapping[tuple[str, str], File]
) -> tuple[dict[tuple[str, str, str], _Chosen], list[Aside], list[Aside]]:
    """Give rig files to the questions that ask for them.

    Questions of the lessons that a learner, or else somebody, hands in.

    Parameters
    ----------
    rigs : mapping of learner's id to list of File
    notebooks : mapping of (learner's id, lesson) to File

    Returns
    -------
    fittest : dict of (learner's id, lesson, question's name) to what `_fittest` gives
    unasked, untold : list of Aside
        Files that no lesson asks for; files that may be meant for several questions.
    """
    given, unasked, untold = defaultdict(list), [], []
    books: dict[str, dict[str, File]] = defaultdict(dict)
    for (who, lesson), file in notebooks.items():
        books[who][lesson] = file
    lessons = {lesson for _, lesson in notebooks} or catalogue.lessons()
    for who, file in [(who, file) for who, files in sorted(rigs.items()) for file in files]:
        asked = asking(books[who]) or asking(lessons)
        fits = {
            (lesson, name): _fit(file, lesson, name, books[who].get(lesson))
            for lesson, name in asked or asking(catalogue.lessons())
        }
        best = max(fits.values(), default=0)
        which = [question for question in fits if fits[question] == best]
        if not asked and best == 0:
            unasked.append(Aside(file, "No lesson here asks for a rig file.", (who,)))
        elif len(which) > 1:
            names = " or ".join("/".join(question) for question in which)
            untold.append(
                Aside(
                    file,
                    f"It may be for {names}. Put the question's name into the file's name.",
                    (who,),
                )
            )
        else:
            given[who, *which[0]].append((best, file))
    return {key: _fittest(key[2], rated) for key, rated in given.items()}, unasked, untold


def asking(lessons: Iterable[str]) -> list[tuple[str, str]]:
    """(lesson, name) of each question of some lessons that asks for a rig file."""
    return [
        (lesson, question.name)
        for lesson in sorted({*lessons} & {*catalogue.lessons()})
        for question in catalogue.questions(lesson).values()
        if question.kind == "file"
    ]


def _fit(file: File, lesson: str, name: str, book: File | None) -> int:
    """The fit of a rig file to a question: 3 if the notebook names it, else 2, 1 or 0.

    It is 2 if the file's own name says the question, 1 if its place says the lesson.
    """
    own = file.place.rpartition("/")[2]
    if book and folded(book.names.get(name, "")) == folded(own):
        return 3
    if _less_question(_stem(own), [name]) != _stem(own):
        return 2
    return int(lesson_of_place(file.place) == lesson)


def _fittest(name: str, rated: Sequence[tuple[int, File]]) -> _Chosen:
    """The rig file that counts for a question, of (fit, File); the rest as in `_chosen`."""

    def order(each: tuple[int, File]) -> tuple[Any, ...]:
        copy = _copy(each[1].place)
        return each[0], each[1].modified, _natural(copy[0]), copy

    ordered = sorted(rated, key=order)
    *others, best = (file for _, file in ordered)
    note = (
        f"{len(rated)} rig files were handed in for {name}; {best.place} was inspected, and not"
        f" {_listed(others)}."
    )
    whys = [(file, f"{best.place} was inspected for {name}.") for file in others]
    return best, whys, note if others else ""


def _less_question(stem: str, names: Iterable[str] | None = None) -> str:
    """A rig file's name without those of the questions that ask for one."""
    for name in [name for _, name in asking(catalogue.lessons())] if names is None else names:
        between = r"[\W_]*".join(map(re.escape, words(name)))
        stem = re.sub(rf"(?<![^\W_]){between}(?![^\W_])", " ", stem, flags=re.I)
    return stem


# --- which lesson


def lesson_of(file: File) -> str | None:
    """The lesson that a file's code opens, if there is such a one, or else what its place says."""
    return file.lesson if file.lesson in catalogue.works() else lesson_of_place(file.place)


def lesson_of_place(place: str) -> str | None:
    """The lesson that a file's name, or else a folder's, says.

    A name says it by its exercise's name, by "homework 6", by a lone "06", or by "my-leg".
    """
    for part in reversed(place.split("/")):
        stem = folded(_stem(part))
        if _LEG.search(stem):
            return catalogue.YOUR_LEG
        by_name = _exercise_names().search(stem)
        told = by_name or re.search(
            r"(?<![^\W\d_])(?:lesson|exercise|homework|hw|ex)[\W_]*(\d{1,2})(?!\d)", stem
        )
        number = told.group(1).zfill(2) if told else stem
        if number in catalogue.lessons():
            return number
    return None


def _less_exercise(stem: str) -> str:
    """A file's name without that of the exercise and without the counter of a copy."""
    rest = _LEG.sub(" ", _exercise_names().sub(" ", stem))
    return re.sub(r"\s*(\(\d{1,2}\)|[-_]copy\d*)$", "", rest, flags=re.I)


@cache
def _exercise_names() -> re.Pattern[str]:
    """A pattern for an exercise's name, with anything between its words.

    Its group is the lesson's number.
    """
    stems = sorted(path.stem for path in (course.source() / "exercises").glob("[0-9][0-9]-*.ipynb"))
    titles = "|".join(r"[\W_]+".join(map(re.escape, words(stem)[1:])) for stem in stems)
    return re.compile(rf"(?<!\d)(\d\d)[\W_]+(?:{titles})(?![^\W_])" if titles else "(?!)()", re.I)
