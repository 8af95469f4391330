"""The keys that commands print with `--json` and their meanings, from the docstrings of the code that makes them.

A function that makes a dictionary lists its keys under *Returns*, each as ``key : type`` with a sentence below it.
Where the key is an attribute of a class and the sentence stands there, the type is ``as in Class``. A type that names
a class or a function leads on to its keys; a class is described by its fields where it declares them (pydantic), or
else by its attributes. A field that holds a table names, under `keys` of its schema, the function that lists the
columns.
"""

from __future__ import annotations

import importlib
import inspect
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import ModuleType, UnionType
from typing import Any, Literal, get_args, get_origin

LIST, ANY = "[]", "*"
Parts = tuple[str, ...]


@dataclass(frozen=True)
class Key:
    """A key of a command's output.

    Attributes
    ----------
    parts : tuple of str
        Its path: names, ``[]`` for each list, ``*`` for a name that depends on the data.
    holds : str
        What JSON holds there.
    sentence : str
        Its meaning.
    stands_at : str
        Where the sentence stands: a function or class and the name there.
    keys_at : tuple of str or None
        Where the same keys were listed before.
    """

    parts: Parts
    holds: str
    sentence: str
    stands_at: str
    keys_at: Parts | None = None

    @property
    def path(self) -> str:
        """The path in its usual form: ``next[].pressure_pa``."""
        return path_of(self.parts)

    def matches(self, parts: Parts) -> bool:
        """Whether a path in printed output is this one, or the list or mapping that holds these items."""
        own = self.parts
        while len(own) > len(parts) and own[-1] in (LIST, ANY):
            own = own[:-1]
        return len(parts) == len(own) and all(map(_fits, own, parts))


def path_of(parts: Parts) -> str:
    """Write a path with dots."""
    return ".".join(parts).replace(f".{LIST}", LIST)


def _fits(key: str, printed: str) -> bool:
    pattern = "|".join((re.escape(ANY), r"<\w+>"))
    return key == printed or bool(
        printed != LIST and re.fullmatch(".+".join(re.escape(part) for part in re.split(pattern, key)), printed)
    )


@dataclass(frozen=True)
class Entry:
    """A line ``name : type`` of a docstring with the text below it, and the module whose names it uses."""

    type: str
    text: str
    module: ModuleType
    stands_at: str


_SECTION = re.compile(r"^( *)(\w+)\n\1-+$", re.M)
_ENTRY = re.compile(r"^( *)([\w.<>\[\]]+(?:, [\w.<>\[\]]+)*) : (\S.*)$")


def entries(of: Any, *sections: str) -> dict[str, Entry]:
    """Read the named sections of a docstring."""
    text = inspect.getdoc(of) or ""
    heads = list(_SECTION.finditer(text))
    found: dict[str, Entry] = {}
    for head, after in zip(heads, [*heads[1:], None], strict=False):
        if head.group(2) in sections:
            body = text[head.end() : None if after is None else after.start()]
            found |= dict(_entries(body.splitlines(), of))
    return found


def _entries(lines: list[str], of: Any) -> Iterator[tuple[str, Entry]]:
    module = sys.modules[of.__module__]
    for number, line in enumerate(lines):
        if (match := _ENTRY.match(line)) is None:
            continue
        text = []
        for below in lines[number + 1 :]:
            deep = len(below) - len(below.lstrip()) > len(match.group(1))
            if not below.strip() or not deep or _ENTRY.match(below):
                break
            text.append(below.strip())
        for name in match.group(2).split(", "):
            yield name, Entry(match.group(3), " ".join(text), module, f"{of.__module__}.{of.__qualname__}: {name}")


def _find(name: str, module: ModuleType) -> Any:
    """Return the object of a name in a module; a name with dots may begin with a package."""
    first, *rest = name.split(".")
    if hasattr(module, first):
        found = getattr(module, first)
    elif name.startswith("edgewind."):
        found = importlib.import_module(first)
    else:
        raise LookupError(f"'{name}' is not defined in {module.__name__}")
    for part in rest:
        if isinstance(found, ModuleType) and not hasattr(found, part):
            importlib.import_module(f"{found.__name__}.{part}")
        found = getattr(found, part)
    return found


def _attribute(of: Any, name: str) -> Entry:
    """Return the description of an attribute by its class, or of a column by the table of columns."""
    if isinstance(of, tuple):
        (column,) = (column for column in of if column.name == name)
        kinds = {"number": "float or None", "integer": "int", "string": "str", "boolean": "bool"}
        return Entry(kinds[column.kind], column.meaning, sys.modules[type(column).__module__], f"column {name}")
    if name in getattr(of, "model_fields", {}):
        return _of_field(of, name, of.model_fields[name])
    written = entries(of, "Attributes", "Parameters", "Returns")
    if name in written:
        return written[name]
    member = getattr(of, name, None)
    function = member.fget if isinstance(member, property) else member
    if function is None or not function.__doc__:
        raise LookupError(f"{of.__module__}.{of.__qualname__} does not describe '{name}'")
    text = " ".join(inspect.getdoc(function).split("\n\n")[0].split())
    return Entry(str(function.__annotations__["return"]), text, sys.modules[of.__module__], f"{of.__qualname__}.{name}")


