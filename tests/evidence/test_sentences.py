"""The three sentences of an answer, from verdicts and from a fit that may not hold."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from edgewind.bench import Bench
from edgewind.evidence.claims import Claim, Verdict
from edgewind.evidence.sentences import sentences_of
from edgewind.rotor.drives import accommodation, foreign, thermal_force


def claim(name: str, verdict: Verdict, share: float = 0.0) -> Claim:
    return Claim(name=name, verdict=verdict, size_ratio=share, why="It is so.")


@pytest.fixture
def fitted(make_bench: Any) -> Any:
    """What the sentence about the cold reads of a fit: ``fitted(p_value=0.5)``."""
    bench: Bench = make_bench(rotor={"dark_emissivity": "0.95"})

    def make(p_value: float = 0.5, *, settled: bool = True, smooth: bool = False) -> Any:
        return SimpleNamespace(
            problem=SimpleNamespace(bench=bench), unknowns=[SimpleNamespace(name="bright_emissivity")],
            draws=np.full((50, 1), 0.1), p_value=p_value, settled=settled, smooth=SimpleNamespace(found=smooth),
        )  # fmt: skip

    return make


CONTRADICTED = [claim(thermal_force.NAME, "ruled out", 0.2), claim(accommodation.NAME, "ruled out", 0.75)]


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        ("sufficient", "it would reverse for a while, because"),
        ("compatible", "it would reverse for a while if the thermal force drives it, because"),
        ("contributes", "whether it reverses depends on what else drives it"),
        ("cannot tell", "which these readings do not show"),
        ("ruled out", "need not reverse it"),
    ],
)
def test_a_reversal_is_foretold_as_surely_as_the_thermal_force_is_the_cause(
    verdict: Verdict, said: str, fitted: Any
) -> None:
    judged = [claim(thermal_force.NAME, verdict, 0.5)]
    tests: Any = [SimpleNamespace(seen=SimpleNamespace(signed=False), kind="lamp off")]
    # the two claims, both ruled out, keep the larger rotor from being computed, which needs a whole fit
    found = sentences_of((*judged, *CONTRADICTED[1:]), fitted(), tests=tests)
    assert said in found.in_the_cold


@pytest.mark.parametrize("fault", [{"p_value": 0.001}, {"settled": False}, {"smooth": True}])
def test_a_fit_that_does_not_describe_the_readings_foretells_nothing(fault: dict[str, Any], fitted: Any) -> None:
    found = sentences_of((claim(thermal_force.NAME, "compatible", 0.9),), fitted(**fault))
    assert found.a_larger_one.startswith("The fit does not describe the readings")
    assert found.in_the_cold.startswith("The fit does not describe the readings")


def test_a_larger_rotor_is_not_foretold_from_drives_that_tests_rule_out(fitted: Any) -> None:
    tests: Any = [SimpleNamespace(seen=SimpleNamespace(signed=False), kind="lamp off")]
    found = sentences_of(tuple(CONTRADICTED), fitted(), tests=tests)
    assert found.a_larger_one.startswith("The tests made on purpose rule out the drives of the fit")


def test_a_mechanism_left_open_with_a_large_share_is_named_beside_a_compatible_one() -> None:
    """As for a rotor of the thermal force whose curve unequal accommodation alone explains, too."""
    compatible = claim(accommodation.NAME, "compatible", 0.71)
    for share, named in (((0.16, 0.49), True), ((-0.1, 0.1), False)):
        undecided = claim(thermal_force.NAME, "cannot tell", 0.29).model_copy(update={"size_ratio_interval": share})
        why = sentences_of((compatible, undecided), None).why_it_turns
        assert why.endswith(f", and they leave open {thermal_force.NAME}.") == named
        assert "do not prove it" in why


def test_every_contribution_is_named() -> None:
    names = (thermal_force.NAME, accommodation.NAME, foreign.NAME)
    found = sentences_of(tuple(claim(name, "contributes", 0.3) for name in names), None)
    assert found.why_it_turns.count("because") == 3
