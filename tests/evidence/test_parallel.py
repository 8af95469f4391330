"""Several rotors explained at once: the same answers, errors told, nothing left running."""

import shutil
import threading
import time

import numpy as np
import pytest

from edgewind.bench import write_template
from edgewind.evidence import parallel
from edgewind.evidence.parallel import explain_all
from edgewind.signals import read_experiment


@pytest.fixture(scope="module")
def experiments(tmp_path_factory):
    folder = tmp_path_factory.mktemp("parallel")
    write_template(folder / "one")
    shutil.copytree(folder / "one", folder / "two")
    bench = folder / "two" / "bench.toml"
    bench.write_text(bench.read_text(encoding="utf-8").replace("22.0 +/- 0.5 mm", "24.0 +/- 0.5 mm"), encoding="utf-8")
    return [read_experiment(folder / name) for name in ("one", "two")]


def test_processes_give_the_same_numbers_as_one_after_the_other(experiments):
    told = []
    at_once = explain_all(experiments, live_points=20, processes=2, progress=lambda *state: told.append(state))
    alone = explain_all(experiments[1:], live_points=20, processes=1)
    for one, other in zip(at_once[1:], alone, strict=True):
        assert one.no_fit == other.no_fit == ""
        assert np.array_equal(one.fit.draws, other.fit.draws)
        assert one.fit.log_evidence == other.fit.log_evidence
        assert one.claims == other.claims
    assert {state[0] for state in told} == {0, 1}
    assert {state[1] for state in told} >= {"all"}


def test_without_a_second_process_they_are_explained_here(experiments, monkeypatch):
    def refuse(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(parallel.subprocess, "Popen", refuse)
    monkeypatch.setattr(parallel, "explain", lambda experiment, **_: experiment.name)
    assert explain_all(experiments, processes=2) == ["one", "two"]


def test_a_process_that_dies_is_told(experiments, monkeypatch):
    monkeypatch.setattr(parallel.sys, "executable", "/bin/false")
    with pytest.raises(ChildProcessError):
        parallel._in_processes(experiments, 25, 2, lambda *_: None)


def test_an_interruption_ends_every_process(experiments, monkeypatch):
    """Ctrl-C arrives in the waiting thread; no process of ours runs on."""
    started = []
    real = parallel.subprocess.Popen

    def note(*args, **kwargs):
        started.append(real(*args, **kwargs))
        return started[-1]

    monkeypatch.setattr(parallel.subprocess, "Popen", note)

    def interrupted(*_, **__):
        while len(started) < 2:
            time.sleep(0.01)
        raise KeyboardInterrupt

    monkeypatch.setattr(parallel, "wait", interrupted)
    with pytest.raises(KeyboardInterrupt):
        explain_all(experiments, live_points=20, processes=2)
    assert all(process.poll() is not None for process in started)
    assert threading.active_count() < 10
