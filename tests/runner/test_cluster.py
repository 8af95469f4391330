"""Work on a Dask cluster: the same results, killed workers, bad addresses."""

import os
import signal
import subprocess
import sys
import threading
from contextlib import contextmanager

import pytest
import runner_pieces as pieces

from edgewind.errors import InputError
from edgewind.runner import CLUSTER_VARIABLE, JobCancelledError, LocalRunner, open_runner
from edgewind.runner.local import worker_environment


@contextmanager
def cluster(workers, folder):
    """Start a scheduler and workers of one thread each, as programs of their own; give its address."""
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    address_file = folder / "scheduler.json"
    environment = worker_environment()
    started = [
        subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
             "--no-dashboard", "--scheduler-file", str(address_file)],
            env=environment, cwd=folder, **quiet,
        )
    ]  # fmt: skip
    try:
        started += [
            subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(address_file),
                 "--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(folder / "space")],
                env=environment, cwd=folder, **quiet,
            )
            for _ in range(workers)
        ]  # fmt: skip
        from distributed import Client

        with Client(scheduler_file=str(address_file), timeout=240, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=240)
            address = client.scheduler.address
        yield address
    finally:
        for program in started:
            program.kill()
        for program in started:
            program.wait()


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    from pathlib import Path

    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = str(Path(pieces.__file__).parent)
    with cluster(4, tmp_path_factory.mktemp("cluster")) as found:
        yield found
    os.environ.pop("PYTHONPATH") if before is None else os.environ.update(PYTHONPATH=before)


def test_a_cluster_gives_the_same_results_messages_and_errors_as_this_machine(address, monkeypatch):
    monkeypatch.setenv(CLUSTER_VARIABLE, address)
    heard, enough = [], threading.Event()

    def hear(*message):
        heard.append(message)
        if len(heard) == 4:
            enough.set()

    work = [(x,) for x in range(4)]
    with open_runner() as far, LocalRunner(1) as near:
        assert far.at_once == 4
        assert far.map(pieces.square, work, on_message=hear) == near.map(pieces.square, work)
        with pytest.raises(InputError, match="'seven' is not a number; write a number"):
            far.submit(pieces.refuse, "seven").result()


def test_cancelled_work_has_no_result(address, tmp_path):
    begun = threading.Event()
    with open_runner(address) as runner:
        job = runner.submit(pieces.slow_square, 3, str(tmp_path), on_message=lambda *_: begun.set())
        assert begun.wait(240)
        assert job.cancel()
        with pytest.raises(JobCancelledError):
            job.result()
        (tmp_path / "go").write_text("")


def test_killing_two_of_four_workers_loses_nothing(address, tmp_path):
    """Forty pieces of a table, two workers killed while they compute: the same bytes as without."""
    pids, enough = [], threading.Event()

    def hear(place, kind, pid):
        if pid not in pids:
            pids.append(pid)
            if len(pids) == 4:
                enough.set()

    def kill_two():
        assert enough.wait(240)
        for pid in pids[:2]:
            os.kill(pid, signal.SIGKILL)
        (tmp_path / "go").write_text("")

    killer = threading.Thread(target=kill_two)
    killer.start()
    with open_runner(address) as runner:
        table = runner.map(pieces.slow_square, [(x, str(tmp_path)) for x in range(40)], on_message=hear)
    killer.join()
    assert repr(table).encode() == repr([x * x for x in range(40)]).encode()
    begun = [path.name.split("-")[1] for path in tmp_path.glob("begun-*")]
    assert len(begun) > 40, "no piece was begun twice: the workers were killed too late"


@pytest.mark.parametrize("wrong", ["host:8786", "http://host:8786", "tcp://host", "tcp://ho st:1"])
def test_an_address_that_is_not_one_is_refused(wrong):
    with pytest.raises(InputError, match="tcp://host:8786"):
        open_runner(wrong)


def test_a_scheduler_that_does_not_reply_is_named(free_port):
    with pytest.raises(InputError, match=f"no Dask scheduler answers at tcp://127.0.0.1:{free_port}"):
        from edgewind.runner.cluster import ClusterRunner

        ClusterRunner(f"tcp://127.0.0.1:{free_port}", timeout_s=0.5)


def test_a_missing_cluster_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r'pip install "edgewind\[cluster\]"'):
        open_runner("tcp://127.0.0.1:8786")


@pytest.fixture
def free_port():
    import socket

    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]
