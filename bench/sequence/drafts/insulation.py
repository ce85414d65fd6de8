"""Drafts at a test voltage: insulation pair by pair, and of all nets against each other."""

from __future__ import annotations

from typing import Final

from bench.plant.model import Plant
from bench.quantity import Amount, Duration, Resistance, Temperature, Voltage
from bench.sequence.drafts.conductors import scope, searched
from bench.sequence.drafts.parts import AMBIENT, CannotDraft, Draft, Part, dead
from bench.sequence.file import Caution, Discharge, Each, Hold, Limit, Measure, Seek, Step, Wait

_TEST_V: Final = Amount.parse("250 V")
_AFTER: Final = Duration(15.0)
_BROUGHT_TO: Final = Temperature(20.0)


def insulation(plant: Plant, of: str) -> Draft:
    """Insulation between the two legs of every pair.

    Args:
        plant: the plant.
        of: a cable, bay or shelf.

    Raises:
        CannotDraft: nothing was named, or it has no pairs.
        UnknownName: it is something else.
    """
    if not of:
        raise CannotDraft("insulation wants a cable, bay or shelf: name one")
    what, _ = scope(plant, of)
    pairs = plant.pairs_of(of)
    if not pairs:
        raise CannotDraft(f"{of} has no pairs; write the steps by hand, conductor against conductor")
    first, mate = pairs[0]
    longest = max({tip.cable for tip, _ in pairs}, key=lambda name: (plant.cables[name].length_m, name))
    every = Measure(
        title="pair {pair.number} of {pair.cable}: {pair.tip-colour} to {pair.ring-colour}",
        read="insulation",
        between=("{pair.tip-near}", "{pair.ring-near}"),
        at=_TEST_V,
        after=_AFTER,
        bring_to=_BROUGHT_TO,
        limit=Limit(computed="insulation"),
    )
    absorption = Measure(
        title=f"Absorption of pair {first.pair} of {first.cable}",
        read="insulation",
        between=(first.near_end.name, mate.near_end.name),
        subject=f"{first.cable}/{first.pair}",
        at=_TEST_V,
        times=[Duration(15.0), Duration(30.0), Duration(60.0)],
        bring_to=_BROUGHT_TO,
        limit=Limit(computed="insulation"),
    )
    parts: list[Part] = [
        *dead(what),
        Caution(
            title="Test voltage",
            text="The insulation tester puts up to several hundred volts on the wires. It can hurt, and it destroys "
            "electronics. Keep everybody off both ends. Never touch a wire before the tester says that it is "
            "discharged. Only a person who is competent for insulation tests at this site may do this.",
        ),
        Hold(
            title="Cards out, both ends free",
            text="All cards are out of the shelves at both ends, the connectors are unplugged, surge arresters are "
            "disconnected, and somebody guards the far end. Type the word only if you have checked it yourself.",
            word="CARDS-OUT",
        ),
        AMBIENT,
        Each(over="pairs", of=of, title=f"Insulation of {of}, tip to ring", steps=[every]),
        "One pair is held for a minute: how its reading rises tells of moisture.",
        absorption,
        _lose_charge("bundle lose its", longest),
    ]
    return Draft("Insulation between the two legs of every pair, with the cards out and both ends free.", parts)


def isolation(plant: Plant, of: str) -> Draft:
    """The proof that all nets of a cable or connector are insulated from each other, at a test voltage.

    Args:
        plant: the plant.
        of: the cable or connector.

    Raises:
        CannotDraft: nothing was named.
        UnknownName: it is something else.
    """
    what = searched(plant, of, "isolation")
    cables = [of] if of in plant.cables else [cable.name for cable in plant.cables_of(of)]
    longest = max(cables, key=lambda name: (plant.cables[name].length_m, name), default="")
    parts: list[Part] = [
        *dead(what),
        Caution(
            title="Test voltage on many wires at once",
            text="The insulation tester puts up to several hundred volts on half of the wires at once, at both ends, "
            "and they keep their charge. Keep everybody off both ends. Never touch a wire or move a clip before the "
            "tester says that all are discharged, and prove them dead. Only a person who is competent for insulation "
            "tests at this site may do this.",
        ),
        Hold(
            title="Both ends free and guarded",
            text="All cards are out of the shelves at both ends, the connectors are unplugged from electronics, surge "
            "arresters are disconnected, and somebody guards the far end. Type the word only if you have checked it "
            "yourself.",
            word="GUARDED",
        ),
        AMBIENT,
        "As many readings as the number of nets has binary digits prove all pairs where all is well; where a group "
        "reads low it is halved until the pairs are named.",
        Seek(
            title=f"Insulation among the nets of {of}",
            find="isolation",
            of=of,
            read="insulation",
            at=_TEST_V,
            after=_AFTER,
        ),
    ]
    if longest:
        parts.append(_lose_charge("wires lose their", longest))
    return Draft(f"Whether every two nets of {of} are insulated from each other, and which are not.", parts)


def _lose_charge(what: str, cable: str) -> Step:
    return Wait(
        title=f"Let the {what} charge",
        text="The tester discharges what it has charged, and this wait is the margin on top. Touch nothing before it "
        "is over, then prove the wires dead before you touch them.",
        discharge=Discharge(cable=cable, start=Voltage(_TEST_V.value), through=Resistance(1e6)),
    )
