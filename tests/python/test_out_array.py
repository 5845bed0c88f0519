"""out=: the answer in an array of the caller's, the same bits as in a new one; what cannot take it is refused by name and stays as it was."""

import threading

import numpy as np
import pandas as pd
import pytest
import weaklink as wl

FREQUENCY = np.geomspace(20.0, 20e3, 97)[None, :]
OHMS = np.random.default_rng(7).uniform(0.0, 1e3, (211, 1))
SHAPE = (211, 97)
KINDS = {"loss_db": np.float64, "crosstalk_db": np.float64, "transfer": np.complex128}


def section(role="signal"):
    contact = wl.Contact("k", resistance_ohm=1.0, role=role)
    return wl.Section("line", source=wl.Source(emf_v=0.5, resistance_ohm=2200.0), path=[wl.Lead(capacitance_f=1e-9), contact], load=wl.Load(resistance_ohm=22e3))


def asked(name, **more):
    return getattr(section("shared return"), name)(FREQUENCY, contacts={"k": OHMS}, **more)


@pytest.mark.parametrize("name", KINDS)
def test_it_is_written_and_returned(name):
    out = np.full(SHAPE, np.nan, KINDS[name])
    assert asked(name, out=out) is out
    assert np.array_equal(out, asked(name))
    # few points, and a single one
    few = np.full((1, 97), np.nan, KINDS[name])
    assert getattr(section(), name)(FREQUENCY, out=few) is few
    assert np.array_equal(few, getattr(section(), name)(FREQUENCY))
    one = np.full((), np.nan, KINDS[name])
    assert getattr(section(), name)(1000.0, out=one) is one
    assert one[()] == getattr(section(), name)(1000.0)


def test_a_chain_takes_it_too():
    second = wl.Section("power", source=None, path=[wl.Contact("relay", resistance_ohm=0.1)], load=wl.Load(resistance_ohm=8.0))
    chain = wl.Chain([section(), wl.Stage("gain", gain_db=20.0), second])
    out = np.empty(97)
    assert chain.loss_db(FREQUENCY[0], out=out) is out
    assert np.array_equal(out, chain.loss_db(FREQUENCY[0]))


def test_a_part_of_a_larger_array():
    whole = np.full((3, *SHAPE), np.nan)
    asked("loss_db", out=whole[1])
    assert np.array_equal(whole[1], asked("loss_db"))
    assert np.isnan(whole[[0, 2]]).all()


def test_a_memory_map(tmp_path):
    path = tmp_path / "loss.npy"
    mapped = np.lib.format.open_memmap(path, mode="w+", dtype=np.float64, shape=SHAPE)
    assert asked("loss_db", out=mapped) is mapped
    mapped.flush()
    assert np.array_equal(np.load(path), asked("loss_db"))


def read_only():
    out = np.zeros(SHAPE)
    out.flags.writeable = False
    return out


def unaligned():
    return np.frombuffer(bytearray(8 * 211 * 97 + 1), dtype=np.uint8)[1:].view(np.float64).reshape(SHAPE)


