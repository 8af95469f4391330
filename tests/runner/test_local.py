"""Work in processes of this machine: results, messages, errors, cancellation, killed processes."""

import os
import signal
import threading

import pytest
import runner_pieces as pieces

from edgewind.errors import InputError
from edgewind.runner import JobCancelledError, JobFailedError, KeptResults, LocalRunner, open_runner, report


@pytest.fixture(scope="module")
def runner():
    with LocalRunner(2) as made:
        yield made


def test_results_come_in_the_order_of_the_pieces(runner):
    assert runner.map(pieces.square, [(x,) for x in range(7)]) == [x * x for x in range(7)]


def test_work_is_done_in_other_processes_and_no_more_than_requested(runner):
    used = set(runner.map(pieces.process_id, [()] * 8))
    assert os.getpid() not in used
    assert len(used) <= 2


def test_messages_of_running_work_are_received(runner):
    heard = []
    runner.map(pieces.square, [(3,), (4,)], on_message=lambda *message: heard.append(message))
    assert sorted(heard) == [(0, "progress", (3, 1)), (1, "progress", (4, 1))]


def test_a_message_without_a_runner_is_ignored():
    assert report("progress", 1) is None


def test_an_error_of_the_work_is_raised_with_all_its_fields(runner):
    with pytest.raises(InputError, match="key x: 'seven' is not a number; write a number"):
        runner.submit(pieces.refuse, "seven").result()


def test_an_error_that_cannot_be_pickled_is_raised_as_text(runner):
    with pytest.raises(JobFailedError, match="OddError: odd"):
        runner.submit(pieces.raise_odd).result()


def test_output_printed_by_work_does_not_disturb_the_results(runner):
    assert runner.submit(pieces.print_much).result() == "printed"


def test_work_that_cannot_be_sent_is_refused_at_once(runner):
    with pytest.raises(Exception, match="pickle"):
        runner.submit(lambda: None)


def test_cancelling_ends_the_process_and_removes_partial_files(tmp_path):
    begun = threading.Event()
    with LocalRunner(1) as runner:
        job = runner.submit(pieces.wait_in_block, str(tmp_path), on_message=lambda *_: begun.set())
        waiting = runner.submit(pieces.square, 3)
        assert begun.wait(240)
        assert (tmp_path / "draft").exists()
        assert job.cancel()
        assert not job.cancel()
        assert job.state == "cancelled"
        with pytest.raises(JobCancelledError):
            job.result()
        assert waiting.result() == 9  # the next one runs, in a new process
        assert not (tmp_path / "draft").exists()


def test_a_job_that_waits_can_be_cancelled(tmp_path):
    begun = threading.Event()
    with LocalRunner(1) as runner:
        runner.submit(pieces.wait_in_block, str(tmp_path), on_message=lambda *_: begun.set())
        waiting = runner.submit(pieces.count, str(tmp_path), 1)
        assert begun.wait(240)
        assert waiting.cancel()
    assert not (tmp_path / "runs-1").exists()


def test_a_process_that_dies_affects_its_own_task_only(tmp_path):
    with LocalRunner(2) as runner:
        assert runner.map(pieces.die_first, [(str(tmp_path), x) for x in range(4)]) == [0, 1, 2, 3]


def test_work_that_always_dies_is_reported_after_the_attempts():
    with LocalRunner(1, attempts=2) as runner:
        job = runner.submit(pieces.die)
        with pytest.raises(JobFailedError, match="died 2 times"):
            job.result()
        assert job.state == "failed"
        assert runner.submit(pieces.square, 2).result() == 4


def test_the_first_error_cancels_the_other_pieces(tmp_path):
    with LocalRunner(1) as runner:
        with pytest.raises(InputError):
            runner.map(pieces.refuse, [("a",), ("b",), ("c",)])
        assert runner.submit(pieces.square, 2).result() == 4


def test_processes_end_with_the_runner():
    with LocalRunner(1) as runner:
        number = runner.submit(pieces.process_id).result()
        assert runner.process_ids == [number]
    with pytest.raises(ProcessLookupError):
        os.kill(number, 0)


def test_an_idle_process_that_was_killed_is_replaced():
    with LocalRunner(1) as runner:
        os.kill(runner.submit(pieces.process_id).result(), signal.SIGKILL)
        assert runner.submit(pieces.square, 5).result() == 25


def test_finished_pieces_are_stored_and_not_run_again(tmp_path, runner):
    work, kept = tmp_path / "work", KeptResults(tmp_path / "kept")
    work.mkdir()
    first = [(str(work), x) for x in (1, 2)]
    assert runner.map(pieces.count, first, keep=kept) == [10, 20]
    ended = []
    again = runner.map(pieces.count, [*first, (str(work), 3)], keep=kept, on_result=lambda *one: ended.append(one))
    assert again == [10, 20, 30]
    assert sorted(ended) == [(0, 10), (1, 20), (2, 30)]
    assert [(work / f"runs-{x}").read_text() for x in (1, 2, 3)] == ["x", "x", "x"]


def test_a_damaged_stored_result_is_computed_again(tmp_path, runner):
    kept = KeptResults(tmp_path / "kept")
    runner.map(pieces.square, [(6,)], keep=kept)
    (file,) = kept.folder.iterdir()
    file.write_bytes(file.read_bytes()[:5])
    assert runner.map(pieces.square, [(6,)], keep=kept) == [36]


def test_a_closed_runner_refuses_work():
    runner = LocalRunner(1)
    runner.close()
    runner.close()
    with pytest.raises(RuntimeError, match="closed"):
        runner.submit(pieces.square, 1)


def test_without_a_cluster_work_is_done_on_this_machine():
    with open_runner(processes=3) as runner:
        assert isinstance(runner, LocalRunner)
        assert runner.at_once == 3
