"""Frozen value objects: equality, hash, repr, pickle, dictionaries, copies, and what their constructors refuse."""

import copy
import pickle

import numpy as np
import pytest
import weaklink as wl
from hypothesis import given
from hypothesis import strategies as st

NAMESPACE = {name: getattr(wl, name) for name in wl.__all__}

# ---------------------------------------------------------------- any value

ohms = st.floats(min_value=0.0, max_value=1e12)
above_zero = st.floats(min_value=1e-12, max_value=1e12)
names = st.text(min_size=1, max_size=12, alphabet=st.characters(codec="ascii", categories=["L", "N", "P", "S", "Zs"])).filter(str.strip)

sources = st.builds(wl.Source, emf_v=ohms, resistance_ohm=ohms, inductance_h=ohms)
leads = st.builds(wl.Lead, resistance_ohm=ohms, inductance_h=ohms, capacitance_f=ohms)
loads = st.builds(wl.Load, resistance_ohm=above_zero, capacitance_f=ohms)
films = st.one_of(
    st.builds(wl.Film.ohmic, resistance_ohm=above_zero),
    st.builds(wl.Film.tunnelling, resistance_ohm=above_zero, scale_v=above_zero),
    st.builds(wl.Film.rectifying, resistance_ohm=above_zero, ideality=st.floats(1.0, 3.0), leak_ratio=st.floats(1e-6, 1.0)),
    st.builds(wl.Film.bridged, resistance_ohm=above_zero),
)
ranges = st.none() | st.tuples(ohms, ohms).map(lambda pair: tuple(sorted(pair)))
rest = {"constriction_ohm": ohms, "range_ohm": ranges, "role": st.sampled_from(["signal", "return"])}
contacts = st.one_of(st.builds(wl.Contact, names, resistance_ohm=ohms, **rest), st.builds(wl.Contact, names, film=films, **rest))
stages = st.builds(
    wl.Stage, names, gain_db=st.floats(-100.0, 100.0), equalisation=st.sampled_from(["flat", "riaa", "riaa 7950 us"]), output_resistance_ohm=ohms
)
paths = st.lists(st.one_of(contacts, leads), max_size=4, unique_by=lambda item: getattr(item, "name", id(item)))
sections = st.builds(wl.Section, names, source=st.none() | sources, path=paths, load=loads)


@st.composite
def chains(draw):
    first = draw(sections.filter(lambda section: section.source is not None))
    items = [first]
    if draw(st.booleans()):
        taken = set(first.contact_names)
        path = [item for item in draw(paths) if getattr(item, "name", None) not in taken]
        items += [draw(stages), wl.Section(draw(names), source=None, path=path, load=draw(loads))]
        items += draw(st.lists(stages, max_size=2))
    return wl.Chain(items)


anything = st.one_of(sources, leads, loads, films, contacts, stages, sections, chains())


@given(anything)
def test_every_copy_is_equal(value):
    kind = type(value)
    copies = [kind.from_dict(value.to_dict()), pickle.loads(pickle.dumps(value)), copy.copy(value), copy.deepcopy(value), eval(repr(value), dict(NAMESPACE))]
    for other in copies:
        assert type(other) is kind
        assert other == value and not other != value
        assert hash(other) == hash(value)
        assert repr(other) == repr(value)
        assert other.to_dict() == value.to_dict()


@given(anything, anything)
def test_equal_means_equal_contents(one, other):
    assert (one == other) == (type(one) is type(other) and one.to_dict() == other.to_dict())


@given(anything)
def test_not_equal_to_something_else(value):
    assert value != 1 and value != None and value != value.to_dict()  # noqa: E711


@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
def test_every_pickle_protocol(protocol):
    assert pickle.loads(pickle.dumps(chain(), protocol)) == chain()


# ---------------------------------------------------------------- one of each

RELAY = wl.Contact("relay", film=wl.Film.rectifying(resistance_ohm=0.8, ideality=1.5, leak_ratio=0.1))


