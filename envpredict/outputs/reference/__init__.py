"""The reference pages of the docs, printed from the registries.

`python -m envpredict.outputs.reference` rewrites them. One module of `pages` per page: its docstring is the page's
introduction, `TITLE` its title, `body() -> str` the rest.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from importlib.metadata import entry_points
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from envpredict.outputs.reference import pages as page_modules

if TYPE_CHECKING:
    import click

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "reference"
NOTICE = "<!-- Printed by `python -m envpredict.outputs.reference`: change the registries, not this page. -->"


def command_group() -> click.Group:
    """Return the program's group of commands, found as the shell finds it: by the installed console script."""
    point = entry_points(group="console_scripts", name="envpredict")["envpredict"]
    return cast("click.Group", point.load())


def _page(module: Any) -> str:
    return "\n\n".join([NOTICE, f"# {module.TITLE}", str(inspect.getdoc(module)), module.body().strip()]) + "\n"


def pages() -> dict[str, str]:
    """Return every reference page: file name to Markdown text."""
    names = sorted(module.name for module in pkgutil.iter_modules(page_modules.__path__))
    return {f"{name}.md": _page(importlib.import_module(f"{page_modules.__name__}.{name}")) for name in names}


def stale(folder: Path = FOLDER) -> dict[str, str]:
    """Return the pages of a folder that differ from the registries: file name to what is wrong with it."""
    wanted = pages()
    there = {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.md")}
    faults = dict.fromkeys(wanted.keys() - there.keys(), "is missing")
    faults |= dict.fromkeys(there.keys() - wanted.keys(), "belongs to no page")
    faults |= {name: "is out of date" for name in wanted.keys() & there.keys() if wanted[name] != there[name]}
    return dict(sorted(faults.items()))


def write(folder: Path = FOLDER) -> list[str]:
    """Write the pages that have changed, delete those that belong to none, and return their names."""
    folder.mkdir(parents=True, exist_ok=True)
    changed, wanted = stale(folder), pages()
    for name in changed:
        if name in wanted:
            (folder / name).write_text(wanted[name], encoding="utf-8")
        else:
            (folder / name).unlink()
    return list(changed)
