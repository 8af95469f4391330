"""The whole study: from experiment folders to findings, figures, data package and report, all or nothing.

The module itself can be called: ``edgewind.study("my-bench")`` is :func:`run_study` with a fit, whose result a notebook
displays.

Examples
--------
>>> import edgewind, tempfile
>>> found = edgewind.study(edgewind.new(tempfile.mkdtemp() + "/my-bench"), fit=False)
>>> print(found.findings[0].optimum.found, len(found.readings), found.curves["my-bench"].speed_rad_s.units)
True 17 rad/s
"""

from __future__ import annotations

import dataclasses
import json
import platform
import shlex
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from edgewind.bench import BENCH_FILE, Bench
from edgewind.errors import InputError
from edgewind.evidence import Findings, SizeComparison, SweepData, compare_sizes, find, find_why_all
from edgewind.evidence.fit import MODELS, STEPS
from edgewind.evidence.next_test import propose_tests
from edgewind.extras import need
from edgewind.plan import Plan, gauge_range, propose, propose_if_possible
from edgewind.plan.ranges import check_range
from edgewind.report.summary import study_summary
from edgewind.signals import ExperimentSource, FolderSource, read_experiment
from edgewind.signals.table import NoRowsError

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

SUMMARY_FILE = "study.json"
REPORT_FILE = "report.html"
_LIBRARIES = ("edgewind", "numpy", "scipy", "pandas", "matplotlib")
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, repr=False)
class Study:
    """Findings of a study, and its output folder; displayed in a notebook.

    Attributes
    ----------
    findings : tuple of Findings
        Findings of each rotor.
    comparison : SizeComparison or None
        Comparison of two rotors.
    report : Path or None
        File of the report, if written.
    summary : dict
        The output of ``edgewind study --json``.
    plans : tuple of Plan or None
        Plans of the next measurements, one for each rotor.
    root, command : str
        Path of the inputs, and command that makes the report again, for the report.
    """

    findings: tuple[Findings, ...]
    comparison: SizeComparison | None
    report: Path | None
    summary: dict[str, Any]
    plans: tuple[Plan | None, ...] = ()
    root: str = ""
    command: str = ""

    @property
    def readings(self) -> pd.DataFrame:
        """Every reading of every rotor, SI."""
        from edgewind.report.tables import readings_table

        tables = [readings_table(found).assign(experiment=found.experiment.name) for found in self.findings]
        return pd.concat(tables, ignore_index=True)

    @property
    def mechanisms(self) -> pd.DataFrame:
        """Every verdict on every rotor."""
        rows = [(found.experiment.name, one.name, one.verdict, one.why)
                for found in self.findings for one in found.mechanisms]  # fmt: skip
        return pd.DataFrame(rows, columns=["experiment", "mechanism", "verdict", "why"])

    @property
    def curves(self) -> dict[str, xr.Dataset]:
        """The response curve over the pressure, with units, of each rotor that has one."""
        from edgewind.report.columns import CURVE
        from edgewind.report.tables import curve_table

        need("xarray", extra="notebook", purpose="for labelled arrays")
        found = {}
        for one in self.findings:
            table = curve_table(one)
            if table is not None:
                found[one.experiment.name] = table.set_index("pressure_pa").to_xarray()
                for column in CURVE:
                    found[one.experiment.name][column.name].attrs["units"] = column.unit
        return found

    def figure(self, experiment: str | None = None) -> Figure | None:
        """Return the response curve of one rotor (default: the first) as a figure."""
        from edgewind.report.show import drawn

        found = self.findings[0] if experiment is None else self._named(experiment)
        return drawn(_curve_of(found))

    def save(self, folder: str | Path, *, replace: bool = False) -> Path:
        """Write the output of ``edgewind study --out``, and return the folder.

        Parameters
        ----------
        folder : path
            Folder to make.
        replace : bool
            Whether an earlier study there may be replaced.

        Raises
        ------
        InputError
            The folder cannot be created or used.
        """
        check_out(Path(folder), None, replace)
        _written(self, Path(folder))
        return Path(folder)

    def _named(self, name: str) -> Findings:
        for found in self.findings:
            if found.experiment.name == name:
                return found
        names = ", ".join(found.experiment.name for found in self.findings)
        raise InputError(f"there is no experiment '{name}'", fix=f"choose one of {names}")

    def __repr__(self) -> str:
        return "\n".join(
            f"{found.experiment.name}: {found.experiment.bench.shown.text(' '.join(found.answer))}"
            for found in self.findings
        )

    def _repr_html_(self) -> str:
        from edgewind.report.figures.curve import CURVE
        from edgewind.report.show import figure_html, page_html, table_html

        parts = []
        for found in self.findings:
            said = [*found.answer, *(f"Tension, {one.about}: {one.why} {one.resolve}" for one in found.tensions)]
            said += [] if found.sentences is None else list(found.sentences.model_dump().values())
            bench = found.experiment.bench
            picture = figure_html(_curve_of(found), bench.shown.text(CURVE.alt(found)))
            parts.append(page_html(bench.experiment.title, map(bench.shown.text, said), picture))
        verdicts = self.mechanisms[["experiment", "mechanism", "verdict"]]
        return "".join(parts) + table_html(verdicts, rows=60)


