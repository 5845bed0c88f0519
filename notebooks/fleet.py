"""A fleet's log on two processes, no new code: python notebooks/fleet.py (needs dask[distributed]; the log is invented).

The same function that answers one log in one call answers blocks of it on a cluster, bit by bit alike.
"""

import os

import dask.array as da
import numpy as np
from dask.distributed import Client, LocalCluster

from weaklink.shop import invented_log, what_if

ROWS, BLOCK = 40_000, 7_000

if __name__ == "__main__":
    log = invented_log(ROWS, seed=1).log()
    ohm, kind = da.from_array(log.after_high_ohm, BLOCK), da.from_array(log.kind, BLOCK)
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster, Client(cluster) as client:
        processes = len(set(client.run(os.getpid).values()))
        found = da.map_blocks(what_if, ohm, kind, dtype=float, new_axis=1, chunks=(ohm.chunks[0], (3,))).compute()
    at_once = what_if(log.after_high_ohm, log.kind)
    same = np.array_equal(found, at_once, equal_nan=True) and np.array_equal(np.signbit(found), np.signbit(at_once))
    shares = ", ".join(f"{name} {np.mean(found[:, 2] == code):.1%}" for code, name in enumerate(("excluded", "not settled", "able")))
    print(f"{len(found):,} contacts on {processes} processes, identical to one call: {same}")
    print(f"heard in a place typical for the kind at 80 dB SPL: {shares}")