def section(**changes):
    parts = {"source": wl.Source(emf_v=0.3, resistance_ohm=0.1), "path": [RELAY, wl.Lead(resistance_ohm=0.1)], "load": wl.Load(resistance_ohm=8.0)}
    return wl.Section("loudspeaker", **{**parts, **changes})


def chain():
    return wl.Chain([section(), wl.Stage("power stage", gain_db=40.0), wl.Section("next", source=None, path=[wl.Contact("socket", resistance_ohm=0.5)], load=wl.Load(resistance_ohm=1e3))])


EACH = [
    wl.Source(emf_v=1.0),
    wl.Lead(),
    wl.Load(resistance_ohm=8.0),
    wl.Film.ohmic(resistance_ohm=1.0),
    RELAY,
    wl.Stage("stage"),
    section(),
    chain(),
    section().ceiling(1e3),
]


@pytest.mark.parametrize("value", EACH, ids=lambda value: type(value).__name__)
def test_frozen(value):
    attributes = [name for name in dir(value) if not name.startswith("_") and not callable(getattr(value, name))]
    assert attributes
    for name in attributes:
        with pytest.raises(AttributeError):
            setattr(value, name, 1.0)
        with pytest.raises(AttributeError):
            delattr(value, name)
    with pytest.raises(AttributeError):
        value.something_new = 1.0


def test_what_comes_out_is_not_the_inside():
    value = section()
    value.path.append("x")
    value.to_dict()["path"].clear()
    assert value == section() and len(value.path) == 2
    whole = chain()
    whole.items.clear()
    assert whole == chain()


def test_attributes():
    source, lead, load, stage = wl.Source(emf_v=1, resistance_ohm=2, inductance_h=3), wl.Lead(resistance_ohm=1, inductance_h=2, capacitance_f=3), wl.Load(resistance_ohm=1, capacitance_f=2), wl.Stage("s", gain_db=1, equalisation="riaa", output_resistance_ohm=2)
    assert (source.emf_v, source.resistance_ohm, source.inductance_h) == (1.0, 2.0, 3.0)
    assert (lead.resistance_ohm, lead.inductance_h, lead.capacitance_f) == (1.0, 2.0, 3.0)
    assert (load.resistance_ohm, load.capacitance_f) == (1.0, 2.0)
    assert (stage.name, stage.gain_db, stage.equalisation, stage.output_resistance_ohm) == ("s", 1.0, "riaa", 2.0)
    contact = wl.Contact("c", resistance_ohm=4, constriction_ohm=1, range_ohm=(0, 7), role="return")
    assert (contact.name, contact.resistance_ohm, contact.constriction_ohm, contact.range_ohm, contact.role) == ("c", 4.0, 1.0, (0.0, 7.0), "return")
    assert contact.film == wl.Film.ohmic(resistance_ohm=4.0) and contact.film.law == "ohmic"
    assert section().contact_names == ["relay"] and chain().contact_names == ["relay", "socket"]
    assert section().path[0] == RELAY and section().source == wl.Source(emf_v=0.3, resistance_ohm=0.1) and section().load == wl.Load(resistance_ohm=8.0)
    assert chain().items[0] == section() and chain().items[2].source is None


def test_a_changed_value_is_another_value():
    base = wl.Source(emf_v=1.0, resistance_ohm=2.0)
    assert base != wl.Source(emf_v=1.0, resistance_ohm=np.nextafter(2.0, 3.0))
    assert wl.Lead(resistance_ohm=1.0) != wl.Load(resistance_ohm=1.0)
    assert len({base, wl.Source(emf_v=1, resistance_ohm=2), section(), section(), chain(), chain()}) == 3
    assert section() != section(path=list(reversed(section().path)))


# ---------------------------------------------------------------- copies with a change


