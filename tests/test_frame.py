"""The house's own rules: the core stays pure, files stay small, documents stay true."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "gatewayd"
CORE = ("model", "decode", "alarm", "upkeep", "message", "watch", "thermal", "food")
# What the core may take from the standard library: no I/O, no clock, no logging. `datetime` and `random` are let in
# for arithmetic and for the type of a seeded generator handed in; ruff's banned-api keeps `now` and the global
# generator out.
ALLOWED = {
    "array", "base64", "bisect", "collections", "dataclasses", "datetime", "decimal", "difflib", "enum", "fractions",
    "functools", "hashlib", "heapq", "hmac", "itertools", "json", "math", "operator", "random", "re", "statistics",
    "struct", "types", "typing", "unicodedata",
}  # fmt: skip
LINES = 400
FUNCTION_LINES = 60


def modules(folder: Path) -> Iterator[Path]:
    """Yield every Python file below a folder."""
    yield from sorted(folder.rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    """Yield the dotted names a module imports."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module or ""


@pytest.mark.parametrize("part", [part for part in CORE if (PACKAGE / part).is_dir()])
def test_core_imports_only_allowed(part: str) -> None:
    """The core imports itself and the pure part of the standard library, nothing else."""
    foreign = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in modules(PACKAGE / part)
        for name in imports(path)
        if name.split(".")[0] not in ALLOWED | {"gatewayd"}
    }

    assert foreign == set()


def test_files_stay_small() -> None:
    """No file of the package is longer than 400 lines."""
    long = {str(p.relative_to(ROOT)): n for p in modules(PACKAGE) if (n := len(p.read_text().splitlines())) > LINES}

    assert long == {}


def test_functions_stay_small() -> None:
    """No function of the package is longer than 60 lines."""
    long = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
        for path in modules(PACKAGE)
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (node.end_lineno or 0) - node.lineno + 1 > FUNCTION_LINES
    ]

    assert long == []


def test_inner_packages_export_nothing() -> None:
    """Every __init__ below the top is empty, so that imports show where a name lives."""
    full = [str(p) for p in PACKAGE.rglob("__init__.py") if p.parent != PACKAGE and p.read_text().strip()]

    assert full == []


def test_public_names_are_explained() -> None:
    """Every public module, class and function says in one sentence what it is for."""
    silent = []
    for path in modules(PACKAGE):
        tree = ast.parse(path.read_text())
        if path.name != "__init__.py" and not ast.get_docstring(tree):
            silent.append(str(path.relative_to(ROOT)))
        silent.extend(
            f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
            and not node.name.startswith("_")
            and not ast.get_docstring(node)
            and _is_ours(tree, node)
        )

    assert silent == []


def _is_ours(tree: ast.Module, wanted: ast.AST) -> bool:
    """Return whether a definition stands at the top or in a public class, not inside a function."""
    classes = (node for node in ast.walk(tree) if isinstance(node, ast.ClassDef) and not node.name.startswith("_"))
    holders = [tree, *classes]
    return any(wanted in holder.body for holder in holders)


def test_every_module_is_on_the_map() -> None:
    """DEVELOPERS.md names every folder and top-level module of the package."""
    words = (ROOT / "DEVELOPERS.md").read_text()
    parts = [p.name for p in PACKAGE.iterdir() if p.is_dir() and (p / "__init__.py").exists()]
    parts += [p.name for p in PACKAGE.glob("*.py") if p.name != "__init__.py"]

    assert [part for part in parts if part not in words] == []


def test_linter_exceptions_have_reasons() -> None:
    """Every rule that is switched off says why on its own line."""
    text = (ROOT / "pyproject.toml").read_text()
    block = re.search(r"^ignore = \[\n(.*?)^\]", text, re.DOTALL | re.MULTILINE)
    assert block is not None
    bare = [line for line in block[1].splitlines() if line.strip() and "#" not in line]

    assert bare == []
