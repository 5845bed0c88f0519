"""Whatever can hold real numbers goes in; the broadcast shape comes out; bad values are named."""

import os
import subprocess
import sys
import threading
import time

import numpy as np
import pandas as pd
import pytest
import weaklink as wl

# a block of points and one point take the same steps, but a compiler may contract them differently
ROUNDING = 1e-13

SECTION = wl.Section(
    "phono input",
    source=wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5),
    path=[wl.Contact("pin", resistance_ohm=2.0), wl.Lead(capacitance_f=150e-12), wl.Contact("selector", resistance_ohm=1.0, constriction_ohm=0.25)],
    load=wl.Load(resistance_ohm=47e3, capacitance_f=100e-12),
)

METHODS = {
    "transfer": lambda f, ohm: SECTION.transfer(f, contacts={"pin": ohm}),
    "loss_db": lambda f, ohm: SECTION.loss_db(f, contacts={"pin": ohm}),
    "harmonics": lambda f, ohm: SECTION.ceiling(f, ranges={"pin": (0.0, ohm)}).harmonics,
    "chatter": lambda f, ohm: SECTION.ceiling(f, ranges={"pin": (0.0, ohm)}).chatter,
}


def loop_of_scalars(method, f, ohm):
    f, ohm = np.broadcast_arrays(np.asarray(f, float), np.asarray(ohm, float))
    return np.array([method(float(a), float(b)) for a, b in zip(f.ravel(), ohm.ravel())]).reshape(f.shape)


GRID = np.arange(1, 25).reshape(4, 6) * 100


KINDS = {
    "list": [100, 200.5, 3000],
    "nested list": [[100, 200], [300, 400]],
    "tuple": (100.0, 200.0),
    "int64": np.array([100, 200, 300]),
    "uint16": np.array([100, 200, 300], dtype=np.uint16),
    "int8": np.array([100, 20], dtype=np.int8),
    "float32": np.array([100.25, 200.5, 1e4], dtype=np.float32),
    "float16": np.array([100.25, 200.5], dtype=np.float16),
    "long double": np.array([100.25, 200.5], dtype=np.longdouble),
    "big-endian": np.array([100.25, 200.5], dtype=">f8"),
    "strided": np.linspace(20.0, 20e3, 30)[::3],
    "reversed": np.linspace(20.0, 20e3, 9)[::-1],
    "strided in two": GRID[::2, ::3],
    "Fortran": np.asfortranarray(GRID.astype(float)),
    "transposed": GRID.T,
    # numbers that do not start at multiples of eight bytes: a column of a packed table, a view into bytes
    "packed table": np.array([(1, 100.0), (2, 200.0)], dtype="u1,f8")["f1"],
    "misaligned": pytest.param(np.frombuffer(b"x" + np.array([100.0, 200.0]).tobytes(), dtype=np.uint8)[1:].view(np.float64)),
    "broadcast": np.broadcast_to(np.array([100.0, 200.0]), (3, 2)),
    "one element": np.array([100.0]),
    "one by one": np.array([[100.0]]),
    "empty": np.array([]),
    "series": pd.Series([100.0, 200.0, 300.0], index=[7, 3, 5]),
    "series of integers": pd.Series([100, 200, 300]),
    "range": range(100, 400, 100),
    "block and a bit": np.linspace(20.0, 20e3, 32 * 3 + 1),
}


@pytest.mark.parametrize("method", METHODS.values(), ids=METHODS)
@pytest.mark.parametrize("values", KINDS.values(), ids=KINDS)
def test_kinds(method, values):
    shape = np.shape(values)
    wanted = np.complex128 if method is METHODS["transfer"] else np.float64
    for got, expected in ((method(values, 5.0), loop_of_scalars(method, values, 5.0)), (method(1e3, values), loop_of_scalars(method, 1e3, values))):
        assert isinstance(got, np.ndarray) and got.shape == shape
        assert got.dtype == wanted
        np.testing.assert_allclose(got, expected, rtol=ROUNDING, atol=ROUNDING)


@pytest.mark.parametrize("name", METHODS)
@pytest.mark.parametrize("one", [1000, 1000.0, np.int32(1000), np.float32(1000.0), np.float64(1000.0), np.array(1000.0), np.array(1000)], ids=lambda v: f"{type(v).__name__}-{getattr(v, 'dtype', '')}")
def test_a_number_in_a_number_out(name, one):
    wanted = complex if name == "transfer" else float
    got = METHODS[name](one, one)
    assert type(got) is wanted
    assert got == METHODS[name](1000.0, 1000.0)


