"""One meaning for one name: a public function name is in several files only if they do the same thing."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

SOURCE = Path(__file__).parents[1] / "src" / "edgewind"
# Files that do one thing in several forms, so that one name for it is right.
KERNELS = {f"kinetics/{name}.py" for name in ("plane_kernel", "plane_plain", "space_kernel", "rotor_kernel")}
TEXTS = {"plan/dwell_text.py", "plan/rotor_text.py", "plan/scaling_text.py", "plan/text.py", "rotor/words.py"}
FAMILIES = (KERNELS, TEXTS)
# A folder whose files each offer the same function, which their door calls in turn.
FOLDERS = {"torque": "rotor/drives", "upgrade": "book/migrations", "routes": "web"}
# What a command, a function of the notebook and a handler of the pages call is the job that they order.
FACES = ("cli/", "notebook.py", "web/routes/")
# The same quantity of a lone vane and of a whole rotor.
SAME = {"coefficients": {"kinetics/response.py", "kinetics/rotor_respond.py"}}
# Each starts a program.
PROGRAMS = {"main": {"cli/base.py", "runner/worker.py"}}


def public_functions(source: Path = SOURCE) -> dict[str, list[str]]:
    """Files by the name of the public function that they define."""
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted(source.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
                found[node.name].append(path.relative_to(source).as_posix())
    return found


def doubtful(name: str, files: list[str]) -> bool:
    """Whether a name has more than one meaning, as far as files tell."""
    own = {file for file in files if not file.startswith(FACES)}
    if len(own) < 2 and len(files) > 1:
        return False  # one job, and those who order it
    if any(own <= family for family in FAMILIES):
        return False
    if name in FOLDERS:
        return not all(file.startswith(FOLDERS[name] + "/") for file in files)
    return len(own) > 1 and own != (SAME | PROGRAMS).get(name)


def test_a_public_function_name_has_one_meaning():
    wrong = {name: files for name, files in public_functions().items() if doubtful(name, files)}
    assert not wrong, "\n".join(f"{name}: {', '.join(files)}" for name, files in wrong.items())


def test_the_test_detects_a_second_meaning(tmp_path):
    for name in ("a/one.py", "b/two.py", "web/routes/three.py"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("def find():\n    pass\ndef _find():\n    pass\n")
    found = public_functions(tmp_path)
    assert found == {"find": ["a/one.py", "b/two.py", "web/routes/three.py"]}
    assert doubtful("find", found["find"]) and not doubtful("find", ["a/one.py", "web/routes/three.py"])
    assert not doubtful("sweep", sorted(KERNELS)) and doubtful("sweep", [*sorted(KERNELS), "a/one.py"])
    assert doubtful("torque", ["rotor/drives/light_pressure.py", "rotor/other.py"])


def test_every_exception_is_used():
    names = public_functions()
    for name, files in (SAME | PROGRAMS).items():
        assert set(names[name]) == files, name
    assert all(len(names[name]) > 1 for name in FOLDERS)
    assert all((SOURCE / file).is_file() for family in FAMILIES for file in family)
