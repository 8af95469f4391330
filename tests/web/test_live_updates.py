"""Live updates of an experiment: every page receives each change once and in order, whoever made it."""

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.threads import in_thread

from edgewind.book import Book, changes_of, marks, open_book, read_part
from edgewind.web.live_updates import RUN, ExperimentFeed, Subscriber

TITLES = ("time [s]", "pressure [Pa]", "speed [rpm]", "exclude")


@pytest.fixture
def book(tmp_path: Path, bench_text: str) -> Any:
    with open_book(tmp_path / "lab.book", make=True) as opened:
        opened.add_experiment("rotor", bench_text.encode(), TITLES)
        yield opened


def record(book: Book, number: int, speed: str = "120.0") -> int:
    return book.record("rotor", {"time": str(number), "pressure": f"{1 + number / 10}", "speed": speed})


async def hear(listener: Subscriber, until: Callable[[list[Any]], bool]) -> list[Any]:
    heard: list[Any] = []
    while not until(heard):
        text = await listener.next(120)
        assert text, "nothing was told"
        heard.append(json.loads(text))
    return heard


def rows_of(heard: list[Any]) -> list[int]:
    return [row["n"] for message in heard if message["kind"] == "rows" for row in message["rows"]]


def test_changes_by_others_are_sent_once_and_in_order(book: Book, tmp_path: Path) -> None:
    for number in range(20):
        record(book, number)

    async def go() -> None:
        watch = ExperimentFeed(lambda: book, "rotor")
        first, second = Subscriber(asyncio.get_running_loop()), Subscriber(asyncio.get_running_loop())
        watch.add(first)
        heard = await hear(first, lambda told: len(rows_of(told)) == 20)
        assert rows_of(heard) == list(range(1, 21))
        assert heard[-1]["run"] == RUN
        watch.add(second, run=RUN, revision=heard[-1]["revision"])
        with open_book(tmp_path / "lab.book", write=True) as other:
            for number in range(20, 25):
                record(other, number)
            assert rows_of(await hear(first, lambda told: len(rows_of(told)) == 5)) == [21, 22, 23, 24, 25]
            # the second page had seen twenty, and is told of the new ones alone
            assert rows_of(await hear(second, lambda told: len(rows_of(told)) == 5)) == [21, 22, 23, 24, 25]
            other.exclude("rotor", 3, "the door stood open")
            told = await hear(first, lambda told: bool(rows_of(told)))
            assert [(row["n"], row["used"], row["exclude"]) for row in told[-1]["rows"]] == [
                (3, False, "the door stood open")
            ]
            other.reinstate("rotor", 3, "it was shut")
            told = await hear(first, lambda told: bool(rows_of(told)))
            assert [(row["n"], row["used"]) for row in told[-1]["rows"]] == [(3, True)]
        await asyncio.to_thread(watch.close)

    in_thread(asyncio.run, go())


def test_a_changed_bench_sends_every_reading_again(book: Book, bench_text: str) -> None:
    for number in range(3):
        record(book, number)

    async def go() -> None:
        watch, listener = ExperimentFeed(lambda: book, "rotor"), Subscriber(asyncio.get_running_loop())
        watch.add(listener)
        heard = await hear(listener, lambda told: len(rows_of(told)) == 3)
        before = {row["n"]: row["kn"] for message in heard for row in message.get("rows", [])}
        book.revise_bench("rotor", bench_text.replace("12.0(1) mm", "24.0(1) mm").encode(), "measured again")
        heard = await hear(listener, lambda told: len(rows_of(told)) == 3)
        assert any(message.get("whole") for message in heard)
        for row in heard[-1]["rows"]:
            assert row["kn"] == pytest.approx(before[row["n"]] / 2)
        await asyncio.to_thread(watch.close)

    in_thread(asyncio.run, go())


def test_an_unreadable_reading_shows_its_reason_and_hides_no_other(book: Book) -> None:
    from edgewind.book import TraceFile
    from edgewind.web.views import part_views

    book.add_experiment("traced", book.contents("rotor").bench, ("time [s]", "pressure [Pa]", "trace", "speed [rpm]"))
    book.record("traced", {"time": "1", "pressure": "1.0", "speed": "33"})
    book.record("traced", {"time": "2", "pressure": "2.0"}, TraceFile("traces/2.csv", b"no trace at all"))
    book.record("traced", {"time": "3", "pressure": "3.0", "speed": "31"})
    rows = part_views(read_part(book, "traced"))
    assert [row["n"] for row in rows] == [1, 2, 3]
    assert [row["used"] for row in rows] == [True, False, True]
    assert rows[1]["why_not"].startswith("cannot be read:")


def test_a_part_of_a_book_is_read_like_the_whole(book: Book) -> None:
    for number in range(6):
        record(book, number)
    book.exclude("rotor", 2, "a truck went by")
    book.correct("rotor", 5, "speed", "99.5", "digits swapped")
    assert marks(book)["rotor"].readings == 6 and marks(book)["rotor"].changes == 2
    assert read_part(book, "rotor", after=4).numbers == (5, 6)
    assert read_part(book, "rotor", after=6, changed_after=1).numbers == (5,)
    assert read_part(book, "rotor", after=2, most=3).numbers == (3, 4, 5)
    whole, part = book.contents("rotor"), read_part(book, "rotor", after=6, changed_after=0)
    assert part.numbers == (2, 5)
    assert part.source.contents.cells_now() == [whole.cells_now()[1], whole.cells_now()[4]]
    assert [change.reading for change in changes_of(book, "rotor", [5])] == [5]
