"""Frozen values: equality, hash, repr, pickle, dicts, copies with changes, and what constructors refuse."""

import copy
import pickle
import subprocess
import sys

import pytest

import weaklink as wl

FILM = wl.Film.rectifying(resistance_ohm=0.8, ideality=1.5, leak_ratio=0.1)
SECTION = wl.Section(
    "loudspeaker",
    source=wl.Source(emf_v=0.3, resistance_ohm=0.1),
    path=[wl.Contact("relay", film=FILM), wl.Lead(resistance_ohm=0.1), wl.Contact("screw", resistance_ohm=0.01, role="return")],
    load=wl.Load(resistance_ohm=8.0),
)
VALUES = [
    wl.Source(emf_v=1.0, resistance_ohm=2.0, inductance_h=3.0),
    wl.Lead(resistance_ohm=0.1, capacitance_f=1e-10),
    wl.Load(resistance_ohm=8.0),
    FILM,
    wl.Film.ohmic(resistance_ohm=1.0),
    wl.Film.tunnelling(resistance_ohm=1.0, scale_v=0.1),
    wl.Film.bridged(resistance_ohm=0.5),
    wl.Contact("a", resistance_ohm=1.0, constriction_ohm=0.01, range_ohm=(0.0, float("inf"))),
    wl.Contact("b", film=FILM, role="return"),
    wl.Stage("s", gain_db=3.0, equalisation="riaa 7950 us", output_resistance_ohm=50.0),
    SECTION,
    wl.Chain([SECTION, wl.Stage("power", gain_db=1.0)]),
]


@pytest.mark.parametrize("value", VALUES, ids=lambda v: type(v).__name__)
def test_round_trips(value):
    names = {n: getattr(wl, n) for n in wl.__all__} | {"inf": float("inf")}
    for again in (
        pickle.loads(pickle.dumps(value)),
        copy.deepcopy(value),
        type(value).from_dict(value.to_dict()),
        eval(repr(value), names),  # noqa: S307
    ):
        assert again == value and hash(again) == hash(value) and repr(again) == repr(value)
    assert value != 3
    with pytest.raises(AttributeError):
        value.name = "x"


def test_changes_make_copies():
    other = SECTION.with_contact("relay", resistance_ohm=2.0)
    assert other != SECTION and SECTION.loss_db(1000.0) != other.loss_db(1000.0)
    assert SECTION.with_contact("relay", constriction_ohm=0.1).path[0].film == FILM
    assert SECTION.with_source(emf_v=2.0).source == wl.Source(emf_v=2.0, resistance_ohm=0.1)
    with pytest.raises(wl.InputError, match="unknown contact"):
        SECTION.with_contact("nobody", resistance_ohm=1.0)


def test_return_side_is_in_the_same_loop():
    signal = SECTION.with_contact("screw", role="signal")
    assert signal.loss_db(1000.0) == SECTION.loss_db(1000.0)


REFUSED = [
    (lambda: wl.Source(emf_v=-1.0), "source: emf_v: -1; allowed"),
    (lambda: wl.Source(emf_v=float("nan")), "source: emf_v"),
    (lambda: wl.Lead(capacitance_f=-1e-9), "lead: capacitance_f"),
    (lambda: wl.Load(resistance_ohm=0.0), "load: resistance_ohm: 0; allowed: finite, above zero"),
    (lambda: wl.Film.ohmic(resistance_ohm=0.0), "film: resistance_ohm"),
    (lambda: wl.Film.tunnelling(resistance_ohm=1.0, scale_v=0.0), "film: scale_v"),
    (lambda: wl.Film.rectifying(resistance_ohm=1.0, ideality=0.5), "film: ideality"),
    (lambda: wl.Film.rectifying(resistance_ohm=1.0, leak_ratio=0.0), "film: leak_ratio"),
    (lambda: wl.Contact("a"), "neither resistance_ohm nor film"),
    (lambda: wl.Contact("a", resistance_ohm=1.0, film=FILM), "both resistance_ohm and film"),
    (lambda: wl.Contact("", resistance_ohm=1.0), "contact: name"),
    (lambda: wl.Contact("a", resistance_ohm=-1.0), "resistance_ohm: -1"),
    (lambda: wl.Contact("a", resistance_ohm=1.0, range_ohm=(2.0, 1.0)), "range_ohm"),
    (lambda: wl.Contact("a", resistance_ohm=1.0, role="shunt"), 'role: "shunt"; allowed: "signal", "return"'),
    (lambda: wl.Stage("s", equalisation="radio"), 'equalisation: "radio"; allowed: "flat", "riaa"'),
    (lambda: wl.Stage("s", gain_db=float("inf")), "gain_db"),
    (lambda: wl.Section("s", source=None, path=[], load=wl.Load(resistance_ohm=1.0)).loss_db(1.0), "inside a Chain"),
    (lambda: wl.Section("s", source=None, path=[3], load=wl.Load(resistance_ohm=1.0)), r"path\[0\]: int; allowed"),
    (lambda: wl.Section("s", source=None, path=[wl.Contact("a", resistance_ohm=1.0)] * 2, load=wl.Load(resistance_ohm=1.0)), "comes twice"),
    (lambda: wl.Chain([]), "no items"),
    (lambda: wl.Chain([wl.Stage("s")]), "comes first"),
    (lambda: wl.Chain([SECTION, SECTION]), "a source of its own"),
    (lambda: wl.Source.from_dict({"emf_v": 1.0, "ohms": 2.0}), "unknown field"),
    (lambda: wl.Source.from_dict({"emf_v": "x"}), "source"),
]


@pytest.mark.parametrize("make,message", REFUSED)
def test_refused(make, message):
    with pytest.raises(wl.InputError, match=message):
        make()


def test_import_is_lean():
    code = "import sys, weaklink; print([m for m in ('pandas', 'scipy', 'matplotlib', 'rich', 'xarray') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
