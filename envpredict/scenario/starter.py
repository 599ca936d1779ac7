"""Writes a small scenario that the main job accepts at once, with every key explained."""

from __future__ import annotations

import tempfile
from importlib import resources
from pathlib import Path

from envpredict.core.errors import InputProblems, OutputFailure, Problem


def write_starter(folder: Path) -> Path:
    """Write the starter scenario into a new folder and return it.

    Raises InputProblems if the folder exists already or has no parent, OutputFailure if it can't be written; nothing is
    written over and nothing half-written is left.
    """
    folder = Path(folder)
    if folder.exists() or folder.is_symlink():
        raise InputProblems([Problem(str(folder), "exists already", "name a new folder; nothing was written over")],
                            "the folder's name")
    if not folder.absolute().parent.is_dir():
        raise InputProblems([Problem(str(folder), f"there is no folder {folder.parent}", "make it first")],
                            "the folder's name")
    try:
        with tempfile.TemporaryDirectory(prefix=f".{folder.name}.", dir=folder.absolute().parent) as scratch:
            draft = Path(scratch) / folder.name
            draft.mkdir()
            for source in (resources.files("envpredict.scenario") / "data" / "starter").iterdir():
                (draft / source.name).write_bytes(source.read_bytes())
            draft.rename(folder)
    except OSError as error:
        raise OutputFailure(f"{folder} can't be written: {error.strerror}", "check permissions and space") from None
    return folder
