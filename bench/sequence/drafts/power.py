"""Drafts first power: from a dead plant to shelves that run on both feeds, one shelf after the other.

Every stage stands on the one below: dead before touched, free of shorts before fed, right way round before connected,
empty before loaded, one card group before the next. The bench supply is moved by acts of their own, and shows at a
harmless voltage where it is before it goes higher. Each new danger has one word to type: the plant is touched, a shelf
gets power, its cards get power, a battery is connected, a breaker is closed on it. Where a stage of a shelf fails, the
shelf ends there: it is made safe, and nothing more is asked for at it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from bench.plant.model import Plant
from bench.plant.things import Card, Inlet, Shelf
from bench.quantity import Current, Duration
from bench.sequence.drafts import looking
from bench.sequence.drafts import power_parts as parts
from bench.sequence.drafts.battery import onto_the_plant
from bench.sequence.drafts.parts import Beside, CannotDraft, Draft, Part, by_hand, called, section, unique
from bench.sequence.drafts.power_parts import (
    REFORM,
    SHELF_VOLTAGE,
    SUPPLY_A,
    SURGE,
    forecast,
    limit_for,
    reached,
    way,
)
from bench.sequence.drafts.proved_dead import proved_dead, stands_on
from bench.sequence.file import Caution, Do, Hold, Measure, Step
from bench.sequence.power_tree import SAFE_VOLTS

_DUMMY_A: Final = 0.5
_DUMMY_OFF: Final = Do(
    title="Dummy load off", text="The shelf is off and has lost its charge. Take the dummy load off."
)
_SOAK_S: Final = 60.0
_SOAK_ON_THE_OTHER_S: Final = 20.0


def first_power(plant: Plant, of: str) -> Draft:
    """First power of a bay, a shelf or the whole plant.

    Args:
        plant: the plant.
        of: a bay or shelf; '' for all of it.

    Raises:
        UnknownName: nothing is called ``of``.
        CannotDraft: a breaker would carry too much, or no shelf of it is reached by a feed.
    """
    shelves = [shelf for shelf in plant.shelves_of(of) if shelf.inlets and reached(plant, shelf)]
    if not shelves:
        raise CannotDraft(f"no shelf of {called(plant, of)} is reached by a feed")
    parts.check_signs(plant, [inlet for shelf in shelves for inlet in reached(plant, shelf)])
    _refuse_overloads(plant, shelves)
    made: list[Part] = [*_isolate(plant, of, shelves), *_resistance(plant, shelves)]
    for bay in unique(shelf.bay for shelf in shelves):
        there = [shelf for shelf in shelves if shelf.bay == bay]
        made += [*_evidence(plant, there), *_on_the_bench_supply(plant, there)]
    if len(shelves) > 1:
        made += onto_the_plant(plant, shelves)
    names = ", ".join(shelf.name for shelf in shelves)
    return Draft(f"First power of {names}: one stage after the other, each on the evidence of those below.", made)


def _refuse_overloads(plant: Plant, shelves: list[Shelf]) -> None:
    """Each feed must carry all of these shelves alone: when one feed fails the other has them all.

    At its lowest voltage too, where constant power draws most.
    """
    by_feed: dict[str, list[Inlet]] = {}
    for shelf in shelves:
        for inlet in reached(plant, shelf):
            by_feed.setdefault(inlet.feed, []).append(inlet)
    for inlets in by_feed.values():
        feed = plant.feeds[inlets[0].feed]
        forecast(plant, inlets)
        forecast(plant, inlets, volts=min(abs(feed.low_v), abs(feed.high_v)))


def _isolate(plant: Plant, of: str, shelves: list[Shelf]) -> list[Part]:
    inlets = [inlet for shelf in shelves for inlet in reached(plant, shelf)]
    supplies = parts.supplies_of(plant, inlets)
    what = called(plant, of)
    return [
        Caution(
            title="A battery feed can kill a spanner and burn a hand",
            text="A battery can drive thousands of amperes through whatever bridges it, and capacitors keep their "
            "charge. No rings, no watches, insulated tools, eye protection; never work alone. Only licensed or "
            "authorised people may do this. Local codes and the rules of the site come before every word of this "
            "sequence. This program is no safety device.",
        ),
        parts.tools(plant, supplies),
        *looking.all_breakers(plant, supplies),
        # before a fuse is drawn: what is closed beside still carries current
        *looking.nothing_beside(plant, supplies, parts.breakers_on(plant, inlets)),
        parts.isolate(plant, what, inlets),
        *proved_dead(plant, inlets),
        Hold(
            title="Isolated and proved dead",
            text=f"All that can feed {what} is isolated, locked off and tagged, and every point of it has read nothing "
            "between two proofs of the meter. After a break, or when somebody else takes over, prove it again. Type "
            "the word only if you have seen it.",
            word="DEAD",
            proven=stands_on(plant, inlets),
        ),
        msgspec.structs.replace(parts.joints(plant, inlets), proven=stands_on(plant, inlets)),
    ]


def _resistance(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    names = [shelf.name for shelf in shelves]
    stands = stands_on(plant, [inlet for shelf in shelves for inlet in reached(plant, shelf)])
    made: list[Part] = [
        *parts.lose_all(plant, shelves, stands),
        parts.strap(stands),
        Do(
            title="Cards out",
            text=f"Take all cards out of {', '.join(names)}, one shelf after the other, and note where each card was. "
            "They go into bags that carry charge away. Touch no contacts: capacitors give some of their charge back.",
            take_out=names,
            proven=stands,
        ),
        *(parts.capacitors(plant, shelf, stands) for shelf in shelves),
    ]
    text = "Hold the probes still: the shelf's capacitors charge through the meter, and the reading climbs."
    limit = by_hand("common practice, no source: an empty shelf", at_least="1 kohm")
    for shelf in shelves:
        for inlet in shelf.inlets:
            step = parts.not_shorted(inlet, f"{inlet.name} is free of shorts", text, limit)
            step = msgspec.structs.replace(step, proven=stands_on(plant, [inlet]))
            made.append(Beside(step, {"after": "a timed reading: a snapshot sees the capacitors and not the shelf"}))
    return made


STAYS_OFF: Final = " What has failed before stays off, and is not asked for."


def _clear(names: Sequence[str], what: str, proven: Sequence[str] = ()) -> Step:
    called_so = ", ".join(names)
    step = parts.clear_to_energise(
        f"Clear to energise {called_so}: {what}",
        f"The person in charge has cleared {called_so} for this: everybody is clear of it, somebody watches it and "
        f"somebody stands at the main breaker.{STAYS_OFF if len(names) > 1 else ''} Type the word only if this is so.",
    )
    return msgspec.structs.replace(step, proven=list(proven))


def _evidence(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    """What the records have proven of each shelf, and copies of what its cards keep: before anything is brought up."""
    made: list[Part] = []
    for shelf in shelves:
        own: list[Part] = [looking.gate(shelf.name)]
        own += parts.copied(shelf, parts.cards_of(plant, shelf), stands_on(plant, reached(plant, shelf)))
        made += own
    return made


class _Leads:
    """Where the bench supply is while a draft is made: it is moved only where the next part wants it elsewhere.

    Main breakers stay closed while it is there; what is a shelf's own is closed and opened for that shelf.
    """

    def __init__(self, plant: Plant, inlets: Sequence[Inlet]) -> None:
        """Of the inlets of all shelves that come up in turn."""
        self._plant = plant
        self._inlets = list(inlets)
        last = [way(plant, inlet)[1][-1] for inlet in inlets]
        self.mains = [name for name in unique(name for inlet in inlets for name in way(plant, inlet)[1])
                      if name not in last]  # fmt: skip
        self._at: tuple[str, ...] = ()
        self.made: list[Part] = []

    def own(self, inlet: Inlet) -> list[str]:
        """The breakers on the way to an inlet that are no mains."""
        return [name for name in way(self._plant, inlet)[1] if name not in self.mains]

    def at(self, inlets: Sequence[Inlet]) -> bool:
        """Have it in the place of the supplies of some inlets, and the mains on their ways closed.

        Returns:
            Whether it was moved for that.
        """
        supplies = tuple(parts.supplies_of(self._plant, inlets))
        if supplies == self._at:
            return False
        self.off()
        self._at = supplies
        act: list[Part] = list(parts.leads_on(self._plant, supplies))
        mains = self.mains_of(supplies)
        if mains:
            act.append(parts.closed(mains, ", and nothing else"))
        self.made += parts.guarded(act, [*supplies, *mains])
        return True

    def off(self) -> None:
        """Open what is closed, and take the leads off."""
        if not self._at:
            return
        mains = self.mains_of(self._at)
        if mains:
            self.made.append(parts.breakers_open(mains))
        self.made += parts.leads_off(self._plant, self._at)
        self._at = ()

    def mains_of(self, supplies: Sequence[str]) -> list[str]:
        """The mains behind some supplies."""
        there = [inlet for inlet in self._inlets if way(self._plant, inlet)[0] in supplies]
        return [name for name in parts.breakers_on(self._plant, there) if name in self.mains]


def _on_the_bench_supply(plant: Plant, shelves: list[Shelf]) -> list[Part]:
    """Some shelves of a bay come up on the bench supply: all of them empty, then each with its cards, then together.

    The leads move as seldom as they can: they are bolted on and off by hands, with a second person looking.
    """
    firsts = [reached(plant, shelf)[0] for shelf in shelves]
    others = [inlet for shelf in shelves for inlet in reached(plant, shelf)[1:]]
    main = way(plant, firsts[0])[0]
    # last on the supply where the cards go in next: the leads need not move again
    early = [*(one for one in unique(way(plant, one)[0] for one in others) if one != main), main]
    leads = _Leads(plant, [*firsts, *others])
    made = leads.made

    def of(inlets: Sequence[Inlet], supply: str) -> list[Inlet]:
        return [one for shelf in shelves for one in inlets if one.shelf == shelf.name and way(plant, one)[0] == supply]

    def empty(supplies: list[str]) -> None:
        every = [(supply, of([*firsts, *others], supply)) for supply in supplies]
        names = unique(shelf.name for shelf in shelves if any(shelf.name == one.shelf for _, on in every for one in on))
        made.append(section(f"{', '.join(names)} without cards"))
        for number, (_, there) in enumerate(every):
            leads.at(there)
            if number == 0:
                # hands are off the supply's leads by then
                made.append(_clear(names, "without cards", [*supplies, *leads.mains_of(supplies)]))
            for place, inlet in enumerate(there):
                # those that were not read yet, and the one whose breaker was just opened
                beside = [*there[place + 1 :], *there[max(0, place - 1) : place]]
                # once for a supply: a breaker that stays closed shows at another feed's inlet where two are crossed
                crossed = (
                    []
                    if place
                    else [one for one in (*firsts, *others) if one.shelf != inlet.shelf and one.feed != inlet.feed]
                )
                own = _empty(plant, inlet, beside, crossed, leads, up=inlet in firsts)
                made.extend(_guarded_for(plant, inlet, own))

    empty(early)
    for supply in unique(way(plant, one)[0] for one in firsts):
        there = of(firsts, supply)
        moved = supply != main and supply in early
        if supply != main and not moved:
            empty([supply])
        leads.at(there)
        for inlet in there:
            made.append(section(f"shelf {inlet.shelf} with cards"))
            made += _guarded_for(plant, inlet, _loaded(plant, inlet, leads, moved=moved))
        if not of(others, supply):
            made += _together(plant, there, leads)
    for supply in unique(way(plant, one)[0] for one in others):
        there, every = of(others, supply), of([*firsts, *others], supply)
        feed = there[0].feed
        made.append(section(f"on feed {feed} alone"))
        leads.at(every)
        if len(shelves) > 1:
            # of one shelf alone the word before its cards still holds
            names = [one.shelf for one in every]
            made.append(_clear(names, f"with cards, on feed {feed}", [supply, *leads.mains_of([supply])]))
        for inlet in there:
            made += _guarded_for(plant, inlet, _on_the_other(plant, inlet, leads))
        made += _together(plant, every, leads, word=False)
    for inlets in (reached(plant, shelf) for shelf in shelves):
        if len(inlets) > 1:
            leads.at(inlets)
            made.append(section(f"shelf {inlets[0].shelf} on all its feeds"))
            made += _guarded_for(plant, inlets[0], _on_both(plant, inlets, leads))
    leads.off()
    return made


def _guarded_for(plant: Plant, inlet: Inlet, made: list[Part]) -> list[Part]:
    return parts.guarded(made, stands_on(plant, reached(plant, plant.shelves[inlet.shelf])))


def _empty(
    plant: Plant, inlet: Inlet, beside: Sequence[Inlet], crossed: Sequence[Inlet], leads: _Leads, *, up: bool
) -> list[Part]:
    """A feed comes to an empty shelf: harmless first; all the way up on the feed that its cards meet first.

    Args:
        plant: the plant.
        inlet: of the shelf.
        beside: inlets of other shelves on the same feed, which must not rise with it.
        crossed: inlets of other shelves on other feeds, which must not either.
        leads: of the bench supply, which are there.
        up: whether it goes up to the full voltage.
    """
    supply = way(plant, inlet)[0]
    own = leads.own(inlet)
    made: list[Part] = [
        parts.closed(own, ", and no other of its kind"),
        *parts.there_first(plant, inlet, beside, crossed),
    ]
    if up:
        target = parts.nominal_volts(plant, inlet)
        text = f"The bench supply stands in the place of {supply}. The shelf is empty."
        ramp = parts.stages(plant, inlet, ())
        made.append(parts.empty_brought_up(f"{inlet.shelf} without cards", text, [supply], target, 0.5, ramp))
    return [*made, *parts.switched_off(own)]


def _loaded(plant: Plant, inlet: Inlet, leads: _Leads, *, moved: bool) -> list[Part]:
    """The cards of a shelf go in, group by group, and it is brought up with each."""
    shelf, own = plant.shelves[inlet.shelf], leads.own(inlet)
    everything = parts.cards_of(plant, shelf)
    groups = _groups(everything)
    inside: list[Card] = []
    made: list[Part] = []
    if moved:
        # the leads were elsewhere since this shelf was empty
        made += [parts.closed(own), *parts.shows(plant, inlet), *parts.switched_off(own)]
    for number, (title, cards) in enumerate(groups):
        inside += cards
        group = _Group(
            title,
            tuple(cards),
            tuple(inside),
            first=number == 0,
            last=number + 1 == len(groups),
            loaded=number > 0 and groups[number - 1][0] == "converter",
        )
        made += _group_in(plant, inlet, own, group, everything)
    if groups and groups[-1][0] == "converter":
        made += [*parts.lose_charge(plant, shelf, inside, ()), _DUMMY_OFF]
    return made


class _Group(msgspec.Struct, frozen=True):
    """Cards that go into a shelf together.

    Attributes:
        title: what is in then, in words.
        cards: these.
        inside: all that are in then, these among them.
        first: whether the shelf was empty before.
        last: whether it is full then.
        loaded: whether the converter has a dummy load on, which comes off before.
    """

    title: str
    cards: tuple[Card, ...]
    inside: tuple[Card, ...]
    first: bool
    last: bool
    loaded: bool


def _group_in(plant: Plant, inlet: Inlet, own: list[str], group: _Group, everything: list[Card]) -> list[Part]:
    """One group of cards goes in, and the shelf is brought up with it."""
    title, inside = group.title, list(group.inside)
    shelf, supply = plant.shelves[inlet.shelf], way(plant, inlet)[0]
    dummy = _DUMMY_A if title == "converter" else 0.0
    _, most = forecast(plant, [inlet], frozenset(card.name for card in everything if card not in inside), dummy)
    names = [card.name for card in group.cards]
    what = "Put a dummy load on its output. " if dummy else ""
    off = "Take the dummy load off. " if group.loaded else ""
    text = (
        f"Strap on. The shelf is off. {off}Read once more behind its diodes, where a card will go: below 2 V, or "
        "wait until it is, for capacitors that have slept give their charge back. "
        f"Then put in {', '.join(names)}. {what}"
        "The program knows no more of the shelf than you have told it: if anything looks or smells wrong, stop."
    )
    target = parts.nominal_volts(plant, inlet)
    step = parts.brought_up(
        f"{shelf.name} on {inlet.feed} alone, {title} in",
        f"Cards in: {len(inside)} of {len(everything)}. Fed by {inlet.feed} alone.",
        [supply],
        target,
        limit_for(most),
        parts.stages(plant, inlet, inside),
        # capacitors that slept still take charge at the first full voltage
        margin=parts.EMPTY_MARGIN.value if group.first else 0.0,
    )
    if dummy:
        step = msgspec.structs.replace(step, dummy=Current(dummy))
    if group.last:
        step = msgspec.structs.replace(step, soak=Duration(_SOAK_S))
    before = inside[: len(inside) - len(group.cards)]
    made: list[Part] = [
        *parts.lose_charge(plant, shelf, before, ()),
        Do(title=f"Put in: {title}", text=text, put_in=names),
    ]
    if group.first:
        made.append(_clear([shelf.name], "with cards"))
    made += [
        parts.closed(own),
        Beside(step, {"ramp": REFORM}),
        # a drop is looked for while the current is still small: constant power makes up for it with more current
        parts.under_load(plant, inlet),
    ]
    if group.last:
        made += parts.stretches(plant, [inlet])
        made += parts.apart(plant, inlet, f"with {title} in on {inlet.feed}")
    return [*made, *parts.switched_off(own)]


def _groups(cards: list[Card]) -> list[tuple[str, list[Card]]]:
    """Converter first, then the others in two halves; nothing of a shelf without cards."""
    converters = [card for card in cards if card.type.converts]
    rest = [card for card in cards if card not in converters]
    half = (len(rest) + 1) // 2
    named = [("converter", converters), ("first half of the cards", rest[:half]), ("all cards", rest[half:])]
    found = [(title, group) for title, group in named if group]
    if found and found[-1][0] != "converter":
        found[-1] = ("all cards", found[-1][1])
    return found


def _on_the_other(plant: Plant, inlet: Inlet, leads: _Leads) -> list[Part]:
    """A shelf with all its cards runs on a feed that they have not met yet."""
    supply = way(plant, inlet)[0]
    _, most = forecast(plant, [inlet])
    step = parts.brought_up(
        f"{inlet.shelf} on {inlet.feed} alone",
        f"The bench supply stands in the place of {supply}. Fed by {inlet.feed} alone: it must carry everything.",
        [supply],
        parts.nominal_volts(plant, inlet),
        limit_for(most),
    )
    return [
        parts.closed(leads.own(inlet)),
        *parts.shows(plant, inlet),
        msgspec.structs.replace(step, soak=Duration(_SOAK_ON_THE_OTHER_S)),
        parts.under_load(plant, inlet),
        *parts.stretches(plant, [inlet]),
        *parts.apart(plant, inlet, f"with all cards in on {inlet.feed}"),
        *parts.switched_off(leads.own(inlet)),
    ]


def _on_both(plant: Plant, inlets: list[Inlet], leads: _Leads) -> list[Part]:
    shelf, supplies = plant.shelves[inlets[0].shelf], parts.supplies_of(plant, inlets)
    breakers = unique(name for inlet in inlets for name in leads.own(inlet))
    typical, most = forecast(plant, inlets)
    first = plant.breakers[way(plant, inlets[0])[1][-1]]
    share = by_hand(
        "common practice, no source: both feeds share",
        at_least=f"{0.15 * typical:.3f} A",
        at_most=f"{0.85 * typical + 0.03:.3f} A",
    )
    through, back = parts.through_the_meter(first.name, shelf.name)
    feeds = " and ".join(inlet.feed for inlet in inlets)
    target = min(SAFE_VOLTS, 0.25 * parts.nominal_volts(plant, inlets[0]))
    low_title, low_text = f"{shelf.name} on {feeds} at {target:g} V", "A harmless voltage first, on both."
    return [
        parts.closed(breakers),
        parts.empty_brought_up(low_title, low_text, supplies, target, 0.5),
        *(
            parts.inlet_volts(
                inlet,
                f"{inlet.name} has feed {inlet.feed} beside the other",
                SHELF_VOLTAGE,
                live=True,
                text=parts.sign_words(plant, inlet),
            )
            for inlet in inlets
        ),
        parts.brought_up(
            f"{shelf.name} on {feeds}",
            f"The bench supply stands in the place of {' and '.join(supplies)} at once.",
            supplies,
            parts.nominal_volts(plant, inlets[0]),
            limit_for(most),
        ),
        through,
        Measure(
            title=f"What feed {inlets[0].feed} takes of {shelf.name}",
            read="current",
            between=parts.ammeter_places(plant, first.name),
            subject=shelf.name,
            limit=share,
            live=True,
        ),
        back,
        *parts.switched_off(breakers),
    ]


def _together(plant: Plant, inlets: Sequence[Inlet], leads: _Leads, *, word: bool = True) -> list[Part]:
    """One shelf more each time on one feed, as far as the bench supply goes.

    Args:
        plant: the plant.
        inlets: of shelves with all their cards in, on one feed.
        leads: of the bench supply, which are there.
        word: whether it wants a word of its own.
    """
    if len(inlets) < 2:
        return []
    feed = inlets[0].feed
    chosen, most = _as_many_as_go(plant, inlets)
    if len(chosen) < 2:
        return [f"feed {feed}: two shelves at once are too much for a bench supply of {SUPPLY_A:g} A"]
    made: list[Part] = []
    if len(chosen) < len(inlets):
        left = ", ".join(inlet.shelf for inlet in inlets[len(chosen) :])
        made.append(f"feed {feed}: {left} would be too much for a bench supply of {SUPPLY_A:g} A")
    supply, _ = way(plant, chosen[0])
    breakers = unique(name for inlet in chosen for name in leads.own(inlet))
    names = [inlet.shelf for inlet in chosen]
    together: list[Part] = [
        *([_clear(names, f"together on feed {feed}")] if word else []),
        parts.closed(breakers, ", one after the other"),
        parts.brought_up(
            f"{' and '.join(names)} together on {feed}",
            f"The bench supply stands in the place of {supply}.",
            [supply],
            parts.nominal_volts(plant, chosen[0]),
            limit_for(most),
        ),
        *(parts.under_load(plant, inlet) for inlet in chosen),
        *parts.stretches(plant, chosen, shared=True),
        *parts.switched_off(breakers),
    ]
    return [*made, *parts.guarded(together, stands_on(plant, chosen))]


def _as_many_as_go(plant: Plant, inlets: Sequence[Inlet]) -> tuple[list[Inlet], float]:
    """The first of some inlets that the bench supply carries together, and what they draw at the most, in amperes."""
    chosen: list[Inlet] = []
    amperes = 0.0
    for inlet in inlets:
        _, most = forecast(plant, [*chosen, inlet])
        if SURGE * most + 0.2 > SUPPLY_A:
            break
        chosen.append(inlet)
        amperes = most
    return chosen, amperes
