"""The table of speed: python tests/speed/table.py [--quick]. Not a test: times depend on the machine.

Both sides of a row run in one process, interleaved, medians of 7 runs; results are compared before anything is timed: loss to 1e-9,
films to 1e-9 of the largest THD, ceilings to 2 % (ours encloses what the peer looks at on a grid).
Ratios of processor time (all threads together) stand beside those of the clock: they say what is left when other work runs beside it.
`--quick` leaves out what takes minutes: threads, draws, ceilings.
"""

import json
import os
import platform
import subprocess
import sys
from pathlib import Path

# numpy's linear algebra with one thread: small matrices only get in each other's way
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402
import weaklink as wl  # noqa: E402
from rows import alone, ceilings, films, linear, reactive  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]


def processor():
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
        return next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or platform.machine()


def measured_machine():
    """Peak rates from the example `machine`; nothing where there is no Rust."""
    command = ["cargo", "run", "--quiet", "--release", "--example", "machine"]
    try:
        done = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
    except (OSError, subprocess.CalledProcessError) as error:
        print(f"the machine's peak was not measured: {error}")
        return None
    return json.loads(done.stdout)


def shown(seconds):
    return f"{1e3 * seconds:.2f} ms" if seconds < 1 else f"{seconds:.2f} s"


def print_row(row, machine):
    wanted = "" if row.wanted is None else f", wanted {row.wanted:g}"
    print(f"{row.name}\n   against {row.peer}: {shown(row.peer_s)}; ours {shown(row.ours_s)}: ratio {row.ratio:.1f}{wanted}; of processor time {row.cpu_ratio:.1f}")
    if row.solves:
        print(f"   {1e6 * row.ours_cpu_s / row.solves:.2f} us of processor time a solve (wanted at most {row.wanted_us:g})")
    if machine and row.operations:
        rate = row.operations / row.ours_s / 1e9
        in_one = row.operations / row.ours_cpu_s / 1e9
        print(f"   {rate:.1f} Gflop/s, {100 * rate / machine['gflops_all']:.0f} % of the machine's; per processor second {in_one:.1f}, {100 * in_one / machine['gflops_one']:.0f} % of one core's (wanted 40 %)")
        alone = row.operations / row.alone_s / 1e9
        print(f"   back to back, as the peak is measured: {shown(row.alone_s)}, {alone:.1f} Gflop/s, {100 * alone / machine['gflops_all']:.0f} % of the machine's (wanted 40 %)")
    if machine and row.written_bytes:
        rate = row.written_bytes / row.ours_s / 1e9
        print(f"   the answer alone is {rate:.1f} GB/s, {100 * rate / machine['gb_s_all']:.0f} % of what the memory takes")


def main():
    quick = "--quick" in sys.argv[1:]
    machine = measured_machine()
    print(f"weaklink {wl.__version__}, numpy {np.__version__}, Python {platform.python_version()}, {processor()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    if machine:
        print(f"peak: {machine['gflops_one']:.0f} Gflop/s in one thread, {machine['gflops_all']:.0f} in {machine['threads']} ({machine['instructions']}); memory {machine['gb_s_one']:.1f} and {machine['gb_s_all']:.1f} GB/s")
    for part in [linear, films, reactive, *([] if quick else [ceilings])]:
        for row in part.rows():
            print_row(row, machine)
            sys.stdout.flush()
    alone.scalar(machine)
    alone.imports()
    alone.scaling()
    if not quick:
        alone.threads(machine)
        alone.draws()


if __name__ == "__main__":
    main()
