"""The customer's half page: what was found, done, proved and not tested, in plain words and without ohms unless wanted."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from .plots_bench import CHANNELS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .evidence import Evidence, Reading
    from .results import Assessment

# what is heard, as one says it across the counter
HEARD = {
    "grit": "sounds gritty",
    "crackle": "crackles",
    "quieter": "is too quiet",
    "dull": "sounds dull",
    "imbalance": "is out of balance",
    "hum": "hums",
    "dead": "is dead",
    "comes and goes": "comes and goes",
}
WORK = {"after cleaning": "cleaned", "after stripping": "stripped and polished", "after replacing": "replaced"}


@dataclass(frozen=True)
class Words:
    """What only the workshop knows: what was done, what was not tested, the price, remarks; whether the customer wants ohms."""

    done: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    price: str | None = None
    ohms: bool = False


def named(contact: str) -> str:
    """A contact as a customer reads it: the part first."""
    part, _, position = contact.partition(" / ")
    return f"{part} (contact “{position}”)" if position else part


def listed(words: Sequence[str]) -> str:
    """One, two and three."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def read_twice(evidence: Evidence) -> list[tuple[str, str, list[Reading], list[Reading]]]:
    """Contact, channel, readings before any remedy and after one; only where there are both."""
    out = []
    for contact in evidence.contacts:
        for side in CHANNELS:
            own = [r for r in evidence.readings if (r.contact, r.channel) == (contact, side)]
            before, after = [r for r in own if r.before_remedy], [r for r in own if not r.before_remedy]
            if before and after:
                out.append((contact, side, before, after))
    return out


def standing(several: Sequence[Reading], limit: float | None) -> str:
    """Whether readings are usual for the kind of contact, in words."""
    if limit is None:
        return "read"
    if all(r.high_ohm is not None and r.high_ohm <= limit for r in several):
        return "in order"
    if any(r.low_ohm > limit for r in several):
        return "not in order"
    return "too coarse to say"


def _likeliest_rival(assessment: Assessment, side: str) -> str | None:
    """What is no contact and is more likely than all else together on a channel."""
    rivals = {rival.who for rival in assessment.rivals}
    odds = [one for channel in assessment.odds if channel.channel == side for one in channel.odds]
    return next((one.who for one in odds if one.who in rivals and one.probability > 0.5), None)


def _found(evidence: Evidence, assessment: Assessment) -> list[str]:
    out = []
    for side in CHANNELS:
        bad: dict[str, list[str]] = {}
        for route, _ in evidence.routes:
            for what in evidence.symptoms(route, side) or ():
                bad.setdefault(what, []).append(route)
        clean = [route for route, _ in evidence.routes if evidence.symptoms(route, side) == ()]
        told = [f"{HEARD.get(what, what)} on {listed(routes)}" for what, routes in bad.items()]
        if not told and not clean:
            continue
        if not told:
            out.append(f"The {side} channel is clean on {listed(clean)}.")
            continue
        out.append(f"The {side} channel {listed(told)}" + (f"; it is clean on {listed(clean)}." if clean else "."))
        own = [f for f in assessment.findings if f.channel == side]
        proved = [named(f.contact) for f in own if f.kind == "proved"]
        able = [named(f.contact) for f in own if f.kind == "able to account for it"]
        rival = _likeliest_rival(assessment, side)
        if proved:
            out.append(f"The cause is the {listed(proved)}.")
        elif able and rival:
            out.append(f"The {listed(able)} could cause this, but the {rival}, which is no contact, is more likely by what is usual; neither is proved yet.")
        elif rival:
            out.append(f"No contact that was measured is known to cause this; the {rival} is the most likely cause by what is usual, not a proof yet.")
        elif able:
            out.append(f"The {listed(able)} can cause this; that is not a proof yet.")
        else:
            out.append("No contact that was measured is known to cause this.")
    return out


def _done(evidence: Evidence, words: Words) -> list[str]:
    out = list(words.done)
    for contact in evidence.contacts:
        after = [r for r in evidence.readings if r.contact == contact and not r.before_remedy]
        for when in dict.fromkeys(r.when for r in after):
            told = f"{named(contact)}: {WORK.get(when, when)} and measured again."
            out.append(told[0].upper() + told[1:])
    return out or ["Nothing has been changed yet."]


