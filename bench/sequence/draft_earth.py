"""Drafts for the earthing network: one path to earth proven on a dead plant, and what flows in it on a live one."""

from __future__ import annotations

import textwrap
from typing import Final

from bench.plant.model import Plant

LIFTING: Final = """\
  - step: caution
    title: Lifting an earth
    text: >-
      An earth that is lifted protects nobody. Never open an earth of a plant that is live, or that can become live;
      never open the protective conductor of anything that can be connected to the mains; never open lightning or
      aerial earths when a storm is about. Local codes and the site's rules come first. Only a licensed or authorised
      person may lift an earth here, and that person stays until it is back.

  - step: hold
    title: Who may lift an earth is here
    text: >-
      The person who is licensed or authorised to open the earthing of this site is here and agrees. Everything that
      can feed {what} is locked off, batteries are disconnected at both poles, mains plugs are out, and no cable to
      the outside of the building carries anything. Type the word only if this is so.
    word: EARTH

"""

PROVEN: Final = """\
  - step: prove
    title: The meter reads a known resistor, {when}
    text: Four-wire clips on the low-ohm reference, two on each end, the sense clips inside.
    against: reference
    wires: 4

"""

SEARCH: Final = """\
  # From here on each reading is chosen by what the ones before it said. 'lifting: yes' lets it ask for a bond to be
  # lifted where readings alone cannot decide; each is put back and proven again at once. 'path' is the second path that
  # must not be missed; 'seen' at how many of the places where it could be one of that size must show for a pass.
  - step: seek
    find: second-path
    title: One path to earth, and only one
    text: Four-wire clips, two on each place, on bare metal. Scrape off paint and oxide where it is not bare.
    wires: 4
    settings: {lifting: "yes", path: 10 mohm, seen: 90 %}
"""

LIVE: Final = """\
  - step: caution
    title: A live plant, and nothing opened
    text: >-
      This is a check of a plant that is live. Nothing is opened, lifted or unplugged for it: a clamp meter closes round
      the conductor as it hangs. A battery drives thousands of amperes through a dropped spanner: no rings, no watches,
      insulated tools, eye protection. Only authorised people under the site's rules and local codes.

  - step: hold
    title: Cleared for work on a live plant
    text: >-
      First power of {what} is proven. The person in charge has cleared this check and stands by at the main breaker.
      Type the word only if this is so.
    word: LIVE

"""

SPC_DC: Final = "30 mA"
SPC_AC: Final = "100 mA"
RIPPLE: Final = "150 mV"
"""What is asked of a sound plant (common practice, no source): set your own."""


def earth(plant: Plant, dead: str, ambient: str) -> tuple[str, str]:
    """What the sequence is about, and its steps: isolation with the single-point connection lifted, then the search.

    Args:
        plant: the plant.
        dead: the steps that prove that nothing is live, with a place for what it is that is dead.
        ambient: the step that asks for the temperature.

    Raises:
        LookupError: the plant has no earthing network.
    """
    bond, inside, outside = _single_point(plant)
    body = dead.format(what="the plant") + LIFTING.format(what="the plant") + ambient + PROVEN.format(when="before")
    body += f"""\
  - step: do
    title: Lift the single-point connection {bond}
    text: >-
      Take {plant.where(bond)}, off at one end and keep it clear. This is the one conductor that may join the inside to
      the building; everything inside must float now.
    lift: ["{bond}"]

  - step: measure
    title: The inside floats
    text: >-
      Clips on {plant.where(inside)} and on {plant.where(outside)}. If it conducts, a second way leads from inside to
      outside: the search below looks for it.
    read: resistance
    wires: 4
    between: ["{inside}", "{outside}"]
    subject: "{bond}"
    range: 1 Mohm
    limit: {{at-least: 100 kohm, source: "common practice, no source: an isolated network floats"}}

  - step: do
    title: Put {bond} back
    text: Clean faces, washers as before, tight. Nothing else goes on before it is back and proven.
    refit: ["{bond}"]

  - step: measure
    title: "{bond} is proven again"
    read: resistance
    wires: 4
    between: ["{inside}", "{outside}"]
    subject: "{bond}"
    limit: {{computed: path}}

"""
    about = (
        "That the inside has one path to earth and only one: it floats when the single-point connection is lifted, and"
        " four-wire readings between earth points, chosen as they come, show no second path and no poor bond."
    )
    return about, body + SEARCH + "\n" + PROVEN.format(when="after")


