"""A large log cut off in the middle of a row: python tests/hard/log_cut.py [ROWS, 10 000 000 if not said].

Invented rows are written until there are ROWS, then the file is cut at half its bytes, inside a row. It is read in a process of
its own, whose largest resident memory is printed. Every whole row must be used, without an after or set aside, and the cut one said.
The test command does the same with 200 000 rows.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BLOCK = 100_000
# bytes of resident memory per byte of the file, and a floor for the interpreter and its libraries: the file's bytes, its text, the rows
MOST_PER_BYTE, FLOOR = 6.0, 300 << 20


def write_cut(path: Path, rows: int) -> int:
    """Writes the log and cuts it; returns how many whole rows are left."""
    from weaklink.shop import invented_log

    head, *lines = invented_log(min(rows, BLOCK), 1).text.splitlines()
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(head + "\n")
        for copy in range(-(-rows // len(lines))):
            # other amplifiers each time, or the rows would stand twice
            file.writelines(f"{copy}-{line}\n" for line in lines[: rows - copy * len(lines)])
    size = path.stat().st_size // 2
    with path.open("r+b") as file:
        while True:
            # into the cell before the last: a comma is left to come
            file.seek(size)
            after = file.read(400).split(b"\n")[0]
            if after.count(b",") >= 2:
                break
            size -= 1
        file.truncate(size)
        file.seek(0)
        return sum(block.count(b"\n") for block in iter(lambda: file.read(1 << 20), b"")) - 1


def peak() -> int:
    """Most memory of this process, bytes; what getrusage says would count the one that it was forked from."""
    import resource

    status = Path("/proc/self/status")
    own = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else []
    return 1024 * int(own[0]) if own else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def read(path: Path) -> None:
    """In a process of its own: what was read and what it took, as JSON."""
    from weaklink.shop import read_log

    began = time.monotonic()
    log = read_log(path)
    last = log.faults[-1]
    print(json.dumps({
        "used": log.used, "without_after": len(log.without_after), "set_aside": len(log.set_aside), "summary": log.summary,
        "row": last.row, "found": last.found, "aside": last.row_aside, "seconds": time.monotonic() - began,
        "peak": peak(),
    }))  # fmt: skip


def tried(rows: int) -> dict:
    """Writes, cuts, reads; raises AssertionError where a row is lost without a word or memory is not bounded."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cut.csv"
        whole = write_cut(path, rows)
        size = path.stat().st_size
        done = subprocess.run([sys.executable, __file__, "--read", str(path)], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-2000:]
        found = json.loads(done.stdout) | {"whole": whole, "size": size}
    assert found["used"] + found["without_after"] + found["set_aside"] == whole + 1, found
    # the header is row 1
    assert found["row"] == whole + 2 and found["aside"] and "in the middle of this row" in found["found"], found
    assert found["peak"] < MOST_PER_BYTE * size + FLOOR, found
    return found


if __name__ == "__main__":
    if sys.argv[1:2] == ["--read"]:
        read(Path(sys.argv[2]))
    else:
        found = tried(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000)
        print(
            f"cut log: {found['whole']:,} whole rows of {found['size'] / 2**20:.0f} MiB: {found['summary']}; row {found['row']:,}: {found['found']};"
            f" {found['seconds']:.0f} s, at most {found['peak'] / 2**20:.0f} MiB, {found['peak'] / found['size']:.2f} of the file"
        )