REFUSED = {
    "shape": (lambda: np.zeros((97, 211)), r"out: shape \[97, 211\]; allowed: shape \[211, 97\]"),
    "a row short": (lambda: np.zeros((210, 97)), r"out: shape \[210, 97\]; allowed: shape \[211, 97\]"),
    "float32": (lambda: np.zeros(SHAPE, np.float32), "out: values of type float32; allowed: a numpy array of float64"),
    "complex": (lambda: np.zeros(SHAPE, complex), "out: values of type complex128; allowed: a numpy array of float64"),
    "big endian": (lambda: np.zeros(SHAPE, ">f8"), "out: values of type >f8; allowed: a numpy array of float64"),
    "a list": (lambda: [[0.0] * 97] * 211, "out: an object of type list; allowed: a numpy array of float64"),
    "a table": (lambda: pd.DataFrame(np.zeros(SHAPE)), "out: an object of type DataFrame; allowed: a numpy array of float64"),
    "a number": (lambda: np.float64(0.0), "out: an object of type float64; allowed: a numpy array of float64"),
    "Fortran order": (lambda: np.zeros(SHAPE, order="F"), "out: values that do not lie one after another; allowed: C order, aligned"),
    "strided": (lambda: np.zeros((211, 194))[:, ::2], "out: values that do not lie one after another; allowed: C order, aligned"),
    "unaligned": (unaligned, "out: values that do not lie one after another; allowed: C order, aligned"),
    "masked": (lambda: np.ma.zeros(SHAPE), "out: a masked array; allowed: a numpy array of float64"),
    "read-only": (read_only, "out: a read-only array; allowed: an array that can be written"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_take_it_is_refused(what):
    make, message = REFUSED[what]
    out = make()
    with pytest.raises(wl.InputError, match=message):
        asked("loss_db", out=out)
    assert not np.any(np.asarray(out))


def test_memory_of_an_argument_is_refused():
    ohms = np.full(SHAPE, 10.0)
    with pytest.raises(wl.InputError, match="out: memory that an argument is read from"):
        section().loss_db(FREQUENCY, contacts={"k": ohms}, out=ohms)
    assert (ohms == 10.0).all()
    # neighbours in one array do not share
    both = np.full((2, *SHAPE), 10.0)
    section().loss_db(FREQUENCY, contacts={"k": both[0]}, out=both[1])
    assert (both[0] == 10.0).all()
    assert np.array_equal(both[1], section().loss_db(FREQUENCY, contacts={"k": both[0]}))


@pytest.mark.parametrize("again", ["two views of a buffer", "strides", "memoryview"])
def test_memory_of_an_argument_is_seen_through_another_owner(again):
    count = 5000
    memory = bytearray(8 * (count + 1))
    whole = np.frombuffer(memory)
    whole[:] = 10.0
    ohms = whole[:count]
    out = {
        "two views of a buffer": lambda: np.frombuffer(memory, offset=8),
        "strides": lambda: np.lib.stride_tricks.as_strided(whole[1:], (count,), (8,)),
        "memoryview": lambda: np.asarray(memoryview(whole)[1:]),
    }[again]()
    with pytest.raises(wl.InputError, match="out: memory that an argument is read from"):
        section().loss_db(1e3, contacts={"k": ohms}, out=out)
    assert (whole == 10.0).all()


def test_an_array_that_another_call_writes_is_an_error_and_no_panic():
    out, seen, stop = np.full((20_000, 97), 5.0), [], threading.Event()
    ohms = np.linspace(1.0, 1e3, 20_000)[:, None]

    def use(what):
        while not stop.is_set():
            try:
                what()
            except wl.InputError as error:
                seen.append(str(error))
            except BaseException as error:  # a panic is no Exception
                seen.append(repr(error))

    uses = [
        lambda: section().loss_db(1e3, contacts={"k": out[:10, 0]}),
        lambda: section().loss_db(1e3, contacts={"k": out[:10]}),
        lambda: section().loss_db(1e3, contacts={"k": out[3:4, 0]}),
        lambda: section().loss_db(FREQUENCY, contacts={"k": ohms}, out=out),
    ]
    threads = [threading.Thread(target=use, args=(what,)) for what in uses]
    for thread in threads:
        thread.start()
    for _ in range(150):
        try:
            section().loss_db(FREQUENCY, contacts={"k": ohms}, out=out)
        except wl.InputError as error:
            seen.append(str(error))
    stop.set()
    for thread in threads:
        thread.join()
    texts = set(seen)
    assert texts, "they never met"
    assert texts <= {
        'contacts["k"]: an array that another call writes with out=; allowed: an array that no other call writes meanwhile',
        "out: an array that another call uses; allowed: an array that no other call reads or writes meanwhile",
    }


def test_a_bad_argument_leaves_it_alone():
    out = np.full(SHAPE, 3.0)
    with pytest.raises(wl.InputError, match="frequency_hz"):
        section().loss_db(-FREQUENCY, contacts={"k": OHMS}, out=out)
    assert (out == 3.0).all()
