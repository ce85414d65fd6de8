"""A draft begins by looking: how stands what it relies on, and what no file and no record can know.

What must be open, off, out or in place is asked for twice: how it stands, whatever that is, and, where it stands
otherwise, once more after somebody has put it right. Where it is still wrong the hold point behind it is passed over,
and with it every reading that it guards.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Literal

import msgspec

from bench.plant.model import Plant
from bench.plant.things import Bay, Cable, Connector, Shelf
from bench.sequence.drafts.parts import Part, unique
from bench.sequence.drafts.power_parts import breakers_on, reached
from bench.sequence.file import Gate, Look


def breakers_of(plant: Plant, supplies: Collection[str]) -> list[str]:
    """Every breaker on the feeds of some supplies, upstream and in every bay, whatever is to be powered.

    Args:
        plant: the plant.
        supplies: of it.
    """
    feeds = {plant.supplies[name].feed for name in supplies}
    return [name for name, breaker in plant.breakers.items() if breaker.feed in feeds]


def all_breakers(plant: Plant, supplies: Collection[str]) -> list[Part]:
    """Somebody looks at every breaker upstream and beside, feed by feed.

    Args:
        plant: the plant.
        supplies: that will be let in, or in whose place a bench supply will stand.
    """
    made: list[Part] = []
    for feed in dict.fromkeys(plant.supplies[name].feed for name in supplies):
        names = breakers_of(plant, [name for name in supplies if plant.supplies[name].feed == feed])
        text = f"Go to every breaker of feed {feed}, those of other bays too, and look: open, closed or locked off?"
        made.append(Look(title=f"How the breakers of feed {feed} stand", text=text, breakers=names))
    return made


def nothing_beside(plant: Plant, supplies: Collection[str], own: Collection[str]) -> list[Part]:
    """All breakers beside must be open before anything is brought up; nobody is asked where they are known to be.

    Args:
        plant: the plant.
        supplies: that will be let in.
        own: breakers of what is to be powered.
    """
    beside = [name for name in breakers_of(plant, supplies) if name not in own]
    if not beside:
        return []
    text = "What is closed here is fed now, or would be. Have it opened and locked off by whoever is in charge of it, "
    text += "before any fuse is drawn; look again."
    return [Look(title="Nothing beside is fed", text=text, breakers=beside, expect=["open", "locked off"])]


class Around(msgspec.Struct, frozen=True):
    """What a walk on a dead plant relies on.

    Attributes:
        breakers: that may carry something to what is handled: upstream and beside, in every bay.
        open: those of them that must be open or locked off.
        off: supplies that must be off.
        plugs: connectors whose plugs are looked at.
    """

    breakers: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    plugs: tuple[str, ...] = ()

    @property
    def stands_on(self) -> list[str]:
        """What the hold point that says that all is dead stands on."""
        return [*self.open, *self.off]


def around(plant: Plant, of: str = "") -> Around:
    """What can feed something, or the whole plant.

    At signal wiring only what is handled must be off, and the rest of the plant may run. At power wiring the feed must
    be off from its supply on.

    Args:
        plant: the plant.
        of: a cable, connector, shelf or bay; '' for all of it.

    Raises:
        UnknownName: nothing is called ``of``.
    """
    thing = plant.find(of) if of else None
    if thing is None:
        return Around(tuple(plant.breakers), tuple(plant.breakers), tuple(plant.supplies))
    if isinstance(thing, Cable):
        ends = unique(name for name in (*thing.near, *thing.far) if name in plant.connectors)
        shelves = [plant.connectors[name].shelf for name in ends]
        feeds = _feeds_at(plant, thing)
    elif isinstance(thing, Connector):
        ends, shelves, feeds = [thing.name], [thing.shelf], []
    elif isinstance(thing, Shelf | Bay):
        ends, feeds = [], []
        shelves = [one.name for one in plant.shelves_of(of)]
    else:
        return Around()
    inlets = [inlet for shelf in _fed_as(plant, shelves) for inlet in reached(plant, shelf)]
    reaching = [*feeds, *(inlet.feed for inlet in inlets)]
    breakers = [name for name, one in plant.breakers.items() if one.feed in reaching]
    last = [name for inlet in inlets for name in breakers_on(plant, [inlet])[-1:]]
    must = [*last, *(name for name in breakers if plant.breakers[name].feed in feeds)]
    off = [name for name, one in plant.supplies.items() if one.feed in feeds]
    return Around(tuple(breakers), tuple(unique(must)), tuple(off), tuple(ends))


def around_all(plant: Plant, names: Iterable[str]) -> Around:
    """What can feed several things.

    Args:
        plant: the plant.
        names: as for :func:`around`.
    """
    every = [around(plant, name) for name in names]
    return Around(*(tuple(unique(name for one in every for name in getattr(one, field)))
                    for field in ("breakers", "open", "off", "plugs")))  # fmt: skip


def _feeds_at(plant: Plant, cable: Cable) -> list[str]:
    """The feeds that a cable of the power wiring carries."""
    owners = {end.owner for one in cable.conductors for end in (one.near_end, one.far_end) if one.landed}
    found = [thing.feed for things in (plant.breakers, plant.supplies, plant.busbars) for name, thing in things.items()
             if name in owners and thing.feed]  # fmt: skip
    found += [inlet.feed for inlet in plant.inlets.values() if {inlet.live.name, inlet.back.name} & {
        end.name for one in cable.conductors for end in (one.near_end, one.far_end)}]  # fmt: skip
    return unique(found)


def _fed_as(plant: Plant, names: Iterable[str]) -> list[Shelf]:
    """The shelves whose inlets feed these: of a half without inlets the whole shelf."""
    found = [plant.shelves[name] for name in names]
    return list({one.name: one for shelf in found for one in (shelf, *_whole(plant, shelf))}.values())


def _whole(plant: Plant, shelf: Shelf) -> list[Shelf]:
    return [plant.shelves[shelf.half_of]] if shelf.half_of and not shelf.inlets else []


def nothing_on(plant: Plant, there: Around) -> list[Part]:
    """Somebody looks at all that a walk on a dead plant relies on.

    Args:
        plant: the plant.
        there: what that is.
    """
    made: list[Part] = []
    for feed in unique(plant.breakers[name].feed for name in there.breakers):
        text = f"Go to every breaker of feed {feed}, those of other bays too, and look: open, closed or locked off?"
        names = [name for name in there.breakers if plant.breakers[name].feed == feed]
        made.append(Look(title=f"How the breakers of feed {feed} stand", text=text, breakers=names))
    if there.open:
        text = "What is closed here would make live what is handled. Have it opened and locked off by whoever is in "
        text += "charge of it; look again."
        title = "Nothing is fed that will be handled"
        made.append(Look(title=title, text=text, breakers=list(there.open), expect=["open", "locked off"]))
    if there.off:
        text = "Switched off, or disconnected at its terminals?"
        made += must(
            "How the supplies stand",
            Look(title="The supplies are off", text=text, supplies=list(there.off), expect=["off"]),
        )
    return made


def as_it_runs(plant: Plant) -> list[Part]:
    """Somebody looks what is on of a live plant; nothing is switched for it.

    Args:
        plant: the plant.
    """
    text = "Nothing is switched for this check: do not open or close anything for it. What is read below holds for the "
    text += "plant as it runs now."
    made: list[Part] = []
    for feed in unique(one.feed for one in plant.breakers.values()):
        names = [name for name, one in plant.breakers.items() if one.feed == feed]
        made.append(Look(title=f"How the breakers of feed {feed} stand", text=text, breakers=names))
    if plant.supplies:
        made.append(Look(title="Which supplies are on", text=text, supplies=list(plant.supplies)))
    return made


def plugs(there: Around) -> list[Part]:
    """Somebody looks at the plugs of a cable.

    Args:
        there: what the walk relies on.
    """
    text = "What hangs loose is read loose. Look at each plug, and say how it is."
    return [Look(title="How the plugs are", text=text, plugs=list(there.plugs))] if there.plugs else []


def must(title: str, look: Look) -> list[Part]:
    """A look at what must be so, and once more where it was not.

    Args:
        title: of the first look, which takes any answer.
        look: the second one.
    """
    wanted = " or ".join(look.expect)
    again = f"Put right what is not {wanted}, with whoever is in charge of it; then look again."
    first = {name: list(getattr(look, name)) for name in ("breakers", "supplies", "cards", "bonds", "plugs")}
    return [
        Look(title=title, text=look.text, **first),
        Look(title=look.title, text=again, expect=look.expect, **first),
    ]


def cards(plant: Plant, shelves: Iterable[str], state: Literal["in", "out"], text: str) -> list[Part]:
    """Somebody looks at the cards of some shelves.

    Args:
        plant: the plant.
        shelves: of it.
        state: that they must be in.
        text: what to look at.
    """
    names = [card.name for shelf in shelves for card in plant.shelves[shelf].cards]
    if not names:
        return []
    return must("How the cards are", Look(title=f"The cards are {state}", text=text, cards=names, expect=[state]))


def bonds(names: Sequence[str]) -> list[Part]:
    """Somebody looks at bonds that must be in place.

    Args:
        names: of them.
    """
    text = "Is each of them on at both ends, or has somebody taken one off?"
    return must(
        "How the bonds are", Look(title="The bonds are in place", text=text, bonds=list(names), expect=["in place"])
    )


def gate(shelf: str, *, cards: bool = True) -> Part:
    """What the records must have proven of a shelf before it is brought up.

    Args:
        shelf: its name.
        cards: whether its cards are in then.
    """
    text = "Prove first what is missing. Going on without it wants a reason; it is kept with your name."
    return Gate(title=f"What the records have proven for {shelf}", text=text, shelf=shelf, cards=cards)
