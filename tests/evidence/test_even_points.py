"""Points and ranks agree with those of SciPy, computed by another method."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from edgewind.evidence.even_points import even_points, ranks


@pytest.mark.parametrize("dimensions", [1, 3, 5])
@pytest.mark.parametrize("count", [1, 2, 5, 64, 1000, 4096])
def test_points_are_those_of_scipys_sobol_sequence(count: int, dimensions: int) -> None:
    from scipy.stats import qmc

    with np.errstate(all="ignore"):
        theirs = qmc.Sobol(d=dimensions, scramble=False).random(4096)[:count]
    assert_array_equal(even_points(count, dimensions), theirs)


@given(st.lists(st.integers(-5, 5), min_size=1, max_size=40))
def test_ranks_are_those_of_scipy(values: list[int]) -> None:
    from scipy.stats import rankdata

    array = np.array(values, float)
    assert_array_equal(ranks(array), rankdata(array))
    assert_array_equal(ranks(array[:, None]), rankdata(array)[:, None])
