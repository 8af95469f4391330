"""Running means, slow parts and lengths of transforms, against SciPy's."""

import numpy as np
import pytest
from scipy import fft
from scipy.ndimage import uniform_filter1d

from edgewind.signals.smooth import fast_length, running_mean, slow_part


@pytest.mark.parametrize("width", [1, 2, 3, 8, 41, 500])
def test_running_means_equal_those_of_a_uniform_filter(width):
    values = 5.0 + np.random.default_rng(1).standard_normal(300).cumsum()
    assert running_mean(values, width) == pytest.approx(uniform_filter1d(values, width, mode="nearest"), abs=1e-12)


@pytest.mark.parametrize("size", [64, 101])
@pytest.mark.parametrize("cells", [0, 1, 7])
def test_the_slow_part_equals_that_of_the_cosine_transform(size, cells):
    values = 5.0 + np.random.default_rng(2).standard_normal(size)
    coefficients = fft.dct(values, norm="ortho")
    coefficients[cells:] = 0
    assert slow_part(values, cells) == pytest.approx(fft.idct(coefficients, norm="ortho"), abs=1e-12)


def test_fast_lengths_are_those_of_a_real_transform():
    for least in (*range(1, 2000), 80_001, 123_457, 1_000_003):
        assert fast_length(least) == fft.next_fast_len(least, real=True)
