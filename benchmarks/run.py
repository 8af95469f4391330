"""Run every benchmark and print one table: ``make bench``. Add ``--quick`` for small counts.

Each benchmark file has a function ``run(full)`` that returns rows with ``name, value, unit, target``. Timings are
ratios or medians of one run on one machine; nothing here passes or fails.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import platform
import sys
from datetime import date
from pathlib import Path
from typing import Any

from edgewind.memory import collect_seldom, keep_freed_memory

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
HERE = Path(__file__).parent


def main() -> None:
    """Run the chosen benchmarks and print their rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small counts, for a quick check")
    parser.add_argument("--only", help="name of one benchmark file without 'bench_' and '.py'")
    parser.add_argument("--json", type=Path, help="also write the rows to this file; other benchmarks in it stay")
    options = parser.parse_args()
    places = [str(HERE), str(HERE.parent / "tests")]  # the second for what tests and benchmarks share
    sys.path[:0] = places
    known = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = os.pathsep.join([*places, *([known] if known else [])])  # for processes of a runner
    keep_freed_memory()  # as every command does, and the next
    collect_seldom()
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    for file in sorted(HERE.glob("bench_*.py")):
        if options.only and file.stem != f"bench_{options.only}":
            continue
        name, load = file.stem.removeprefix("bench_"), os.getloadavg()[0]
        print(f"\n{name}", flush=True)
        module = importlib.import_module(file.stem)
        rows = module.run(full=not options.quick)
        for row in rows:
            value = f"{row['value']:.4g}" if isinstance(row["value"], float) else str(row["value"])
            print(f"  {row['name']:<68} {value:>10} {row['unit']:<10} target {row.get('target') or '-'}", flush=True)
        # Without rows this machine lacks the device: rows measured elsewhere stay.
        if options.json and rows:
            beside = module.beside() if hasattr(module, "beside") else ""
            about = {
                "machine": machine() + beside,
                "date": date.today().isoformat(),
                "load": load,
                "quick": options.quick,
            }
            keep(name, about | {"rows": rows}, options.json)


def keep(name: str, measured: dict[str, Any], file: Path) -> None:
    """Write the rows of one benchmark with machine and day in place of its earlier ones."""
    before = json.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}
    whole = dict(sorted((before | {name: measured}).items()))
    file.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def machine() -> str:
    """Return the processor, its cores and the version of Python."""
    info = Path("/proc/cpuinfo")
    names = (
        [line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")]
        if info.is_file()
        else []
    )
    return f"{names[0] if names else platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"


if __name__ == "__main__":
    main()
