"""Imports between packages: lower ones never import higher ones, there are no cycles, and package inits list names.

Every test lists all offenders at once.
"""

import ast
import graphlib
import importlib
import shutil
import sys
from functools import cache
from pathlib import Path

import pytest

import edgewind

SOURCE = Path(edgewind.__file__).parent
MODULES = sorted(path for path in SOURCE.rglob("*.py") if path.parent != SOURCE or path.name != "__init__.py")

# What each room may use directly; it may use whatever those may use, too. BASE is what serves every room.
BASE = {
    "errors": set(),
    "clock": {"errors"},
    "formatting": {"errors"},
    "files": {"errors"},
    "serialize": {"errors"},
    "frozen_model": set(),
    "cautions": set(),
    "extras": {"errors"},
    "compiled": {"extras", "compiled_cache"},
    "compiled_cache": set(),
    "memory": set(),
    "runner": {"files", "serialize", "clock", "memory"},
    "units": {"files", "formatting"},
    "pressures": {"units"},
    "shown_units": {"units"},
    "template": {"errors"},
    "doors": set(),
}
MAY_USE = BASE | {
    "gas": set(BASE),
    "kinetics": set(BASE) - {"units", "pressures", "shown_units"},
    "bench": {"gas"},
    "signals": {"bench"},
    "book": {"signals"},
    "rotor": {"kinetics", "bench"},
    "evidence": {"rotor", "signals"},
    "plan": {"evidence"},
    "report": {"plan"},
    "live": {"book", "plan"},
    "virtual": {"rotor", "signals"},
    "study": {"book", "report"},
    "notebook": {"study"},
    "web": {"study", "live"},
    "cli": {"web", "virtual"},
    "__main__": {"cli"},
}


def reach(room):
    """Every room that a room may use."""
    return MAY_USE[room].union(*(reach(lower) for lower in MAY_USE[room]))


def room_of(path, source=SOURCE):
    return path.relative_to(source).parts[0].removesuffix(".py")


@cache
def imports(path, source=SOURCE):
    """Files of the package that a file imports, with the line: anywhere in it, also inside functions and for types."""
    return tuple(_imports(path, source))


@cache
def found_in(path):
    """Names that a file imports and classes that it defines, each with its line; its tree is large, and not kept."""
    imported, classes = [], []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}, line {node.lineno}: write the whole name of what is imported"
            imported += [(f"{node.module}.{alias.name}", node.lineno) for alias in node.names]
        elif isinstance(node, ast.ClassDef):
            classes.append((node.name, node.lineno))
    return imported, classes


def _imports(path, source):
    for name, line in found_in(path)[0]:
        package, *parts = name.split(".")
        if package == source.name:
            yield file_of(parts, source), line


def file_of(parts, source):
    """The file of a dotted name; a name inside a file or a door leads to that file or door."""
    while parts:
        place = source.joinpath(*parts)
        for path in (place.with_suffix(".py"), place / "__init__.py"):
            if path.is_file():
                return path
        parts = parts[:-1]
    return source / "__init__.py"


def circle_among(graph):
    """A circle of a graph of who uses whom, or None."""
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        return error.args[1]
    return None


def graph_of_files(source=SOURCE):
    """Files and what they import; package inits only list names, so an import of one adds no edge."""
    files = {path: set() for path in source.rglob("*.py") if path.name != "__init__.py"}
    for path, used in files.items():
        used.update(target for target, _ in imports(path, source) if target in files and target != path)
    return files


def graph_of_rooms(source=SOURCE):
    rooms = {}
    for path in source.rglob("*.py"):
        if path == source / "__init__.py":
            continue
        used = {room_of(target, source) for target, _ in imports(path, source) if target != source / "__init__.py"}
        rooms.setdefault(room_of(path, source), set()).update(used - {room_of(path, source)})
    return rooms


def test_no_module_imports_a_higher_package():
    wrong = []
    for path in MODULES:
        room = room_of(path)
        assert room in MAY_USE, f"'{room}' has no place in the house: give it one in MAY_USE and in the design"
        allowed = reach(room) | {room}
        for target, line in imports(path):
            used = room_of(target)
            if used != "__init__" and used not in allowed:
                wrong.append(f"{path.relative_to(SOURCE)}, line {line}: {used}")
    assert not wrong, "\n".join(wrong)


def test_imports_between_packages_have_no_cycles():
    for graph in (graph_of_rooms(), graph_of_files()):
        circle = circle_among(graph)
        assert circle is None, " uses ".join(str(one) for one in circle)


