"""Errors that name the place, and one line for an extra that is not installed."""

from __future__ import annotations

import importlib
from typing import Any

from ._core import InputError


def bad_input(place: str, value: object, allowed: str, *, file: str | None = None, row: int | None = None) -> InputError:
    """An InputError with the attributes that those of the core have."""
    where = "".join([f"{file}: " if file else "", f"row {row}, " if row else ""])
    error = InputError(f"{where}{place}: {value}; {allowed}")
    error.place, error.value, error.allowed = place, str(value), allowed
    error.file, error.line = file, row
    error.faults = [(file, row, place, str(value), allowed)]
    return error


def needs(module: str, what: str) -> Any:
    """Imports a module of the extra ``notebooks``, or says in one line what to install."""
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        if error.name is None or error.name.split(".")[0] != module.split(".")[0]:
            raise
        told = f"{what} needs {module.split('.')[0]}: pip install 'weaklink[notebooks]' brings it"
        raise ModuleNotFoundError(told, name=error.name) from None
