"""A script at the two ends of a cable, spoken as a search.

A script (:mod:`bench.diagnose.script`) speaks of conductors and flags; a walk speaks of places that a probe can touch.
Cards become acts with all clips and tags that are on after them, probes become readings between two places with the
rest of each side joined on a bar.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from typing import Generic, TypeVar

import msgspec

from bench.diagnose.script import Card, Clear, Clip, End, Fit, Probe, Script, SetUp, Value
from bench.quantity import Amount, Duration, Resistance
from bench.roles import Reads
from bench.sequence.file import NO_LIMIT, Do, Limit, Measure, Rig, Tag
from bench.walk.seeking import Answer, Trail, Wanted

R = TypeVar("R")
Clips = dict[End, tuple[Clip | Fit, ...]]

ANY: Limit = Limit(at_least=Amount(0.0, "Ω"), source=NO_LIMIT)
"""For a reading that is not held against anything."""
SKIPPED = "It was skipped, and the plan cannot go on without it; skipped again, it ends the search."


def _as_read(answer: Answer) -> float | None:
    return answer.ohms


def _no_words(red: Sequence[str], black: Sequence[str]) -> str:
    return ""


def _card_text(card: Card) -> str:
    return "\n".join(card.lines())


def _card_title(card: Card) -> str:
    return f"Clips at the {card.end} end"


class Speech(msgspec.Struct, frozen=True):
    """How a script is spoken at the rack.

    Attributes:
        place: an end and a name of the script's to a place that a probe can touch; a floating point keeps its name.
        read: what is read.
        wires: of a resistance.
        at: test voltage of an insulation reading.
        after: how long an insulation reading runs.
        limit: what a reading is held against.
        joined: the same where the script asks for yes or no: what passes is apart.
        tester: where the script asks for yes or no, a person says whether a continuity tester beeps.
        ohms: what a reading gives the script; by default the value read.
        title: words for a reading, given its places: red side, black side.
        text: more of them.
        card_text: words for a card.
        card_title: a few words for a card.
    """

    place: Callable[[End, str], str]
    read: Reads = "resistance"
    wires: int = 2
    at: Amount | None = None
    after: Duration | None = None
    limit: Limit = ANY
    joined: Limit | None = None
    tester: bool = False
    ohms: Callable[[Answer], float | None] = _as_read
    title: Callable[[Sequence[str], Sequence[str]], str] = _no_words
    text: Callable[[Sequence[str], Sequence[str]], str] = _no_words
    card_text: Callable[[Card], str] = _card_text
    card_title: Callable[[Card], str] = _card_title


class Ended(msgspec.Struct, Generic[R], frozen=True):
    """The end of a script.

    Attributes:
        result: what it concludes; None where it was stopped.
        trail: all acts and readings.
        stopped: why it ended before its time; empty where it did not.
    """

    result: R | None
    trail: Trail
    stopped: str = ""

    @property
    def readings(self) -> int:
        """How many readings were taken."""
        return sum(answer.counts for answer in self.trail)


def spoken(
    script: Script[R], speech: Speech, say: Callable[[Do | Measure, Sequence[Answer]], Wanted]
) -> Generator[Wanted, Answer, Ended[R]]:
    """A script as part of a search that begins at nothing.

    A reading that the script cannot do without is asked for again when it was skipped; skipped twice it ends the
    script.

    Args:
        script: at its beginning.
        speech: how it is spoken.
        say: what else is told with an act or reading, given it and what came before.
    """
    clips: Clips = {"near": (), "far": ()}
    trail: list[Answer] = []
    value: Value = None
    while True:
        try:
            request = script.send(value)
        except StopIteration as end:
            return Ended(end.value, tuple(trail))
        if isinstance(request, SetUp):
            clips = _clipped(clips, request.card)
            title, text = speech.card_title(request.card), speech.card_text(request.card)
            act: Do | Measure = Do(title=title, text=text, rig=_rig(clips, speech))
        else:
            act = _probed(request, speech)
        answer = yield say(act, trail)
        trail.append(answer)
        if _is_missing(request, answer):
            again = msgspec.structs.replace(act, text=f"{SKIPPED}\n{act.text}".strip())
            answer = yield say(again, trail)
            trail.append(answer)
            if _is_missing(request, answer):
                what = "clips were not put on" if isinstance(request, SetUp) else "whether ends are joined was not read"
                return Ended(None, tuple(trail), f"{what}, twice asked")
        value = None if isinstance(request, SetUp) else _value(request, answer, speech)


def _is_missing(request: SetUp | Probe, answer: Answer) -> bool:
    """Whether the script cannot go on with what came back."""
    if isinstance(request, SetUp):
        return answer.skipped
    return request.wants == "joined" and not request.again and not answer.counts


def _value(request: Probe, answer: Answer, speech: Speech) -> float | bool | None:
    if request.wants == "ohms":
        ohms = speech.ohms(answer)
        # the leads' zero may leave a little less than nothing
        return None if ohms is None else max(0.0, ohms)
    if answer.beeped is not None:
        return answer.beeped
    if not answer.counts:
        return None  # a second look that was skipped
    # what straddles the limit counts as joined, so that it is looked at more closely
    return answer.outcome.verdict != "pass"


def _clipped(clips: Clips, card: Card) -> Clips:
    """What is on at both ends after a card."""
    on = clips[card.end]
    for step in card.steps:
        on = () if isinstance(step, Clear) else (*on, step)
    return {**clips, card.end: on}


def _rig(clips: Clips, speech: Speech) -> Rig:
    join: list[list[str]] = []
    tags: list[Tag] = []
    for end, steps in clips.items():
        for step in steps:
            if isinstance(step, Clip):
                join.append([speech.place(end, name) for name in step.members])
            else:
                place, to = speech.place(end, step.conductor), speech.place(end, step.to)
                tags.append(Tag(place=place, to=to, ohms=Resistance(step.ohms)))
    return Rig(join=join, tags=tags)


def _probed(request: Probe, speech: Speech) -> Do | Measure:
    """Two sides as a reading, or as a question to whoever holds a tester."""
    red = [speech.place(request.end, name) for name in request.red]
    black = [speech.place(request.end, name) for name in request.black]
    join = [side for side in (red, black) if len(side) > 1]
    title, text, between = speech.title(red, black), speech.text(red, black), (red[0], black[0])
    if speech.tester and request.wants == "joined":
        return Do(title=title, text=text, beeps=between, join=join)
    return Measure(
        title=title,
        text=text,
        read=speech.read,
        wires=4 if speech.wires == 4 else 2,
        at=speech.at,
        after=speech.after,
        between=between,
        join=join,
        limit=speech.limit if request.wants == "ohms" or speech.joined is None else speech.joined,
    )
