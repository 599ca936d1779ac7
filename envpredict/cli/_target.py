"""Where commands that never replace anything may write."""

from __future__ import annotations

from pathlib import Path

from envpredict.core.errors import InputProblems, Problem


def new_folder(folder: Path, why: str) -> None:
    """Raise InputProblems if a folder exists already; `why` says why it isn't written over."""
    if folder.exists():
        raise InputProblems([Problem(str(folder), "exists already", f"choose another folder: {why}")],
                            "the output folder")
