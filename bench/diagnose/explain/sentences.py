"""Causes in words: what is wrong and what to do at the rack, and which pins a cause accounts for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    Cause,
    ConnectorsExchanged,
    HighResistance,
    How,
    JoinCause,
    Mirrored,
    Moved,
    Open,
    PairReversed,
    PairsExchanged,
    PairsSplit,
    PartOpen,
    PinsExchanged,
    PlugCause,
    Relanded,
    Shifted,
    StrayJoin,
    Unplugged,
    WireCause,
    wires_of,
)
from bench.diagnose.explain.pin_map import Conductor, Design, Pin


def conductors_of(design: Design, cause: Cause) -> tuple[str, ...]:
    """Names of the conductors that a cause touches, in the order of the design.

    For joins these are the conductors that the design lands on the joined pins.
    """
    return tuple(design.conductors[wire].name for wire in sorted(wires_of(design.index, cause)))


def pins_of(design: Design, cause: Cause) -> tuple[Pin, ...]:
    """The pins that a cause accounts for: both ends of its conductors, and joined or wrong pins."""
    index = design.index
    pins = set()
    for name in conductors_of(design, cause):
        wire = design.conductors[index.wire_number[name]]
        pins |= {wire.near, wire.far}
    match cause:
        case Bridged(joined) | StrayJoin(joined):
            pins = set(joined)
        case Moved(_, onto) if onto is not None:
            pins.add(onto)
        case Relanded(_, _, onto):
            pins |= {pin for pin in onto if pin is not None}
        case _:
            pass
    return tuple(sorted(pins, key=index.number.__getitem__))


def sentence(design: Design, cause: Cause) -> str:
    """What is wrong and what to do about it, for a person at the rack."""
    if isinstance(cause, PlugCause):
        return _at_plugs(design, cause)
    return _at_pins(cause) if isinstance(cause, JoinCause) else _at_wires(design, cause)


def _at_plugs(design: Design, cause: PlugCause) -> str:
    """What was done to plugs and whole cables."""
    match cause:
        case ConnectorsExchanged(names):
            return _plugs_exchanged(design, names)
        case Shifted():
            return f"{_shifted(cause)}{_or_across(design, cause.connector)}"
        case Mirrored(name, how):
            return f"{_mirrored(design, name, how)}{_or_across(design, name)}"
        case CableTurned(cable):
            return f"Cable {cable} lies end for end. Turn it round so that each end is where it belongs."
        case Unplugged(name):
            return (
                f"Nothing arrives at {name}. See whether its plug is mated and its cable connected."
                f"{_or_across(design, name)}"
            )


def _at_pins(cause: JoinCause) -> str:
    """Pins that are joined and should not be."""
    match cause:
        case Bridged(pins):
            return (
                f"Pins {_list([str(p) for p in pins])} are joined. Look for a whisker, a solder "
                "bridge or a strap between them, at either end of their wires."
            )
        case StrayJoin((a, b)):
            return (
                f"{a} and {b} are joined and should not be. Follow both wires to where they meet, and part them there."
            )
        case StrayJoin(pins):
            return (
                f"{_list(map(str, pins))} are joined in one joint and should not be. Look where their wires meet, "
                "and part them."
            )


def _at_wires(design: Design, cause: WireCause | Open | PartOpen | HighResistance) -> str:
    """What became of single wires and parts of a connector."""
    index = design.index

    def wire(name: str) -> Conductor:
        return design.conductors[index.wire_number[name]]

    match cause:
        case PinsExchanged((a, b)):
            return _crossed(wire(a), wire(b), "The wires")
        case PairsSplit((a, b)):
            first, second = wire(a), wire(b)
            return (
                f"{_pairs(first.pair, second.pair)} are split: one wire of each is on the other's "
                f"pin. {_crossed(first, second, 'The wires')}"
            )
        case PairReversed(pair):
            i, j = index.pair_wires[pair]
            return _crossed(design.conductors[i], design.conductors[j], f"Pair {_pair(pair)} is reversed: the wires")
        case PairsExchanged((p, q), crossed):
            tail = ", and each has its two wires reversed as well" if crossed else ""
            ends = [str(design.conductors[w].far) for x in (p, q) for w in index.pair_wires[x]]
            return (
                f"{_pairs(p, q)} are exchanged as a whole{tail} (pins {_list(ends)}). Lift both pairs at the end that "
                "was landed last, and swap them."
            )
        case Moved(names, onto, end):
            return _moved([wire(n) for n in names], onto, end)
        case Relanded():
            return _relanded(design, cause)
        case Open(name):
            return (
                f"{wire(name).near} to {wire(name).far} is open. Look for a wire off its pin, a bad "
                "crimp or joint, or a break."
            )
        case PartOpen(name, names):
            dead = [str(pin) for w in names for pin in (wire(w).near, wire(w).far) if pin.connector == name]
            return (
                f"Nothing gets through at {_list(dead)}, but other wires of {name} do: leave those where they "
                "are. See whether the plug is fully home on this side, then look for what the dead wires share: a "
                "ribbon, a group of the cable, a block that was never landed."
            )
        case HighResistance((name,)):
            return (
                f"{wire(name).near} to {wire(name).far} conducts, but its resistance is too high. "
                "Look for a dirty contact, a cold joint or a few broken strands."
            )
        case HighResistance(names):
            ends = sorted({wire(n).far.connector for n in names})
            return (
                f"{len(names)} wires of {_list(ends)} read too high together. Clean and reseat the "
                "connector at both ends before looking at single wires."
            )


def _plugs_exchanged(design: Design, names: tuple[str, ...]) -> str:
    """Plugs in each other's sockets: two of them, or a round of more."""
    if len(names) > 2:
        moves = ", ".join(
            f"{name}'s plug is in the socket of {into}" for name, into in zip(names, names[1:] + names[:1], strict=True)
        )
        return f"The plugs of {_list(names)} have changed places: {moves}. Put each into its own."
    one, other = names
    across, across_other, shared = _across(design, one), _across(design, other), _shared(design, one, other)
    instead = ""
    if across and across_other:
        instead = f" If these sit as they should, look at {across} and {across_other}, the other ends."
    elif shared:
        instead = (
            f" If these sit as they should, the tails that lead to them are exchanged on {shared}: land them again."
        )
    return f"The plugs of {one} and {other} are exchanged. Take both out and put each into its own socket.{instead}"


