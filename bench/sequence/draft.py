"""Drafts sequences from a plant: YAML text with comments, to be read, changed and kept by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Bay, Cable, Shelf
from bench.sequence.draft_conductors import crosses, identify, isolation
from bench.sequence.draft_earth import earth, earth_live
from bench.sequence.draft_power import WouldOverload, first_power
from bench.sequence.draft_search import supply_search

HEAD: Final = """\
# yaml-language-server: $schema={schema}
# Drafted from the plant {plant}. It is yours now: read it, change it, keep it.
sequence: {name}
plant: {plant_file}
about: >-
  {about}
decide: {{rule: guarded, probability: 95 %}}

steps:
"""

DEAD: Final = """\
  - step: caution
    title: Work on a dead plant only
    text: >-
      Nothing of this plant may be live while wires are handled. Follow the site's rules and local codes. If you are
      not sure that it is dead, stop and ask the person in charge.

  - step: hold
    title: Isolated and locked off
    text: >-
      What can feed {what} is isolated, locked off and tagged, and has been proved dead by the person in charge. Type
      the word only if you have seen it done.
    word: DEAD

"""

AMBIENT: Final = """\
  - step: ask
    title: Room temperature
    text: What is the temperature beside the cable, in °C?
    name: ambient

"""

OPENING: Final = """\
  - step: prove
    against: open-leads
    text: Hold the probes apart, touching nothing.

  - step: zero
    text: Hold the two probe tips firmly together.

  - step: prove
    against: reference
    text: Put the probes on the bench's reference resistor.

"""

CLOSING: Final = """\
  # This shows how far the leads' zero has moved; the difference counts as uncertainty of everything between.
  - step: zero
    title: Zero the leads again
    text: Hold the two probe tips firmly together once more.
"""


class CannotDraft(ValueError):
    """The plant lacks what the sequence would be about; the sentence says what."""


def draft(plant: Plant, kind: str, of: str, plant_file: str, schema: str) -> str:
    """Draft a sequence.

    Args:
        plant: the plant.
        kind: one of :data:`KINDS`.
        of: a cable, bay or shelf; for some kinds it may be empty, which means the whole plant.
        plant_file: the path that the sequence will name.
        schema: the path of the JSON Schema that an editor should use.

    Returns:
        The text of a sequence file.

    Raises:
        CannotDraft: the plant lacks what this would be about, or ``of`` is of the wrong kind.
        UnknownName: nothing is called ``of``.
    """
    about, body = KINDS[kind](plant, of)
    return headed(plant, f"{kind} {of}".strip(), about, plant_file, schema) + body


def headed(plant: Plant, name: str, about: str, plant_file: str, schema: str) -> str:
    """The head of a sequence file.

    Args:
        plant: the plant.
        name: of the sequence.
        about: what it finds.
        plant_file: the path that the sequence will name.
        schema: the path of the JSON Schema that an editor should use.
    """
    return HEAD.format(schema=schema, plant=plant.name, name=name, plant_file=plant_file, about=about)


def _scope(plant: Plant, of: str) -> tuple[str, list[str]]:
    """How the scope is called in a sentence, and the connectors whose neighbours lie in it."""
    if not of:
        return "the plant", []
    thing = plant.find(of)
    if isinstance(thing, Cable):
        connectors = [name for name in dict.fromkeys((*thing.near, *thing.far)) if name in plant.connectors]
        return f"cable {of} at both ends", connectors
    if isinstance(thing, Bay | Shelf):
        kind = "bay" if isinstance(thing, Bay) else "shelf"
        return f"{kind} {of}", [connector.name for connector in plant.connectors_of(of)]
    raise UnknownName(of, "the name of a cable, bay or shelf", f"'{of}' is something else")


def _continuity(plant: Plant, of: str) -> tuple[str, str]:
    if not of:
        raise CannotDraft("continuity wants a cable, bay or shelf: name one")
    what, connectors = _scope(plant, of)
    if not any(conductor.landed for conductor in plant.conductors_of(of)):
        raise CannotDraft(f"no conductor of {of} is landed at both ends, so nothing can be proved from pin to pin yet")
    skipped = [c.name for c in plant.conductors_of(of) if not c.landed]
    but = f"    but: [{', '.join(skipped)}]  # not landed at both ends\n" if skipped else ""
    body = DEAD.format(what=what) + AMBIENT + OPENING
    body += f"""\
  - step: each
    over: conductors
    of: "{of}"
{but}    title: Continuity of {of}
    steps:
      - step: measure
        title: "{{conductor.name}}, {{conductor.colour}}"
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}

