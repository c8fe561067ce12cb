"""Marking on a scheduler with two workers, each a process: the same marks, and a death loses
nothing."""

import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import ExitStack

import pytest

import rigkit
from rigkit.marking import cluster, pipeline
from rigkit.marking.cluster import Cluster, ClusterError
from rigkit.marking.jail import JailError
from rigkit.marking.record import RECORD, Record
from tests.marking.classroom import ROOT, make_class
from tests.marking.jails import opened
from tests.marking.test_pipeline import _TIME, _task, files, marks

pytestmark = pytest.mark.needs_jail
distributed = pytest.importorskip("distributed")
PART = "distributed.cli.dask_{}"


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """The address of a scheduler with no workers yet, and how to start one."""
    folder = tmp_path_factory.mktemp("cluster")
    about = folder / "scheduler.json"

    def start(part, *more):
        return stack.enter_context(
            subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    PART.format(part),
                    "--scheduler-file",
                    about,
                    "--no-dashboard",
                    *more,
                ],
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        )

    with ExitStack() as stack:
        processes = [start("scheduler", "--port", "0", "--host", "127.0.0.1")]
        with _patient():
            while not about.exists() or not about.read_text().rstrip().endswith("}"):
                time.sleep(0.1)

        def start_worker(name):
            processes.append(
                start(
                    "worker",
                    "--no-nanny",
                    "--nthreads",
                    "1",
                    "--name",
                    name,
                    "--local-directory",
                    str(folder),
                )
            )
            return processes[-1]

        with distributed.Client(scheduler_file=str(about), set_as_default=False) as client:
            yield client, client.scheduler.address, start_worker
        for process in processes:
            process.kill()


def _patient(seconds=60):
    """Fail, rather than wait for ever."""

    def ring(*_):
        raise TimeoutError(f"it took longer than {seconds} s")

    class Alarm:
        def __enter__(self):
            self.before = signal.signal(signal.SIGALRM, ring)
            signal.alarm(seconds)

        def __exit__(self, *_):
            signal.alarm(0)
            signal.signal(signal.SIGALRM, self.before)

    return Alarm()


def test_a_scheduler_without_workers_is_said_to_have_none(scheduler):
    _, address, _ = scheduler
    with pytest.raises(ClusterError, match="has no workers"):
        Cluster(address, "bwrap", pipeline.mark_task)


def test_no_scheduler_is_said_to_be_none(monkeypatch):
    monkeypatch.setattr(cluster, "PATIENCE", 0.5)
    with pytest.raises(ClusterError, match="No scheduler answers at tcp:"):
        Cluster("tcp://127.0.0.1:9", "bwrap", pipeline.mark_task)


def test_without_the_extra_it_is_said_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match="pip install"):
        Cluster("tcp://127.0.0.1:9", "bwrap", pipeline.mark_task)


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (distributed.KilledWorker("mark", None, 3), "Each worker that marked it died."),
        (JailError("no bwrap."), "The worker had no jail: no bwrap."),
    ],
)
def test_a_task_that_no_worker_can_do_is_not_marked_and_no_zero(fault, why):
    class Future:
        def result(self):
            raise fault

    hands = object.__new__(Cluster)
    hands._distributed = distributed
    (entry,) = hands._result(Future(), _task()).entries
    assert (entry.marked, entry.score, entry.why) == (False, None, why)


def test_a_killed_worker_loses_nothing_and_the_marks_are_those_of_one_machine(
    scheduler, tmp_path, monkeypatch
):
    opened("bwrap")
    client, address, start_worker = scheduler
    make_class(tmp_path / "here", 9, kinds=("right", "misconception", "broken"))
    (tmp_path / "here" / "results").mkdir()
    Record(tmp_path / "here" / "results" / RECORD).close()
    shutil.copytree(tmp_path / "here", tmp_path / "there")
    workers = [start_worker("one"), start_worker("two")]
    with _patient():
        client.wait_for_workers(2)
    killed = []

    def kill_one(progress):
        if not killed:
            workers[0].kill()
            killed.append(workers[0].wait())

    def mark(room, **how):
        return pipeline.mark_class(
            room / "submissions", room / "results", room / "roster.csv", **how
        )

    with _patient():
        found = mark(tmp_path / "there", cluster=address, progress=kill_one)
    assert killed == [-signal.SIGKILL]
    assert (found.marked, found.not_marked) == (9, ())
    assert mark(tmp_path / "here").marked == 9
    assert marks(tmp_path / "there") == marks(tmp_path / "here")
    assert files(tmp_path / "there" / "results", _TIME) == files(
        tmp_path / "here" / "results", _TIME
    )
    with Record(tmp_path / "there" / "results" / RECORD) as record:
        assert len(list(record.history())) == 9  # nobody twice

    monkeypatch.setattr(rigkit, "__version__", "0.0.1", raising=False)
    with pytest.raises(ClusterError, match="Install the same version on all"):
        Cluster(address, "bwrap", pipeline.mark_task)
