"""Drafts at the inlets of shelves on the plant's own feeds: polarity with the cards out, idle current with them in."""

from __future__ import annotations

import msgspec

from bench.plant.model import NoPath, Plant
from bench.plant.things import Inlet
from bench.sequence.drafts import looking
from bench.sequence.drafts.parts import CannotDraft, Draft, Part, called, place_of, unique
from bench.sequence.drafts.power_parts import (
    ammeter_places,
    breakers_on,
    check_signs,
    isolate,
    reached,
    reached_into,
    sign_words,
    supplies_of,
    supplies_off_words,
    supply_on_words,
    through_the_meter,
    tools,
    way,
)
from bench.sequence.drafts.proved_dead import points_of, proved_dead, return_beside, stands_on
from bench.sequence.file import Caution, Do, Hold, Limit, Measure, Prove, Step


class _Feeding(msgspec.Struct):
    """How a feed reaches some shelves: its supplies, the breakers on the way, the last one before each shelf."""

    supplies: list[str] = msgspec.field(default_factory=list)
    way: list[str] = msgspec.field(default_factory=list)
    last: list[str] = msgspec.field(default_factory=list)


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
    parts: list[Part] = [*_off_and_dead(plant, of, reach_in=True), *_cards_out(plant, of)]
    parts += _live(plant, of, cards=False)
    for feed, ways in feeding.items():
        parts += _polarity_of(plant, of, feed, ways)
    parts.append(_still_shows())
    return Draft("The voltage at every shelf's inlet, with its sign, cards out: one feed after the other.", parts)


def _still_shows() -> Prove:
    return Prove(
        title="The meter still shows a live source",
        against="live-source",
        read="voltage",
        text="Put the probes on the known live source again. The meter must still show it.",
    )


def _off_and_dead(plant: Plant, of: str, *, reach_in: bool = False) -> list[Part]:
    """All is isolated and proved dead at every point, before hands go near it; or reach into its shelves."""
    inlets = _fed(plant, of)
    check_signs(plant, inlets)
    supplies = supplies_of(plant, inlets)
    what = called(plant, of)
    stands = stands_on(plant, inlets)
    return [
        Caution(
            title="Work on a dead plant only",
            text="Nothing of this plant may be live while wires and cards are handled. Follow the site's rules and "
            "local codes. If you are not sure that it is dead, stop and ask the person in charge.",
        ),
        tools(plant, supplies),
        *looking.all_breakers(plant, supplies),
        # before a fuse is drawn: what is closed beside still carries current
        *looking.nothing_beside(plant, supplies, breakers_on(plant, inlets)),
        isolate(plant, what, inlets),
        *proved_dead(plant, inlets),
        Hold(
            title="Isolated and proved dead",
            text=f"All that can feed {what} is isolated, locked off and tagged, and every point of it has read nothing "
            "between two proofs of the meter. Type the word only if you have seen it.",
            word="DEAD",
            proven=stands,
        ),
        *(reached_into(plant, unique(inlet.shelf for inlet in inlets), stands) if reach_in else []),
    ]


def _fed(plant: Plant, of: str) -> list[Inlet]:
    return [inlet for shelf in plant.shelves_of(of) for inlet in reached(plant, shelf)]


def _onto(plant: Plant, of: str, feed: str) -> list[Step]:
    """A battery meets a way breaker by breaker, each on what was proven of it; no current limit would forgive."""
    inlets = [inlet for inlet in _fed(plant, of) if inlet.feed == feed]
    made: list[Step] = []
    for supply in supplies_of(plant, inlets):
        mine = [inlet for inlet in inlets if way(plant, inlet)[0] == supply]
        # what is wrong with one shelf keeps that one off, and not what it shares with others
        stands = [supply, *unique(name for inlet in mine for name in way(plant, inlet)[1][:-1])]
        mains = ", ".join(unique(way(plant, inlet)[1][0] for inlet in mine))
        made.append(
            Do(
                title=f"{supply} on",
                text=supply_on_words(plant, supply, mains),
                switch_on=[supply],
                proven=stands,
            )
        )
        for name in unique(name for inlet in mine for name in way(plant, inlet)[1][:-1]):
            back = return_beside(plant, name)[0]
            breaker = plant.breakers[name]
            made.append(
                Measure(
                    title=f"{name}, line side",
                    text=f"Live parts. {sign_words(plant, mine[0], breaker.line.name, back)}",
                    read="voltage",
                    between=(breaker.line.name, back),
                    subject=name,
                    limit=Limit(computed="feed-voltage"),
                    proven=stands,
                )
            )
            made.append(
                Do(
                    title=f"Close {name}",
                    text=f"Close {name} ({place_of(plant, name)}).",
                    close=[name],
                    proven=stands,
                )
            )
    return made


