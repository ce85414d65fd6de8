"""How Gannet Head began: its pile of loose ends as two tired people noted it, and the trips that told them apart.

The cables are those of the plant file; what was noted of their ends is made up from a seed: labels faded and misread,
lengths by tape and by eye, ends that hang at the neighbouring bay, an old list that lacks a fourth of the cables. What
an act answers follows from the true cables, now and then not.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import msgspec

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.pile import Pile
from bench.diagnose.survey.trips import next_trips
from bench.plant.finds import Find, FreePlace, Hall, ListLine, LooseEnd, Tried
from bench.plant.model import Plant
from bench.plant.things import Cable
from bench.quantity import Length
from bench.record.survey import SURVEY, SurveyWriter
from bench.walk.surveying import Remarked, Saw, TriedIt

BEGINS: Final = datetime(2026, 1, 12, 18, 0, tzinfo=UTC)
"""The first evening: months before anything was proven."""
_ALIKE: Final = {"0": "OQ", "1": "7", "2": "Z", "3": "8", "4": "A", "5": "S", "7": "1", "W": "VM"}
_MOST_TRIPS: Final = 12
_GOAL: Final = 0.95
STUMPS: Final = 2


def loose_pile(plant: Plant, seed: int) -> tuple[list[Find], dict[str, str]]:
    """What was noted of the ends of a plant's signal cables, the free places and an old list.

    Args:
        plant: with cables whose ends land on connectors.
        seed: of everything that people did.

    Returns:
        The finds, and each end's true mate, empty where it has none here.
    """
    draw = random.Random(seed)
    finds: list[Find] = []
    mates: dict[str, str] = {}
    first: dict[str, str] = {}
    bays = list(plant.bays)
    cables = [cable for cable in plant.cables.values() if not cable.type.name.startswith("PW")]
    for cable in cables:
        names: list[str] = []
        for side in (cable.near, cable.far):
            home = plant.connectors.get(side[0]) if side else None
            if home is None:
                continue
            name = f"L{len(mates) + 1}"
            names.append(name)
            mates[name] = ""
            first.setdefault(cable.name, name)
            finds.append(_end(name, cable, home.type.name, _hangs(home.bay, bays, draw), draw))
            finds.append(FreePlace(name=home.name, bay=home.bay, shelf=home.shelf, connector=home.type.name,
                                   gender="socket"))  # fmt: skip
        if len(names) == 2:
            mates[names[0]], mates[names[1]] = names[1], names[0]
        if draw.random() < 0.75:
            finds.append(_line(f"D{len(finds)}", plant, cable))
    # two were sawn off where the cables enter; their stumps hang there, and nobody knows which bay that counts as
    for cable in [cable for cable in cables if cable.name in first and not mates[first[cable.name]]][:STUMPS]:
        name = f"L{len(mates) + 1}"
        other = first[cable.name]
        mates[name], mates[other] = other, name
        stump = _end(name, cable, "", "", draw)
        finds.append(msgspec.structs.replace(stump, position="at the cable entry", gender="", state="cut", label=""))
    # places are noted once, however many cables end there
    seen: dict[str, Find] = {}
    for find in finds:
        seen.setdefault(find.name, find)
    return list(seen.values()), mates


def _hangs(bay: str, bays: list[str], draw: random.Random) -> str:
    if draw.random() > 0.1 or bay not in bays:
        return bay
    at = bays.index(bay) + draw.choice([-1, 1])
    return bays[min(max(at, 0), len(bays) - 1)]


def _end(name: str, cable: Cable, connector: str, bay: str, draw: random.Random) -> LooseEnd:
    kind = cable.type
    metres = cable.length_m * draw.gauss(1.0, 0.03)
    by_eye = draw.random() < 0.3
    if by_eye:
        metres = cable.length_m * draw.gauss(1.0, 0.2)
    bare = connector in ("", "B24")
    return LooseEnd(
        name=name,
        bay=bay,
        position="at the back" if draw.random() < 0.3 else "",
        connector="" if bare else connector,
        gender="" if bare else "plug",
        jacket="blue" if kind.screen else "grey" if kind.pairs else "black",
        conductors=kind.count if draw.random() < 0.6 else None,
        colours="pair-code" if kind.pairs else "numbered" if kind.colours == "numbered" else "letters",
        label="" if draw.random() < 0.3 else "".join(_sign(sign, draw) for sign in cable.name),
        length=Length(round(max(metres, 0.5), 1)) if draw.random() < 0.85 else None,
        length_by="eye" if by_eye else "tape",
        tray=cable.sections[0].split(".")[0] if cable.sections else "",
        state="pulled",
    )


def _sign(sign: str, draw: random.Random) -> str:
    chance = draw.random()
    if chance < 0.1:
        return "?"
    return draw.choice(_ALIKE[sign]) if chance < 0.15 and sign in _ALIKE else sign


def _line(name: str, plant: Plant, cable: Cable) -> ListLine:
    bays, places = [], []
    for side in (cable.near, cable.far):
        home = plant.connectors.get(side[0]) if side else None
        bays.append(home.bay if home else "")
        places.append(home.name if home else "")
    return ListLine(
        name=name, document="cable list of 1974", label=cable.name, from_bay=bays[0], to_bay=bays[1],
        from_place=places[0], to_place=places[1], conductors=cable.type.count,
    )  # fmt: skip


def survey_pile(folder: Path, plant: Plant, seed: int) -> Path:
    """Write the record of the survey: three evenings of finds, then trips until nearly all ends are sure.

    Args:
        folder: of the records.
        plant: what is true.
        seed: of everything that people did.

    Returns:
        The record.

    Raises:
        FileExistsError: there is a survey already.
    """
    path = folder / SURVEY
    if path.exists():
        raise FileExistsError(f"{path} is there already; a record is never overwritten")
    finds, mates = loose_pile(plant, seed)
    draw = random.Random(seed + 1)
    now = [BEGINS]
    with SurveyWriter(path, plant.name, Hall(bays=list(plant.bays)), "Ines", lambda: now[0]) as writer:
        for number, find in enumerate(finds):
            by = ("Ines", "Tomas")[number % 2]
            writer.write(Saw(find=find, by=by))
            now[0] += timedelta(minutes=draw.choice([1, 2, 2, 3]))
            if now[0].hour >= 22:
                now[0] = (now[0] + timedelta(days=2)).replace(hour=18, minute=draw.randrange(20))
        writer.write(Remarked(text="all of bay 7 was bundled with no labels when the desk was moved", by="Tomas"))
        here = ""
        for _ in range(_MOST_TRIPS):
            answer = Answer(Pile.of([kept.find for kept in writer.survey.finds.values()], writer.survey.hall,
                                    writer.survey.tries.values()))  # fmt: skip
            sure = sum(standing.sure for standing in answer.standings)
            trips = next_trips(answer, here=here, most=1)
            if sure >= _GOAL * len(mates) or not trips or not trips[0].touches:
                break
            now[0] += timedelta(minutes=trips[0].minutes)
            for _, name, tagged in trips[0].touches:
                tried = _tried(mates, name, tagged, draw)
                writer.write(TriedIt(tried=tried, by="Ines"))
            here = trips[0].last_bay
    return path


def _tried(mates: Mapping[str, str], touched: str, tagged: tuple[str, ...], draw: random.Random) -> Tried:
    """What touching an end says, which is untrue once in five hundred."""
    answer = mates[touched] if mates[touched] in tagged else ""
    if draw.random() < 0.002:
        answer = draw.choice(tagged)
    return Tried(touched=touched, among=list(tagged), answer=answer, way="ring" if len(tagged) == 1 else "tags")
