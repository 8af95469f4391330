"""The house stands as it was designed: lower rooms never import higher ones, and doors only list names."""

import ast
from pathlib import Path

import pytest

import edgewind

SOURCE = Path(edgewind.__file__).parent
MODULES = sorted(SOURCE.rglob("*.py"))
DOORS = [path for path in MODULES if path.name == "__init__.py" and path.parent != SOURCE]

# What each room may use directly; it may use whatever those may use, too.
BASE = {"errors", "units", "uncertainty", "cautions", "clock"}
MAY_USE = {
    "errors": set(),
    "units": {"errors"},
    "uncertainty": {"errors"},
    "cautions": set(),
    "clock": {"errors"},
    "runner": {"errors"},
    "gas": {"units"},
    "kinetics": {"errors"},
    "bench": {"units", "gas"},
    "signals": {"bench", "uncertainty"},
    "book": {"bench", "signals"},
    "rotor": {"gas", "kinetics", "bench", "uncertainty"},
    "evidence": {"rotor", "signals", "runner"},
    "plan": {"rotor", "evidence"},
    "report": {"evidence", "plan", "cautions"},
    "live": {"book", "signals", "plan", "cautions", "clock"},
    "virtual": {"rotor", "signals", "clock"},
    "study": {"book", "report"},
    "web": {"study", "live"},
    "cli": {"study", "live", "virtual", "web"},
    "__main__": {"cli"},
}


def reach(room):
    """Every room that a room may use."""
    return MAY_USE[room].union(*(reach(lower) for lower in MAY_USE[room]))


def room_of(path):
    return path.relative_to(SOURCE).parts[0].removesuffix(".py")


def rooms_imported(path):
    """Rooms of ours that a module imports, with the line."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}, line {node.lineno}: write the whole name of what is imported"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            package, _, rest = name.partition(".")
            if package == "edgewind":
                yield rest.split(".")[0], node.lineno


def name_of(path):
    return str(path.relative_to(SOURCE))


def public(nodes):
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    return [node for node in nodes if isinstance(node, kinds) and not node.name.startswith("_")]


@pytest.mark.parametrize(
    "path", [path for path in MODULES if path.parent != SOURCE or path.name != "__init__.py"], ids=name_of
)
def test_no_module_imports_a_higher_room(path):
    room = room_of(path)
    assert room in MAY_USE, f"'{room}' has no place in the house: give it one in MAY_USE and in the design"
    allowed = reach(room) | {room}
    wrong = [f"line {line}: {used}" for used, line in rooms_imported(path) if used in MAY_USE and used not in allowed]
    assert not wrong, f"{name_of(path)} may use {', '.join(sorted(allowed))}"


def test_the_house_has_no_circles():
    for room in MAY_USE:
        assert room not in reach(room)


def test_the_checks_see_the_imports_that_there_are():
    """Evidence rests on signals, signals on bench, bench on gas, gas on units: all of them are seen."""
    for room, lower in (("evidence", "signals"), ("signals", "bench"), ("bench", "gas"), ("gas", "errors")):
        used = {used for path in MODULES if room_of(path) == room for used, _ in rooms_imported(path)}
        assert lower in used


@pytest.mark.parametrize("path", DOORS, ids=name_of)
def test_a_door_lists_names_and_nothing_else(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported, listed = [], []
    for node in tree.body:
        if isinstance(node, ast.ImportFrom):
            imported += [alias.asname or alias.name for alias in node.names]
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
            if target.id == "__all__":
                listed = ast.literal_eval(node.value)
            else:
                assert target.id.isupper(), f"line {node.lineno}: only a registry may stand beside the names"
        else:
            assert isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant), f"line {node.lineno}"
    assert ast.get_docstring(tree)
    if imported:
        assert listed, "list the public names in __all__"
    own = {node.target.id for node in tree.body if isinstance(node, ast.AnnAssign)}
    assert set(listed) <= set(imported) | own


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_everything_public_says_what_it_is(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "a module opens with one sentence"
    silent = [node.name for node in public(tree.body) if not ast.get_docstring(node)]
    assert not silent