"""
    near_ends = connectors[:1] if isinstance(plant.find(of), Cable) else connectors
    for connector in near_ends:
        body += f"""\
  # Only neighbours are looked at: a short between pins that lie apart is not found by this.
  - step: each
    over: neighbours
    of: "{connector}"
    title: Neighbouring pins of {connector} apart
    steps:
      - step: measure
        title: "{{neighbours.pin}} against {{neighbours.other}}"
        read: resistance
        between: ["{{neighbours.pin}}", "{{neighbours.other}}"]
        range: 10 Mohm
        limit: {{at-least: 100 kohm, source: "common practice, no source: wires that should be apart read open"}}

"""
    return (
        "Every conductor from pin to pin, and the pins of the near connector against their neighbours.",
        body + CLOSING,
    )


def _insulation(plant: Plant, of: str) -> tuple[str, str]:
    if not of:
        raise CannotDraft("insulation wants a cable, bay or shelf: name one")
    what, _ = _scope(plant, of)
    pairs = plant.pairs_of(of)
    if not pairs:
        raise CannotDraft(f"{of} has no pairs; write the steps by hand, conductor against conductor")
    first, mate = pairs[0]
    longest = max({tip.cable for tip, _ in pairs}, key=lambda name: (plant.cables[name].length_m, name))
    body = DEAD.format(what=what)
    body += """\
  - step: caution
    title: Test voltage
    text: >-
      The insulation tester puts up to several hundred volts on the wires. It can hurt, and it destroys electronics.
      Keep everybody off both ends. Never touch a wire before the tester says that it is discharged. Only a person
      who is competent for insulation tests at this site may do this.

  - step: hold
    title: Cards out, both ends free
    text: >-
      All cards are out of the shelves at both ends, the connectors are unplugged, surge arresters are disconnected,
      and somebody guards the far end. Type the word only if you have checked it yourself.
    word: CARDS-OUT

"""
    body += AMBIENT
    body += f"""\
  - step: each
    over: pairs
    of: "{of}"
    title: Insulation of {of}, tip to ring
    steps:
      - step: measure
        title: "pair {{pair.number}} of {{pair.cable}}: {{pair.tip-colour}} to {{pair.ring-colour}}"
        read: insulation
        between: ["{{pair.tip-near}}", "{{pair.ring-near}}"]
        at: 250 V
        after: 15 s
        bring-to: 20 degC
        limit: {{computed: insulation}}

  # One pair is held for a minute: how its reading rises tells of moisture.
  - step: measure
    title: Absorption of pair {first.pair} of {first.cable}
    read: insulation
    between: ["{first.near_end}", "{mate.near_end}"]
    subject: "{first.cable}/{first.pair}"
    at: 250 V
    times: [15 s, 30 s, 60 s]
    bring-to: 20 degC
    limit: {{computed: insulation}}

  - step: wait
    title: Let the bundle lose its charge
    text: >-
      The tester discharges what it has charged, and this wait is the margin on top. Touch nothing before it is over,
      then prove the wires dead before you touch them.
    discharge: {{cable: "{longest}", from: 250 V, through: 1 Mohm}}