def _closed_and_read(plant: Plant, inlet: Inlet, beware: str, stands: list[str]) -> tuple[Do, Measure]:
    """The last breaker before an inlet is closed, and the voltage there is read."""
    last = way(plant, inlet)[1][-1]
    return (
        Do(
            title=f"Close {last}", text=f"Close {last} ({place_of(plant, last)}). {beware}", close=[last], proven=stands
        ),
        Measure(
            title=f"{inlet.name}: feed {inlet.feed} against its return",
            text=f"Live parts. {sign_words(plant, inlet)}",
            read="voltage",
            between=(inlet.live.name, inlet.back.name),
            subject=inlet.name,
            limit=Limit(computed="feed-voltage"),
            proven=stands,
        ),
    )


def _polarity_of(plant: Plant, of: str, feed: str, ways: _Feeding) -> list[Part]:
    inlets = [inlet for inlet in _fed(plant, of) if inlet.feed == feed]
    breakers = [*ways.way, *ways.last]
    made: list[Part] = list(_onto(plant, of, feed))
    for inlet in inlets:
        last = way(plant, inlet)[1][-1]
        stands = [inlet.shelf, *way(plant, inlet)[1]]
        made += [
            *_closed_and_read(plant, inlet, "The shelf is empty; stand clear of it.", stands),
            Do(
                title=f"{last} stays open",
                text=f"{inlet.name} is not as it should be: open {last} and leave it open until it is mended.",
                open=[last],
                unless_proven=[inlet.name],
            ),
        ]
    made.append(
        Do(
            title=f"Feed {feed} off",
            text=f"Open {', '.join(reversed(breakers)) or 'all breakers'}. {supplies_off_words(plant, ways.supplies)}",
            open=breakers,
            switch_off=ways.supplies,
        )
    )
    return made


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
    parts: list[Part] = [
        *_off_and_dead(plant, of),
        *looking.cards(plant, _full(plant, of), "in", "As the plant file has them? Do not touch their contacts."),
        *_live(plant, of, cards=True),
        *_onto(plant, of, feed),
    ]
    for inlet in _fed(plant, of):
        if inlet.name not in inlets:
            continue
        last = way(plant, inlet)[1][-1]
        stands = stands_on(plant, [inlet])
        through, back = (
            msgspec.structs.replace(act, proven=stands) for act in through_the_meter(last, f"shelf {inlet.shelf}")
        )
        parts += [
            *_closed_and_read(plant, inlet, f"Shelf {inlet.shelf} starts; open it at any smell.", stands),
            through,
            Measure(
                title=f"shelf {inlet.shelf} through its breaker {last}",
                text="Touch nothing else while the shelf runs through the meter.",
                read="current",
                between=ammeter_places(plant, last),
                subject=inlet.name,
                limit=Limit(computed="idle-current"),
                proven=stands,
            ),
            back,
            Do(
                title=f"{last} open",
                text=f"If the ammeter's leads are still across {last}, close it first, then take them off: no lead "
                f"breaks a current. Then open {last}.",
                open=[last],
            ),
        ]
    parts += [
        Do(
            title=f"Feed {feed} off",
            text=f"Open {', '.join(reversed(ways.way)) or 'all breakers'}. {supplies_off_words(plant, ways.supplies)}",
            open=ways.way,
            switch_off=ways.supplies,
        ),
        _still_shows(),
    ]
    return Draft(f"What each shelf draws when it idles on feed {feed} alone, against the sum of its cards.", parts)


def _full(plant: Plant, of: str) -> list[str]:
    """The shelves that are fed and have cards, halves that are fed as a whole among them."""
    shelves = plant.shelves_of(of)
    fed = {inlet.shelf for inlet in _fed(plant, of)}
    return [one.name for one in shelves if one.cards and fed & {one.name, one.half_of}]


def _cards_out(plant: Plant, of: str) -> list[Part]:
    full = _full(plant, of)
    if not full:
        return []
    return [
        Do(
            title="Cards out",
            text=f"Take all cards out of {', '.join(full)}, touch no contacts, note where each card was, and leave all "
            "breakers open.",
            take_out=full,
            proven=stands_on(plant, _fed(plant, of)),
        )
    ]


def _live(plant: Plant, of: str, *, cards: bool) -> list[Part]:
    fed = unique(inlet.shelf for inlet in _fed(plant, of))
    return [
        Caution(
            title="Live feeds",
            text="From here on feeds are live. A battery can drive thousands of amperes through a dropped spanner: no "
            "rings, no watches, insulated tools, eye protection. This is work for licensed or authorised people under "
            "the site's rules and local codes. This program switches nothing off for you; know which breaker to open. "
            "Best after first-power of these shelves: a battery has no current limit that would forgive.",
        ),
        Prove(
            against="live-source",
            read="voltage",
            text="Put the probes on a source that you know to be live. The meter must show it.",
        ),
        *(looking.gate(shelf, cards=cards) for shelf in fed),
        Hold(
            title="Clear to energise",
            text=f"The person in charge has cleared {called(plant, of)} for power, on what the records prove and on "
            "the reasons that were given for what they do not. Everybody is clear, and somebody stands at the main "
            "breaker. Type the word only if this is so.",
            word="ENERGISE",
            proven=points_of(plant, _fed(plant, of)),
        ),
    ]
