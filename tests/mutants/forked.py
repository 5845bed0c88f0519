"""pytest for one mutant after another, from one process that has the heavy imports behind it: lines "NUMBER SECONDS FILE ..." in, exit codes out.

The wheel looks at MUTANT when it first meets a switch, which importing it does not: every child decides for itself.
"""

import os
import signal
import sys
import time

import hypothesis  # noqa: F401
import numpy  # noqa: F401
import pandas  # noqa: F401
import pytest
import scipy.optimize  # noqa: F401
import scipy.stats  # noqa: F401
import weaklink  # noqa: F401


def main() -> None:
    for line in sys.stdin:
        number, limit_s, *files = line.split()
        child = os.fork()
        if child == 0:
            os.environ["MUTANT"] = number
            os.setpgid(0, 0)
            nothing = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(nothing, stream)
            os._exit(int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *files])))
        ends = time.monotonic() + float(limit_s)
        while (done := os.waitpid(child, os.WNOHANG)) == (0, 0):
            if time.monotonic() > ends:
                os.killpg(child, signal.SIGKILL)
                done = os.waitpid(child, 0)
                break
            time.sleep(0.05)
        print(done[1], flush=True)


if __name__ == "__main__":
    main()