def _proved(evidence: Evidence, assessment: Assessment) -> list[str]:
    out = []
    for b in evidence.bridged:
        by = "its replacement" if b.put == "replacement" else "a lead clipped across it"
        what = {"clean": "brought clean sound back: proved", "same": "changed nothing: it is not the cause"}.get(b.then, "made it better, not clean")
        out.append(f"{named(b.contact)}, {b.channel}: {by} {what}.")
    ruled = [named(f.contact) for f in assessment.findings if f.kind == "cannot be the sole cause"]
    if ruled:
        out.append(f"Ruled out as the only cause, by measurement: {listed(list(dict.fromkeys(ruled)))}.")
    steady = [named(f.contact) for f in assessment.findings if f.kind == "cannot unless it jumps"]
    if steady:
        out.append(f"Good when measured, so ruled out unless it fails for moments: {listed(list(dict.fromkeys(steady)))}.")
    if not any(f.kind == "proved" for f in assessment.findings) and any(h.what != "clean" for h in evidence.heard):
        out.append("The cause itself is not proved.")
    return [told[0].upper() + told[1:] for told in out] or ["There was nothing to prove: no fault was heard."]


def _not_tested(evidence: Evidence, assessment: Assessment, words: Words) -> list[str]:
    out = list(words.not_tested)
    read = {(r.contact, r.channel) for r in evidence.readings}
    open_ = [f for f in assessment.findings if f.kind == "not settled" and (f.contact, f.channel) not in read]
    if open_:
        out.append(f"Not measured and not excluded: {listed(list(dict.fromkeys(named(f.contact) for f in open_)))}.")
    silent = [f"{route}, {side}" for side in CHANNELS for route, _ in evidence.routes if evidence.symptoms(route, side) is None]
    if silent:
        out.append(f"Not listened to: {'; '.join(silent)}.")
    if assessment.rivals:
        out.append(f"Other possible causes that are no contact: {listed(list(dict.fromkeys(r.who for r in assessment.rivals)))}.")
    if read_twice(evidence) and not any(b.then == "clean" for b in evidence.bridged):
        out.append("How long it holds: nobody can know from one visit.")
    return out or ["Nothing that was planned was left out."]


def _price(evidence: Evidence, words: Words) -> list[str]:
    if words.price:
        return [words.price]
    money = f" {evidence.currency}" if evidence.currency else ""
    parts = [f"a new {name} costs {price:g}{money}" for name, price in evidence.prices]
    return ["No price has been agreed on this page." + (f" For orientation: {listed(parts)}." if parts else "")]


CAUTIONS = (
    "Old contacts can fail again; this page says what was found and tested, not how long it lasts.",
    "Please do not open the set: mains voltage and charged capacitors inside can kill, also when it is unplugged.",
)


def _items(lines: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _ohms(several: Sequence[Reading]) -> str:
    from .report import _number

    low = min(r.low_ohm for r in several)
    ends = [r.high_ohm for r in several]
    if any(end is None for end in ends):
        return f"at least {_number(low)} ohm" if low else "not known"
    high = _number(max(end for end in ends if end is not None))
    return f"{_number(low)} to {high} ohm" if low else f"below {high} ohm"


def before_and_after(evidence: Evidence, assessment: Assessment, *, ohms: bool) -> str:
    """As found and after the work, side by side; empty where nothing was read twice."""
    rows = []
    for contact, side, before, after in read_twice(evidence):
        limit = assessment.finding(contact, side).in_order_up_to_ohm
        cells = [standing(several, limit) + (f", {_ohms(several)}" if ohms else "") for several in (before, after)]
        told = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        rows.append(f'<tr><th scope="row">{escape(named(contact))}, {side}</th>{told}</tr>')
    if not rows:
        return ""
    head = '<thead><tr><th scope="col">Contact</th><th scope="col">As found</th><th scope="col">After</th></tr></thead>'
    body = f"<table><caption>As found and after the work</caption>{head}<tbody>{''.join(rows)}</tbody></table>"
    return f'<div class="wide" tabindex="0" role="region" aria-label="As found and after the work">{body}</div>'


def customer(evidence: Evidence, assessment: Assessment, words: Words) -> str:
    """The half page, as HTML."""
    parts = [
        ("What was found", _found(evidence, assessment)),
        ("What was done", _done(evidence, words)),
        ("What is proved", _proved(evidence, assessment)),
        ("What was not tested", _not_tested(evidence, assessment, words)),
        ("Price", _price(evidence, words)),
    ]
    if assessment.clashes:
        parts[0][1].append("Some observations contradict each other; the record behind this page says which.")
    blocks = "".join(f"<div><h2>{escape(head)}</h2>{_items(lines)}</div>" for head, lines in parts)
    cautions = f'<div class="caution"><h2>Please note</h2>{_items(CAUTIONS)}</div>'
    side_by_side = before_and_after(evidence, assessment, ohms=words.ohms)
    return f'<div class="questions">{blocks}{cautions}</div>{side_by_side}'
