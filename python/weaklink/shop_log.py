"""The bench log as arrays: CSV as it comes, Parquet, or any dataframe, through one reader."""

from __future__ import annotations

import io
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ._core import _log_read, _log_words
from .extras import bad_input

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Column:
    """One column of a bench log: its name, what may stand there, an example, and what it means."""

    name: str
    form: str
    example: str
    meaning: str


@dataclass(frozen=True)
class Fault:
    """What is wrong with a cell: row of the file (its header is row 1), column, what was found, what is allowed.

    ``row_aside`` says whether the whole row was set aside or this cell alone.
    """

    row: int
    column: str
    found: str
    allowed: str
    row_aside: bool

    def __str__(self) -> str:
        aside = "row set aside" if self.row_aside else "cell set aside"
        return f"row {self.row}, {self.column}: {self.found}; {self.allowed} ({aside})"


@dataclass(frozen=True)
class Words:
    """The closed lists of a log, in the order of the codes in :class:`BenchLog`, and what is usual for each kind."""

    columns: tuple[Column, ...]
    kinds: tuple[str, ...]
    remedies: tuple[str, ...]
    products: tuple[str, ...]
    environments: tuple[str, ...]
    back_why: tuple[str, ...]
    in_order_up_to_ohm: tuple[float | None, ...]
    in_order_source: tuple[str | None, ...]
    places: tuple[tuple[str, float, float, float], ...]


# filled once
_KNOWN: list[Words] = []


def _read_words() -> Words:
    raw = json.loads(_log_words())
    columns = tuple(Column(*row) for row in raw.pop("columns"))
    places = tuple((str(name), float(a), float(b), float(c)) for name, a, b, c in raw.pop("places"))
    return Words(columns=columns, places=places, **{name: tuple(rows) for name, rows in raw.items()})


def words() -> Words:
    """The words of a log, from the table in the compiled part."""
    if not _KNOWN:
        _KNOWN.append(_read_words())
    return _KNOWN[0]


def missing_extra(module: str) -> ModuleNotFoundError:
    """One line that says what to install."""
    return ModuleNotFoundError(
        f"{module} is not installed: pip install 'weaklink[shop]' brings what a bench log takes", name=module
    )


@dataclass(frozen=True)
class BenchLog:
    """A bench log, read and checked: one element per contact before and after a remedy, arrays of one length.

    ``kind``, ``remedy``, ``product``, ``environment`` are codes into :func:`words` (255: not said); ``job`` numbers the
    amplifiers from 0. Resistances in ohm, lower and upper end of what the meter left: 0 below its range, infinite over
    its limit; NaN where there is no after-reading. ``years`` is how long it was followed (NaN: not known).
    """

    row: NDArray[np.uint32]
    job: NDArray[np.uint32]
    kind: NDArray[np.uint8]
    remedy: NDArray[np.uint8]
    product: NDArray[np.uint8]
    environment: NDArray[np.uint8]
    plated: NDArray[np.bool_]
    dry: NDArray[np.bool_]
    before_low_ohm: _Floats
    before_high_ohm: _Floats
    after_low_ohm: _Floats
    after_high_ohm: _Floats
    day: _Floats
    years: _Floats
    came_back: NDArray[np.bool_]
    why_unknown: NDArray[np.bool_]
    minutes: _Floats
    part_cost: _Floats
    damage: _Floats
    used: int
    without_after: tuple[int, ...]
    set_aside: tuple[int, ...]
    faults: tuple[Fault, ...]
    over: int
    below: int
    blank: int
    currency: str | None
    unknown_columns: int
    columns: tuple[str, ...]
    jobs: int

    def __len__(self) -> int:
        return len(self.row)

    @property
    def summary(self) -> str:
        """What became of the rows: "4,871 used, 97 without after, 32 set aside"."""
        return f"{self.used:,} used, {len(self.without_after):,} without after, {len(self.set_aside):,} set aside"

    def write_set_aside(self, path: str | os.PathLike[str]) -> None:
        """Writes the numbers of the rows without an after and of those set aside, and every fault, as CSV."""
        import csv
        import io

        from .files import write_whole

        file = io.StringIO(newline="")
        out = csv.writer(file)
        out.writerow(["row", "what", "column", "found", "allowed"])
        rows: list[tuple[int, str, str, str, str]] = [(row, "without after", "", "", "") for row in self.without_after]
        for fault in self.faults:
            what = "row set aside" if fault.row_aside else "cell set aside"
            rows.append((fault.row, what, fault.column, fault.found, fault.allowed))
        out.writerows(sorted(rows))
        write_whole(path, file.getvalue())