"""
    about = "Insulation between the two legs of every pair, with the cards out and both ends free."
    return about, body


def _live(plant: Plant, of: str) -> str:
    what = f"{of or 'the plant'}"
    return f"""\
  - step: caution
    title: Live feeds
    text: >-
      From here on feeds are live. A battery can drive thousands of amperes through a dropped spanner: no rings, no
      watches, insulated tools, eye protection. This is work for licensed or authorised people under the site's rules
      and local codes. This program switches nothing off for you; know which breaker to open.

  - step: prove
    against: live-source
    read: voltage
    text: Put the probes on a source that you know to be live. The meter must show it.

  - step: hold
    title: Clear to energise
    text: >-
      The person in charge has cleared {what} for power: continuity and insulation are proven, everybody is clear, and
      somebody stands at the main breaker. Type the word only if this is so.
    word: ENERGISE

"""


def _feeding(plant: Plant, of: str) -> dict[str, tuple[list[str], list[str], list[str]]]:
    """Feed to its supplies, the breakers on the way, and the last breaker before each shelf."""
    found: dict[str, tuple[list[str], list[str], list[str]]] = {}
    for inlet in plant.inlets_of(of):
        try:
            path = plant.supply_path(inlet.shelf, inlet.feed)
        except NoPath:
            continue
        supplies, way, last = found.setdefault(inlet.feed, ([], [], []))
        if path.supply in plant.supplies and path.supply not in supplies:
            supplies.append(path.supply)
        for name in path.breakers[:-1]:
            if name not in way:
                way.append(name)
        if path.breakers and path.breakers[-1] not in last:
            last.append(path.breakers[-1])
    if not found:
        raise CannotDraft(f"no shelf of {of or 'the plant'} is reached by a feed")
    return found


def _names(names: list[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _polarity(plant: Plant, of: str) -> tuple[str, str]:
    feeding = _feeding(plant, of)
    body = DEAD.format(what=of or "the plant")
    body += """\
  - step: do
    title: Cards out
    text: Take all cards out of the shelves concerned, and leave all breakers open.

"""
    body += _live(plant, of)
    for feed, (supplies, way, last) in feeding.items():
        inlets = [inlet.name for inlet in plant.inlets_of(of) if inlet.feed == feed]
        close = [*way, *last]
        body += f"""\
  - step: do
    title: Feed {feed} on
    text: >-
      Switch {", ".join(supplies) or "the supply"} on and close {", ".join(close) or "no breaker"}, one after the other.
    switch-on: {_names(supplies)}
    close: {_names(close)}

  - step: each
    over: inlets
    of: "{of}"
    only: {_names(inlets)}
    title: Polarity and voltage of feed {feed}
    steps:
      - step: measure
        title: "{{inlet.name}}: feed {{inlet.feed}} against its return"
        text: Red probe on the feed, black probe on the return. The sign counts.
        read: voltage
        between: ["{{inlet.live}}", "{{inlet.return}}"]
        limit: {{computed: feed-voltage}}

  - step: do
    title: Feed {feed} off
    text: Open {", ".join(reversed(close)) or "all breakers"} and switch {", ".join(supplies) or "the supply"} off.
    open: {_names(close)}
    switch-off: {_names(supplies)}

"""
    body += """\
  - step: prove
    title: The meter still shows a live source
    against: live-source
    read: voltage
    text: Put the probes on the known live source again. The meter must still show it.
