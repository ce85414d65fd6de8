"""Drafts the search for lost voltage: a shelf is brought up on one feed, and read live along its way."""

from __future__ import annotations

from typing import Final

from bench.plant.model import Plant
from bench.plant.things import Inlet
from bench.sequence.drafts import looking
from bench.sequence.drafts import power_parts as parts
from bench.sequence.drafts.parts import Beside, CannotDraft, Draft, Part, by_hand, called
from bench.sequence.drafts.proved_dead import proved_dead, stands_on
from bench.sequence.file import Caution, Hold, Seek

_MARGIN_A: Final = 0.3
"""A converter makes up for lost voltage with more current, and this sequence is for a shelf that loses some."""


def supply_search(plant: Plant, of: str) -> Draft:
    """The search on each feed of one shelf.

    Args:
        plant: the plant.
        of: the shelf.

    Raises:
        CannotDraft: it is no shelf that a feed reaches, or a breaker would carry too much.
    """
    shelf = plant.shelves.get(of)
    inlets = parts.reached(plant, shelf) if shelf is not None else []
    if not inlets:
        raise CannotDraft(f"{called(plant, of)} is no shelf that a feed reaches: name one with --shelf")
    parts.check_signs(plant, inlets)
    supplies = parts.supplies_of(plant, inlets)
    made: list[Part] = [
        Caution(
            title="Reading on live parts",
            text="In this search breakers and terminals are read while they are live. One hand, insulated probes with "
            "guards, no rings, no watches, eye protection; never alone. A battery behind a breaker can drive thousands "
            "of amperes through a slipped probe. Only licensed or authorised people may do this. Local codes and the "
            "rules of the site come before every word of this sequence. This program is no safety device.",
        ),
        parts.tools(plant, supplies),
        *looking.all_breakers(plant, supplies),
        # before a fuse is drawn: what is closed beside still carries current
        *looking.nothing_beside(plant, supplies, parts.breakers_on(plant, inlets)),
        parts.isolate(plant, of, inlets),
        *proved_dead(plant, inlets, "Ohms are read next, and leads are moved."),
        Hold(
            title="Isolated and proved dead",
            text=f"All that can feed {of} is isolated, locked off and tagged, and every point of its ways has read "
            "nothing between two proofs of the meter. Type the word only if you have seen it.",
            word="DEAD",
            proven=stands_on(plant, inlets),
        ),
    ]
    text = "The cards are in, and capacitors charge through the meter. Hold the probes still."
    limit = by_hand("common practice, no source: a shelf with its cards in", at_least="100 ohm")
    made += looking.cards(
        plant,
        [one for one in (of, *shelf.halves) if not (one != of and plant.shelves[one].inlets)] if shelf else [],
        "in",
        "As the plant file has them? What the shelf draws is held against them. Do not touch their contacts.",
    )
    after: list[Part] = []
    after += [parts.not_shorted(inlet, f"{inlet.name} is not shorted", text, limit) for inlet in inlets]
    made.append(looking.gate(of))
    for inlet in inlets:
        after += _on_one_feed(plant, inlet)
    made += parts.guarded(after, stands_on(plant, inlets))
    return Draft(f"Where voltage is lost on the way to {of}: on each feed, stretch by stretch, while it is on.", made)


def _on_one_feed(plant: Plant, inlet: Inlet) -> list[Part]:
    of, feed = inlet.shelf, inlet.feed
    supply, breakers = parts.way(plant, inlet)
    _, most = parts.forecast(plant, [inlet])
    target = parts.nominal_volts(plant, inlet)
    cards = parts.cards_of(plant, plant.shelves[of])
    step = parts.brought_up(
        f"{of} on {feed} alone",
        f"The bench supply stands in the place of {supply}.",
        [supply],
        target,
        parts.limit_for(most + _MARGIN_A),
        parts.stages(plant, inlet, cards),
        _MARGIN_A,
    )
    made: list[Part] = [
        *parts.leads_on(plant, [supply]),
        parts.clear_to_energise(
            f"Clear to energise {of} on feed {feed}",
            f"The person in charge has cleared {of} for live readings: everybody is clear of it but who reads, and "
            "somebody stands at the main breaker. Type the word only if this is so.",
        ),
        parts.closed(breakers),
        *parts.there_first(plant, inlet),
        Beside(step, {"ramp": parts.REFORM}),
        Seek(
            title=f"Where feed {feed} loses voltage on its way to {of}",
            find="supply-fault",
            of=of,
            read="voltage",
            settings={"feed": feed},
            text="Live parts. The next place to read is chosen from what was read before.",
        ),
        *parts.switched_off(breakers),
        *parts.leads_off(plant, [supply]),
    ]
    return made
