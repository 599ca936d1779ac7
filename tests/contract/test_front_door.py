"""What a newcomer meets first: the README's commands, the start of the program, what the wheel carries, the CI script.

The texts can't drift from the code, since each statement that a machine can check is checked here.
"""

from __future__ import annotations

import ast
import re
import runpy
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Callable
from importlib.metadata import packages_distributions
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from envpredict.outputs.reference import command_group
from envpredict.outputs.registry import load_outputs

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
OPTIONAL = tuple(sorted(PROJECT["optional-dependencies"].keys() - {"test", "dev"}))
"""The extras that bring what some inputs need."""
HEAVY = ("numpy", "pandas", "geopandas", "shapely", "pyproj", "pyogrio", "scipy", "pydantic", "numba", "folium",
         "matplotlib", "contourpy", "holidays", "docx", "xlsxwriter")


def commands() -> dict[str, click.Command]:
    group = command_group()
    context = click.Context(group, info_name="envpredict")
    return {name: command for name in group.list_commands(context)
            if (command := group.get_command(context, name)) is not None}


def shell_lines(path: Path) -> list[str]:
    """Return the lines of the shell blocks of a text."""
    blocks = re.findall(r"```(?:sh|bash)\n(.*?)```", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def fresh_machine() -> list[list[str]]:
    """Return the README's commands for a fresh machine, each as its steps."""
    return [line.split(" && ") for line in shell_lines(README) if line.startswith("python3 -m venv")]


def loaded_after(code: str) -> set[str]:
    """Return which heavy packages a new Python has loaded after running the code."""
    ask = f"{code}\nimport sys\nprint('loaded:', *[name for name in {HEAVY!r} if name in sys.modules])"
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return set(run.stdout.rpartition("loaded:")[2].split())


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert loaded_after("import envpredict") == set()


def test_asking_for_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nsys.argv = ['envpredict', '--help']\nfrom envpredict.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code"
    )
    assert loaded_after(code) == set()


def test_the_check_of_loaded_packages_sees_one() -> None:
    assert loaded_after("import numpy") == {"numpy"}


def test_the_console_script_answers(need: Callable[[str], str]) -> None:
    run = subprocess.run([need("envpredict"), "--help"], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert not re.search(r"\w\.{3}", run.stdout), "a sentence is cut"
    for name in commands():
        assert re.search(rf"^\s+{name}\s", run.stdout, flags=re.MULTILINE), f"{name} is missing from --help"


def test_every_command_says_what_it_does_and_shows_an_example() -> None:
    for name, command in commands().items():
        assert command.help, f"{name} has no help"
        assert "Example" in command.help, f"{name} shows no example"
        assert f"envpredict {name}" in command.help, f"the example of {name} doesn't call it"
        shown = CliRunner().invoke(command_group(), [name, "--help"]).output
        assert re.search(rf"^  Examples?:\n    envpredict {name}", shown, flags=re.MULTILINE), "the example is wrapped"
        bare = [option.name for option in command.params if isinstance(option, click.Option) and not option.help]
        assert not bare, f"{name}: options without help: {bare}"


def test_every_command_stands_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    missing = [name for name in commands() if f"envpredict {name}" not in text]
    assert not missing, f"README.md doesn't show: {missing}"


def test_commands_that_the_texts_show_exist_with_their_options() -> None:
    known = commands()
    shown = [step for path in (README, DEVELOPERS, *sorted((ROOT / "envpredict" / "docs").glob("*.md")))
             for line in shell_lines(path) for step in line.split(" && ") if step.startswith("envpredict ")]
    assert shown
    for step in shown:
        _, name, *words = shlex.split(step, comments=True)
        assert name in known, step
        options = {option for parameter in known[name].params for option in parameter.opts + parameter.secondary_opts}
        unknown = [word for word in words if word.startswith("-") and word.split("=")[0] not in options | {"--help"}]
        assert not unknown, f"{step}: {unknown}"


def test_the_readme_has_two_commands_for_a_fresh_machine() -> None:
    job, tests = fresh_machine()
    for steps in (job, tests):
        assert steps[0] == "python3 -m venv .venv"
        assert any(step.startswith("pip install ") for step in steps)
    assert job[-1].startswith("envpredict predict scenarios/quay_wall ")
    assert "--replace" in job[-1], "the command must work a second time"


def test_continuous_integration_runs_the_readmes_test_command() -> None:
    last = [line for line in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines() if line.strip()][-1]
    assert fresh_machine()[1][-1] == last == "python -m pytest"


def test_programs_that_tests_need_have_a_hint_and_are_installed_in_continuous_integration() -> None:
    hints = runpy.run_path(str(ROOT / "tests" / "conftest.py"))["INSTALL_HINTS"]
    needed = {name for path in (ROOT / "tests").rglob("*.py")
              for name in re.findall(r'\bneed\("([\w-]+)"\)', path.read_text(encoding="utf-8"))}
    assert needed == set(hints)
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    installed = set(re.findall(r"^packages=\((.*)\)$", script, flags=re.MULTILINE)[0].split())
    assert 'apt-get install -y -qq --no-install-recommends "${packages[@]}"' in script
    packages = {name for hint in hints.values() for name in hint.partition("apt-get install ")[2].split()}
    assert packages
    assert packages - installed == set()
    extras = {extra for hint in hints.values() for extra in re.findall(r"\.\[(\w+)\]", hint)}
    assert all(extra in script for extra in extras)


def test_hooks_are_local_and_run_what_continuous_integration_runs() -> None:
    hooks = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    assert set(re.findall(r"repo: (\S+)", hooks)) == {"local"}
    assert set(re.findall(r"language: (\S+)", hooks)) == {"system"}
    entries = re.findall(r"entry: (.+)", hooks)
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert entries
    assert [entry for entry in entries if entry not in script] == []


def test_the_readmes_library_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                          capsys: pytest.CaptureFixture[str]) -> None:
    example, = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.DOTALL)
    (tmp_path / "scenarios").symlink_to(ROOT / "scenarios")
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "README.md", "exec"), {})
    printed = capsys.readouterr().out
    assert "impact_hydraulic" in printed
    assert "[verify" in printed, "the law's source is from memory, and says so"
    assert {path.name for path in (tmp_path / "out").iterdir()} == set(load_outputs()) - {"findings.parquet"}


