"""Time and memory of comparing a large invented log: python tests/speed/bench_log.py [ROWS]. Not a test: times depend on the machine.

A million rows are invented and stacked as often as it takes, each copy with job numbers of its own; written as CSV, read and
compared in a process of its own, whose largest resident memory is printed.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time

MILLION = 1_000_000


def write(path: str, rows: int) -> None:
    from weaklink.shop import invented_log

    made = invented_log(min(rows, MILLION), 1)
    head, *lines = made.text.splitlines()
    with open(path, "w", encoding="utf-8") as file:
        file.write(head + "\n")
        for copy in range(-(-rows // len(lines))):
            file.writelines(f"{copy}-{line}\n" for line in lines[: rows - copy * len(lines)])


def read_and_compare(path: str) -> None:
    from weaklink.shop import compare, read_log

    began = time.monotonic()
    log = read_log(path)
    read = time.monotonic()
    found = compare(log, progress=lambda step: print(f"  {time.monotonic() - began:6.1f} s {step}", file=sys.stderr, flush=True))
    done = time.monotonic()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"{len(log):,} contacts of {found.jobs:,} amplifiers: read {read - began:.1f} s, compared {done - read:.1f} s, at most {peak:.2f} GiB")
    print(found.ratios[-1])


if __name__ == "__main__":
    if sys.argv[1:2] == ["--read"]:
        read_and_compare(sys.argv[2])
    else:
        rows = int(sys.argv[1]) if len(sys.argv) > 1 else 5 * MILLION
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "log.csv")
            write(path, rows)
            print(f"{os.path.getsize(path) / 2**20:.0f} MiB of CSV", flush=True)
            subprocess.run([sys.executable, __file__, "--read", path], check=True)
