"""Drafts for the earthing network: one path to earth proven on a dead plant, and what flows in it on a live one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from bench.plant.model import Plant
from bench.quantity import Amount
from bench.sequence.drafts import looking
from bench.sequence.drafts.parts import AMBIENT, CLOSING, OPENING, CannotDraft, Draft, Part, by_hand, dead
from bench.sequence.file import Caution, Do, Hold, Limit, Measure, Prove, Seek, Step

_SET_YOUR_OWN: Final = "common practice, no source: set your own"
_MOST_DIRECT: Final = "30 mA"
_MOST_ALTERNATING: Final = "100 mA"
_MOST_RIPPLE: Final = "150 mV"


def earth_two_wires(plant: Plant, of: str) -> Draft:
    """The same as :func:`earth` for whoever has no meter for milliohms: a second way is found, and no bond proven.

    What conducts where nothing should is seen by any ohmmeter. How well a bond conducts is not: those readings stay
    undecided, and what stands on them stays unproven.

    Args:
        plant: the plant.
        of: as for :func:`earth`.

    Raises:
        CannotDraft: as :func:`earth`.
    """
    return earth(plant, of, 2)


def earth(plant: Plant, of: str, wires: Literal[2, 4] = 4) -> Draft:
    """One path to earth on a dead plant: isolation with the single-point connection lifted, then the search.

    Args:
        plant: the plant.
        of: '', since earth is proven for the whole plant.
        wires: that go to the meter.

    Raises:
        CannotDraft: the plant has no earthing network, or a part of it was named.
    """
    if of:
        raise CannotDraft(f"earth is proven for the whole plant at once, and not for {of} alone")
    links = _single_point(plant)
    bond, inside, outside = links[0]
    there = looking.around(plant)
    looks = [*looking.nothing_on(plant, there), *looking.bonds(list(plant.bonds))]
    stands_on = [*there.stands_on, *plant.bonds]
    opened = [*dead("the plant", looks, stands_on), *_lifting(stands_on)]
    four = wires == 4
    opening: Sequence[Part] = [_known_resistor("before")] if four else OPENING
    closing: Sequence[Part] = [_known_resistor("after")] if four else CLOSING
    parts: list[Part] = [*opened, AMBIENT, *opening]
    parts += [
        Do(
            title=f"Lift the single-point connection {' and '.join(name for name, _, _ in links)}",
            text=_lifted_words(plant, [name for name, _, _ in links]),
            lift=[name for name, _, _ in links],
            proven=there.stands_on,
        ),
        Measure(
            title="The inside floats",
            text=f"Clips on {plant.where(inside)} and on {plant.where(outside)}. If it conducts, a second way leads "
            "from inside to outside: the search below looks for it.",
            read="resistance",
            wires=wires,
            between=(inside, outside),
            subject=bond,
            range=Amount.parse("1 Mohm"),
            limit=by_hand("common practice, no source: an isolated network floats", at_least="100 kohm"),
        ),
    ]
    for number, (name, near, far) in enumerate(links):
        before = [links[number - 1][0]] if number else []
        off = f"Take {before[0]} off again, so that {name} is read alone. " if before else ""
        parts += [
            Do(
                title=f"Put {name} back",
                text=f"{off}Clean faces, washers as before, tight. Nothing else goes on before it is back and proven.",
                lift=before,
                refit=[name],
            ),
            Measure(
                title=f"{name} is proven again",
                read="resistance",
                wires=wires,
                between=(near, far),
                subject=name,
                limit=Limit(computed="path"),
            ),
        ]
    if len(links) > 1:
        parts += _side_by_side(plant, links, wires)
    parts += [
        "From here on each reading is chosen by what the ones before it said. 'lifting: yes' lets it ask for a bond to "
        "be lifted where readings alone cannot decide; each is put back and proven again at once. 'path' is the second "
        "path that must not be missed; 'seen' at how many of the places where it could be one of that size must show "
        "for a pass.",
        Seek(
            find="second-path",
            title="One path to earth, and only one",
            text=f"{'Four-wire clips, two' if four else 'One clip'} on each place, on bare metal. Scrape off paint and "
            "oxide where it is not bare.",
            wires=wires,
            settings={"lifting": "yes", "path": "10 mohm", "seen": "90 %"},
        ),
        *closing,
    ]
    about = (
        "That the inside has one path to earth and only one: it floats when the single-point connection is lifted, and"
        f" {'four-wire ' if four else ''}readings between earth points, chosen as they come, show no second path and"
        f" no poor bond.{'' if four else ' With two wires: it shows a second way, and proves no bond.'}"
    )
    return Draft(about, parts)


def _lifting(stands_on: list[str]) -> list[Step]:
    return [
        Caution(
            title="Lifting an earth",
            text="An earth that is lifted protects nobody. Never open an earth of a plant that is live, or that can "
            "become live; never open the protective conductor of anything that can be connected to the mains; never "
            "open lightning or aerial earths when a storm is about. Local codes and the site's rules come first. Only "
            "a licensed or authorised person may lift an earth here, and that person stays until it is back.",
        ),
        Hold(
            title="Who may lift an earth is here",
            text="The person who is licensed or authorised to open the earthing of this site is here and agrees. "
            "Everything that can feed the plant is locked off, batteries are disconnected at both poles, mains plugs "
            "are out, and no cable to the outside of the building carries anything. Type the word only if this is so.",
            word="EARTH",
            proven=stands_on,
        ),
    ]


def _lifted_words(plant: Plant, names: list[str]) -> str:
    if len(names) == 1:
        return (
            f"Take {plant.where(names[0])}, off at one end and keep it clear. This is the one conductor that may join "
            "the inside to the building; everything inside must float now."
        )
    return (
        f"Take off at one end and keep clear: {'; '.join(plant.where(name) for name in names)}. They land on one bar "
        "and are one connection, the only one that may join the inside to the building; everything inside must float "
        "now."
    )


def _side_by_side(plant: Plant, links: list[tuple[str, str, str]], wires: Literal[2, 4]) -> list[Step]:
    """The others put back beside the one that was proven last, and the bar read once more with all of them on."""
    name, near, far = links[-1]
    others = [one for one, _, _ in links[:-1]]
    most = plant.bonds[name].expected(plant.ambient_c).high_ohm
    return [
        Do(
            title=f"Put {', '.join(others)} back beside {name}",
            text="Clean faces, washers as before, tight.",
            refit=others,
        ),
        Measure(
            title="The single-point connection with all its conductors",
            read="resistance",
            wires=wires,
            between=(near, far),
            subject=name,
            limit=Limit(at_most=Amount(most, "Ω"), source=f"what {name} may have alone, and others lie beside it"),
        ),
    ]


def _known_resistor(when: str) -> Step:
    return Prove(
        title=f"The meter reads a known resistor, {when}",
        text="Four-wire clips on the low-ohm reference, two on each end, the sense clips inside.",
        against="reference",
        wires=4,
    )


def earth_live(plant: Plant, of: str) -> Draft:
    """What flows in the single-point conductor of a live plant, and what rides on each feed.

    Args:
        plant: the plant.
        of: '', since it is read for the whole plant.

    Raises:
        CannotDraft: the plant has no earthing network, or a part of it was named.
    """
    if of:
        raise CannotDraft(f"what flows in the earth is read for the whole plant at once, and not for {of} alone")
    parts: list[Part] = [
        Caution(
            title="A live plant, and nothing opened",
            text="This is a check of a plant that is live. Nothing is opened, lifted or unplugged for it: a clamp "
            "meter closes round the conductor as it hangs. A battery drives thousands of amperes through a dropped "
            "spanner: no rings, no watches, insulated tools, eye protection. Only authorised people under the site's "
            "rules and local codes.",
        ),
        Hold(
            title="Cleared for work on a live plant",
            text="First power of the plant is proven. The person in charge has cleared this check and stands by at the "
            "main breaker. Type the word only if this is so.",
            word="LIVE",
        ),
        *looking.as_it_runs(plant),
    ]
    direct = by_hand(_SET_YOUR_OWN, at_least=f"-{_MOST_DIRECT}", at_most=_MOST_DIRECT)
    alternating = by_hand(_SET_YOUR_OWN, at_most=_MOST_ALTERNATING)
    twice = "a return that is bonded twice, or a load fed from one side to earth"
    loop = "a second path that closes a loop, or a leaking filter"
    for link in _single_point(plant):
        parts += [
            _clamped(link, "direct", "current", direct, twice),
            _clamped(link, "alternating", "ac-current", alternating, loop),
        ]
    for feed, places in _feeds(plant).items():
        parts.append(f"---- feed {feed}, {abs(plant.feeds[feed].nominal_v):g} V")
        parts += [_ripple(feed, *place) for place in places]
    about = (
        "Direct and alternating current in the conductor of the single-point connection by a clamp, and ripple and hum"
        " on every feed, with the plant live and nothing opened."
    )
    return Draft(about, parts)


def _clamped(
    link: tuple[str, str, str], kind: str, reads: Literal["current", "ac-current"], limit: Limit, points_to: str
) -> Step:
    bond, inside, outside = link
    return Measure(
        title=f"{kind} current in {bond}",
        text=f"Close the clamp round {bond} alone, the conductor of the single-point connection, arrow towards the "
        f"building; zero the clamp beside it first. Too much points to {points_to}.",
        read=reads,
        between=(inside, outside),
        subject=bond,
        clamp=True,
        limit=limit,
    )


def _ripple(feed: str, name: str, live: str, back: str) -> Step:
    return Measure(
        title=f"ripple and hum on feed {feed} at {name}",
        text="Probes on the feed and on its return, fingers behind the guards. What is read is what rides on the "
        "direct voltage.",
        read="ac-voltage",
        between=(live, back),
        subject=name,
        limit=by_hand(_SET_YOUR_OWN, at_most=_MOST_RIPPLE),
    )


def _single_point(plant: Plant) -> list[tuple[str, str, str]]:
    """The conductors of the single-point connection, each with the points at its inside and its outside end."""
    bar = plant.single_point_bar
    if bar is None:
        raise CannotDraft(f"the plant {plant.name} has no earthing network with a single-point connection")
    return [
        (bond.name, bar.name, (bond.b if bond.a.owner == bar.name else bond.a).name)
        for bond in plant.single_point_bonds
    ]


def _feeds(plant: Plant) -> dict[str, list[tuple[str, str, str]]]:
    """Feed to the inlets where its ripple is read, the last of each bay: name, live and return terminal."""
    found: dict[str, dict[str, tuple[str, str, str]]] = {}
    for inlet in plant.inlets.values():
        bay = plant.shelves[inlet.shelf].bay
        found.setdefault(inlet.feed, {})[bay] = (inlet.name, inlet.live.name, inlet.back.name)
    return {feed: list(by_bay.values()) for feed, by_bay in found.items()}
