"""Output files: whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: str | os.PathLike[str], text: str) -> None:
    """Writes UTF-8 text beside the file, then puts it in its place; whatever fails, what was there stays. OSError names the file."""
    there = Path(path)
    new = there.with_name(f"{there.name}.new-{os.getpid()}")
    try:
        with open(new, "w", newline="", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(new, there)
    except BaseException as error:
        new.unlink(missing_ok=True)
        if isinstance(error, OSError):  # a full disk does not say which file it was
            raise OSError(error.errno, error.strerror, str(there)) from error
        raise