_WORDS = {"float": "number", "int": "whole number", "str": "text", "bool": "true or false"}


def _take_apart(kind: str, module: ModuleType) -> tuple[Parts, str, Any]:
    """Parse a written type: the parts that it adds to the path, the type in JSON, and the object whose keys follow."""
    bare = kind.removesuffix(" or None").removesuffix(" | None")
    null = " or null" if bare != kind else ""
    if found := re.fullmatch(r"(?:list|tuple) of (.+)|tuple\[(\w+), \.\.\.\]", bare):
        parts, holds, maker = _take_apart(found[1] or found[2], module)
        return (LIST, *parts), holds + null, maker
    if found := re.fullmatch(r"(?:dict|mapping) of str to (.+)", bare):
        parts, holds, maker = _take_apart(found[1], module)
        return (ANY, *parts), holds + null, maker
    if found := re.fullmatch(r"(?:array|ndarray)(?:,| of) shape \((.*)\)", bare):
        return (LIST,) * len([size for size in found[1].split(",") if size.strip()]), "number" + null, None
    if bare.startswith("{"):
        return (), _one_of(re.findall(r'"([^"]*)"', bare)) + null, None
    if bare in _WORDS:
        return (), _WORDS[bare] + null, None
    if bare == "dict":
        return (), "object" + null, None
    meant = _find(bare, module)
    if get_origin(meant) is Literal:
        return (), _one_of(get_args(meant)) + null, None
    return (), "object" + null, meant


def _one_of(choices: Sequence[str]) -> str:
    return "text, one of " + ", ".join(f'"{choice}"' for choice in choices)


def _of_field(model: Any, name: str, field: Any) -> Entry:
    """Return the description of one field of a result that declares its fields."""
    if not field.description:
        for maker in model.__mro__:
            written = entries(maker, "Attributes", "Parameters") if maker.__module__.startswith("edgewind") else {}
            if name in written:
                return written[name]
        raise LookupError(f"{model.__module__}.{model.__qualname__} does not describe '{name}'")
    kind = (field.json_schema_extra or {}).get("keys") or _kind_of(field.annotation)
    return Entry(kind, field.description, sys.modules[model.__module__], f"{model.__qualname__}.{name}")


def _kind_of(annotation: Any) -> str:
    """Write a type as in docstrings: ``list of float``, ``dict of str to Expectation``, ``int or None``."""
    kinds = get_args(annotation)
    if isinstance(annotation, UnionType):
        return " or ".join("None" if kind is type(None) else _kind_of(kind) for kind in kinds)
    if get_origin(annotation) in (tuple, list):
        return f"list of {_kind_of(kinds[0])}"
    if get_origin(annotation) is dict:
        return f"dict of str to {_kind_of(kinds[1])}"
    if get_origin(annotation) is Literal:
        return "{" + ", ".join(f'"{kind}"' for kind in kinds) + "}"
    return str(annotation.__name__)


def _written(maker: Any) -> dict[str, Entry]:
    """Return the keys that a function, or a class, says it makes."""
    if isinstance(maker, type) and hasattr(maker, "model_fields"):
        found = {name: _of_field(maker, name, field) for name, field in maker.model_fields.items() if not field.exclude}
    elif isinstance(maker, type):
        found = entries(maker, "Attributes", "Parameters")
    else:
        found = entries(maker, "Returns")
    if not found:
        raise LookupError(f"{maker.__module__}.{maker.__qualname__} does not describe its keys")
    return found


def keys_of(made_by: Sequence[str], *, whole: bool = True) -> list[Key]:
    """Return every key that some functions or classes make, in order.

    Parameters
    ----------
    made_by : sequence of str
        Each by its full name, or ``list of`` that.
    whole : bool
        Whether keys that were listed before are listed again; else `keys_at` says where they were.
    """
    seen: dict[Any, Parts] | None = None if whole else {}
    found = []
    for name in made_by:
        parts, _, maker = _take_apart(name, sys.modules[__name__])
        found += list(_expand(maker, parts, seen))
    first: dict[Parts, int] = {}
    for number, key in enumerate(found):
        for end in range(1, len(key.parts) + 1):
            first.setdefault(key.parts[:end], number)
    return sorted(found, key=lambda key: [first[key.parts[:end]] for end in range(1, len(key.parts) + 1)])


def _expand(maker: Any, above: Parts, seen: dict[Any, Parts] | None) -> Iterator[Key]:
    if seen is not None:
        seen[maker] = above
    for name, entry in _written(maker).items():
        if entry.type.startswith("as in "):
            entry = _attribute(_find(entry.type.removeprefix("as in "), entry.module), _split(name)[-1])
        more, holds, below = _take_apart(entry.type, entry.module)
        if "null" not in holds and re.search(r"\b(?:nan|infinite)\b", entry.text):
            holds += " or null"
        parts = (*above, *_split(name), *more)
        before = None if seen is None or below is None else seen.get(below)
        yield Key(parts, holds, entry.text, entry.stands_at, before)
        if below is not None and before is None:
            yield from _expand(below, parts, seen)


def _split(name: str) -> Parts:
    return tuple(part for part in name.replace(LIST, f".{LIST}").split(".") if part)
