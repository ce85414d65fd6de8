"""Drafts the searches over conductors: which is which, which are joined, which leak."""

from __future__ import annotations

import json
from collections.abc import Mapping

from bench.plant.flags import SIDES, loose
from bench.plant.model import Plant, UnknownName
from bench.plant.things import Cable, Connector

CARDS_OUT = """\
  - step: hold
    title: Cards out, feeds off
    text: >-
      All cards are out of the shelves that {what} lands in, arresters and terminations are off, and no meter or tool
      of anybody else is on its wires. Nothing of it is live. Type the word only if you have checked it yourself.
    word: CARDS-OUT

"""
TESTER = """\
  - step: do
    title: {title}
    text: >-
      Hold the two tips of the continuity tester firmly together: it beeps. Hold them apart in free air: it is silent.
      {otherwise}

"""
TESTER_BEFORE = TESTER.format(
    title="Prove the tester",
    otherwise="If it does not do both, change its battery or its leads, or take another one, before you go on.",
)
TESTER_AFTER = TESTER.format(
    title="Prove the tester again",
    otherwise="If it does not do both, what it said before is not to be believed: skip this step with that reason,\n"
    "      and begin the walk anew with another tester.",
)
TEST_VOLTAGE = """\
  - step: caution
    title: Test voltage on many wires at once
    text: >-
      The insulation tester puts up to several hundred volts on half of the wires at once, at both ends, and they keep
      their charge. Keep everybody off both ends. Never touch a wire or move a clip before the tester says that all are
      discharged, and prove them dead. Only a person who is competent for insulation tests at this site may do this.

  - step: hold
    title: Both ends free and guarded
    text: >-
      All cards are out of the shelves at both ends, the connectors are unplugged from electronics, surge arresters are
      disconnected, and somebody guards the far end. Type the word only if you have checked it yourself.
    word: GUARDED

"""


def identify(
    plant: Plant, of: str, dead: str, opening: str, closing: str, settings: Mapping[str, str]
) -> tuple[str, str]:
    """The search for which wire is which, of one cable.

    Args:
        plant: the plant.
        of: the cable.
        dead: the steps that make sure of a dead plant, to be filled with what it is about.
        opening: the steps that prove the bench; with a bare tester that is proven in their place.
        closing: the steps that end it; the same.
        settings: of the search, by name.

    Returns:
        What it finds, and the steps as YAML.

    Raises:
        UnknownName: nothing is called so.
        LookupError: it is no cable, or it lands at both ends and no connector was named.
    """
    cable = plant.find(of) if of else None
    if not isinstance(cable, Cable):
        raise LookupError("identify wants a cable: name one with --cable")
    if not any(loose(cable, side) for side in SIDES) and "flags" not in settings:
        raise LookupError(f"{of} lands at both ends, so nothing is left to identify")
    if settings.get("tester") == "yes":
        opening, closing = TESTER_BEFORE, TESTER_AFTER
    told = "".join(f"      {name}: {json.dumps(value, ensure_ascii=False)}\n" for name, value in settings.items())
    body = dead.format(what=f"cable {of} at both ends") + CARDS_OUT.format(what=f"cable {of}") + opening
    body += f"""\
  # How: {{method: tags}} with a common known at both ends, {{method: star}} without one, {{method: chain}} with clips
  # alone, {{method: sizes}} with a bare tester. Left out, the best is taken. What else may be told: common: screen, a
  # conductor or a place; tags: E24, E96 or single values with their tolerance; measured: values that you measured;
  # bar: no; tester: yes; colours: "1 white/blue; 2 blue/white"; flags: a connector whose order is not known.
  - step: seek
    title: Which wire is which in {of}
    find: conductors
    of: "{of}"
"""
    body += f"    settings:\n{told}" if told else "    settings: {}\n"
    return (
        f"Which wire of {of} is which: its loose ends are given flags, and each flag its conductor.",
        f"{body}\n{closing}",
    )


def crosses(plant: Plant, of: str, dead: str, opening: str, closing: str) -> tuple[str, str]:
    """The search for joins that should not be, among all nets of a cable or connector; see :func:`identify`."""
    what = _searched(plant, of, "crosses")
    body = dead.format(what=what) + CARDS_OUT.format(what=what) + opening
    body += f"""\
  # All nets are held against all others, in groups on two bars: nothing is left out, as it is where only neighbours are
  # looked at (draft continuity). By a relay matrix it goes by itself.
  - step: seek
    title: Joins among the nets of {of}
    find: crosses
    of: "{of}"
    settings: {{apart: 100 kohm}}

"""
    return f"Whether any two nets of {of} are joined that should be apart, and which.", body + closing


def isolation(plant: Plant, of: str, dead: str, ambient: str) -> tuple[str, str]:
    """The proof that all nets of a cable or connector are insulated from each other, at a test voltage."""
    what = _searched(plant, of, "isolation")
    cables = [of] if of in plant.cables else [cable.name for cable in plant.cables_of(of)]
    longest = max(cables, key=lambda name: (plant.cables[name].length_m, name), default="")
    body = dead.format(what=what) + TEST_VOLTAGE + ambient
    body += f"""\
  # So many readings as the number of nets has binary digits prove all pairs where all is well; where a group reads low
  # it is halved until the pairs are named.
  - step: seek
    title: Insulation among the nets of {of}
    find: isolation
    of: "{of}"
    read: insulation
    at: 250 V
    after: 15 s
    settings: {{}}

"""
    if longest:
        body += f"""\
  - step: wait
    title: Let the wires lose their charge
    text: >-
      The tester discharges what it has charged, and this wait is the margin on top. Touch nothing before it is over,
      then prove the wires dead before you touch them.
    discharge: {{cable: "{longest}", from: 250 V, through: 1 Mohm}}
"""
    return f"Whether every two nets of {of} are insulated from each other, and which are not.", body


def _searched(plant: Plant, of: str, kind: str) -> str:
    """What a search is about, in words.

    Raises:
        UnknownName, LookupError: it is no cable or connector.
    """
    if not of:
        raise LookupError(f"{kind} wants a cable or a connector: name one")
    thing = plant.find(of)
    if isinstance(thing, Cable):
        return f"cable {of}"
    if isinstance(thing, Connector):
        return f"connector {of}"
    raise UnknownName(of, "the name of a cable or connector", f"'{of}' is something else")