_SHIFTED_TO = {
    ("row", True): "to the right along its rows",
    ("row", False): "to the left along its rows",
    ("rows", True): "down across its rows",
    ("rows", False): "up across its rows",
    ("count", True): "too high in the numbering",
    ("count", False): "too low in the numbering",
}
"""Which way a connector is shifted, and whether by a positive number, in words."""


def _shifted(cause: Shifted) -> str:
    places = f"{abs(cause.by)} place{'s' if abs(cause.by) > 1 else ''} {_SHIFTED_TO[cause.along, cause.by > 0]}"
    if cause.along == "count":
        return (
            f"The wires of {cause.connector} are landed {places}, from the end of one row into the next. Land "
            "them again, each on its own pin."
        )
    return (
        f"{cause.connector} sits {places}, seen as the pin list is drawn. Take it out and seat "
        "it on its own pins; if its wires were landed one by one, land them again."
    )


def _mirrored(design: Design, name: str, how: How) -> str:
    """A connector that sits mirrored: what a plug can be turned to, and what only landings can be."""
    index = design.index
    rows = index.shape[index.connector_number[name]][0]
    if how == "both" or (how == "ends" and rows == 1):
        return (
            f"{name} sits turned by half a turn: its first pin is where its last belongs. Turn the plug; if it fits in "
            "one way only, its wires were landed from the wrong end: land them again."
        )
    what = "with its rows in reversed order" if how == "rows" else "each row end for end"
    return (
        f"The wires of {name} are landed in mirror image: {what}, as when pins are counted from the other side. No "
        "plug sits like this, so do not turn it: land the wires again by the numbers on the connector."
    )


def _pair(name: str | None) -> str:
    """A pair as people call it: ``3 of W101`` for one that is written with its cable."""
    cable, slash, number = (name or "").rpartition("/")
    return f"{number} of {cable}" if slash else number


def _pairs(one: str | None, other: str | None) -> str:
    """Two pairs: ``Pairs 3 and 5 of W101``, or each with its own cable."""
    (first, _, number), (second, _, another) = ((name or "").rpartition("/") for name in (one, other))
    if first == second:
        return f"Pairs {number} and {another}" + (f" of {first}" if first else "")
    return f"Pair {_pair(one)} and pair {_pair(other)}"


def _across(design: Design, connector: str) -> str:
    """The connector at the other end, if all wires of both run between the two; else nothing."""
    index = design.index
    number = index.connector_number[connector]
    ends = {e for w in index.fed[number] for e in (index.near[w], index.far[w])}
    others = {index.home[pin] for pin in ends} - {number}
    if len(others) != 1:
        return ""
    other = others.pop()
    return index.connectors[other].name if index.fed[other] == index.fed[number] else ""


def _shared(design: Design, one: str, other: str) -> str:
    """The connector that all wires of two connectors come from, if there is one; else nothing."""
    index = design.index
    numbers = {index.connector_number[one], index.connector_number[other]}
    fed = {wire for number in numbers for wire in index.fed[number]}
    ends = {index.home[pin] for wire in fed for pin in (index.near[wire], index.far[wire])} - numbers
    return index.connectors[ends.pop()].name if len(ends) == 1 else ""


def _or_across(design: Design, connector: str) -> str:
    other = _across(design, connector)
    return f" If all is right at {connector}, look at {other}, the other end." if other else ""


def _crossed(a: Conductor, b: Conductor, what: str) -> str:
    return (
        f"{what} for {a.far} and {b.far} are exchanged (at the other end {a.near} and {b.near}; the "
        "map cannot tell at which end). Swap the two at the end that was landed last."
    )


