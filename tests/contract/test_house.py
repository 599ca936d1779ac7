"""The house rules that can be counted: sizes, one-way imports, docstrings, nothing left undone.

Each check reads the source as text or as a syntax tree, so that it holds for a new module without being told of it.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "envpredict"
MODULES = sorted(PACKAGE.rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))

MODULE_LINES, FUNCTION_LINES, COMMAND_LINES = 400, 60, 25

LAYERS = (
    {"core"},
    {"models", "methods", "ground", "limits", "scenario"},
    {"engine"},
    {"monitoring"},
    {"outputs"},
    {"cli"},
)
RANK = {package: rank for rank, layer in enumerate(LAYERS) for package in layer}

MAY_IMPORT = {"core": {"numpy"}, "models": {"numpy", "numba", "scipy"}}
"""What the foundation and the equations may know of the world outside: numbers, but no file, table or map."""

LOOKED_UP_BY_NAME = {("engine/results.py", "envpredict.outputs.write"), ("engine/results.py", "envpredict.outputs.map")}
"""Modules above that are asked for by name at run time: writing and showing are methods of the engine's result."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def functions(tree: ast.AST) -> Iterator[Function]:
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def code_lines(lines: list[str], first: int, last: int) -> int:
    """Count the lines from `first` to `last` (from 1, both included) that hold more than a comment."""
    return sum(1 for line in lines[first - 1 : last] if line.strip() and not line.strip().startswith("#"))


def docstring_lines(lines: list[str], function: Function) -> int:
    first = function.body[0]
    holds_text = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    if not (holds_text and isinstance(first.value.value, str)):
        return 0
    return code_lines(lines, first.lineno, first.end_lineno or first.lineno)


def is_command(function: Function) -> bool:
    called = [node.func if isinstance(node, ast.Call) else node for node in function.decorator_list]
    return any(isinstance(node, ast.Attribute) and node.attr == "command" for node in called)


