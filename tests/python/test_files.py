"""Files that are not what they should be, and disks that are full: one line that names the file, and nothing lost."""

import os
import resource
import signal
import subprocess
import sys
import time

import pytest
import weaklink as wl
from weaklink.files import write_whole

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals and limits of POSIX")


def run(*arguments, **more):
    return subprocess.run([sys.executable, "-m", "weaklink.cli", *map(str, arguments)], capture_output=True, text=True, timeout=120, **more)


def told(done, name, code=2):
    assert done.returncode == code, (done.returncode, done.stderr[-500:])
    assert name in done.stderr and "Traceback" not in done.stderr and "panicked" not in done.stderr, done.stderr[-500:]
    return done.stderr


def test_missing_folder_in_place_of_a_file_and_bytes_that_are_no_text(tmp_path, jobs):
    told(run("assess", tmp_path / "none.toml"), "none.toml")
    told(run("assess", tmp_path), tmp_path.name)
    told(run("compare", tmp_path / "none.csv"), "none.csv")
    told(run("compare", tmp_path), tmp_path.name)
    for name, data in {"bytes": b"\xff\xfe\x00\x80" * 50, "nul": b"sheet = 1\n\x00\x00", "nothing": b"", "half": (jobs / "two-faults.toml").read_bytes()[:700]}.items():  # fmt: skip
        path = tmp_path / f"{name}.toml"
        path.write_bytes(data)
        told(run("assess", path), path.name)
    for name, data in {"bytes": b"\x00\xff\x80\n" * 50, "nothing": b"", "line": b"job,date\n"}.items():
        path = tmp_path / f"{name}.csv"
        path.write_bytes(data)
        told(run("compare", path), path.name)


def test_deep_nesting_and_a_hundred_megabytes(tmp_path):
    deep = tmp_path / "deep.toml"
    deep.write_text("sheet = 1\nx = " + "[" * 100_000 + "]" * 100_000)
    told(run("assess", deep), "deep.toml")
    large = tmp_path / "large.toml"
    with open(large, "w") as file:
        file.write('sheet = 1\ntitle = "')
        for _ in range(100):
            file.write("a" * 1_000_000)
        file.write('"\n')
    began = time.monotonic()
    told(run("assess", large), "large.toml")
    assert time.monotonic() - began < 60


def test_a_log_cut_in_the_middle_counts_what_it_has(tmp_path, jobs):
    data = (jobs / "bench-log.csv").read_bytes()
    cut = tmp_path / "cut.csv"
    cut.write_bytes(data[: len(data) // 2 - 7])
    done = run("compare", cut)
    assert done.returncode == 0 and "set aside" in done.stdout


def test_a_large_log_cut_in_the_middle_of_a_row_says_so(root):
    # ten million rows: python tests/hard/log_cut.py
    sys.path.insert(0, str(root / "tests" / "hard"))
    try:
        import log_cut
    finally:
        sys.path.pop(0)
    found = log_cut.tried(200_000)
    assert found["whole"] > 90_000


@pytest.mark.parametrize(("tail", "says"), [
    ('x,y,relay,12.5 ohm', "the file ends in the middle of this row"),
    ('x,"y,relay,12.5 ohm,1.0 ohm,clean,\nz,y2,relay,12.5 ohm,1.0 ohm,clean,\n', "a quote that nothing closes"),
    ('x,"y,relay,12.5 ohm,1.0 ohm,clean,\nz,y2,relay,12.5 ohm,1.0 ohm,clean,\nw,y",relay,12.5 ohm,1.0 ohm,clean,\n', "a cell that holds whole rows"),
])  # fmt: skip
def test_rows_that_a_stray_quote_swallows_are_told(tail, says):
    from weaklink.shop import read_log

    log = read_log(("job,contact,kind,shows,after,remedy,note\na,b,relay,12.5 ohm,1.0 ohm,clean,\n" + tail).encode())
    assert log.used == 1 and log.set_aside == (3,) and log.faults[-1].found == says


def test_output_is_whole_or_not_at_all(tmp_path):
    path = tmp_path / "out.txt"
    write_whole(path, "before")
    with pytest.raises(UnicodeEncodeError):
        write_whole(path, "half \ud800")
    with pytest.raises(OSError):
        write_whole(tmp_path, "x")
    with pytest.raises(OSError):
        write_whole(tmp_path / "none" / "out.txt", "x")
    assert path.read_text() == "before" and os.listdir(tmp_path) == ["out.txt"]


def test_a_full_disk_leaves_what_was_there(tmp_path, jobs):
    saved = tmp_path / "shop.toml"
    saved.write_text("before")

    def full():  # no file may grow past 100 bytes: what a full disk does, as an error and not a signal
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    done = run("compare", jobs / "bench-log.csv", "--save", saved, preexec_fn=full)
    told(done, "shop.toml", code=1)
    assert saved.read_text() == "before" and os.listdir(tmp_path) == ["shop.toml"]


@pytest.mark.parametrize("code", [
    "s.distortion([1e3], contacts={'k': np.geomspace(1, 1e6, 3_000_000)})",
    "s.loss_db(np.geomspace(20, 2e4, 2000)[:, None], contacts={'k': np.geomspace(1, 1e6, 30_000)})",
    "s.ceiling(np.geomspace(20, 2e4, 300)[:, None], ranges={'k': (0.0, np.geomspace(1, 1e5, 3000))})",
    "s.residue(np.geomspace(20, 2e4, 100000), flicker={'k': 1e-9})",
])  # fmt: skip
def test_ctrl_c_stops_long_calls_within_a_moment(code):
    script = f"""
import sys, time, signal
import numpy as np, weaklink as wl
signal.signal(signal.SIGINT, signal.default_int_handler)
s = wl.Section("s", source=wl.Source(emf_v=0.5, resistance_ohm=1e3, inductance_h=0.1), path=[wl.Contact("k", film=wl.Film.tunnelling(resistance_ohm=100.0, scale_v=0.1))],
               load=wl.Load(resistance_ohm=47e3, capacitance_f=1e-10))
try:
    print("ready", flush=True)
    {code}
    print("done")
except KeyboardInterrupt:
    print("stopped")
"""
    process = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    time.sleep(0.08)  # long after the start of the call, long before its end
    process.send_signal(signal.SIGINT)
    began = time.monotonic()
    assert process.communicate(timeout=60)[0] == "stopped\n"
    print(f"\nstopped after {time.monotonic() - began:.2f} s")
