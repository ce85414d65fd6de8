"""Made piles of loose ends, with the truth beside them.

Everything here is invented: kinds of cable, habits of labelling, rates of error. The generator draws cables between
bays of a hall, names them, makes twins and strangers, loses mates, and then notes each end as a tired person would.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import msgspec
import numpy as np

from bench.plant.finds import FreePlace, Hall, ListLine, LooseEnd, Tried
from bench.quantity import Length

READ_AS = {
    "0": "OQD8", "1": "7I", "2": "Z7", "3": "8B", "4": "A9", "5": "S6", "6": "G8", "7": "1", "8": "B3", "9": "4G",
    "W": "VM",
}  # fmt: skip


@dataclass(frozen=True)
class Noise:
    """How badly a pile is noted."""

    label_lost: float = 0.3
    sign_lost: float = 0.1
    misread: float = 0.06
    misnoted: float = 0.03
    not_counted: float = 0.4
    miscounted: float = 0.1
    neighbour: float = 0.12
    no_length: float = 0.15
    by_eye: float = 0.25
    tape: float = 0.03
    eye: float = 0.2
    slack: float = 0.9
    listed: float = 0.75
    list_wrong: float = 0.05
    no_mate: float = 0.12
    strangers: float = 0.4
    twins: float = 0.2

    def doubled(self) -> Noise:
        """About twice as much of everything that people err in; what is lost or missing stays."""
        return replace(
            self,
            misread=2 * self.misread,
            misnoted=2 * self.misnoted,
            miscounted=2 * self.miscounted,
            neighbour=2 * self.neighbour,
            tape=2 * self.tape,
            eye=2 * self.eye,
            slack=self.slack + 0.6,
            list_wrong=2 * self.list_wrong,
        )


@dataclass(frozen=True)
class Kind:
    share: float
    connectors: tuple[str, str]
    jackets: tuple[str, ...]
    conductors: int
    colours: str
    diameter: float


KINDS = (
    Kind(0.30, ("R50", "R50"), ("grey", "grey", "beige"), 50, "pair-code", 11.5),
    Kind(0.08, ("R50", "C64"), ("grey",), 50, "pair-code", 11.5),
    Kind(0.14, ("D37", "D37"), ("grey", "blue"), 37, "numbered", 14.0),
    Kind(0.14, ("D25", "D25"), ("grey", "black"), 25, "numbered", 12.0),
    Kind(0.06, ("D37", "D37"), ("blue",), 36, "pair-code", 10.5),
    Kind(0.12, ("", ""), ("black", "grey"), 7, "BK BN RD OG YE GN BU", 9.5),
    Kind(0.16, ("", ""), ("black",), 2, "BU BK", 8.0),
)
TRAYS = ("T1", "T1", "T1", "T2", "T3")


@dataclass(frozen=True)
class Made:
    """A pile and its truth."""

    ends: list[LooseEnd]
    places: list[FreePlace]
    lines: list[ListLine]
    hall: Hall
    mate: dict[str, str]
    """End to its mate; empty where it has none in the pile."""
    place: dict[str, str]
    """End to its place; empty where that is not among the free ones."""
    truth: dict[str, tuple[str, Kind, float]]
    """End to its cable's name, kind and length."""


