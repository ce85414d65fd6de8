"""Drafts the search for lost voltage: a shelf is brought up on one feed, and read live along its way."""

from __future__ import annotations

from bench.plant.model import Plant
from bench.sequence.draft_power import (
    caution,
    do,
    energise,
    forecast,
    hold,
    limit_for,
    prove,
    reached,
    switched_off,
    way,
)

MARGIN_A = 0.3
"""A converter makes up for lost voltage with more current, and this sequence is for a shelf that loses some."""


def supply_search(plant: Plant, of: str) -> tuple[str, str]:
    """The search on each feed of one shelf.

    Returns:
        What it finds, and the steps as YAML.

    Raises:
        UnknownName: nothing is called ``of``.
        WouldOverload: a breaker would carry too much.
        LookupError: it is no shelf that a feed reaches.
    """
    shelf = plant.shelves.get(of)
    inlets = reached(plant, shelf) if shelf is not None else []
    if shelf is None or not inlets:
        raise LookupError(f"{of or 'the plant'} is no shelf that a feed reaches: name one with --shelf")
    names = list(dict.fromkeys(name for inlet in inlets for name in way(plant, inlet)[1]))
    supplies = list(dict.fromkeys(way(plant, inlet)[0] for inlet in inlets))
    lines = caution(
        "Reading on live parts",
        "In this search breakers and terminals are read while they are live. One hand, insulated probes with guards, "
        "no rings, no watches, eye protection; never alone. A battery behind a breaker can drive thousands of amperes "
        "through a slipped probe. Only licensed or authorised people may do this. Local codes and the rules of the "
        "site come before every word of this sequence. This program is no safety device.",
    )
    lines += do(
        "Isolate",
        f"Open every breaker to {of}, disconnect {', '.join(supplies)} at their terminals, lock off and tag.",
        open=names,
        switch_off=supplies,
    )
    lines += prove("The meter shows a live source")
    for inlet in inlets:
        lines += [
            "  - step: measure",
            f'    title: "{inlet.name} is not shorted"',
            "    text: The cards are in, and capacitors charge through the meter. Hold the probes still.",
            "    read: resistance",
            f'    between: ["{inlet.live.name}", "{inlet.back.name}"]',
            f'    subject: "{inlet.name}"',
            "    range: 100 kohm",
            "    after: 15 s",
            '    limit: {at-least: 100 ohm, source: "common practice, no source: a shelf with its cards in"}',
            "",
        ]
    for inlet in inlets:
        supply, breakers = way(plant, inlet)
        _, most = forecast(plant, [inlet])
        volts = abs(plant.feeds[inlet.feed].nominal_v)
        lines += hold(
            f"Clear to energise {of} on feed {inlet.feed}",
            f"The person in charge has cleared {of} for live readings: everybody is clear of it but who reads, and "
            "somebody stands at the main breaker. Type the word only if this is so.",
            "ENERGISE",
        )
        lines += do("Close", f"Close {', '.join(breakers)}.", close=breakers)
        text = f"The bench supply stands in the place of {supply}, its plus on the return."
        title = f"{of} on {inlet.feed} alone"
        lines += energise(title, text, [supply], volts, limit_for(most + MARGIN_A), ramp=True, margin=MARGIN_A)
        lines += [
            "  - step: seek",
            f'    title: "Where feed {inlet.feed} loses voltage on its way to {of}"',
            "    find: supply-fault",
            f'    of: "{of}"',
            "    read: voltage",
            f"    settings: {{feed: {inlet.feed}}}",
            "    text: Live parts. The next place to read is chosen from what was read before.",
            "",
        ]
        lines += switched_off(breakers)
    lines += prove("The meter still shows a live source")
    return f"Where voltage is lost on the way to {of}: on each feed, stretch by stretch, while it is on.", "\n".join(
        lines
    )
