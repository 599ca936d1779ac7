"""Result folders, written all or nothing."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.errors import InputProblems, OutputFailure, Problem
from envpredict.outputs.grid_files import write_grids
from envpredict.outputs.registry import load_outputs

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

GRIDS = "grids"
MARK = "run.json"
"""A folder that holds this file is an earlier result, which alone may be replaced."""


def check_target(folder: Path, *, replace: bool) -> None:
    """Raise InputProblems if nothing may be written to a folder: it exists, or isn't an earlier result."""
    if not folder.exists():
        return
    if not replace:
        raise InputProblems([Problem(str(folder), "exists already", "choose another folder, or add --replace")],
                            "the output folder")
    if not folder.is_dir():
        raise InputProblems([Problem(str(folder), "is a file, not a folder", "choose another folder")],
                            "the output folder")
    if any(folder.iterdir()) and not (folder / MARK).is_file():
        raise InputProblems([Problem(str(folder), f"isn't an earlier result: it holds no {MARK}",
                                     "choose another folder; --replace only swaps results of this tool")],
                            "the output folder")


def write_folder(folder: Path, fill: Callable[[Path], None], *, replace: bool = False) -> Path:
    """Fill a folder by way of a temporary one beside it, and put it in place only when it's complete.

    An earlier result stays untouched until the new one is complete. Raises InputProblems if the target may not be
    written, OutputFailure if writing fails; nothing half-written is left either way.
    """
    folder = Path(folder)
    check_target(folder, replace=replace)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    except OSError as error:
        raise OutputFailure(f"{folder.parent}: can't be written: {error}",
                            "check that the disk has room and the folder can be written") from None
    try:
        fill(temporary)
        temporary.chmod(0o755)
        _put_in_place(temporary, folder)
    except OSError as error:
        raise OutputFailure(f"{folder}: can't be written: {error}",
                            "check that the disk has room and the folder can be written") from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
    return folder


def _put_in_place(temporary: Path, folder: Path) -> None:
    if not folder.exists():
        temporary.rename(folder)
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.old.", dir=folder.parent)) / folder.name
    try:
        folder.rename(aside)
        temporary.rename(folder)
    except BaseException:    # an interrupt between the two counts as well
        if aside.exists() and not folder.exists():
            aside.rename(folder)
        raise
    finally:
        shutil.rmtree(aside.parent, ignore_errors=True)


def write_assessment(assessment: Assessment, folder: Path, *, replace: bool = False, grids: bool = False,
                     also: Collection[str] = (), progress: Callable[[str], None] | None = None) -> Path:
    """Write every output of a run into a new folder and return it.

    With `grids` its level grids are written too, as GeoTIFF files in a folder `grids`; `also` names files that are
    written whether or not a run of its size has them, such as findings.csv. Raises InputProblems if the folder exists
    (or, with `replace`, isn't an earlier result) and OutputFailure if it can't be written.
    """

    def fill(temporary: Path) -> None:
        for name, output in load_outputs().items():
            if not (output.due(assessment) or name in also):
                continue
            if progress is not None:
                progress(name)
            output.write(assessment, temporary / name)
        if grids:
            (temporary / GRIDS).mkdir()
            write_grids(assessment, temporary / GRIDS)

    return write_folder(folder, fill, replace=replace)