def test_with_contact():
    base = section()
    changed = base.with_contact("relay", constriction_ohm=0.2)
    assert base == section() and changed != base
    assert changed.path[0].constriction_ohm == 0.2 and changed.path[0].film == RELAY.film and changed.path[1:] == base.path[1:]
    assert base.with_contact("relay") == base
    assert base.with_contact("relay", resistance_ohm=2.0).path[0] == wl.Contact("relay", resistance_ohm=2.0)
    assert base.with_contact("relay", film=wl.Film.bridged(resistance_ohm=1.0)).path[0].film.law == "bridged"
    back = base.with_contact("relay", role="return", range_ohm=(0.1, 3.0)).with_contact("relay", range_ohm=None)
    assert back.path[0].range_ohm is None and back.path[0].role == "return"


def test_with_source():
    base = section()
    changed = base.with_source(emf_v=2.83)
    assert changed.source == wl.Source(emf_v=2.83, resistance_ohm=0.1)
    assert base == section() and changed.path == base.path
    assert section(source=None).with_source(emf_v=1.0).source == wl.Source(emf_v=1.0)


def test_bad_changes():
    with pytest.raises(wl.InputError, match='unknown contact "rely".*"relay"'):
        section().with_contact("rely", resistance_ohm=1.0)
    with pytest.raises(wl.InputError, match="resistance_ohm"):
        section().with_contact("relay", resistance_ohm=-1.0)
    with pytest.raises(wl.InputError, match="exactly one"):
        section().with_contact("relay", resistance_ohm=1.0, film=wl.Film.ohmic(resistance_ohm=1.0))
    with pytest.raises(TypeError):
        section().with_contact("relay", ohms=1.0)
    with pytest.raises(wl.InputError, match="emf_v"):
        section().with_source(emf_v=-1.0)
    with pytest.raises(TypeError):
        section().with_source(emf=1.0)


def test_a_contact_in_the_return_acts_as_one_in_the_signal():
    frequency_hz = np.geomspace(10.0, 50e3, 40)

    def path(role):
        film = wl.Film.rectifying(resistance_ohm=300.0)
        return [wl.Lead(resistance_ohm=5.0, capacitance_f=1e-9), wl.Contact("c", film=film, constriction_ohm=2.0, role=role), wl.Lead(inductance_h=1e-3, capacitance_f=2e-9)]

    one, other = (section(source=wl.Source(emf_v=0.3, resistance_ohm=600.0), path=path(role), load=wl.Load(resistance_ohm=1e4)) for role in ("signal", "return"))
    assert one != other
    assert (one.transfer(frequency_hz) == other.transfer(frequency_hz)).all()
    assert (one.loss_db(frequency_hz) == other.loss_db(frequency_hz)).all()
    assert one.ceiling(1e3).harmonics == other.ceiling(1e3).harmonics


# ---------------------------------------------------------------- what is refused

NOT_NEGATIVE = [-1e-12, np.nan, np.inf, -np.inf]
NOT_POSITIVE = [*NOT_NEGATIVE, 0.0]


def refused(place, bad, call):
    """Every bad value raises, the message names the place and the value."""
    for value in bad:
        with pytest.raises(wl.InputError) as caught:
            call(value)
        assert place in caught.value.place, caught.value.place
        assert "allowed" in caught.value.allowed
        text = "NaN" if value != value else str(value).rstrip("0").rstrip(".") if isinstance(value, float) and abs(value) > 1e-3 else ""
        assert text in caught.value.value
    for value in ("1", None, 1j, [1.0]):
        with pytest.raises((TypeError, wl.InputError), match=place.split(" ")[-1]):
            call(value)


@pytest.mark.parametrize("name", ["emf_v", "resistance_ohm", "inductance_h"])
def test_source_refuses(name):
    refused(name, NOT_NEGATIVE, lambda value: wl.Source(**{"emf_v": 1.0, name: value}))


@pytest.mark.parametrize("name", ["resistance_ohm", "inductance_h", "capacitance_f"])
def test_lead_refuses(name):
    refused(name, NOT_NEGATIVE, lambda value: wl.Lead(**{name: value}))


