"""Long work: started in processes of this machine or on a Dask cluster, watched, cancelled, and its results kept."""

from edgewind.runner.base import Job, JobCancelledError, JobFailedError, Runner, State, report
from edgewind.runner.choose import CLUSTER_VARIABLE, open_runner
from edgewind.runner.keep import KeptResults
from edgewind.runner.local import LocalRunner, processors

__all__ = [
    "CLUSTER_VARIABLE",
    "Job",
    "JobCancelledError",
    "JobFailedError",
    "KeptResults",
    "LocalRunner",
    "Runner",
    "State",
    "open_runner",
    "processors",
    "report",
]