def _curve_of(found: Findings) -> Callable[[Any, Any], Figure | None]:
    """Return the function that draws the curve of a rotor, in the units of its bench."""
    from edgewind.report.figures.curve import CURVE
    from edgewind.report.figures.shown import show_in

    def draw(palette: Any, size: Any) -> Figure | None:
        figure = CURVE.draw(found, palette, size)
        return None if figure is None else show_in(figure, found.experiment.bench.shown)

    return draw


def find_experiments(path: str | Path) -> list[Path]:
    """Return the experiment folders at `path`: the folder itself, or those in it, by name.

    Raises
    ------
    InputError
        There is no folder there, or none with a `bench.toml`.
    """
    path = Path(path)
    if not path.is_dir():
        problem = "this is a file, and no lab book" if path.exists() else "there is no such folder"
        raise InputError(problem, file=path, fix="name a folder with bench.toml and readings.csv")
    if (path / BENCH_FILE).is_file():
        return [path]
    inside = sorted(folder for folder in path.iterdir() if (folder / BENCH_FILE).is_file())
    if not inside:
        raise InputError(f"no {BENCH_FILE} is in this folder", file=path, fix="make one with `edgewind new`")
    return inside


def run_study(
    path: str | Path,
    out: str | Path | None = None,
    *,
    replace: bool = False,
    fit: bool = False,
    steps: int = STEPS,
    progress: Progress | None = None,
) -> Study:
    """Study one experiment folder, every one in a folder, or every one in a lab book.

    Parameters
    ----------
    path : path or str
        The experiment folder, a folder of them, the file of a lab book, or its URL.
    out : path, optional
        Folder to make for report, figures and data; nothing is written without it.
    replace : bool
        Whether an earlier study at `out` may be overwritten. Nothing else is ever overwritten.
    fit : bool
        Whether to fit the unknowns of each rotor and to judge the mechanisms by the fits: about 20 s for each rotor.
    steps : int
        Steps of each walker of a fit; more steps give smoother intervals.
    progress : callable, optional
        Called with (task, done, total).

    Raises
    ------
    InputError
        An input cannot be used. No partly written output folder remains.
    """
    # The arrays are small, so that threads of the linear algebra library would cost more than they save.
    with threadpool_limits(limits=1), ExitStack() as stack:
        found, place, root = _sources(path, stack)
        return _run(found, place, root, None if out is None else Path(out), replace, steps if fit else 0, progress)


def study_sources(
    experiments: Sequence[ExperimentSource],
    out: str | Path | None = None,
    *,
    root: str,
    command: str,
    fit: bool = False,
    steps: int = STEPS,
    progress: Progress | None = None,
) -> Study:
    """Study some experiments from any source, as in :func:`run_study`.

    Parameters
    ----------
    experiments : sequence of ExperimentSource
        At least one.
    out : path, optional
        Folder to make for report, figures and data.
    root, command : str
        Path of the inputs, and command that makes the report again, for the report.
    fit, steps, progress
        As for :func:`run_study`.
    """
    with threadpool_limits(limits=1):
        return _run(
            experiments, None, root, None if out is None else Path(out), False, steps if fit else 0, progress,
            command,
        )  # fmt: skip


