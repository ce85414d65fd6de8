"""Drafts at a test voltage: insulation pair by pair, and of all nets against each other.

Open is the answer that passes, and a broken lead gives it for everything. So the tester is proven through its leads,
the clips and the wires on a known resistor at the far end: before, after, and every few pairs between.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from bench.judge.insulation import insulation_rule, test_voltage
from bench.judge.judge_error import JudgeError
from bench.plant.model import Plant
from bench.plant.things import Cable, Conductor
from bench.quantity import Amount, Duration, Resistance, Temperature, Voltage
from bench.sequence.drafts import looking
from bench.sequence.drafts.conductors import scope, searched
from bench.sequence.drafts.parts import AMBIENT, CannotDraft, Draft, Part, cards_out, dead
from bench.sequence.file import Caution, Discharge, Each, Hold, Limit, Measure, Prove, Seek, Step, Wait

_AFTER: Final = Duration(15.0)
_PROOF_AFTER: Final = Duration(5.0)
_BROUGHT_TO: Final = Temperature(20.0)
PROVE_EVERY: Final = 10
"""Pairs between two proofs of the tester (common practice, no source)."""


def insulation(plant: Plant, of: str) -> Draft:
    """Insulation of every pair, leg to leg, and of every conductor from all others, from screens and from the frame.

    Args:
        plant: the plant.
        of: a cable, bay or shelf.

    Raises:
        CannotDraft: nothing was named, it has no pairs, or its insulation bears no test voltage.
        UnknownName: it is something else.
    """
    if not of:
        raise CannotDraft("insulation wants a cable, bay or shelf: name one")
    what, _ = scope(plant, of)
    pairs = plant.pairs_of(of)
    if not pairs:
        raise CannotDraft(f"{of} has no pairs: draft its isolation, which holds all conductors against each other")
    first, mate = pairs[0]
    cables = [plant.cables[name] for name in dict.fromkeys(tip.cable for tip, _ in pairs)]
    volts = _voltage(plant, cables)
    there = looking.around(plant, of)
    by_length = Limit(computed="insulation-by-length")
    every = Measure(
        title="pair {pair.number} of {pair.cable}: {pair.tip-colour} to {pair.ring-colour}",
        read="insulation",
        between=("{pair.tip-near}", "{pair.ring-near}"),
        at=volts,
        after=_AFTER,
        bring_to=_BROUGHT_TO,
        limit=by_length,
    )
    absorption = Measure(
        title=f"Absorption of pair {first.pair} of {first.cable}",
        read="insulation",
        between=(first.near_end.name, mate.near_end.name),
        subject=f"{first.cable}/{first.pair}",
        at=volts,
        times=[Duration(15.0), Duration(30.0), Duration(60.0)],
        bring_to=_BROUGHT_TO,
        limit=by_length,
    )
    parts: list[Part] = [
        *dead(what, [*looking.nothing_on(plant, there), *looking.plugs(there)], there.stands_on),
        Caution(
            title="Test voltage",
            text="The insulation tester puts up to several hundred volts on the wires. It can hurt, and it destroys "
            "electronics. Keep everybody off both ends. Never touch a wire before the tester says that it is "
            "discharged. Only a person who is competent for insulation tests at this site may do this.",
        ),
        *cards_out(plant, cables, "Electronics bear no test voltage.", there.stands_on),
        Hold(
            title="Cards out, both ends free",
            text="All cards are out of the shelves at both ends, the connectors are unplugged, surge arresters are "
            "disconnected, and somebody guards the far end. Type the word only if you have checked it yourself.",
            word="CARDS-OUT",
            proven=there.stands_on,
        ),
        AMBIENT,
        *_proof(first, mate, volts, "before"),
    ]
    chunks = [pairs[start : start + PROVE_EVERY] for start in range(0, len(pairs), PROVE_EVERY)]
    for number, chunk in enumerate(chunks):
        only = [f"{tip.cable}/{tip.pair}" for tip, _ in chunk] if len(chunks) > 1 else []
        title = f"Insulation of {of}, tip to ring"
        parts.append(Each(over="pairs", of=of, only=only, title=title, steps=[every]))
        if number + 1 < len(chunks):
            tip, ring = chunks[number + 1][0]
            parts += _proof(tip, ring, volts, "between")
    parts += [_everything(cable.name, volts) for cable in cables]
    parts += [
        "One pair is held for a minute: how its reading rises tells of moisture.",
        absorption,
        *_proof(first, mate, volts, "after"),
        _lose_charge("bundle lose its", max(cables, key=lambda cable: (cable.length_m, cable.name)).name, volts),
    ]
    about = (
        "Insulation between the two legs of every pair, and of every conductor from all others, from the screen and "
        "from the frame, with the cards out and both ends free."
    )
    return Draft(about, parts)


def isolation(plant: Plant, of: str) -> Draft:
    """The proof that all nets of a cable or connector are insulated from each other, at a test voltage.

    Args:
        plant: the plant.
        of: the cable or connector.

    Raises:
        CannotDraft: nothing was named, or its insulation bears no test voltage.
        UnknownName: it is something else.
    """
    what = searched(plant, of, "isolation")
    cables = [plant.cables[of]] if of in plant.cables else plant.cables_of(of)
    volts = _voltage(plant, cables)
    there = looking.around(plant, of)
    proven = next((one.conductors[:2] for one in cables if len(one.conductors) > 1), None)
    parts: list[Part] = [
        *dead(what, [*looking.nothing_on(plant, there), *looking.plugs(there)], there.stands_on),
        Caution(
            title="Test voltage on many wires at once",
            text="The insulation tester puts up to several hundred volts on half of the wires at once, at both ends, "
            "and they keep their charge. Keep everybody off both ends. Never touch a wire or move a clip before the "
            "tester says that all are discharged, and prove them dead. Only a person who is competent for insulation "
            "tests at this site may do this.",
        ),
        *cards_out(plant, cables, "Electronics bear no test voltage.", there.stands_on),
        Hold(
            title="Both ends free and guarded",
            text="All cards are out of the shelves at both ends, the connectors are unplugged from electronics, surge "
            "arresters are disconnected, and somebody guards the far end. Type the word only if you have checked it "
            "yourself.",
            word="GUARDED",
            proven=there.stands_on,
        ),
        AMBIENT,
    ]
    if proven is not None:
        parts += _proof(proven[0], proven[1], volts, "before")
    parts.append(_everything(of, volts) if cables else _everything(of, volts, minimum=""))
    if proven is not None:
        parts += _proof(proven[0], proven[1], volts, "after")
    if cables:
        longest = max(cables, key=lambda cable: (cable.length_m, cable.name)).name
        parts.append(_lose_charge("wires lose their", longest, volts))
    return Draft(f"Whether every two nets of {of} are insulated from each other, and which are not.", parts)


def _voltage(plant: Plant, cables: Iterable[Cable]) -> Amount:
    """The test voltage of the circuits' rule, lowered to what the weakest cable bears."""
    nominal = max((abs(feed.nominal_v) for feed in plant.feeds.values()), default=50.0)
    wanted = insulation_rule(nominal).test_voltage_v
    rated = min((cable.type.rated.value for cable in cables), default=wanted)
    try:
        return Amount(test_voltage(wanted, rated), "V")
    except JudgeError as error:
        raise CannotDraft(str(error)) from error


