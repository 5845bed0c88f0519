"""What every row of the table has: interleaved timing, wall and processor time, a line to print."""

import statistics
import time
from dataclasses import dataclass

RUNS = 7


@dataclass
class Row:
    name: str
    peer: str
    peer_s: float
    ours_s: float
    ours_cpu_s: float
    peer_cpu_s: float
    wanted: float | None
    # floating-point operations of ours, counted by hand; None where they were not counted
    operations: float | None = None
    # what one call does so many of, and the processor time that one may take, us
    solves: int | None = None
    wanted_us: float | None = None
    # what the answer takes in memory, written once; None where it is not what costs
    written_bytes: float | None = None
    # of ours again and again, nothing between, as the peak of the machine is measured; where operations were counted
    alone_s: float | None = None

    @property
    def ratio(self):
        return self.peer_s / self.ours_s

    @property
    def cpu_ratio(self):
        return self.peer_cpu_s / self.ours_cpu_s


def interleaved(*sides, runs=RUNS):
    """Medians over interleaved runs of each side: (wall s, processor s of all threads)."""
    wall, cpu = [[] for _ in sides], [[] for _ in sides]
    for _ in range(runs):
        for k, side in enumerate(sides):
            began, spent = time.perf_counter(), time.process_time()
            side()
            wall[k].append(time.perf_counter() - began)
            cpu[k].append(time.process_time() - spent)
    return [(statistics.median(w), statistics.median(c)) for w, c in zip(wall, cpu, strict=True)]


def row(name, ours, peer_name, peer, wanted, times=1.0, operations=None, runs=RUNS, solves=None, wanted_us=None, written_bytes=None):
    """A row; `times` scales a peer that does only a part of the work."""
    (ours_s, ours_cpu_s), (peer_s, peer_cpu_s) = interleaved(ours, peer, runs=runs)
    alone_s = interleaved(ours, runs=3 * runs)[0][0] if operations else None
    return Row(name, peer_name, times * peer_s, ours_s, ours_cpu_s, times * peer_cpu_s, wanted, operations, solves, wanted_us, written_bytes, alone_s)