def plan_next(
    path: str | Path,
    *,
    batch: int = 1,
    target: str | None = None,
    range_pa: tuple[float, float] | None = None,
) -> tuple[Plan, ...]:
    """Return what to measure next in each experiment at `path`; see :func:`edgewind.plan.propose`.

    Parameters
    ----------
    path : path or str
        As for :func:`run_study`.
    batch : int
        Number of readings to choose.
    target : str, optional
        Wanted width of the interval: ``"10%"`` or ``"0.1 Pa"``.
    range_pa : tuple of float, optional
        Lowest and highest pressure of the readings, Pa.

    Raises
    ------
    InputError
        The path or an option cannot be used.
    """
    with threadpool_limits(limits=1), ExitStack() as stack:
        found, _, _ = _sources(path, stack)
        return tuple(_plan_one(source, batch, target, range_pa) for source in found)


def _plan_one(source: ExperimentSource, batch: int, target: str | None, range_pa: tuple[float, float] | None) -> Plan:
    try:
        known = find(read_experiment(source))
    except NoRowsError:  # without a reading, the plan follows from the bench alone
        bench = source.bench()
        ends = gauge_range(bench) if range_pa is None else check_range(*range_pa, bench)
        none = SweepData(*np.empty((4, 0)))
        plan = propose(none, batch=batch, target=target, level=bench.study.level, range_pa=ends)
        return dataclasses.replace(plan, name=source.name, shown=bench.shown)
    plan = propose(known, batch=batch, target=target, range_pa=range_pa)
    still_open = [claim.name for claim in known.mechanisms if claim.verdict != "ruled out"]
    experiment = known.experiment
    return dataclasses.replace(plan, tests=propose_tests(experiment, still_open), shown=experiment.bench.shown)


def benches_at(path: str | Path) -> list[Bench]:
    """Return the bench of each experiment at a path, as :func:`run_study` finds them."""
    with ExitStack() as stack:
        return [read_experiment(source).bench for source in _sources(path, stack)[0]]


def _sources(path: str | Path, stack: ExitStack) -> tuple[Sequence[ExperimentSource], Path | None, str]:
    """Return the experiments at a path, where they are, and what a report calls the place."""
    if not Path(path).is_dir():
        from edgewind.book import is_book, open_book, sources  # the database modules take long to load

        if is_book(path):
            book = stack.enter_context(open_book(path))
            found = sources(book)
            if not found:
                raise InputError("the book holds no experiment yet", file=book.label)
            # a report may travel: it names the database, and neither its host nor its user
            place, root = (None, f"postgresql://…/{book.name}") if "://" in str(path) else (Path(path), book.name)
            return found, place, root
    return [FolderSource(folder) for folder in find_experiments(path)], Path(path), Path(path).resolve().name


def _run(
    experiments: Sequence[ExperimentSource],
    place: Path | None,
    root: str,
    out: Path | None,
    replace: bool,
    steps: int,
    progress: Progress | None,
    command: str = "",
) -> Study:
    if out is not None:
        check_out(out, place, replace)
    findings = tuple(_study_one(experiment, progress) for experiment in experiments)
    if steps:
        findings = tuple(_fitted(findings, steps, progress))
    comparison = compare_sizes(*findings) if len(findings) == 2 else None
    plans = tuple(propose_if_possible(found) for found in findings)
    command = command or f"edgewind study {shlex.quote(root)} --out report-folder"
    summary = study_summary(findings, comparison, None if out is None else REPORT_FILE, plans)
    study = Study(findings, comparison, None, summary, plans, root, command)
    return study if out is None else _written(study, out, progress)