def _moved(wires: list[Conductor], onto: Pin | None, end: str) -> str:
    homes = [str(w.far if end == "far" else w.near) for w in wires]
    first = homes[-1] if onto is None else str(onto)
    if len(wires) == 1:
        return f"The wire for {homes[0]} is landed on {first}. Land it on {homes[0]}."
    steps = [f"the wire for {h} is on {at}" for h, at in zip(homes, [first, *homes], strict=False)]
    return f"Wires have moved along: {_list(steps)}. Land each on its own pin."


def _relanded(design: Design, cause: Relanded) -> str:
    """What is wrong with wires that were landed in another order, and how to put it right."""
    index = design.index
    wires = [design.conductors[index.wire_number[name]] for name in cause.conductors]
    own = [wire.far if cause.end == "far" else wire.near for wire in wires]
    name = own[0].connector
    across = _or_across(design, name)
    match cause.order:
        case "moved along":
            return _along(design, own, cause.onto) + across
        case "exchanged":
            onto = dict(zip(own, cause.onto, strict=True))
            first = [pin for pin, to in onto.items() if to is not None and index.number[to] > index.number[pin]]
            second = [pin for pin in own if pin not in first]
            opposite = {at: wire.near if cause.end == "far" else wire.far for at, wire in zip(own, wires, strict=True)}
            here, there = (_spoken(design, [opposite[pin] for pin in run]) for run in (first, second))
            return (
                f"The wires for {_spoken(design, first)} and those for {_spoken(design, second)} are exchanged as a "
                f"whole (at the other end {here} and {there}; the map cannot tell at which end): two groups of a "
                "cable, two tails or the halves of a block. Swap the two groups at the end that was landed "
                "last, each in its own order; leave the others."
            )
        case "end for end":
            return (
                f"The wires for {_spoken(design, own)} are landed end for end: the first is where the last belongs. "
                f"Land them again in their order.{across}"
            )
        case "neighbours":
            return (
                f"Every two neighbours among {_spoken(design, own)} are exchanged ({own[0].name} with {own[1].name}, "
                f"and so on). Swap each two; look first whether one colour was taken for the other.{across}"
            )
        case "counted across":
            return (
                f"The wires of {name} are landed by another count: across its rows in place of along them, or the "
                f"other way round. Land them again by the pin numbers on the connector.{across}"
            )
        case "other list":
            other = wires[0].near if cause.end == "far" else wires[0].far
            return (
                f"The wires of {name} are landed by the pin numbers of {other.connector}: the pin list was read from "
                f"the wrong column. Land them again by the column of {name}."
            )
        case "no order":
            cables = sorted({wire.cable for wire in wires if wire.cable is not None})
            return (
                f"The wires for {_spoken(design, own)} are in no order that hands make by one mistake. Do not exchange "
                "them two by two: lift them all and land each again, by where it was found. Where that is not known, "
                f"name them anew ({name_anew(cables, name)}). Leave the others."
            )


def name_anew(cables: Sequence[str], connector: str) -> str:
    """The command that names wires anew where it is not known which sits where, and begins with what is known.

    Args:
        cables: that end there.
        connector: whose order is lost.
    """
    cable = cables[0] if len(cables) == 1 else "CABLE"
    each = "" if len(cables) == 1 else f" for each of {_list(cables)}"
    return (
        f"proveout identify {cable} --flags {connector} --known RECORD{each}, which begins with what this record found"
    )


def _along(design: Design, own: Sequence[Pin], onto: Sequence[Pin | None]) -> str:
    """Wires that moved along, in words: those that moved by the same, and what became of the others."""
    index = design.index
    steps = {
        at: index.place[index.number[to]] - index.place[index.number[at]]
        for at, to in zip(own, onto, strict=True)
        if to is not None
    }
    by = min(steps.values(), key=abs)
    places = "one place" if abs(by) == 1 else f"{abs(by)} places"
    held = [at for at, step in steps.items() if step == by]
    lost = [str(at) for at in own if at not in steps]
    also = f"; the wire for {_list(lost)} meets nothing" if len(lost) == 1 else ""
    if len(lost) > 1:
        also = f"; the wires for {_list(lost)} meet nothing"
    rest = [f"{at} sits on {to}" for at, to in zip(own, onto, strict=True) if to is not None and steps[at] != by]
    if rest:
        also += f"; the wire for {_list(rest)}"
    first, last = (own[0], own[-1]) if by > 0 else (own[-1], own[0])
    return (
        f"The wires for {_spoken(design, held)} are landed {places} too {'high' if by > 0 else 'low'} in the numbering"
        f"{also}. One was missed or taken twice at {first}, or at {last}: land them again, each on its own pin."
    )


def _spoken(design: Design, pins: Iterable[Pin]) -> str:
    """Pins as a person reads them off: by connector in order, runs of three and more as from first to last."""
    index = design.index
    runs: list[list[Pin]] = []
    for pin in sorted(set(pins), key=index.number.__getitem__):
        last = runs[-1][-1] if runs else None
        if last is not None and last.connector == pin.connector and index.number[pin] == index.number[last] + 1:
            runs[-1].append(pin)
        else:
            runs.append([pin])
    told: list[str] = []
    for run in runs:
        told += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(pin) for pin in run]
    return _list(told)


def _list(names: Iterable[str]) -> str:
    items = list(names)
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
