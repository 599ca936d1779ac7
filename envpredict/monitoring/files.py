"""Writes files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from envpredict.core.errors import OutputFailure


def write_whole(path: Path, content: bytes, *, replace: bool = False) -> Path:
    """Write a file by way of a sibling that takes its name when complete. Raises OutputFailure; an old file stays."""
    if path.exists() and not replace:
        raise OutputFailure(f"{path} exists", "name another file, or allow it to be replaced")
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as sibling:
            sibling.write(content)
            sibling.flush()
            os.fsync(sibling.fileno())
        Path(sibling.name).chmod(0o644)
        Path(sibling.name).replace(path)
    except OSError as error:
        raise OutputFailure(f"{path} could not be written: {error.strerror or error}",
                            "check that the folder exists and may be written to") from error
    return path