def test_load_refuses():
    refused("resistance_ohm", NOT_POSITIVE, lambda value: wl.Load(resistance_ohm=value))
    refused("capacitance_f", NOT_NEGATIVE, lambda value: wl.Load(resistance_ohm=1.0, capacitance_f=value))


def test_film_refuses():
    # an ohmic film of zero ohm is a perfect contact
    refused("resistance_ohm", NOT_NEGATIVE, lambda value: wl.Film.ohmic(resistance_ohm=value))
    for law in (wl.Film.bridged, wl.Film.rectifying):
        refused("resistance_ohm", NOT_POSITIVE, lambda value, law=law: law(resistance_ohm=value))
    refused("resistance_ohm", NOT_POSITIVE, lambda value: wl.Film.tunnelling(resistance_ohm=value, scale_v=0.1))
    refused("scale_v", NOT_POSITIVE, lambda value: wl.Film.tunnelling(resistance_ohm=1.0, scale_v=value))
    refused("ideality", [*NOT_POSITIVE, 0.5], lambda value: wl.Film.rectifying(resistance_ohm=1.0, ideality=value))
    refused("leak_ratio", [*NOT_POSITIVE, 1.5], lambda value: wl.Film.rectifying(resistance_ohm=1.0, leak_ratio=value))
    with pytest.raises(TypeError):
        wl.Film()


def test_contact_refuses():
    for name in ("", "  "):
        with pytest.raises(wl.InputError, match="name"):
            wl.Contact(name, resistance_ohm=1.0)
    for arguments in ({}, {"resistance_ohm": 1.0, "film": wl.Film.ohmic(resistance_ohm=1.0)}):
        with pytest.raises(wl.InputError, match='contact "c".*exactly one'):
            wl.Contact("c", **arguments)
    for bad in NOT_NEGATIVE:
        with pytest.raises(wl.InputError, match='contact "c".*resistance_ohm'):
            wl.Contact("c", resistance_ohm=bad)
        with pytest.raises(wl.InputError, match='contact "c".*constriction_ohm'):
            wl.Contact("c", resistance_ohm=1.0, constriction_ohm=bad)
    for bad in ((2.0, 1.0), (-1.0, 1.0), (np.nan, 1.0), (0.0, np.nan), (np.inf, np.inf)):
        with pytest.raises(wl.InputError, match='contact "c".*range_ohm.*low <= high'):
            wl.Contact("c", resistance_ohm=1.0, range_ohm=bad)
    for bad in (1.0, (1.0,), (1.0, 2.0, 3.0), "12", ("1", "2")):
        with pytest.raises((TypeError, ValueError, wl.InputError), match="range_ohm"):
            wl.Contact("c", resistance_ohm=1.0, range_ohm=bad)
    with pytest.raises(wl.InputError, match='contact "c": role.*"shnt".*"signal", "return"'):
        wl.Contact("c", resistance_ohm=1.0, role="shnt")
    with pytest.raises(TypeError, match="film"):
        wl.Contact("c", film=1.0)
    with pytest.raises(TypeError):
        wl.Contact(resistance_ohm=1.0)


def test_stage_refuses():
    with pytest.raises(wl.InputError, match='stage "s": equalisation.*"RIAA".*"flat", "riaa", "riaa 7950 us"'):
        wl.Stage("s", equalisation="RIAA")
    refused("gain_db", [np.nan, np.inf, -np.inf], lambda value: wl.Stage("s", gain_db=value))
    refused("output_resistance_ohm", NOT_NEGATIVE, lambda value: wl.Stage("s", output_resistance_ohm=value))