def _log(data: bytes, file: str, strict: bool) -> BenchLog:
    arrays, text = _log_read(data, file)
    account = json.loads(text)
    faults = tuple(Fault(*fault) for fault in account.pop("faults"))
    if strict and faults:
        first = faults[0]
        more = f" (and {len(faults) - 1} faults more)" if len(faults) > 1 else ""
        error = bad_input(first.column, first.found, first.allowed + more, file=file, row=first.row)
        error.faults = [(file, f.row, f.column, f.found, f.allowed) for f in faults]
        raise error
    for name in ("without_after", "set_aside", "columns"):
        account[name] = tuple(account[name])
    return BenchLog(**arrays, **account, faults=faults)


def _known(names: list[str]) -> Iterator[str]:
    known = {column.name for column in words().columns}
    for name in names:
        bare = name.strip().lower().split("(")[0].split("[")[0].strip().replace(" ", "_").replace("-", "_")
        if bare in known:
            yield name


def _frame_bytes(frame: Any) -> bytes:
    """The known columns of any dataframe as CSV; no other column is touched."""
    try:
        import narwhals as nw
    except ModuleNotFoundError:
        raise missing_extra("narwhals") from None
    table = nw.from_native(frame, eager_only=False)
    if isinstance(table, nw.LazyFrame):
        table = table.select(*_known(table.collect_schema().names())).collect()
    names = list(_known(table.columns))
    others = len(table.columns) - len(names)
    table = table.select(*names)
    table = table.with_columns(nw.col(name).cast(nw.String) for name, kind in table.schema.items() if not kind.is_numeric())
    text = str(table.write_csv(None))
    if not others:
        return text.encode()
    # the reader counts what is there and not known: empty columns stand for what was left out
    head, _, rest = text.partition("\n")
    return ("\n".join([head + ",_" * others, rest]) if others else text).encode()


def read_log(source: Any, *, strict: bool = False) -> BenchLog:
    """Reads a bench log; every row is accounted for.

    Parameters
    ----------
    source
        Path of a CSV file (any spreadsheet's: UTF-8, UTF-16 or Windows-1252; comma, semicolon or tab; decimal comma), path
        of a Parquet file (``.parquet``; takes pyarrow), bytes of a CSV file, or any dataframe that narwhals knows (pandas,
        polars, pyarrow and others). Columns: ``weaklink compare --columns``. Unknown columns are neither read nor printed.
    strict
        Raise InputError at faults of cells and rows instead of setting them aside.

    Raises
    ------
    InputError
        A header without the columns that a log takes, or, if ``strict``, any fault, with row and column.
    """
    if isinstance(source, bytes):
        return _log(source, "log", strict)
    if not isinstance(source, (str, os.PathLike)):
        return _log(_frame_bytes(source), "dataframe", strict)
    path = Path(source)
    try:
        if path.suffix.lower() in (".parquet", ".pq"):
            try:
                import pyarrow.parquet as pq  # type: ignore[import-untyped]
            except ModuleNotFoundError:
                raise missing_extra("pyarrow") from None
            names = pq.read_schema(path).names
            table = pq.read_table(path, columns=list(_known(names)))
            return _log(_frame_bytes(table), path.name, strict)
        return _log(path.read_bytes(), path.name, strict)
    except OSError as error:
        raise bad_input("log", error.strerror or error, "allowed: a bench log, CSV or Parquet", file=str(path)) from None


def columns_text() -> str:
    """The columns of a bench log, for the terminal."""
    out = io.StringIO()
    out.write("Columns of a bench log, in any order; shows, job, kind, and contact or part must be there\n")
    for column in words().columns:
        example = f", like {column.example}" if column.example else ""
        out.write(f"  {column.name:16} {column.meaning} [{column.form}{example}]\n")
    return out.getvalue()
