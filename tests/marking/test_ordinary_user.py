"""Marking begun by an ordinary user, who has no other to run learners' code as."""

import functools
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from rigkit.marking import site
from tests.marking import test_mixed_class as mixed
from tests.marking.classroom import ROOT

pytestmark = pytest.mark.needs_jail
NUMBER = 54321  # a user that no machine knows: without a home, a name or a file
PART = (
    "right",
    "an endless loop in an answer",
    "a shell line first",
    "scipy, used",
    "no opening cell",
    "a wrong model",
    "markup in its words",
    "junk bytes",
)


class Ordinary:
    """Whoever begins a command: a user of no rights where root runs the tests, else oneself."""

    def __init__(self):
        self.user = (NUMBER, NUMBER) if os.geteuid() == 0 else None
        try:
            self.python = site.interpreter(self.user).path
        except site.SiteError as why:
            pytest.skip(str(why))
        packages = [str(ROOT), *(place for place in sys.path if "-packages" in place)]
        self.environment = {
            "PATH": os.environ["PATH"],
            "PYTHONPATH": os.pathsep.join(packages),
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        if self.run(["-c", "import numpy, rigkit.cli"]).returncode:
            pytest.skip("the kit or its packages are in a folder closed to other users")

    def run(self, words, before=(), **environment):
        """Run Python with words on its command line, itself begun by the words `before`."""
        return subprocess.run(
            [*before, self.python, *map(str, words)],
            capture_output=True,
            text=True,
            cwd="/",
            env=self.environment | environment,
            timeout=600,
            umask=0o002,  # as many systems set it, where each user has a group of their own
            **site.run_as(self.user),
        )


@pytest.fixture(scope="module")
def ordinary():
    if not sys.platform.startswith("linux"):
        pytest.skip("Linux only")
    return Ordinary()


@pytest.fixture(scope="module")
def room(ordinary):
    """A folder of their own."""
    with tempfile.TemporaryDirectory() as folder:
        if ordinary.user:
            os.chown(folder, *ordinary.user)
        yield Path(folder)


@pytest.fixture(scope="module")
def marked(ordinary, room):
    """The results of a part of the mixed class, by the kind of jail that they mark it in."""

    @functools.cache
    def results_of(kind):
        place = room / kind
        place.mkdir()
        command = mixed.handed_in(place, kind, PART)
        for path in (place, *place.rglob("*")):
            os.chown(path, *ordinary.user or (-1, -1))
        done = ordinary.run(command, XDG_CACHE_HOME=str(room / "cache"))
        assert done.returncode == 1, done.stderr  # the junk cannot be marked
        return place / "results"

    return results_of


IN_BOTH = pytest.mark.parametrize(
    "kind", ["bwrap", pytest.param("landlock", marks=pytest.mark.thorough)]
)


@IN_BOTH
@pytest.mark.parametrize("key", PART)
def test_each_gets_the_mark_and_the_words_that_it_must(marked, kind, key):
    mixed.check(marked(kind), key)


@IN_BOTH
def test_the_results_are_theirs(marked, ordinary, kind):
    owners = {path.stat().st_uid for path in (marked(kind), *marked(kind).rglob("*"))}
    assert owners == {ordinary.user[0] if ordinary.user else os.geteuid()}


def test_who_has_no_home_is_told_what_to_do(ordinary, room):
    if ordinary.user is None:
        pytest.skip("the user who runs the tests has a home")
    command = [*mixed.handed_in(room / "homeless", "bwrap", PART[:1]), "--out", room / "none"]
    said = ordinary.run(command).stderr.splitlines()[-1]
    assert said.startswith("rigkit mark: The user who marks has no home")
    assert said.endswith("Set XDG_CACHE_HOME to a folder where you may write.")
    said = ordinary.run(command, HOME="/nonexistent").stderr.splitlines()[-1]
    assert said.startswith(
        "rigkit mark: /nonexistent/.cache/rigkit, for copies of packages, cannot"
    )


# As a system without user namespaces does it, in a namespace of its own.
WITHOUT_NAMESPACES = (
    *("unshare", "--user", "--map-current-user", "--keep-caps", "sh", "-c"),
    "echo 0 > /proc/sys/user/max_user_namespaces &&"
    ' exec setpriv --inh-caps -all --ambient-caps -all "$@"',
    "sh",
)
# As in a container in which root can become nobody else.
ONLY_ROOT = ("unshare", "--user", "--map-root-user")


def test_a_system_without_user_namespaces(ordinary, room):
    if not (shutil.which("unshare") and shutil.which("setpriv")):
        pytest.skip("no unshare or setpriv here")
    cache = {"XDG_CACHE_HOME": str(room / "cache")}
    code = [
        "-c",
        "import sys; from rigkit.marking import jail; jail.open_jail(sys.argv[1]).self_test()",
    ]
    refused = ordinary.run([*code, "bwrap"], WITHOUT_NAMESPACES, **cache).stderr
    assert "JailError: the jail does not start: `user.max_user_namespaces` is 0" in refused
    assert "or give `--jail landlock`" in refused
    assert ordinary.run([*code, "landlock"], WITHOUT_NAMESPACES, **cache).stderr == ""


def test_root_that_can_become_nobody_else(ordinary):
    code = ["-c", "from rigkit.marking import jail; jail.open_jail()"]
    said = ordinary.run(code, ONLY_ROOT).stderr
    assert "JailError: root cannot run learners' code as another user here" in said
    assert "Run `rigkit mark` as a user who is not root." in said
