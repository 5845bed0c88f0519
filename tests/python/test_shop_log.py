"""The bench log's reader: every row accounted for, every fault named by row and column, nothing unknown read."""

import subprocess
import sys

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import weaklink as wl
from weaklink import _core
from weaklink.shop_log import read_log, words

HEAD = "job,date,contact,kind,method,shows,remedy,after,minutes,part_cost,damage,back_on,last_known_good"
GOOD = "7,2024-03-05,relay / a,relay,1 A drop,400 mV,clean,40 mV,20,,no,,2025-03-05"
ROWS = [
    GOOD,
    "7,2024-03-05,relay / b,relay,1 A drop,OL,replace,<0.5 mV,30,9.50 EUR,no,2024-09-03,",
    "8,2024-04-01,selector / disc,rotary switch,1 A drop,90 mV,strip,,40,,yes,,",
]
# a reading of 400 mV at 1 A, within 2 % + 0.2 mV (the typical method) [calc]
LOW, HIGH = 0.400 * 0.98 - 2e-4, 0.400 * 1.02 + 2e-4


def log(*rows, head=HEAD):
    return read_log("\n".join([head, *rows, ""]).encode())


def test_a_row_with_both_readings():
    found = log(*ROWS)
    assert found.summary == "2 used, 1 without after, 0 set aside"
    assert found.faults == ()
    assert found.jobs == 2
    np.testing.assert_allclose([found.before_low_ohm[0], found.before_high_ohm[0]], [LOW, HIGH], rtol=1e-12)
    kinds, remedies = words().kinds, words().remedies
    assert [kinds[k] for k in found.kind] == ["relay", "relay", "rotary switch"]
    assert [remedies[r] for r in found.remedy] == ["clean", "replace", "strip"]
    # over limit has no upper end, below the range no lower one, no reading none at all
    assert found.before_low_ohm[1] == 1e6 and np.isinf(found.before_high_ohm[1])
    assert found.after_low_ohm[1] == 0.0 and 5e-4 <= found.after_high_ohm[1] < 1e-3
    assert np.isnan(found.after_low_ohm[2])
    assert (found.over, found.below, found.blank) == (1, 1, 1)
    # 365 days, 182 days; never heard of again
    np.testing.assert_allclose(found.years[:2], [365 / 365.25, 182 / 365.25], rtol=1e-12)
    assert found.came_back.tolist() == [False, True, False] and np.isnan(found.years[2])
    np.testing.assert_array_equal(found.damage, [0.0, 0.0, 1.0])
    assert found.currency == "EUR" and found.part_cost[1] == 9.5


def test_what_stood_in_parallel_is_taken_off():
    def read(beside):
        return log(f"{GOOD},{beside}", head=HEAD + ",parallel")

    found = read("0.8 ohm")
    ends = [found.before_low_ohm[0], found.before_high_ohm[0]]
    np.testing.assert_allclose(ends, [1 / (1 / LOW - 1 / 0.8), 1 / (1 / HIGH - 1 / 0.8)], rtol=1e-12)
    found = read("unknown")
    assert found.before_low_ohm[0] == pytest.approx(LOW) and np.isinf(found.before_high_ohm[0])
    for wrong in ("0.1 ohm", "0 ohm", "much"):
        assert read(wrong).faults[0].column == "parallel", wrong


STACKED = """when,contact,channel,shows,method,job,kind,date,back_on
as found,relay / a,left,400 mV,1 A drop,7,relay,2024-03-05,
tapped,relay / a,left,300 to 700 mV,1 A drop,7,,,
after cleaning,relay / a,left,40 mV,1 A drop,7,,2024-03-06,
after replacing,relay / a,left,9 mV,1 A drop,7,,2024-03-07,2024-06-07
as found,relay / a,right,200 mV,1 A drop,7,relay,2024-03-05,
as found,relay / b,left,300 mV,1 A drop,8,relay,2024-03-05,
as found,relay / b,left,210 mV,1 A drop,8,relay,2024-03-20,
after cleaning,relay / c,left,30 mV,1 A drop,9,relay,2024-03-20,
"""