"""
    return "The voltage at every shelf's inlet, with its sign, cards out: one feed after the other.", body


def _idle_current(plant: Plant, of: str) -> tuple[str, str]:
    feeding = _feeding(plant, of)
    feed, (supplies, way, _) = next(iter(feeding.items()))
    inlets = [
        inlet.name for inlet in plant.inlets_of(of) if inlet.feed == feed and plant.idle_current(inlet.shelf)[0] > 0
    ]
    if not inlets:
        raise CannotDraft(f"no shelf of {of or 'the plant'} has cards whose idle current is known")
    body = _live(plant, of)
    body += f"""\
  - step: do
    title: Feed {feed} as far as the shelves' breakers
    text: >-
      Switch {", ".join(supplies) or "the supply"} on and close {", ".join(way) or "no breaker"}. The shelves' own
      breakers stay open. The other feeds stay off, so that each shelf draws from feed {feed} alone.
    switch-on: {_names(supplies)}
    close: {_names(way)}

  - step: each
    over: inlets
    of: "{of}"
    only: {_names(inlets)}
    title: Idle current of each shelf on feed {feed}
    steps:
      - step: measure
        title: "shelf {{inlet.shelf}} through its breaker {{inlet.breaker}}"
        text: >-
          With the breaker {{inlet.breaker}} open, put the ammeter's fused leads across its two terminals: the shelf
          now runs through the meter. Take them off when the reading is in.
        read: current
        between: ["{{inlet.load}}", "{{inlet.line}}"]
        limit: {{computed: idle-current}}

  - step: do
    title: Feed {feed} off
    text: Open {", ".join(reversed(way)) or "all breakers"} and switch {", ".join(supplies) or "the supply"} off.
    open: {_names(way)}
    switch-off: {_names(supplies)}
"""
    return f"What each shelf draws when it idles on feed {feed} alone, against the sum of its cards.", body


def _first_power(plant: Plant, of: str) -> tuple[str, str]:
    try:
        return first_power(plant, of)
    except UnknownName:
        raise
    except (WouldOverload, LookupError) as error:
        raise CannotDraft(str(error)) from error


def _supply_search(plant: Plant, of: str) -> tuple[str, str]:
    try:
        return supply_search(plant, of)
    except UnknownName:
        raise
    except (WouldOverload, LookupError) as error:
        raise CannotDraft(str(error)) from error


def _earth(plant: Plant, of: str) -> tuple[str, str]:
    if of:
        raise CannotDraft(f"earth is proven for the whole plant at once, and not for {of} alone")
    try:
        return earth(plant, DEAD, AMBIENT)
    except LookupError as error:
        raise CannotDraft(str(error)) from error


def identification(plant: Plant, of: str, settings: Mapping[str, str]) -> tuple[str, str]:
    """The search for which wire is which, with its settings.

    Raises:
        CannotDraft: there is nothing to identify.
        UnknownName: nothing is called so.
    """
    try:
        return identify(plant, of, DEAD, AMBIENT + OPENING, CLOSING, settings)
    except UnknownName:
        raise
    except LookupError as error:
        raise CannotDraft(str(error)) from error


def _identify(plant: Plant, of: str) -> tuple[str, str]:
    return identification(plant, of, {})


def _crosses(plant: Plant, of: str) -> tuple[str, str]:
    try:
        return crosses(plant, of, DEAD, AMBIENT + OPENING, CLOSING)
    except UnknownName:
        raise
    except LookupError as error:
        raise CannotDraft(str(error)) from error


def _isolation(plant: Plant, of: str) -> tuple[str, str]:
    try:
        return isolation(plant, of, DEAD, AMBIENT)
    except UnknownName:
        raise
    except LookupError as error:
        raise CannotDraft(str(error)) from error


def _earth_live(plant: Plant, of: str) -> tuple[str, str]:
    if of:
        raise CannotDraft(f"what flows in the earth is read for the whole plant at once, and not for {of} alone")
    try:
        return earth_live(plant)
    except LookupError as error:
        raise CannotDraft(str(error)) from error


KINDS: Final[dict[str, Callable[[Plant, str], tuple[str, str]]]] = {
    "identify": _identify,
    "continuity": _continuity,
    "crosses": _crosses,
    "isolation": _isolation,
    "insulation": _insulation,
    "polarity": _polarity,
    "idle-current": _idle_current,
    "first-power": _first_power,
    "earth": _earth,
    "earth-live": _earth_live,
    "supply-search": _supply_search,
}
"""What can be drafted."""
