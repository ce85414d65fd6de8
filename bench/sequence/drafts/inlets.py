"""Drafts at the inlets of shelves on the plant's own feeds: polarity with the cards out, idle current with them in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from bench.plant.model import NoPath, Plant
from bench.sequence.drafts.parts import CannotDraft, Draft, Part, called, dead
from bench.sequence.file import Caution, Do, Each, Hold, Limit, Measure, Prove


@dataclass(slots=True)
class _Feeding:
    """How a feed reaches some shelves: its supplies, the breakers on the way, the last one before each shelf."""

    supplies: list[str] = field(default_factory=list)
    way: list[str] = field(default_factory=list)
    last: list[str] = field(default_factory=list)

    @property
    def supply_words(self) -> str:
        return ", ".join(self.supplies) or "the supply"


def _feeding(plant: Plant, of: str) -> dict[str, _Feeding]:
    found: dict[str, _Feeding] = {}
    for inlet in plant.inlets_of(of):
        try:
            path = plant.supply_path(inlet.shelf, inlet.feed)
        except NoPath:
            continue
        feeding = found.setdefault(inlet.feed, _Feeding())
        if path.supply in plant.supplies and path.supply not in feeding.supplies:
            feeding.supplies.append(path.supply)
        for name in path.breakers[:-1]:
            if name not in feeding.way:
                feeding.way.append(name)
        if path.breakers and path.breakers[-1] not in feeding.last:
            feeding.last.append(path.breakers[-1])
    if not found:
        raise CannotDraft(f"no shelf of {called(plant, of)} is reached by a feed")
    return found


def polarity(plant: Plant, of: str) -> Draft:
    """The voltage at every shelf's inlet, with its sign.

    Args:
        plant: the plant.
        of: a bay or shelf; '' for the whole plant.

    Raises:
        CannotDraft: no feed reaches any shelf of it.
        UnknownName: nothing is called so.
    """
    feeding = _feeding(plant, of)
    parts: list[Part] = [
        *dead(called(plant, of)),
        Do(title="Cards out", text="Take all cards out of the shelves concerned, and leave all breakers open."),
        *_live(plant, of),
    ]
    for feed, ways in feeding.items():
        parts += _polarity_of(plant, of, feed, ways)
    parts.append(
        Prove(
            title="The meter still shows a live source",
            against="live-source",
            read="voltage",
            text="Put the probes on the known live source again. The meter must still show it.",
        )
    )
    return Draft("The voltage at every shelf's inlet, with its sign, cards out: one feed after the other.", parts)


def _polarity_of(plant: Plant, of: str, feed: str, ways: _Feeding) -> list[Part]:
    inlets = [inlet.name for inlet in plant.inlets_of(of) if inlet.feed == feed]
    breakers = [*ways.way, *ways.last]
    reading = Measure(
        title="{inlet.name}: feed {inlet.feed} against its return",
        text="Red probe on the feed, black probe on the return. The sign counts.",
        read="voltage",
        between=("{inlet.live}", "{inlet.return}"),
        limit=Limit(computed="feed-voltage"),
    )
    return [
        Do(
            title=f"Feed {feed} on",
            text=f"Switch {ways.supply_words} on and close {', '.join(breakers) or 'no breaker'}, one after the other.",
            switch_on=ways.supplies,
            close=breakers,
        ),
        Each(over="inlets", of=of, only=inlets, title=f"Polarity and voltage of feed {feed}", steps=[reading]),
        Do(
            title=f"Feed {feed} off",
            text=f"Open {', '.join(reversed(breakers)) or 'all breakers'} and switch {ways.supply_words} off.",
            open=breakers,
            switch_off=ways.supplies,
        ),
    ]


_ACROSS_THE_BREAKER: Final = (
    "With the breaker {inlet.breaker} open, put the ammeter's fused leads across its two terminals: the shelf now runs "
    "through the meter. Take them off when the reading is in."
)


def idle_current(plant: Plant, of: str) -> Draft:
    """What each shelf draws on the first feed alone, when it idles.

    Args:
        plant: the plant.
        of: a bay or shelf; '' for the whole plant.

    Raises:
        CannotDraft: no feed reaches any shelf of it, or no idle current is known.
        UnknownName: nothing is called so.
    """
    feed, ways = next(iter(_feeding(plant, of).items()))
    inlets = [
        inlet.name for inlet in plant.inlets_of(of) if inlet.feed == feed and plant.idle_current(inlet.shelf)[0] > 0
    ]
    if not inlets:
        raise CannotDraft(f"no shelf of {called(plant, of)} has cards whose idle current is known")
    reading = Measure(
        title="shelf {inlet.shelf} through its breaker {inlet.breaker}",
        text=_ACROSS_THE_BREAKER,
        read="current",
        between=("{inlet.load}", "{inlet.line}"),
        limit=Limit(computed="idle-current"),
    )
    parts: list[Part] = [
        *_live(plant, of),
        Do(
            title=f"Feed {feed} as far as the shelves' breakers",
            text=f"Switch {ways.supply_words} on and close {', '.join(ways.way) or 'no breaker'}. The shelves' own "
            f"breakers stay open. The other feeds stay off, so that each shelf draws from feed {feed} alone.",
            switch_on=ways.supplies,
            close=ways.way,
        ),
        Each(over="inlets", of=of, only=inlets, title=f"Idle current of each shelf on feed {feed}", steps=[reading]),
        Do(
            title=f"Feed {feed} off",
            text=f"Open {', '.join(reversed(ways.way)) or 'all breakers'} and switch {ways.supply_words} off.",
            open=ways.way,
            switch_off=ways.supplies,
        ),
    ]
    return Draft(f"What each shelf draws when it idles on feed {feed} alone, against the sum of its cards.", parts)


def _live(plant: Plant, of: str) -> list[Part]:
    return [
        Caution(
            title="Live feeds",
            text="From here on feeds are live. A battery can drive thousands of amperes through a dropped spanner: no "
            "rings, no watches, insulated tools, eye protection. This is work for licensed or authorised people under "
            "the site's rules and local codes. This program switches nothing off for you; know which breaker to open.",
        ),
        Prove(
            against="live-source",
            read="voltage",
            text="Put the probes on a source that you know to be live. The meter must show it.",
        ),
        Hold(
            title="Clear to energise",
            text=f"The person in charge has cleared {called(plant, of)} for power: continuity and insulation are "
            "proven, everybody is clear, and somebody stands at the main breaker. Type the word only if this is so.",
            word="ENERGISE",
        ),
    ]