def test_readings_of_jobs_stack():
    found = read_log(STACKED.encode())
    assert found.summary == "6 used, 1 without after, 1 set aside"
    assert [words().remedies[r] for r in found.remedy] == ["clean", "replace", "none"]
    # the second remedy starts from what the first one left
    np.testing.assert_allclose(found.before_low_ohm[:2], [LOW, 0.040 * 0.98 - 2e-4], rtol=1e-12)
    # the comeback belongs to the last remedy
    assert np.isnan(found.years[0]) and found.came_back.tolist() == [False, True, False]
    np.testing.assert_allclose(found.years[1], 92 / 365.25, rtol=1e-12)
    (fault,) = found.faults
    assert (fault.row, fault.column, fault.row_aside) == (9, "when", True)
    assert "without a reading as found" in fault.found


def test_every_reading_column_is_a_log_column():
    header = _core._readings_template(wl.Job.from_text(_core._sheet_template())).splitlines()
    columns = next(line for line in header if line.startswith("when")).split(",")
    assert len(columns) > 5
    assert set(columns) <= {column.name for column in words().columns}


SPREADSHEETS = {
    "utf-16": lambda t: t.encode("utf-16"),
    "byte-order mark": lambda t: t.encode("utf-8-sig"),
    "windows-1252": lambda t: t.replace("disc", "disc \xe9").encode("cp1252"),
    "semicolon, decimal comma": lambda t: t.replace(",", ";").replace("9.50", "9,50").replace("0.5 mV", "0,5 mV").encode(),
    "tab": lambda t: t.replace(",", "\t").encode(),
    "carriage returns": lambda t: t.replace("\n", "\r\n").encode(),
    "day first": lambda t: t.replace("2024-03-05", "5.3.2024").encode(),
}


@pytest.mark.parametrize("name", SPREADSHEETS)
def test_spreadsheets_as_they_come(name):
    text = "\n".join([HEAD, *ROWS, ""])
    plain, found = read_log(text.encode()), read_log(SPREADSHEETS[name](text))
    assert found.faults == ()
    for column in ("before_low_ohm", "before_high_ohm", "after_high_ohm", "years", "part_cost", "minutes", "day", "kind"):
        np.testing.assert_array_equal(getattr(found, column), getattr(plain, column), err_msg=column)


def test_slashed_dates_follow_the_one_that_tells():
    us = log(GOOD.replace("2024-03-05", "3/5/2024"), ROWS[1].replace("2024-09-03", "9/23/2024"))
    assert us.faults == () and us.day[0] == 19_787
    rest = log(GOOD.replace("2024-03-05", "3/5/2024").replace("2025-03-05", "3/5/2025"))
    assert [(f.column, f.row_aside) for f in rest.faults] == [("date", False), ("last_known_good", False)]
    assert "day or month first" in rest.faults[0].allowed


def test_units_in_the_header():
    head = HEAD.replace("shows", "Shows (mV)").replace(",after", ",After [mV]").replace("part_cost", "Part cost")
    found = log(GOOD.replace("400 mV", "400").replace("40 mV", "40"), head=head)
    assert found.faults == ()
    np.testing.assert_allclose(found.before_low_ohm, [LOW], rtol=1e-12)


