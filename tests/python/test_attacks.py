"""The command that attacks the bounds and draws the figure of their page: near, never above, and the figure in the tree is its own."""

import re
import xml.etree.ElementTree as xml

import pytest
import weaklink as wl
from attack_table import MEDIAN_REACHED, NEVER_ABOVE
from weaklink import attacks

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def found():
    return attacks.shares(16)


def test_attacks_come_near_every_bound_and_pass_none(found):
    assert set(found) == set(attacks.KINDS)
    for kind, reached in found.items():
        assert len(reached) >= 12 and reached == sorted(reached), kind
        assert reached[len(reached) // 2] >= MEDIAN_REACHED and reached[-1] <= NEVER_ABOVE, kind


def test_the_same_seed_gives_the_same_attacks_and_another_one_others(found):
    assert attacks.shares(2) == {kind: sorted(few) for kind, few in attacks.shares(2).items()}
    assert attacks.shares(2, trials=5) != attacks.shares(2, trials=5, seed=1)


def test_the_figure_in_the_tree_is_of_this_command(found, root):
    drawn, there = attacks.figure(found), (root / "src" / "response" / "attacks.svg").read_text()
    words = lambda text: [node.text for node in xml.fromstring(text).iter(f"{SVG}text")]
    # the circuits in the tree are more; what is said is the same
    assert words(drawn) == words(there) and set(attacks.KINDS) <= set(words(there))
    assert "\n\n" not in there and not re.search(r"/tmp|/home|/root", there)
    dots = [float(node.get("cx")) for node in xml.fromstring(there).iter(f"{SVG}circle")]
    limit = next(float(node.get("x1")) for node in xml.fromstring(there).iter(f"{SVG}line"))
    assert len(dots) > 100 and max(dots) <= limit


def test_the_command_says_what_is_wrong(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr(attacks, "KINDS", {"T1, harmonics": attacks.KINDS["T1, harmonics"]})
    assert attacks.main(["--circuits", "2", "--trials", "3", "--figure", str(tmp_path / "a.svg")]) == 0
    assert "T1, harmonics" in capsys.readouterr().out and (tmp_path / "a.svg").exists()
    assert attacks.main(["--circuits", "0"]) == 2 and "circuits" in capsys.readouterr().err
    assert attacks.main(["--circuits", "1", "--trials", "1", "--figure", str(tmp_path / "no" / "a.svg")]) == 1
    # a bound that is passed is an exit status
    monkeypatch.setattr(attacks, "shares", lambda *_, **__: {"T1, harmonics": [1.1]})
    assert attacks.main([]) == 1


def test_what_it_attacks_are_sections_and_chains():
    import random

    for kind, (_, build) in attacks.KINDS.items():
        system, ends = build(random.Random(kind))
        assert isinstance(system, wl.Section | wl.Chain) and ends
