"""Words that program and manual do not use in place of a term of the field: in strings, comments, pages and docs."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "edgewind"
WORDS = re.compile(
    r"\b(g[ia]ve(s|n)? up|giving up|gone|at hand|told|is meant|are meant|nobody|somebody|in a word|a word (for|that)"
    r"|hands|senses|shelf"
    r"|of ours|says nothing|as it goes|see to|at work|on a wire|time on the wall|what (is left|remains) of"
    r"|come to be|came to be|how-manieth|went away|1-fold"
    r"|for want of|bear in mind|for granted|not go together|speaks? (for|against)|lean in|put in by a factor"
    r"|weighed|go(es)? ahead|face ahead|amiss|people call|made alike|look(s|ed)? at again|stands? for all|asked about"
    r"|not to be reached|held against|tells? apart|by wire)\b",
    re.IGNORECASE,
)
# "is no X" where "is not an X" is meant; "there is no X" and comparisons stay.
IS_NO = re.compile(
    r"(?<!\bthere )\b(?:is|are) no (?!more\b|longer\b|smaller\b|greater\b|less\b|larger\b|better\b|wider\b|one\b)\w+",
    re.IGNORECASE,
)
# Names of people, and what older books hold.
KEPT = {"src/edgewind/gas/species.py": "Hands and Arp", "src/edgewind/live/sweep_log.py": "given up"}
# A string or a comment of JavaScript; code within a template string is taken out by the next.
SCRIPT_TEXT = re.compile(r"//[^\n]*|/\*.*?\*/|\"(?:\\.|[^\"\\\n])*\"|'(?:\\.|[^'\\\n])*'|`(?:\\.|[^`\\])*`", re.DOTALL)
SCRIPT_VALUE = re.compile(r"\$\{[^}]*\}")


def _texts(path: Path) -> Iterator[str]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".py":
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield node.value
    elif path.suffix == ".js":
        for found in SCRIPT_TEXT.finditer(text):
            yield SCRIPT_VALUE.sub("", found.group())
    else:
        yield text


def _found(path: Path, root: Path = ROOT) -> list[str]:
    kept = KEPT.get(path.relative_to(root).as_posix(), "\0")
    return [
        f"{path.relative_to(root)}: ...{one.string[max(0, one.start() - 40) : one.end() + 40]!r}..."
        for text in _texts(path)
        for rule in (WORDS, IS_NO)
        for one in rule.finditer(" ".join(text.replace(kept, "").split()))
    ]


# Names of tests say what holds, in the same terms.
NAME_WORDS = re.compile(
    r"(^|_)(told|gone|nobody|somebody|outlives?|turns?_back|people|what_cannot|that_cannot_be_(is|are)|at_hand|meant|said)"
    r"(_|$)"
)


def _pages() -> list[Path]:
    kinds = (".py", ".js", ".html", ".toml")
    sources = [path for path in SOURCE.rglob("*") if path.suffix in kinds]
    manual = [path for folder in ("", "howto", "explain") for path in (ROOT / "docs" / folder).glob("*.md")]
    scripts = [path for folder in ("tools", "benchmarks", "docs", "examples") for path in (ROOT / folder).rglob("*.py")]
    return sorted(
        [*sources, *manual, *scripts, *(ROOT / f"{name}.md" for name in ("README", "CONTRIBUTING", "CHANGELOG"))]
    )


def test_no_private_word_replaces_a_term_of_the_field():
    assert not [line for path in _pages() for line in _found(path)]


def test_names_and_docstrings_of_tests_hold_no_private_word():
    wrong = []
    for path in sorted((ROOT / "tests").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            name, text = getattr(node, "name", ""), " ".join((ast.get_docstring(node) or "").split())
            found = [one.group() for rule in (WORDS, IS_NO) for one in rule.finditer(text)]
            if found or (name.startswith("test_") and NAME_WORDS.search(name)):
                wrong.append(f"{path.relative_to(ROOT)}, {name or 'the module'}: {found}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    "name", ["test_a_fault_is_told", "test_what_cannot_be_is_refused", "test_it_outlives_its_server"]
)
def test_private_words_in_names_of_tests_are_found(name):
    assert NAME_WORDS.search(name)
    assert not NAME_WORDS.search("test_a_folder_that_cannot_be_created_is_named")


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [
        ("a.py", 'told = "the reading is gone"', 1), ("a.py", "told = gone", 0), ("a.py", 'f"{told} is told"', 1),
        ("a.js", "const told = 1; // told", 1), ("a.js", "`${told.name} stays`", 0), ("a.html", "Give up", 1),
        ("a.md", "goneness is foretold", 0), ("a.md", "this is no\nbook; there is no book; it is no longer one", 1),
        ("a.py", '"see to the pivot"', 1), ("a.md", "Evidence is weighed; weigh the vanes.", 1),
    ],
)  # fmt: skip
def test_words_are_found_in_texts_and_not_in_names(tmp_path, name, text, found):
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert len(_found(tmp_path / name, tmp_path)) == found
