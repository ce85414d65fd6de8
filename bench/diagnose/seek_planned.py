"""A planner's dialogue as the steps of a search.

A planner (:mod:`bench.diagnose.planner`) speaks of conductors and flags at the two ends of a cable; a walk speaks of
places that a probe can touch. This is the translation: cards become acts with all clips and tags that are on after
them, measurements become readings between two places with the rest of each side joined on a bar.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from bench.diagnose.errors import DiagnoseError
from bench.diagnose.planner import Answer, Card, Clear, Clip, Done, End, Fit, Planner, SetUp
from bench.diagnose.planner import Measure as Wish
from bench.quantity import Amount, Duration, Resistance
from bench.roles import Reads
from bench.sequence.file import Do, Limit, Measure, Rig, Tag
from bench.walk.seeking import Link

R = TypeVar("R")

ANY: Limit = Limit(at_least=Amount(0.0, "Ω"), source="no limit: the value itself is wanted")
"""For a reading that is not held against anything."""


@dataclass(frozen=True)
class Translation:
    """How a dialogue is spoken at the rack.

    Attributes:
        place: an end and a name of the planner's to a place that a probe can touch; a floating point keeps its name.
        read: what is read.
        wires: of a resistance.
        at: test voltage of an insulation reading.
        after: how long an insulation reading runs.
        apart: a resistance at or above this counts as not joined, where the planner asks for yes or no.
        ohms: what a reading gives the planner; by default the value read.
        title: words for a reading, given its places: red side, black side.
        card_text: words for a card.
    """

    place: Callable[[End, str], str]
    read: Reads = "resistance"
    wires: int = 2
    at: Amount | None = None
    after: Duration | None = None
    limit: Limit = ANY
    ohms: Callable[[Link], float | None] = lambda link: link.ohms
    title: Callable[[Sequence[str], Sequence[str]], str] = lambda red, black: ""
    text: Callable[[Sequence[str], Sequence[str]], str] = lambda red, black: ""
    card_text: Callable[[Card], str] = lambda card: "\n".join(card.lines())
    card_title: Callable[[Card], str] = lambda card: f"Clips at the {card.end} end"


@dataclass(frozen=True)
class Reached(Generic[R]):
    """Where a dialogue stands.

    Attributes:
        want: the next act or reading; None at the end.
        result: what came out, at the end.
        readings: readings so far.
    """

    want: Do | Measure | None
    result: R | None
    readings: int


def reached(planner: Planner[R], trail: Sequence[Link], words: Translation) -> Reached[R]:
    """Follow a dialogue along a trail.

    Args:
        planner: the dialogue at its beginning.
        trail: what was asked for in it and answered, oldest first.
        words: how it is spoken.

    Raises:
        DiagnoseError: an answer is of no use to the plan, such as a yes-or-no reading that was skipped.
    """
    clips: dict[End, list[Clip | Fit]] = {"near": [], "far": []}
    readings = 0
    for link in trail:
        request = planner.next()
        if isinstance(request, Done):
            raise DiagnoseError("the trail goes on where the plan had ended")
        if isinstance(request, SetUp):
            if link.outcome.verdict == "skipped":
                raise DiagnoseError("the clips were not put on; without them nothing can be told. Take it back.")
            _apply(clips, request.card)
            planner = planner.take(Answer(request.number))
            continue
        if link.reading is not None:
            readings += 1
        planner = planner.take(Answer(request.number, _value(request, link, words)))
    request = planner.next()
    if isinstance(request, Done):
        return Reached(None, request.result, readings)
    if isinstance(request, SetUp):
        _apply(clips, request.card)
        title, text = words.card_title(request.card), words.card_text(request.card)
        return Reached(Do(title=title, text=text, rig=_rig(clips, words)), None, readings)
    return Reached(_measure(request, words), None, readings)


def _value(request: Wish, link: Link, words: Translation) -> float | bool | None:
    if request.wants == "ohms":
        return words.ohms(link)
    if link.reading is None:
        raise DiagnoseError("whether they are joined was not read, and the plan cannot go on without. Take it back.")
    # what straddles the limit counts as joined: then it is looked at closer
    return link.outcome.verdict != "pass"


def _apply(clips: dict[End, list[Clip | Fit]], card: Card) -> None:
    for one in card.steps:
        if isinstance(one, Clear):
            clips[card.end] = []
        else:
            clips[card.end].append(one)


def _rig(clips: dict[End, list[Clip | Fit]], words: Translation) -> Rig:
    join: list[list[str]] = []
    tags: list[Tag] = []
    for end, ones in clips.items():
        for one in ones:
            if isinstance(one, Clip):
                join.append([words.place(end, name) for name in one.members])
            else:
                places = words.place(end, one.conductor), words.place(end, one.to)
                tags.append(Tag(place=places[0], to=places[1], ohms=Resistance(one.ohms)))
    return Rig(join=join, tags=tags)


def _measure(request: Wish, words: Translation) -> Measure:
    red = [words.place(request.end, name) for name in request.red]
    black = [words.place(request.end, name) for name in request.black]
    return Measure(
        title=words.title(red, black),
        text=words.text(red, black),
        read=words.read,
        wires=4 if words.wires == 4 else 2,
        at=words.at,
        after=words.after,
        between=(red[0], black[0]),
        join=[side for side in (red, black) if len(side) > 1],
        limit=words.limit,
    )


def ohms_of(text: str, name: str) -> float:
    """A resistance from a search's settings.

    Raises:
        DiagnoseError: it is none, or not above zero.
    """
    try:
        value = Resistance.parse(text).value
    except ValueError as error:
        raise DiagnoseError(f"setting '{name}': {error}") from error
    if not 0 < value < math.inf:
        raise DiagnoseError(f"setting '{name}': found {text}, expected more than 0 Ω")
    return value