def _written(study: Study, out: Path, progress: Progress | None = None) -> Study:
    """Write the report of a study into a draft folder, then rename it."""
    from edgewind.report import write_report  # imported on first use, because it loads the plotting library

    summary = study.summary | {"report": REPORT_FILE}
    with _whole_folder(out) as draft:
        if progress:
            progress("writing the report", 0, 1)
        write_report(
            study.findings, study.comparison, draft, command=study.command, versions=versions(),
            input_root=study.root, plans=study.plans,
        )  # fmt: skip
        (draft / SUMMARY_FILE).write_text(json.dumps(summary, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    report = out / REPORT_FILE
    return dataclasses.replace(study, report=report, summary=summary | {"report": str(report)})


def _study_one(source: ExperimentSource, progress: Progress | None) -> Findings:
    def on_trace(done: int, total: int) -> None:
        if progress:
            progress(f"reading traces of {source.name}", done, total)

    experiment = read_experiment(source, on_trace=on_trace)
    if progress:
        progress(f"judging {experiment.name}", 0, 1)
    return find(experiment)


def _fitted(findings: Sequence[Findings], steps: int, progress: Progress | None) -> list[Findings]:
    """Fit the rotors, as many at once as there are processors."""
    names = [found.experiment.name for found in findings]
    done = [0.0] * len(names)
    models = list(MODELS)

    def on_fit(place: int, model: str, done_steps: int, left: float) -> None:
        # models that fit far worse are not sampled, so the first model is most of the work
        share = 1 - left
        rest = (models.index(model) - 1 + share) / max(len(models) - 1, 1)
        done[place] = 0.5 * share if model == models[0] else 0.5 + 0.5 * rest
        if progress:
            which = names[place] if len(names) == 1 else f"{len(names)} rotors"
            progress(f"fitting {which}, {model}", int(100 * sum(done) / len(done)), 100)

    return find_why_all(findings, steps=steps, progress=on_fit)


def versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that a result depends on."""
    return {"Python": platform.python_version()} | {name: version(name) for name in _LIBRARIES}


def check_out(out: Path, source: Path | None, replace: bool) -> None:
    """Refuse an output folder if writing it would overwrite anything but an earlier study.

    Parameters
    ----------
    out : path
        The folder.
    source : path or None
        Folder that is read, which it must not hold.
    replace : bool
        Whether an earlier study there may be overwritten.

    Raises
    ------
    InputError
        The folder cannot be created or used.
    """
    if source is not None and (out.resolve() == source.resolve() or source.resolve().is_relative_to(out.resolve())):
        raise InputError("the output folder holds the input", file=out, fix="name another folder with --out")
    if not out.exists():
        if not out.parent.is_dir():
            raise InputError("its parent folder does not exist", file=out, fix="create that folder first")
        return
    if not out.is_dir():
        raise InputError("this is a file", file=out, fix="name a folder that does not exist yet")
    if not any(out.iterdir()):
        return
    if not (out / SUMMARY_FILE).is_file():
        raise InputError(
            "the folder is not empty and holds no earlier study",
            file=out,
            fix="name a folder that does not exist yet",
        )
    if not replace:
        raise InputError(
            "an earlier study is there",
            file=out,
            fix="name another folder, or overwrite it with --replace",
        )


@contextmanager
def _whole_folder(out: Path) -> Iterator[Path]:
    """Yield a draft folder, which replaces `out` only if no error occurs."""
    try:
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror}", file=out, fix="name a folder that can be made"
        ) from error
    try:
        yield draft
        draft.chmod(0o755)
        if out.exists():
            old = Path(tempfile.mkdtemp(prefix=f".{out.name}-old-", dir=out.parent))
            out.replace(old / out.name)
            draft.replace(out)
            shutil.rmtree(old)
        else:
            draft.replace(out)
    except OSError as error:
        shutil.rmtree(draft, ignore_errors=True)
        raise InputError(
            f"cannot be written: {error.strerror or error}", file=out, fix="free space or name another folder"
        ) from error
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


class _Verb(ModuleType):
    """The module as a function, so that a notebook can call it."""

    def __call__(self, path: str | Path, *, fit: bool = True, steps: int = STEPS) -> Study:
        """Return :func:`run_study` of a path, with a fit of the unknowns unless `fit` is false."""
        return run_study(path, fit=fit, steps=steps)


sys.modules[__name__].__class__ = _Verb