def test_section_refuses():
    with pytest.raises(wl.InputError, match=r'section "loudspeaker": path\[1\].*str.*Contact, Lead'):
        section(path=[RELAY, "lead"])
    with pytest.raises(wl.InputError, match="relay"):
        section(path=[RELAY, RELAY])
    for name, bad in (("source", 1.0), ("load", 8.0), ("load", None), ("path", None)):
        with pytest.raises(TypeError):
            section(**{name: bad})
    alone = section(source=None)
    for call in (lambda: alone.loss_db(1e3), lambda: alone.transfer(1e3), lambda: alone.ceiling(1e3), lambda: alone.response_change_db()):
        with pytest.raises(wl.InputError, match='section "loudspeaker": source.*only inside a Chain'):
            call()


def test_chain_refuses():
    stage, follower = wl.Stage("stage"), wl.Section("next", source=None, path=[], load=wl.Load(resistance_ohm=1.0))
    for items, message in (
        ([], "at least one section"),
        ([stage, section()], "begins with a section"),
        ([follower], "needs a source"),
        ([section(), follower], "put a stage between"),
        ([section(), stage, section()], "source=None"),
        ([section(), stage, section(source=None)], "relay"),
        ([section(), 1.0], r"items\[1\].*float.*Section, Stage"),
    ):
        with pytest.raises(wl.InputError, match=message):
            wl.Chain(items)


@pytest.mark.parametrize("value", [value for value in EACH if hasattr(value, "to_dict")], ids=lambda value: type(value).__name__)
def test_from_dict_refuses(value):
    good = value.to_dict()
    kind = type(value)
    bad = [{**good, "unknown": 1.0}, {}, {key: "x" for key in good}, {key: np.nan for key in good}, 5, "text", None]
    if kind is wl.Lead:
        bad.remove({})  # every value of a lead has a default
    for data in bad:
        with pytest.raises(wl.InputError):
            kind.from_dict(data)


def test_from_dict_checks_the_values():
    for value, key, bad in ((wl.Source(emf_v=1.0), "emf_v", -1.0), (wl.Load(resistance_ohm=1.0), "resistance_ohm", 0.0), (wl.Film.bridged(resistance_ohm=1.0), "resistance_ohm", 0), (wl.Stage("s"), "equalisation", "x"), (RELAY, "role", "shnt"), (RELAY, "name", "")):
        with pytest.raises(wl.InputError):
            type(value).from_dict({**value.to_dict(), key: bad})


# ---------------------------------------------------------------- faults known to stand


def test_negative_zero_hashes_as_zero():
    one, other = wl.Source(emf_v=1.0, resistance_ohm=0.0), wl.Source(emf_v=1.0, resistance_ohm=-0.0)
    assert one == other and hash(one) == hash(other)


def test_repr_of_a_contact_that_can_open():
    value = wl.Contact("c", resistance_ohm=1.0, range_ohm=(0.0, np.inf))
    assert pickle.loads(pickle.dumps(value)) == value
    assert eval(repr(value), dict(NAMESPACE)) == value


@pytest.mark.parametrize("name", ["re\u0301lais", "a\u200bb", "\x7f"])
def test_repr_of_any_name(name):
    value = wl.Contact(name, resistance_ohm=1.0)
    assert eval(repr(value), dict(NAMESPACE)) == value


def test_film_of_a_perfect_contact():
    film = wl.Contact("c", resistance_ohm=0.0).film
    assert pickle.loads(pickle.dumps(film)) == film and eval(repr(film), dict(NAMESPACE)) == film


@pytest.mark.parametrize("name", ["with_contact", "with_source"])
def test_a_chain_makes_changed_copies_too(name):
    before = chain()
    changed = before.with_source(emf_v=2.0) if name == "with_source" else before.with_contact("socket", resistance_ohm=4.0)
    assert changed != before == chain()
    other = changed.items[0].source.emf_v == 2.0 if name == "with_source" else changed.loss_db(1e3) > before.loss_db(1e3)
    assert other
    with pytest.raises(wl.InputError, match="unknown contact"):
        before.with_contact("nobody", resistance_ohm=1.0)
