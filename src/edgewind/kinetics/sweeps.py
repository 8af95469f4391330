"""The compiled sweeps, and plain ones as a fallback if Numba is missing or does not compile them."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from importlib import import_module
from importlib.metadata import version
from typing import Any

from edgewind.extras import MissingExtraError, need
from edgewind.kinetics import plane_plain

PLANE = "edgewind.kinetics.plane_kernel"
_refused: set[str] = set()


class SlowSweepWarning(UserWarning):
    """The compiled sweep cannot be used, so that a solve takes about a hundred times as long."""


def plane_sweep(*arguments: Any) -> None:
    """Sweep a plane, with the arguments of `plane_kernel.sweep`."""
    _sweep(PLANE, plane_plain.sweep, arguments)


def compiled(kernel: str, name: str = "sweep") -> Callable[..., Any]:
    """Return a compiled function of a kernel that has no plain form.

    Raises
    ------
    MissingExtraError
        Numba is not installed, or its version does not compile the kernel; the latter may show at the first call.
    """
    need("numba", extra="solve", purpose="to solve for the gas in space or round a whole rotor")
    from numba.core.errors import NumbaError

    try:
        function = getattr(import_module(f"edgewind.kinetics.{kernel}"), name)
    except (ImportError, AttributeError, TypeError) as error:
        raise _unsuitable(kernel, error) from error

    def run(*arguments: Any) -> Any:
        try:
            return function(*arguments)
        except (NumbaError, NotImplementedError) as error:
            raise _unsuitable(kernel, error) from error

    return run


def _unsuitable(kernel: str, error: Exception) -> MissingExtraError:
    problem = str(error).strip().split("\n", 1)[0]
    return MissingExtraError(
        f"Numba {version('numba')} does not compile '{kernel}' ({type(error).__name__}: {problem}); "
        'install a version that does: pip install "edgewind[solve]"'
    )


def _sweep(kernel: str, plain: Callable[..., None], arguments: tuple[Any, ...]) -> None:
    """Run the compiled sweep, or the plain one after the first failure of Numba.

    The kernels build on Numba's interface for extensions, which may change between its versions.
    """
    if kernel not in _refused:
        try:
            compiled = import_module(kernel).sweep
        except Exception as error:
            _refuse(kernel, error)
        else:
            from numba.core.errors import NumbaError

            try:
                compiled(*arguments)
            except (NumbaError, NotImplementedError, RuntimeError, AttributeError) as error:
                _refuse(kernel, error)
            else:
                return
    results = arguments[-1]
    for part in results:
        part[:] = 0.0
    plain(*arguments)


def _refuse(kernel: str, error: Exception) -> None:
    _refused.add(kernel)
    warnings.warn(
        f"the compiled sweep {kernel} cannot be used ({type(error).__name__}: {error}): a plain one replaces it, "
        'about a hundred times slower; install a supported version of Numba: pip install "edgewind[solve]"',
        SlowSweepWarning,
        stacklevel=3,
    )