FAULTS = {
    "wrong unit": (("400 mV", "400 mA"), "shows", True),
    "no unit": (("400 mV", "400"), "shows", True),
    "negative": (("400 mV", "-400 mV"), "shows", True),
    "mega for milli": (("1 A drop,400 mV", "hand meter,85 Mohm"), "shows", True),
    "negative minutes": ((",20,", ",-20,"), "minutes", False),
    "minutes in ohm": ((",20,", ",20 ohm,"), "minutes", False),
    "after without before": (("400 mV", ""), "after", True),
    "back before the remedy": ((",no,,", ",no,2023-01-01,"), "back_on", False),
    "known good before the remedy": (("2025-03-05", "2023-03-05"), "last_known_good", False),
    "no such day": (("2025-03-05", "2025-02-30"), "last_known_good", False),
    "unknown kind": ((",relay,", ",relais,"), "kind", True),
    "no kind": ((",relay,", ",,"), "kind", True),
    "unknown remedy": (("clean", "cleaned up"), "remedy", True),
    "no remedy": (("clean", ""), "remedy", True),
    "unknown method": (("1 A drop", "my box"), "method", True),
    "no job": (("7,", ","), "job", True),
    "no contact": (("relay / a", ""), "contact", True),
    "second currency": (("20,,no", "20,12 GBP,no"), "part_cost", False),
    "no money": (("20,,no", "20,twelve,no"), "part_cost", False),
    "neither yes nor no": ((",no,", ",perhaps,"), "damage", False),
    "too many cells": (("2025-03-05", "2025-03-05,,,"), "shows", True),
    "millivolts without a load": (("1 A drop", "signal millivolts"), "at", True),
}


@pytest.mark.parametrize("name", FAULTS)
def test_faults_are_named_and_not_fatal(name):
    (old, new), column, aside = FAULTS[name]
    assert old in GOOD
    rows = [ROWS[1], GOOD.replace(old, new, 1)]
    found = log(*rows)
    fault = found.faults[0]
    assert (fault.row, fault.column, fault.row_aside) == (3, column, aside)
    assert fault.allowed and f"row 3, {column}: " in str(fault)
    assert found.summary == ("1 used, 0 without after, 1 set aside" if aside else "2 used, 0 without after, 0 set aside")
    assert found.set_aside == ((3,) if aside else ())
    with pytest.raises(wl.InputError, match=f"row 3, {column}: ") as caught:
        read_log("\n".join([HEAD, *rows]).encode(), strict=True)
    assert (caught.value.place, caught.value.line) == (column, 3)


def test_a_row_that_stands_twice():
    found = log(*ROWS, GOOD)
    assert [(f.row, f.column, f.row_aside) for f in found.faults] == [(5, "contact", True)]
    assert found.summary == "2 used, 1 without after, 1 set aside"
    with pytest.raises(wl.InputError, match="row 5, contact: ") as caught:
        read_log("\n".join([HEAD, *ROWS, GOOD]).encode(), strict=True)
    assert (caught.value.place, caught.value.line) == ("contact", 5)


def test_rows_add_up_and_keep_their_numbers():
    found = log(GOOD, "", "  ", ROWS[1].replace("OL", "12 furlong"), "", *[ROWS[2].replace("disc", f"d{k}") for k in range(3)])
    # blank lines are no rows; the file's own numbers stay
    assert [f.row for f in found.faults] == [5] and found.without_after == (7, 8, 9)
    assert found.used + len(found.without_after) + len(found.set_aside) == 5


def test_unknown_columns_are_neither_read_nor_echoed(tmp_path):
    secret = "Mrs Miller of 12 High Street"
    head, rows = HEAD + ",customer name", [row + f",{secret}" for row in ROWS]
    rows.append(GOOD.replace("400 mV", "400 mA") + f",{secret}")
    found = log(*rows, head=head)
    assert found.unknown_columns == 1 and "customer name" not in found.columns
    assert len(found.faults) == 1
    path = tmp_path / "aside.csv"
    found.write_set_aside(path)
    told = repr(found) + "".join(map(str, found.faults)) + path.read_text() + found.summary
    assert "Miller" not in told and "customer" not in told
    frame = pd.DataFrame([row.split(",") for row in rows], columns=head.split(","))
    assert read_log(frame).unknown_columns == 1


class Sealed:
    """A cell that must not be looked into."""

    def __str__(self):
        raise AssertionError("read")

    __repr__ = __str__