def test_the_readme_names_every_output() -> None:
    section = README.read_text(encoding="utf-8").partition("## What comes out")[2].partition("\n## ")[0]
    named = {name.rstrip("/") for name in re.findall(r"`([\w.]+/?)`", section)}
    assert named == set(load_outputs())


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=lambda path: path.name)
def test_files_that_the_texts_name_exist(text: Path) -> None:
    content = text.read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:envpredict|tests|scenarios|maps|\.ci)/[\w./-]*)`", content))
    named |= {link for link in re.findall(r"\]\(([^)#\s]+)", content) if "://" not in link}
    assert named
    missing = sorted(name for name in named if not (ROOT / name).exists())
    assert not missing, f"{text.name} names what doesn't exist: {missing}"


def test_the_readme_leads_to_every_page() -> None:
    links = set(re.findall(r"\]\(([^)#\s]+)", README.read_text(encoding="utf-8")))
    pages = {path.relative_to(ROOT).as_posix() for path in (ROOT / "envpredict" / "docs").rglob("*.md")}
    assert pages
    assert pages - links == set()


def test_the_pages_of_scenarios_and_maps_name_every_scenario() -> None:
    names = {path.parent.name for path in (ROOT / "scenarios").glob("*/scenario.toml")}
    for page in (ROOT / "scenarios" / "README.md", ROOT / "maps" / "README.md"):
        text = page.read_text(encoding="utf-8")
        assert {name for name in names if name not in text} == set(), page


def test_the_wheel_carries_every_file_of_the_package() -> None:
    # hatchling is what builds the wheel; its own listing knows what .gitignore would drop
    from hatchling.builders.wheel import WheelBuilder

    packed = {Path(file.distribution_path).as_posix() for file in WheelBuilder(str(ROOT)).recurse_included_files()}
    there = {path.relative_to(ROOT).as_posix() for path in (ROOT / "envpredict").rglob("*")
             if path.is_file() and "__pycache__" not in path.parts}
    assert {Path(name).suffix for name in there} >= {".py", ".toml", ".md"}
    assert there - packed == set()


def imported(folder: Path) -> set[str]:
    """Return the top-level names that the files of a folder import."""
    found = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module)
            elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith(("import_module", "importorskip")):
                found |= {word.value for word in node.args if isinstance(word, ast.Constant)}
    return {name.partition(".")[0] for name in found if isinstance(name, str)}


def declared(*extras: str) -> set[str]:
    """Return the names of the packages that an installation with these extras asks for."""
    asked = [*PROJECT["dependencies"], *(line for extra in extras for line in PROJECT["optional-dependencies"][extra])]
    return {re.split(r"[^\w.-]", line)[0].lower() for line in asked}


@pytest.mark.parametrize(("folder", "extras"),
                         [("envpredict", OPTIONAL), ("tests", (*OPTIONAL, "test")), ("scenarios", ())])
def test_every_imported_package_is_declared(folder: str, extras: tuple[str, ...]) -> None:
    brought = {"branca": "folium", "jinja2": "folium", "markupsafe": "folium", "pydantic_core": "pydantic",
               "nbformat": "nbclient", "lxml": "python-docx"}   # come with another package as a part of it
    own = {"envpredict", *(path.stem for path in (ROOT / "tests").rglob("*.py")),
           *(path.name for path in (ROOT / "tests").rglob("*/"))}
    homes = packages_distributions()
    asked = declared(*extras)
    missing = {name for name in imported(ROOT / folder) - own - set(sys.stdlib_module_names)
               if not {home.lower() for home in homes.get(name, [])} & asked and brought.get(name) not in asked}
    assert missing == set(), "name the packages in pyproject.toml"


def test_every_declared_package_is_used() -> None:
    homes = packages_distributions()
    seen = {home.lower() for folder in ("envpredict", "tests") for name in imported(ROOT / folder)
            for home in homes.get(name, [])}
    by_name = {"ipykernel", "oxlint", "pytest-benchmark", "tzdata"}   # a kernel, a program, a plugin, data of zoneinfo
    assert f"envpredict[{','.join(OPTIONAL)}]" in PROJECT["optional-dependencies"]["test"], "a test would be skipped"
    assert declared(*OPTIONAL, "test") - seen - by_name - {"envpredict"} == set()


def test_top_level_of_the_repository_holds_nothing_else() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "envpredict", "maps", "scenarios", "tests",
               "out", "dist"}
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert there - allowed == set()
