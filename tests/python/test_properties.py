"""What must hold for any circuit and any job: reciprocity, passivity, limits, scaling, order, mirrored channels, evidence that only narrows."""

import math

import numpy as np
import pytest
import weaklink as wl
from hypothesis import assume, given
from hypothesis import strategies as st

ROUNDING = 1e-10


def log(low, high):
    return st.floats(math.log(low), math.log(high)).map(math.exp)


OHM, HENRY, FARAD, HZ = log(1e-2, 1e6), log(1e-6, 1.0), log(1e-12, 1e-7), log(20.0, 20e3)
SERIES = st.builds(lambda r, h: wl.Lead(resistance_ohm=r, inductance_h=h), OHM, HENRY)
ACROSS = st.builds(lambda c: wl.Lead(capacitance_f=c), FARAD)
PIECES = st.lists(SERIES | ACROSS, min_size=1, max_size=5)


def made(path, source_ohm=1e3, load_ohm=1e4, emf_v=1.0, henry=0.0, farad=0.0):
    return wl.Section("s", source=wl.Source(emf_v=emf_v, resistance_ohm=source_ohm, inductance_h=henry), path=path,
                      load=wl.Load(resistance_ohm=load_ohm, capacitance_f=farad))  # fmt: skip


@given(PIECES, OHM, OHM, HZ)
def test_reciprocity(pieces, source_ohm, load_ohm, hz):
    # current at the far end per EMF at the near one is the same both ways
    there = made(pieces, source_ohm, load_ohm).transfer(hz) / load_ohm
    back = made(pieces[::-1], load_ohm, source_ohm).transfer(hz) / source_ohm
    assert there == pytest.approx(back, rel=ROUNDING, abs=0.0)


@given(PIECES, OHM, OHM, HZ)
def test_passivity(pieces, source_ohm, load_ohm, hz):
    # no network hands on more than the available power E^2/(4 R)
    taken = abs(made(pieces, source_ohm, load_ohm).transfer(hz)) ** 2 / load_ohm
    assert taken <= (1 + ROUNDING) / (4 * source_ohm)


@given(PIECES, HZ, OHM)
def test_the_ends_of_a_contact(pieces, hz, ohm):
    # perfect: as if it were not there; open: nothing; a resistance: as a lead of so many ohms
    at = lambda r: made([*pieces, wl.Contact("k", resistance_ohm=r)]).transfer(hz)
    assert at(0.0) == pytest.approx(made(pieces).transfer(hz), rel=ROUNDING, abs=0.0)
    assert abs(at(1e15)) <= 1e-4 * abs(at(0.0))
    assert at(ohm) == pytest.approx(made([*pieces, wl.Lead(resistance_ohm=ohm)]).transfer(hz), rel=ROUNDING, abs=0.0)


@given(st.lists(OHM, min_size=1, max_size=4), OHM, OHM, st.lists(OHM, min_size=2, max_size=2, unique=True))
def test_loss_rises_with_resistance_where_nothing_resonates(ohms, source_ohm, load_ohm, two):
    section = made([wl.Contact("k", resistance_ohm=0.0), *(wl.Lead(resistance_ohm=r) for r in ohms)], source_ohm, load_ohm)
    low, high = section.loss_db(1e3, contacts={"k": np.sort(two)})
    assert 0.0 <= low <= high


@given(PIECES, HZ, log(1e-3, 1e3))
def test_scaling_of_impedance(pieces, hz, k):
    scaled = [wl.Lead(resistance_ohm=k * p.resistance_ohm, inductance_h=k * p.inductance_h, capacitance_f=p.capacitance_f / k) for p in pieces]
    there = made(pieces, 1e3, 1e4, henry=0.1, farad=1e-10).transfer(hz)
    assert made(scaled, 1e3 * k, 1e4 * k, henry=0.1 * k, farad=1e-10 / k).transfer(hz) == pytest.approx(there, rel=ROUNDING, abs=0.0)


@given(log(1.0, 1e5), log(0.02, 1.0), log(1e-3, 1e3), st.sampled_from([1e-3, 0.3, 2.0]))
def test_scaling_of_level_and_impedance_with_a_film(ohm, scale_v, k, level):
    # only voltage over the law's own voltage, and ohms over ohms, count
    def thd(volts, ohms):
        film = wl.Film.tunnelling(resistance_ohm=ohm * ohms, scale_v=scale_v * volts)
        path = [wl.Contact("k", film=film), wl.Lead(capacitance_f=1e-10 / ohms)]
        return made(path, 1e3 * ohms, 1e4 * ohms, emf_v=level * scale_v * volts).distortion(1e3).thd_f

    assert thd(k, 1.0) == pytest.approx(thd(1.0, 1.0), rel=1e-7, abs=0.0)
    assert thd(1.0, k) == pytest.approx(thd(1.0, 1.0), rel=1e-7, abs=0.0)


@given(PIECES, HZ, st.permutations(range(3)), st.tuples(OHM, OHM, OHM))
def test_order_in_series_does_not_matter(pieces, hz, order, ohms):
    three = [wl.Contact(f"k{n}", resistance_ohm=ohms[n]) for n in range(3)]
    there = made([*pieces, *three]).transfer(hz)
    assert made([*pieces, *(three[n] for n in order)]).transfer(hz) == pytest.approx(there, rel=ROUNDING, abs=0.0)