def earth_live(plant: Plant) -> tuple[str, str]:
    """What flows in the single-point conductor of a live plant, and what rides on each feed.

    Raises:
        LookupError: the plant has no earthing network.
    """
    bond, inside, outside = _single_point(plant)
    body = LIVE.format(what="the plant") + _in_service(plant)
    for reads, kind, most, points_to in (
        ("current", "direct", SPC_DC, "a return that is bonded twice, or a load fed from one side to earth"),
        ("ac-current", "alternating", SPC_AC, "a second path that closes a loop, or a leaking filter"),
    ):
        bounds = f"at-least: -{most}, at-most: {most}" if reads == "current" else f"at-most: {most}"
        body += f"""\
  - step: measure
    title: "{kind} current in {bond}"
    text: >-
      Close the clamp round {bond} alone, the conductor of the single-point connection, arrow towards the building; zero
      the clamp beside it first. Too much points to {points_to}.
    read: {reads}
    between: ["{inside}", "{outside}"]
    subject: "{bond}"
    limit: {{{bounds}, source: "common practice, no source: set your own"}}

"""
    for feed, places in _feeds(plant).items():
        nominal = abs(plant.feeds[feed].nominal_v)
        body += f"""\
  # ---- feed {feed}, {nominal:g} V
"""
        for name, live, back in places:
            body += f"""\
  - step: measure
    title: "ripple and hum on feed {feed} at {name}"
    text: >-
      Probes on the feed and on its return, fingers behind the guards. What is read is what rides on the direct voltage.
    read: ac-voltage
    between: ["{live}", "{back}"]
    subject: "{name}"
    limit: {{at-most: {RIPPLE}, source: "common practice, no source: set your own"}}

"""
    about = (
        "Direct and alternating current in the conductor of the single-point connection by a clamp, and ripple and hum"
        " on every feed, with the plant live and nothing opened."
    )
    return about, body.rstrip("\n") + "\n"


def _in_service(plant: Plant) -> str:
    """The act that says what is on: nothing is switched for this check, but the record must know."""
    lists = {"switch-on": list(plant.supplies), "close": list(plant.breakers)}
    told = "".join(
        textwrap.fill(f"{name}: [{', '.join(names)}]", 116, initial_indent="    ", subsequent_indent="      ") + "\n"
        for name, names in lists.items()
        if names
    )
    return f"""\
  - step: do
    title: The plant is in service
    text: >-
      Nothing is switched for this check. Look that every feed is on and every breaker is closed as in service, and
      write a note about each that is not.
{told}
"""


def _single_point(plant: Plant) -> tuple[str, str, str]:
    """The single-point connection, and the points at its inside and its outside end."""
    bond, bar = plant.single_point, plant.single_point_bar
    if bond is None or bar is None:
        raise LookupError(f"the plant {plant.name} has no earthing network with a single-point connection")
    far = bond.b if bond.a.owner == bar.name else bond.a
    return bond.name, bar.name, far.name


def _feeds(plant: Plant) -> dict[str, list[tuple[str, str, str]]]:
    """Feed to the inlets where its ripple is read, the last of each bay: name, live and return terminal."""
    found: dict[str, dict[str, tuple[str, str, str]]] = {}
    for inlet in plant.inlets.values():
        bay = plant.shelves[inlet.shelf].bay
        found.setdefault(inlet.feed, {})[bay] = (inlet.name, inlet.live.name, inlet.back.name)
    return {feed: list(by_bay.values()) for feed, by_bay in found.items()}