def bays_for(count: int) -> int:
    return {20: 4, 60: 7, 150: 10, 400: 16}.get(count, max(3, count // 20 + 3))


def pile(count: int, seed: int, noise: Noise | None = None) -> Made:
    """A pile of so many ends."""
    noise = noise or Noise()
    rng = np.random.default_rng([count, seed])
    bays = [str(number + 1) for number in range(bays_for(count))]
    hall = Hall(bays=bays)
    shares = np.array([kind.share for kind in KINDS])
    ends: list[LooseEnd] = []
    places: list[FreePlace] = []
    lines: list[ListLine] = []
    mate: dict[str, str] = {}
    where: dict[str, str] = {}
    truth: dict[str, tuple[str, Kind, float]] = {}
    runs = dict.fromkeys(bays, 0)
    before: tuple[Kind, str, str, str, str] | None = None
    cable = 0
    while len(ends) < count:
        cable += 1
        stranger = rng.random() < noise.no_mate * noise.strangers * 1.7
        single = stranger or rng.random() < noise.no_mate * (1 - noise.strangers) * 1.7 or len(ends) == count - 1
        if before is not None and rng.random() < noise.twins:
            kind, jacket, one, other, tray = before
        else:
            kind = KINDS[rng.choice(len(KINDS), p=shares / shares.sum())]
            jacket = str(rng.choice(kind.jackets))
            one, other = (str(rng.choice(bays)) for _ in range(2))
            tray = str(rng.choice(TRAYS))
        before = kind, jacket, one, other, tray
        runs[one] += 1
        label = f"W{int(one):02d}{runs[one]:02d}" if len(bays) > 9 else f"W{one}{runs[one]:02d}"
        route = abs(bays.index(one) - bays.index(other)) * hall.pitch + hall.rise
        long = route + rng.gamma(2.0, noise.slack / 2.0) + (rng.uniform(5, 60) if stranger else 0.0)
        sides = [(one, 0), (other, 1)]
        if rng.random() < 0.5:
            sides.reverse()
        connectors = kind.connectors if rng.random() < 0.5 else kind.connectors[::-1]
        named: list[str] = []
        for bay, side in sides[: 1 if single else 2]:
            name = f"L{len(ends) + 1:03d}"
            named.append(name)
            truth[name] = label, kind, long
            ends.append(_noted(name, kind, jacket, tray, label, bay, long, connectors[side], bays, noise, rng))
            socket = f"J{len(places) + 1:03d}"
            if rng.random() < 0.9:
                connector = connectors[side] or "B24"
                gender = "socket" if connectors[side] else ""
                places.append(
                    FreePlace(
                        name=socket,
                        bay=bay,
                        connector=connector,
                        gender=gender,
                        label=_read(label, noise, rng) if rng.random() < 0.3 else "",
                    )
                )
                where[name] = socket
            else:
                where[name] = ""
        for name in named:
            mate[name] = next((other for other in named if other != name), "")
        if not stranger and rng.random() < noise.listed:
            said = [str(rng.choice(bays)) if rng.random() < noise.list_wrong else bay for bay in (one, other)]
            spots = {side: where[name] for name, (_, side) in zip(named, sides, strict=False)}
            lines.append(
                ListLine(
                    name=f"D{len(lines) + 1:03d}",
                    label=label,
                    from_bay=said[0],
                    to_bay=said[1],
                    from_place=spots.get(0, ""),
                    to_place=spots.get(1, ""),
                    conductors=kind.conductors if rng.random() > noise.list_wrong else int(rng.choice([50, 37, 25, 7])),
                )
            )
    order = rng.permutation(len(ends))
    return Made(
        [ends[at] for at in order],
        [places[at] for at in rng.permutation(len(places))],
        lines,
        hall,
        mate,
        where,
        truth,
    )


def _noted(
    name: str, kind: Kind, jacket: str, tray: str, label: str, bay: str, long: float, connector: str,
    bays: list[str], noise: Noise, rng: np.random.Generator,
) -> LooseEnd:  # fmt: skip
    at = bays.index(bay)
    if rng.random() < noise.neighbour:
        at = min(max(at + int(rng.choice([-1, 1])), 0), len(bays) - 1)
    count: int | None = kind.conductors
    if rng.random() < noise.not_counted:
        count = None
    elif rng.random() < noise.miscounted:
        count = max(1, kind.conductors + int(rng.choice([-2, -1, 1, 2])))
    jackets = sorted({colour for other in KINDS for colour in other.jackets})
    trays = sorted(set(TRAYS))
    length, by = None, ""
    if rng.random() > noise.no_length:
        by = "eye" if rng.random() < noise.by_eye else "tape"
        length = Length(round(max(0.5, long * (1 + rng.normal(0, noise.eye if by == "eye" else noise.tape))), 1))
    cut = connector != "" and rng.random() < 0.15
    kinds = sorted({name for other in KINDS for name in other.connectors if name})
    if connector and not cut and rng.random() < noise.misnoted:
        connector = str(rng.choice(kinds))
    return LooseEnd(
        name=name,
        bay=bays[at],
        connector="" if cut else connector,
        gender="plug" if connector and not cut else "",
        jacket=str(rng.choice(jackets)) if rng.random() < noise.misnoted else jacket,
        conductors=count,
        colours=kind.colours if rng.random() > 0.2 else "",
        diameter=round(kind.diameter * (1 + rng.normal(0, 0.04)), 1) if rng.random() > 0.3 else None,
        label="" if rng.random() < noise.label_lost else _read(label, noise, rng),
        length=length,
        length_by=by,
        tray=str(rng.choice(trays)) if rng.random() < 2 * noise.misnoted else tray,
        state="cut" if cut else "pulled",
    )


def _read(label: str, noise: Noise, rng: np.random.Generator) -> str:
    out = ""
    for sign in label:
        if rng.random() < noise.sign_lost:
            out += "?"
        elif rng.random() < noise.misread:
            out += str(rng.choice(list(READ_AS.get(sign, "0"))))
        else:
            out += sign
    return out


def rung(made: Made, touched: str, among: list[str], rng: np.random.Generator, untrue: float = 0.002) -> Tried:
    """What touching an end says while others are tagged, now and then untrue."""
    true = made.mate[touched] if made.mate[touched] in among else ""
    if rng.random() < untrue:
        true = str(rng.choice([name for name in [*among, ""] if name != true]))
    return Tried(touched=touched, among=among, answer=true, way="ring" if len(among) == 1 else "tags")


def looked(made: Made, ends: list[LooseEnd], looks: list[tuple[str, str]], rng: np.random.Generator) -> list[LooseEnd]:
    """The ends after some were looked at again: labels read by better light, conductors counted, lengths taped.

    What is found is what was made, with the errors of a careful person; nobody reads a label that is gone.
    """
    at = {end.name: number for number, end in enumerate(ends)}
    out = list(ends)
    for name, look in looks:
        end, (label, kind, long) = out[at[name]], made.truth[name]
        if look == "label":
            signs = [
                true if sign == "?" and rng.random() < 0.5 else sign
                for sign, true in zip(end.label, label, strict=True)
            ]
            out[at[name]] = msgspec.structs.replace(end, label="".join(signs))
        elif look == "count":
            out[at[name]] = msgspec.structs.replace(end, conductors=kind.conductors)
        else:
            length = Length(round(max(0.5, long * (1 + rng.normal(0, 0.03))), 1))
            out[at[name]] = msgspec.structs.replace(end, length=length, length_by="tape")
    return out