def _proof(tip: Conductor, ring: Conductor, volts: Amount, when: str) -> Sequence[Part]:
    """The tester, its leads and clips on a known resistor across the far ends of a pair."""
    what = "Open is the answer that passes: a broken lead would pass everything."
    return [
        what if when == "before" else f"The tester and its leads once more, {when}: what lies before rests on it.",
        Prove(
            title=f"Prove the tester and its leads {when}",
            against="reference",
            read="insulation",
            at=volts,
            after=_PROOF_AFTER,
            between=(tip.near_end.name, ring.near_end.name),
            across=(tip.far_end.name, ring.far_end.name),
            text=f"Clip the known resistor of the bench (about 1 MΩ, for the test voltage) across the far ends of "
            f"{tip.name} and {ring.name}, and the tester's leads on their near ends. Take the resistor off afterwards.",
        ),
    ]


def _everything(of: str, volts: Amount, minimum: str = "by length") -> Step:
    """All nets against each other, screens and frame among them."""
    return Seek(
        title=f"Insulation among the nets of {of}, its screens and the frame",
        find="isolation",
        of=of,
        read="insulation",
        at=volts,
        after=_AFTER,
        settings={"minimum": minimum} if minimum else {},
    )


def _lose_charge(what: str, cable: str, volts: Amount) -> Step:
    return Wait(
        title=f"Let the {what} charge",
        text="The tester discharges what it has charged, and this wait is the margin on top. Touch nothing before it "
        "is over, then prove the wires dead before you touch them.",
        discharge=Discharge(cable=cable, start=Voltage(volts.value), through=Resistance(1e6)),
    )
