"""Shared by the tests of questions: progress of their own, solutions run when first asked for."""

import pytest

from rigkit import course
from tests.homework.solved import answered


@pytest.fixture(autouse=True)
def _own_progress(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    course.reset_progress()
    yield
    course.reset_progress()


class Answers(dict):
    """Names that solutions leave behind, by lesson and learner; run when first asked for."""

    def __missing__(self, key):
        return self.setdefault(key, answered(*key))


@pytest.fixture(scope="module")
def answers():
    return Answers()