def test_read_only_and_unchanged():
    f, ohm = np.geomspace(20.0, 20e3, 50), np.linspace(0.0, 100.0, 50)
    for values in (f, ohm):
        values.flags.writeable = False
    kept = f.copy(), ohm.copy()
    names = {"pin": ohm}
    got = SECTION.loss_db(f, contacts=names)
    SECTION.ceiling(f, ranges={"pin": (ohm, 2.0 * ohm + 1.0)}, emf_v=ohm)
    assert (f == kept[0]).all() and (ohm == kept[1]).all() and names == {"pin": ohm}
    assert got.flags.writeable and not np.shares_memory(got, f) and not np.shares_memory(got, ohm)


@pytest.mark.parametrize("shapes", [((3,), (2, 1)), ((4, 1, 3), (2, 1)), ((1,), (5,)), ((), (2, 3)), ((1, 1), (3,)), ((0,), (1,)), ((2, 0), (2, 1)), ((1,), ())])
def test_broadcast(shapes):
    random = np.random.default_rng(0)
    f, ohm = (10 ** random.uniform(2.0, 4.0, shape) for shape in shapes)
    for method in METHODS.values():
        got = method(np.asarray(f), np.asarray(ohm))
        assert got.shape == np.broadcast_shapes(*shapes)
        np.testing.assert_allclose(got, loop_of_scalars(method, f, ohm), rtol=ROUNDING, atol=ROUNDING)


def test_every_argument_broadcasts():
    found = SECTION.ceiling(np.array([1e3, 2e3])[:, None], ranges={"pin": (0.0, np.array([5.0, 6.0, 7.0]))}, emf_v=np.ones((4, 1, 1)), contacts={"selector": np.array([1.0])})
    for field in (found.harmonics, found.chatter, found.applies, found.status):
        assert field.shape == (4, 2, 3)
    both = SECTION.loss_db(1e3, contacts={"pin": np.arange(3.0), "selector": np.arange(4.0)[:, None]})
    assert both.shape == (4, 3)
    for i in range(4):
        for k in range(3):
            assert both[i, k] == pytest.approx(SECTION.loss_db(1e3, contacts={"pin": float(k), "selector": float(i)}), rel=ROUNDING)
    change = SECTION.response_change_db(contacts={"pin": np.array([0.0, 100.0])})
    assert change.shape == (2,) and change[1] == SECTION.response_change_db(contacts={"pin": 100.0})


