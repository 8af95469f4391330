"""Numbers written by the pages in the browser: the same text as in the report and the commands."""

import random
from collections.abc import Callable
from typing import Any

import pytest

from edgewind.formatting import format_measured, format_number, raise_exponents

pytestmark = pytest.mark.browser

# Exactly between two numbers of two or three digits, and on either side of a change of form or of a power of ten.
EDGES = (
    0.125, 0.375, 2.5, 3.5, 12.5, 0.5, 1.25, 1.75, 1024.5, 6.25e-2, 999.5, 99.95, 9.995, 9.9951, 0.99949, 0.9996, 0.001,
    0.00099951, 0.00099949, 1e-3, 9.99e-4, 999_999.0, 999_499.0, 1e6, 1e5, 99_999.6, 123_456.0, 1e-12, 1e12, 5e-324,
    1.7e308, 0.1, 0.3, 1 / 3, 2 / 3, 1000.0, 1e-7,
)  # fmt: skip
ASKED = """async ([numbers, pairs]) => {
    const { number, measured } = await import("/static/common.js");
    return [numbers.map(([value, digits]) => number(value, digits)), pairs.map(([value, u]) => measured(value, u))];
}"""


def test_the_pages_and_the_report_write_the_same_numbers(one_server: Any, visit: Callable[..., Any]) -> None:
    drawn = random.Random(12)
    values = [sign * value for value in EDGES for sign in (1, -1)] + [0.0]
    values += [drawn.choice((1, -1)) * 10 ** drawn.uniform(-12, 9) for _ in range(300)]
    values += [round(value, drawn.randrange(5)) for value in values if 1e-4 < abs(value) < 1e6]  # as people type them
    numbers = [(value, digits) for value in values for digits in (1, 2, 3, 4, 6)]
    pairs = [(value, 10 ** drawn.uniform(-9, 5)) for value in values if abs(value) < 1e300]
    pairs += [(value, u) for value in (0.0, 2.5, -12.5, 0.0625, 1234.5) for u in (0.5, 0.25, 0.0295, 2.95, 25.0, 1e-9)]
    window = visit(expected=("404",))
    window.page.goto(one_server.url + "/nowhere")
    shown_numbers, shown_pairs = window.page.evaluate(ASKED, [numbers, pairs])
    for (value, digits), shown in zip(numbers, shown_numbers, strict=True):
        assert shown == raise_exponents(format_number(value, digits, keep_zeros=True)), (value, digits)
    for (value, u), shown in zip(pairs, shown_pairs, strict=True):
        assert shown == raise_exponents(format_measured(value, u)), (value, u)


def test_a_sentence_is_converted_to_the_units_chosen_without_rounding_twice(
    one_server: Any, visit: Callable[..., Any]
) -> None:
    """3.326 Pa are 24.95 mTorr; the 3.33 Pa of the sentence would give 25.0."""
    window = visit(expected=("404",))
    said = "fastest at 3.33 Pa (24.9 mTorr), 2.79 to 3.97 Pa (20.9 to 29.8 mTorr), from 0.5 Pa on, at -6.2 rad/s"
    shown = {
        "mTorr": "fastest at 24.9 mTorr, 20.9 to 29.8 mTorr, from 3.8 mTorr on, at \u22126.2 rad/s",
        "Pa": said.replace("-", "\u2212"),
        "mbar": "fastest at 0.0333 mbar, 0.0279 to 0.0397 mbar, from 0.0050 mbar on, at \u22126.2 rad/s",
    }
    for unit, words in shown.items():
        window.page.goto(one_server.url + "/nowhere")
        window.page.evaluate(
            "([pressure]) => { localStorage.setItem('edgewind-unit-pressure', pressure);"
            " localStorage.setItem('edgewind-unit-speed', 'rad/s'); }",
            [unit],
        )
        window.page.reload()
        asked = "async (said) => (await import('/static/common.js')).inChosenUnits(said)"
        assert window.page.evaluate(asked, said) == words