@given(PIECES, PIECES, HZ, st.floats(-40, 40))
def test_a_chain_is_the_product_of_its_links(first, second, hz, gain_db):
    behind = made(second, source_ohm=600.0).transfer(hz)
    last = wl.Section("out", source=None, path=second, load=wl.Load(resistance_ohm=1e4))
    stage = wl.Stage("stage", gain_db=gain_db, output_resistance_ohm=600.0)
    whole = wl.Chain([made(first), stage, last]).transfer(hz)
    assert whole == pytest.approx(made(first).transfer(hz) * 10 ** (gain_db / 20) * behind, rel=ROUNDING, abs=0.0)


@given(PIECES, HZ, log(1e-3, 1e6), log(1e-3, 1e6))
def test_a_wider_range_has_a_higher_ceiling(pieces, hz, low, wide):
    section = made([wl.Contact("k", resistance_ohm=0.0), *pieces])
    narrow = section.ceiling(hz, ranges={"k": (low, low + wide)})
    more = section.ceiling(hz, ranges={"k": (0.5 * low, low + 2 * wide)})
    assume(narrow.applies and more.applies)
    assert narrow.chatter <= more.chatter * (1 + 1e-6)


@given(PIECES, OHM)
def test_values_come_back_from_dicts(pieces, ohm):
    section = made([*pieces, wl.Contact("k", resistance_ohm=ohm, role="return")])
    assert wl.Section.from_dict(section.to_dict()) == section


JOB = """sheet = 1
title = "any (invented)"
[section]
"in" = {{ from = "line source", path = [{path}], into = "50 kohm", then = "power stage" }}
"out" = {{ path = ["relay / a"], into = "8 ohm loudspeaker" }}
[route]
"disc" = ["in", "out"]
"tape" = ["tape", "out"]
[section."tape"]
from = "line source"
path = ["tape socket / pin"]
into = "50 kohm"
then = "power stage"
"""
CONTACTS = ["disc socket / pin", "selector / disc", "monitor / a", "tape socket / pin", "relay / a"]
HEARD = st.lists(st.tuples(st.sampled_from(["disc", "tape"]), st.sampled_from(["clean", "grit", "crackle", "quieter", "dead"]),
                           st.sampled_from(["clean", "grit", "crackle", "quieter", "dead"])),
                 min_size=1, max_size=2, unique_by=lambda row: row[0])  # fmt: skip
READ = st.dictionaries(st.sampled_from(CONTACTS), st.tuples(log(0.05, 2e4), st.sampled_from(["left", "right"])), max_size=3)


def sheet(heard, read, mirrored=False, order=(0, 1), more=""):
    path = ['"disc socket / pin"', '"selector / disc"']
    text = JOB.format(path=", ".join([*(path[k] for k in order), '"monitor / a"']))
    for route, left, right in heard:
        left, right = (right, left) if mirrored else (left, right)
        text += f'[[heard]]\nroute = "{route}"\nleft = "{left}"\nright = "{right}"\n'
    for name, (ohm, channel) in read.items():
        side = {"left": "right", "right": "left"}[channel] if mirrored else channel
        text += f'[[reading]]\ncontact = "{name}"\nchannel = "{side}"\nshows = "{ohm:.3g} ohm"\nmethod = "hand meter"\n'
    return wl.assess(wl.Job.from_text(text + more), draws=0)


def kinds(found, mirrored=False):
    other = {"left": "right", "right": "left"} if mirrored else {"left": "left", "right": "right"}
    return {(f.contact, other[f.channel]): f.kind for f in found.findings}


@given(HEARD, READ)
def test_channels_are_alike(heard, read):
    assert kinds(sheet(heard, read)) == kinds(sheet(heard, read, mirrored=True), mirrored=True)


@given(HEARD, READ)
def test_the_order_of_contacts_in_a_loop_is_nothing(heard, read):
    assert kinds(sheet(heard, read)) == kinds(sheet(heard, read, order=(1, 0)))


@given(HEARD, READ, st.sampled_from(CONTACTS), st.sampled_from(["left", "right"]))
def test_what_was_proved_raises_no_other(heard, read, proved, side):
    bridged = f'[[bridged]]\ncontact = "{proved}"\nchannel = "{side}"\nthen = "clean"\n'
    after = kinds(sheet(heard, read, more=bridged))
    assume(after[proved, side] == "proved")
    before = kinds(sheet(heard, read))
    for at, kind in after.items():
        if at[1] == side and at[0] != proved and kind in ("proved", "able to account for it"):
            assert before[at] == kind, at


@given(HEARD, READ, st.sampled_from(CONTACTS), st.sampled_from(["left", "right"]))
def test_a_contact_that_changed_nothing_is_not_accused(heard, read, name, side):
    same = f'[[bridged]]\ncontact = "{name}"\nchannel = "{side}"\nthen = "same"\n'
    assert kinds(sheet(heard, read, more=same))[name, side] not in ("proved", "able to account for it")