@pytest.mark.parametrize("points", [150_000, 300_000])
def test_big_arrays(points):
    f, ohm = np.geomspace(20.0, 20e3, points), np.linspace(0.0, 500.0, points)
    loss, transfer = SECTION.loss_db(f, contacts={"pin": ohm}), SECTION.transfer(f, contacts={"pin": ohm})
    assert loss.shape == transfer.shape == (points,)
    some = np.r_[0:100, 16_300:16_500, points // 2 : points // 2 + 100, points - 100 : points]
    for k in some:
        assert loss[k] == pytest.approx(SECTION.loss_db(f[k], contacts={"pin": ohm[k]}), rel=ROUNDING, abs=ROUNDING)
        assert transfer[k] == pytest.approx(SECTION.transfer(f[k], contacts={"pin": ohm[k]}), rel=ROUNDING)
    # and every point, in pieces small enough for another way through the code
    pieces = [SECTION.loss_db(a, contacts={"pin": b}) for a, b in zip(np.array_split(f, 777), np.array_split(ohm, 777))]
    np.testing.assert_allclose(np.concatenate(pieces), loss, rtol=ROUNDING, atol=ROUNDING)


def test_big_ceiling():
    ohm = np.geomspace(1e-3, 1e4, 300_000)
    plain = wl.Section("loop", source=wl.Source(emf_v=1.0), path=[wl.Contact("relay", resistance_ohm=0.0)], load=wl.Load(resistance_ohm=8.0))
    # few frequencies, so that the network is prepared once
    found = plain.ceiling(10e3, ranges={"relay": (0.0, ohm)}, band_hz=(10e3, 20e3)).harmonics
    ratio = ohm / 8.0
    np.testing.assert_allclose(found, ratio / (2.0 * np.sqrt(1.0 + ratio)), rtol=1e-11)


# ---------------------------------------------------------------- bad values

BAD_FREQUENCIES = {
    "nan": (np.nan, "NaN", "finite, above zero"),
    "negative": (-1.0, "-1", "finite, above zero"),
    "zero": (0, "0", "finite, above zero"),
    "infinite": (np.inf, "inf", "finite, above zero"),
    "text": ("1 kHz", "<U5", "real numbers"),
    "text of digits": ("1000", "<U4", "real numbers"),
    "complex": (1e3 + 0j, "complex128", "real numbers"),
    "bool": (True, "bool", "real numbers"),
    "none": (None, "object", "real numbers"),
    "bools": ([True, False], "bool", "real numbers"),
    "complex list": ([1e3, 1j], "complex128", "real numbers"),
    "ragged": ([[1.0, 2.0], [3.0]], "inhomogeneous", "a number or an array of numbers"),
    "dates": (np.array(["2024-01-01"], dtype="datetime64[D]"), "datetime64", "real numbers"),
    "nan inside": ([[1.0, 2.0], [3.0, np.nan]], "NaN at index [1, 1]", "finite, above zero"),
    "negative inside": (np.array([1.0, 2.0, -3.5]), "-3.5 at index [2]", "finite, above zero"),
    "strided, infinite inside": (np.array([1.0, 9.0, -np.inf, 9.0])[::2], "-inf at index [1]", "finite, above zero"),
}


@pytest.mark.parametrize("method", METHODS.values(), ids=METHODS)
@pytest.mark.parametrize(("value", "found", "allowed"), BAD_FREQUENCIES.values(), ids=BAD_FREQUENCIES)
def test_bad_frequency(method, value, found, allowed):
    with pytest.raises(wl.InputError) as caught:
        method(value, 1.0)
    error = caught.value
    assert error.place == "frequency_hz"
    assert found in error.value and allowed in error.allowed
    assert str(error) == f"{error.place}: {error.value}; {error.allowed}"
    assert isinstance(error, wl.WeaklinkError) and error.line is None


@pytest.mark.parametrize("bad", [-1e-9, np.nan, np.inf, [1.0, -2.0], 1j, "2", True])
def test_bad_contact(bad):
    for call in (SECTION.loss_db, SECTION.transfer, SECTION.ceiling):
        with pytest.raises(wl.InputError) as caught:
            call(1e3, contacts={"pin": bad})
        assert caught.value.place == 'contacts["pin"]'
        assert "allowed:" in caught.value.allowed
    with pytest.raises(wl.InputError, match=r'contacts\["pin"\]'):
        SECTION.response_change_db(contacts={"pin": bad})


def test_zero_ohm_is_a_perfect_contact():
    assert SECTION.loss_db(1e3, contacts={"pin": 0}) > 0.0  # the other contact
    # zero ohm of film; the constriction under it stays
    assert SECTION.loss_db(1e3, contacts={"pin": 0, "selector": 0}) == pytest.approx(20.0 * np.log10(48000.25 / 48000.0), rel=0.05)


def test_unknown_contact():
    for call in (
        lambda: SECTION.loss_db(1e3, contacts={"pim": 1.0}),
        lambda: SECTION.transfer(1e3, contacts={"pim": 1.0}),
        lambda: SECTION.response_change_db(contacts={"pim": 1.0}),
        lambda: SECTION.ceiling(1e3, contacts={"pim": 1.0}),
        lambda: SECTION.ceiling(1e3, ranges={"pim": (0.0, 1.0)}),
    ):
        with pytest.raises(wl.InputError) as caught:
            call()
        assert '"pim"' in caught.value.value and '"pin"' in caught.value.allowed and '"selector"' in caught.value.allowed


def test_shapes_that_do_not_fit():
    with pytest.raises(wl.InputError) as caught:
        SECTION.loss_db(np.ones(3), contacts={"pin": np.ones((2, 4))})
    assert caught.value.place == 'contacts["pin"]'
    assert "[2, 4]" in caught.value.value and "[3]" in caught.value.allowed and "frequency_hz" in caught.value.allowed


@pytest.mark.parametrize("bad", [(2.0, 1.0), (-1.0, 1.0), (0.0, np.nan), (np.nan, 1.0), (np.inf, np.inf), ([0.0, 3.0], [1.0, 2.0]), 5.0, (1.0,), (1.0, 2.0, 3.0), "ab", None, (0.0, "1")])
def test_bad_range(bad):
    with pytest.raises(wl.InputError, match=r'ranges\["pin"\]'):
        SECTION.ceiling(1e3, ranges={"pin": bad})


@pytest.mark.parametrize("bad", [(20e3, 20.0), (0.0, 20e3), (-1.0, 20.0), (20.0, np.inf), (np.nan, 20e3), (20.0, 20.0)])
def test_bad_band(bad):
    for call in (lambda: SECTION.ceiling(1e3, band_hz=bad), lambda: SECTION.response_change_db(band_hz=bad)):
        with pytest.raises(wl.InputError, match="band_hz"):
            call()


def test_bad_level():
    with pytest.raises(wl.InputError, match="emf_v"):
        SECTION.ceiling(1e3, emf_v=-0.1)
    for law in (wl.residue_from_loss_range, wl.loss_range_for_residue):
        with pytest.raises(wl.InputError):
            law(np.nan)
    film = wl.Film.tunnelling(resistance_ohm=1.0, scale_v=0.1)
    for law in (film.current_a, film.slope_s, film.chord_ohm):
        with pytest.raises(wl.InputError, match="voltage_v"):
            law([0.1, np.inf])


def test_a_wrong_call_is_a_type_error():
    with pytest.raises(TypeError):
        SECTION.loss_db(1e3, {"pin": 1.0})
    with pytest.raises(TypeError):
        SECTION.loss_db(1e3, contact={"pin": 1.0})
    with pytest.raises(TypeError):
        SECTION.loss_db(1e3, contacts=[1.0])


# ---------------------------------------------------------------- threads


class Counting:
    """A Python thread that counts, and hands the interpreter back after each count."""

    def __enter__(self):
        self.count, self.stop = 0, False
        self.thread = threading.Thread(target=self.run)
        self.thread.start()
        while self.count == 0:
            time.sleep(1e-3)
        return self

    def run(self):
        while not self.stop:
            self.count += 1
            time.sleep(0)

    def __exit__(self, *_):
        self.stop = True
        self.thread.join()


@pytest.fixture
def no_forced_switch():
    """Only who lets go of the interpreter by itself lets another thread run."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(60.0)
    yield
    sys.setswitchinterval(usual)


def advance_during(work):
    with Counting() as other:
        before = other.count
        work()
        after = other.count
    return after - before


# 100 000 points run in place, 1 000 000 in a thread that is watched for Ctrl-C
@pytest.mark.parametrize("points", [100_000, 1_000_000])
def test_the_interpreter_is_free_meanwhile(no_forced_switch, points):
    f, ohm = np.geomspace(20.0, 20e3, points), np.linspace(0.0, 500.0, points)
    assert advance_during(lambda: [SECTION.loss_db(f, contacts={"pin": ohm}) for _ in range(20_000_000 // points)]) > 20


def test_the_counter_stands_still_where_the_interpreter_is_held(no_forced_switch):
    assert advance_during(lambda: sum(range(1_000_000))) <= 1


def test_the_same_object_in_two_threads():
    f = np.geomspace(20.0, 20e3, 50_000)
    expected = SECTION.loss_db(f)
    results = [None] * 4

    def work(k):
        results[k] = [SECTION.loss_db(f) for _ in range(5)]

    threads = [threading.Thread(target=work, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all((result == expected).all() for each in results for result in each)


def test_a_forked_child_answers():
    code = """
import os, numpy as np, weaklink as wl
section = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
f = np.geomspace(20.0, 20e3, 300_000)
expected = section.loss_db(f)
child = os.fork()
if child == 0:
    os._exit(0 if (section.loss_db(f) == expected).all() else 1)
raise SystemExit(os.waitpid(child, 0)[1])
"""
    # generous: it answers in well under a second or hangs for ever
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", code], timeout=60)
    assert done.returncode == 0


def test_masked_arrays_and_numbers_without_end_are_named():
    section = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
    with pytest.raises(wl.InputError, match="frequency_hz: a masked array"):
        section.loss_db(np.ma.masked_array([1e3, 2e3], mask=[0, 1]))

    class Own(np.ma.MaskedArray):
        pass

    with pytest.raises(wl.InputError, match="frequency_hz: a masked array"):
        section.loss_db(Own([1e3, 2e3], mask=[0, 1]))
    with pytest.raises(wl.InputError, match="frequency_hz: a whole number too large"):
        section.loss_db(10**400)


def test_a_huge_range_does_not_vanish():
    section = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
    found = section.ceiling(1e3, ranges={"c": (0.0, 1e200)})
    r = 1e200 / 8.0
    assert found.chatter == pytest.approx(r / (2.0 * np.sqrt(1.0 + r)), rel=1e-12)
    assert section.ceiling(1e3, ranges={"c": (1e200, 2e200)}).chatter > 0.1


@pytest.mark.parametrize("shapes", [((3,), (3,)), ((2, 1), (3,)), ((3,), (2, 1)), ((2, 1, 4), (3, 1)), ((2, 3, 1), (4,)), ((1, 3, 1), (2, 1, 4)),
                                    ((2, 1, 4), (2, 3, 1)), ((1,), (5,)), ((600, 1), (7,)), ((7,), (600, 1)), ((2, 300, 1), (1, 1, 5)), ((0,), (1,)),
                                    ((2, 0), (1,)), ((), (4,))])  # fmt: skip
def test_broadcasting_is_numpys(shapes):
    rng = np.random.default_rng(4)
    hz, ohm = (10 ** rng.uniform(1, 4, shape) for shape in shapes)
    section = wl.Section("s", source=wl.Source(emf_v=1.0, resistance_ohm=100.0, inductance_h=0.1),
                         path=[wl.Contact("k", resistance_ohm=1.0, constriction_ohm=0.5)], load=wl.Load(resistance_ohm=1e3))  # fmt: skip
    full = np.broadcast_arrays(hz, ohm)
    for one in (section.loss_db, lambda f, contacts: section.distortion(f, contacts=contacts).chord_ohm["k"][0]):
        found, known = one(hz, contacts={"k": ohm}), one(np.array(full[0]), contacts={"k": np.array(full[1])})
        assert np.shape(found) == full[0].shape and np.array_equal(found, known)
    # strides that are none of numpy's own order
    if hz.ndim == 2:
        assert np.array_equal(section.loss_db(np.asfortranarray(hz), contacts={"k": ohm}), section.loss_db(hz, contacts={"k": ohm}))


def test_the_same_bits_for_any_number_of_threads():
    script = """
import hashlib, numpy as np, weaklink as wl
rng = np.random.default_rng(1)
lead = wl.Lead(capacitance_f=1e-10)
pins = [wl.Contact("a", film=wl.Film.tunnelling(resistance_ohm=100.0, scale_v=0.1)), lead, wl.Contact("b", film=wl.Film.bridged(resistance_ohm=1e3))]
s = wl.Section("s", source=wl.Source(emf_v=0.5, resistance_ohm=1e3, inductance_h=0.1), path=pins, load=wl.Load(resistance_ohm=47e3, capacitance_f=1e-10))
hz, ohm = 10 ** rng.uniform(1.5, 4, (400, 1)), 10 ** rng.uniform(0, 5, 700)
few = ohm[:150]
parts = [s.loss_db(hz, contacts={"a": ohm}), s.transfer(hz, contacts={"b": ohm}), s.ceiling(hz[:20], ranges={"a": (0.0, ohm)}).chatter,
         s.distortion(1e3, contacts={"a": few, "b": few[::-1]}).harmonics, s.residue(1e3, contacts={"a": few}, flicker={"b": 1e-9}).total,
         s.two_tone(6e1, 7e3, contacts={"a": few[:20]}).level]
one = wl.Section("o", source=wl.Source(emf_v=0.5, resistance_ohm=1e3, inductance_h=0.1), path=[wl.Contact("k", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=47e3))
parts.append(one.loss_db(np.geomspace(20.0, 2e4, 90), contacts={"k": ohm[:, None]}))
print(hashlib.sha256(b"".join(np.ascontiguousarray(part).tobytes() for part in parts)).hexdigest())
"""
    run = lambda threads: subprocess.run([sys.executable, "-c", script], env=os.environ | {"RAYON_NUM_THREADS": threads}, capture_output=True, text=True, check=True).stdout  # noqa: E731
    assert len(run("1")) == 65 and run("1") == run("2") == run("3")
