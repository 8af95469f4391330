"""Choice of the place where long work is done."""

from __future__ import annotations

import os

from edgewind.runner.base import Runner
from edgewind.runner.local import LocalRunner

CLUSTER_VARIABLE = "EDGEWIND_CLUSTER"


def open_runner(cluster: str | None = None, *, processes: int | None = None) -> Runner:
    """Return a runner: a Dask cluster where one is named, else processes of this machine.

    Parameters
    ----------
    cluster : str, optional
        Address of the scheduler, ``tcp://host:8786``; that of the variable ``EDGEWIND_CLUSTER`` where absent.
    processes : int, optional
        How many processes of this machine, where there is no cluster.

    Raises
    ------
    InputError
        The address is not one, no scheduler answers there, or the extra `cluster` is not installed.
    """
    address = cluster or os.environ.get(CLUSTER_VARIABLE)
    if not address:
        return LocalRunner(processes)
    from edgewind.runner.cluster import ClusterRunner

    return ClusterRunner(address)