def test_unknown_columns_of_a_dataframe_stay_closed():
    frame = pd.DataFrame([row.split(",") for row in ROWS], columns=HEAD.split(","))
    frame["customer name"] = [Sealed() for _ in ROWS]
    assert read_log(frame).unknown_columns == 1


def test_an_after_of_an_earlier_day():
    found = read_log(STACKED.replace("7,,2024-03-06", "7,,2024-02-06").encode())
    fault = next(f for f in found.faults if f.row == 4)
    assert (fault.column, fault.row_aside) == ("date", True) and "28 days before" in fault.found


def test_set_aside_is_written(tmp_path):
    found = log(*ROWS, GOOD.replace("relay / a", "relay / z").replace("400 mV", "12 furlong"))
    path = tmp_path / "aside.csv"
    found.write_set_aside(path)
    table = pd.read_csv(path)
    assert table["row"].tolist() == [4, 5]
    assert table["what"].tolist() == ["without after", "row set aside"]
    assert table["column"].tolist()[1] == "shows"


def frames():
    table = pd.DataFrame([row.split(",") for row in ROWS], columns=HEAD.split(",")).replace("", None)
    table["date"] = pd.to_datetime(table["date"])
    table["minutes"] = table["minutes"].astype(float)
    table["kind"] = table["kind"].astype("category")
    table["notes of ours"] = "x, \"y\"\nz"
    return {
        "pandas": table,
        "polars": pl.from_pandas(table),
        "lazy": pl.from_pandas(table).lazy(),
        "arrow": pa.Table.from_pandas(table),
    }


@pytest.mark.parametrize("name", ["pandas", "polars", "lazy", "arrow", "parquet"])
def test_any_dataframe(name, tmp_path):
    plain = log(*ROWS)
    if name == "parquet":
        source = tmp_path / "log.parquet"
        pq.write_table(frames()["arrow"], source)
    else:
        source = frames()[name]
    found = read_log(source)
    assert found.faults == () and found.summary == plain.summary
    for column in ("before_low_ohm", "after_high_ohm", "years", "part_cost", "minutes", "day", "kind", "remedy", "came_back", "damage"):
        np.testing.assert_array_equal(getattr(found, column), getattr(plain, column), err_msg=column)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        (HEAD.replace("shows", "display"), 'no column "shows"'),
        (HEAD.replace("job", "number"), 'no column "job"'),
        (HEAD.replace("kind", "sort"), 'no column "kind"'),
        (HEAD.replace("contact", "where"), 'no column "contact" or "part"'),
        (HEAD + ",Shows", 'column "shows" comes twice'),
        (HEAD.replace("shows", "shows (furlong)"), 'column "shows" in "furlong"'),
        ("", "no column"),
    ],
)
def test_a_header_that_does_not_do(head, says):
    with pytest.raises(wl.InputError, match="header") as caught:
        log(*ROWS, head=head)
    assert says in str(caught.value)


def test_no_such_file(tmp_path):
    with pytest.raises(wl.InputError, match="No such file"):
        read_log(tmp_path / "none.csv")


def test_a_missing_extra_is_one_line(tmp_path, root):
    path = tmp_path / "log.parquet"
    pq.write_table(frames()["arrow"], path)
    demo = root / "notebooks" / "jobs" / "bench-log.csv"
    for module, file in (("statsmodels", demo), ("narwhals", path), ("pyarrow", path)):
        code = f"import sys; sys.modules[{module!r}] = None; from weaklink.cli import main; sys.exit(main(['compare', {str(file)!r}]))"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
        assert done.returncode == 1 and done.stdout == ""
        assert done.stderr.count("\n") == 1 and f"{module} is not installed: pip install 'weaklink[shop]'" in done.stderr


def test_importing_loads_none_of_it():
    code = "import sys, weaklink; print([m for m in ('numpy', 'scipy', 'statsmodels', 'narwhals', 'pyarrow', 'pandas') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