def imported(path: Path, tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield line and absolute name of every module that a file imports, wherever in the file."""
    package = ["envpredict", *path.relative_to(PACKAGE).parts[:-1]]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            # `from envpredict import engine` imports the module envpredict.engine
            yield from ((node.lineno, f"{module}.{alias.name}") for alias in node.names)


def layer_faults(path: Path, tree: ast.AST) -> list[str]:
    own = path.relative_to(PACKAGE).parts[0]
    faults = []
    for line, target in imported(path, tree):
        parts = target.split(".")
        if parts[0] != "envpredict" or len(parts) == 1 or parts[1] == own or parts[1] not in RANK or own not in RANK:
            continue
        if RANK[parts[1]] >= RANK[own]:
            faults.append(f"{name_of(path)}:{line}: {own} may not import {parts[1]}")
    return faults


def test_no_module_is_longer_than_its_budget() -> None:
    long = {name_of(path): count for path in MODULES
            if (count := len(path.read_text(encoding="utf-8").splitlines())) > MODULE_LINES}
    assert not long, f"split by reason to change; the budget is {MODULE_LINES} lines: {long}"


def test_no_function_is_longer_than_its_budget() -> None:
    long = {}
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").splitlines()
        for function in functions(tree_of(path)):
            length = code_lines(lines, function.lineno, function.end_lineno or 0) - docstring_lines(lines, function)
            if length > FUNCTION_LINES:
                long[f"{name_of(path)}:{function.name}"] = length
    assert not long, f"the budget is {FUNCTION_LINES} lines of code without the docstring: {long}"


def test_commands_stay_thin() -> None:
    long, seen = {}, 0
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").splitlines()
        for function in filter(is_command, functions(tree_of(path))):
            seen += 1
            body = code_lines(lines, function.body[0].lineno, function.end_lineno or 0)
            body -= docstring_lines(lines, function)
            if body > COMMAND_LINES:
                long[f"{name_of(path)}:{function.name}"] = body
    assert seen, "no command was found: has the way of declaring them changed?"
    assert not long, f"a command parses, calls one function and prints; the budget is {COMMAND_LINES} lines: {long}"


def test_packages_all_have_a_place_in_the_order() -> None:
    packages = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert packages == set(RANK)


def test_imports_go_one_way() -> None:
    faults = [fault for path in MODULES if path.parent != PACKAGE for fault in layer_faults(path, tree_of(path))]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    ("module", "statement", "caught"),
    [
        ("models/vibration/x.py", "from envpredict.engine import results", True),
        ("models/vibration/x.py", "from envpredict import engine", True),
        ("models/vibration/x.py", "from ...methods import load", True),
        ("limits/x.py", "def f():\n    import envpredict.scenario.types", True),
        ("core/x.py", "from envpredict.models.spec import MODELS", True),
        ("outputs/map/x.py", "from envpredict.engine.results import Assessment", False),
        ("models/vibration/x.py", "from ..spec import model", False),
        ("cli/x.py", "import envpredict", False),
    ],
)
def test_the_check_of_imports_catches_what_it_should(module: str, statement: str, caught: bool) -> None:
    assert bool(layer_faults(PACKAGE / module, ast.parse(statement))) == caught


def test_modules_above_are_looked_up_by_name_only_where_agreed() -> None:
    found = set()
    for path in MODULES:
        for text in re.findall(r'import_module\(\s*"(envpredict\.[\w.]+)"', path.read_text(encoding="utf-8")):
            own, target = path.relative_to(PACKAGE).parts[0], text.split(".")[1]
            if RANK.get(target, 0) > RANK.get(own, 0):
                found.add((name_of(path), text))
    assert found <= LOOKED_UP_BY_NAME, f"an import that goes round the order: {found - LOOKED_UP_BY_NAME}"


def test_core_and_the_equations_know_numbers_and_nothing_else() -> None:
    faults = [
        f"{name_of(path)}:{line}: {target}"
        for package, others in MAY_IMPORT.items()
        for path in sorted((PACKAGE / package).rglob("*.py"))
        for line, target in imported(path, tree_of(path))
        if target.split(".")[0] not in {*sys.stdlib_module_names, "envpredict", *others}
    ]
    assert not faults, "\n".join(faults)


def test_import_linter_agrees(need: Callable[[str], str]) -> None:
    # sees chains of imports too, which the check above doesn't
    run = subprocess.run([need("lint-imports"), "--no-logo", "--no-cache"], cwd=ROOT, capture_output=True, text=True,
                         check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    assert "0 broken" in run.stdout


def test_every_module_and_every_public_thing_has_a_docstring() -> None:
    bare = []
    for path in MODULES:
        tree = tree_of(path)
        if not ast.get_docstring(tree):
            bare.append(name_of(path))
        public = [node for node in tree.body if isinstance(node, Function | ast.ClassDef)]
        public += [inner for node in public if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
                   for inner in node.body if isinstance(inner, Function)]
        bare += [f"{name_of(path)}:{node.name}" for node in public
                 if not node.name.startswith("_") and not ast.get_docstring(node)]
    assert not bare, f"without a docstring: {bare}"


def test_nothing_is_left_undone() -> None:
    # the words are put together here, so that this file doesn't find itself
    marks = "|".join(["TO" + "DO", "FIX" + "ME", "XX" + "X", "NotImplemented" + "Error", r"mark\.sk" + "ip"])
    found = [
        f"{path.relative_to(ROOT).as_posix()}:{number}: {line.strip()}"
        for path in [*MODULES, *TESTS, *PACKAGE.rglob("*.toml"), *PACKAGE.rglob("*.md"), *ROOT.glob("*.md")]
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(rf"(?<!\w)({marks})", line)
    ]
    assert not found, "\n".join(found)


def test_every_test_asserts_something() -> None:
    idle = []
    for path in TESTS:
        for function in functions(tree_of(path)):
            if not function.name.startswith("test_"):
                continue
            nodes = list(ast.walk(function))
            calls = [node for node in nodes if isinstance(node, ast.Call)]
            names = {ast.unparse(node.func) for node in calls}
            judged = any(isinstance(node, ast.Assert) for node in nodes) or any(
                re.search(r"assert|raises|warns|fail|expect|check", name) for name in names
            )
            if not judged:
                idle.append(f"{path.relative_to(ROOT).as_posix()}:{function.name}")
    assert not idle, f"a test that can't fail: {idle}"