def test_the_test_of_cycles_detects_one(tmp_path):
    """A circle that a function's import closes, and one of rooms that no two files close."""
    house = tmp_path / "house"
    for name, text in {
        "__init__.py": "", "a/__init__.py": "", "b/__init__.py": "", "a/one.py": "from house.a.two import f",
        "a/two.py": "def f():\n    import house.b.three", "b/three.py": "from house.a import other",
        "a/other.py": "x = 1",
    }.items():  # fmt: skip
        (house / name).parent.mkdir(parents=True, exist_ok=True)
        (house / name).write_text(text)
    assert set(circle_among(graph_of_rooms(house))) == {"a", "b"}
    assert circle_among(graph_of_files(house)) is None
    other = shutil.copytree(house, tmp_path / "again" / "house")  # what was read of the first is kept
    (other / "a/other.py").write_text("from house.a.one import f")
    assert {path.name for path in circle_among(graph_of_files(other))} == {"one.py", "two.py", "three.py", "other.py"}


def test_the_checks_see_the_existing_imports():
    """Evidence rests on signals, signals on bench, bench on gas, gas on errors: all of them are seen."""
    rooms = graph_of_rooms()
    for room, lower in (("evidence", "signals"), ("signals", "bench"), ("bench", "gas"), ("gas", "errors")):
        assert lower in rooms[room]


def test_no_name_is_used_for_two_classes():
    places = {}
    for path in MODULES:
        for name, line in found_in(path)[1]:
            places.setdefault(name, []).append(f"{path.relative_to(SOURCE)}, line {line}")
    assert not {name: found for name, found in places.items() if len(found) > 1}


def test_a_package_init_lists_names_only():
    wrong = []
    for path in MODULES:
        if path.name == "__init__.py":
            wrong += [f"{path.relative_to(SOURCE)}: {fault}" for fault in faults_of_door(path)]
    assert not wrong, "\n".join(wrong)


# What stands under the `else` of a door that imports its names when they are asked for.
ON_DEMAND = ["from edgewind.doors import names_on_demand", "__getattr__ = names_on_demand(__name__, __file__)"]


def faults_of_door(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported, listed, own = set(), [], set()
    for node in tree.body:
        if isinstance(node, ast.ImportFrom):
            imported |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            imported |= {alias.asname or alias.name for one in node.body for alias in one.names}
            if [ast.unparse(one) for one in node.orelse] != ON_DEMAND:
                yield f"line {node.lineno}: write as other doors do: {'; '.join(ON_DEMAND)}"
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
            if target.id == "__all__":
                listed = ast.literal_eval(node.value)
            elif target.id.isupper():
                own.add(target.id)
            else:
                yield f"line {node.lineno}: only a registry may stand beside the names"
        elif not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            yield f"line {node.lineno}: neither an import nor a list of names"
    if imported and not listed:
        yield "no __all__ lists the public names"
    for name in set(listed) - imported - own:
        yield f"'{name}' is listed and not imported"


@pytest.mark.parametrize("text", ["def f(): ...", "import os\nos.getcwd()", "from a import b", "__all__ = ['c']"])
def test_the_test_of_package_inits_detects_other_code(tmp_path, text):
    path = tmp_path / "__init__.py"
    path.write_text(text)
    assert list(faults_of_door(path))


@pytest.mark.parametrize("first", ["room_a.fit", "room_a"])
def test_a_lazily_imported_name_is_not_shadowed_by_a_module(tmp_path, monkeypatch, first):
    """Python sets a file that is imported as a name of its room."""
    door = ["from typing import TYPE_CHECKING", "if TYPE_CHECKING:", "    from room_a.fit import fit", "else:"]
    door += [*(f"    {line}" for line in ON_DEMAND), "__all__ = ['fit']"]
    (tmp_path / "room_a").mkdir()
    (tmp_path / "room_a" / "__init__.py").write_text("\n".join(door))
    (tmp_path / "room_a" / "fit.py").write_text("def fit(): return 3\n")
    monkeypatch.syspath_prepend(tmp_path)
    for name in ("room_a", "room_a.fit"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    importlib.import_module(first)
    room = importlib.import_module("room_a")
    assert room.fit() == 3
    assert importlib.import_module("room_a.fit").fit is room.fit
    assert room.fit() == 3
    for name in ("room_a", "room_a.fit"):
        del sys.modules[name]
