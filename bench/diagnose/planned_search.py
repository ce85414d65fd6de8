"""A planner's dialogue as the steps of a search.

A planner (:mod:`bench.diagnose.planner`) speaks of conductors and flags at the two ends of a cable; a walk speaks of
places that a probe can touch. This is the translation: cards become acts with all clips and tags that are on after
them, measurements become readings between two places with the rest of each side joined on a bar.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Generic, TypeVar

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.planner import Answer, Card, Clear, Clip, Done, End, Fit, Planner, SetUp
from bench.diagnose.planner import Measure as Wish
from bench.quantity import Amount, Duration, Resistance
from bench.roles import Reads
from bench.sequence.file import NO_LIMIT, Do, Limit, Measure, Rig, Tag
from bench.walk.seeking import Link

R = TypeVar("R")

ANY: Limit = Limit(at_least=Amount(0.0, "Ω"), source=NO_LIMIT)
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
        limit: what a reading is held against.
        joined: the same where the planner asks for yes or no: what passes is apart.
        tester: where the planner asks for yes or no, a person says whether a continuity tester beeps.
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
    joined: Limit | None = None
    tester: bool = False
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
        stopped: why it ended before its time; empty where it did not.
    """

    want: Do | Measure | None
    result: R | None
    readings: int
    stopped: str = ""


@dataclass
class _Dialogue:
    """A planner on its way along a trail."""

    planner: Planner[Any]
    clips: dict[End, list[Clip | Fit]] = field(default_factory=lambda: {"near": [], "far": []})
    trail: list[Link] = field(default_factory=list)
    readings: int = 0
    skipped: bool = False
    stopped: str = ""

    def goes_to(self, trail: Sequence[Link]) -> bool:
        """Whether a trail begins with the one that was followed so far."""
        return len(self.trail) <= len(trail) and all(a is b for a, b in zip(self.trail, trail, strict=False))


KEPT: Final = 4
"""So many dialogues are kept where they stand: a search asks again after each answer."""
_followed: dict[Hashable, _Dialogue] = {}
_lock = threading.Lock()


def reached(planner: Planner[R], trail: Sequence[Link], words: Translation, key: Hashable | None = None) -> Reached[R]:
    """Follow a dialogue along a trail.

    A reading that the plan cannot do without is asked for again when it was skipped; skipped twice it ends the
    dialogue.

    Args:
        planner: the dialogue at its beginning.
        trail: what was asked for in it and answered, oldest first.
        words: how it is spoken.
        key: what the dialogue follows from. With it the dialogue is kept where it stands, so that asking again costs
            no more than what came since.

    Raises:
        DiagnoseError: the trail does not follow from the plan.
    """
    with _lock:
        known = _followed.pop(key, None) if key is not None else None
    # a trail that is shorter or other than before: something was taken back, and all is followed again
    at = known if known is not None and known.goes_to(trail) else _Dialogue(planner)
    for link in trail[len(at.trail) :]:
        _follow(at, link, words)
        at.trail.append(link)
    request = at.planner.next()
    if key is not None:
        with _lock:
            _followed[key] = at
            while len(_followed) > KEPT:
                del _followed[next(iter(_followed))]
    if at.stopped or isinstance(request, Done):
        return Reached(None, request.result if isinstance(request, Done) else None, at.readings, at.stopped)
    if isinstance(request, SetUp):
        clips = {end: list(ones) for end, ones in at.clips.items()}
        _apply(clips, request.card)
        title, text = words.card_title(request.card), words.card_text(request.card)
        return Reached(Do(title=title, text=_again(at, text), rig=_rig(clips, words)), None, at.readings)
    want = _asked(request, words)
    return Reached(msgspec.structs.replace(want, text=_again(at, want.text)), None, at.readings)


def _again(at: _Dialogue, text: str) -> str:
    if not at.skipped:
        return text
    return f"It was skipped, and the plan cannot go on without it; skipped again, it ends the search.\n{text}".strip()


def _follow(at: _Dialogue, link: Link, words: Translation) -> None:
    request = at.planner.next()
    if at.stopped or isinstance(request, Done):
        raise DiagnoseError("the trail goes on where the plan had ended; begin the search anew")
    asked = link.want
    if isinstance(request, SetUp):
        clips = {end: list(ones) for end, ones in at.clips.items()}
        _apply(clips, request.card)
        if not isinstance(asked, Do) or asked.rig != _rig(clips, words):
            raise _other()
        if link.outcome.verdict == "skipped":
            _missed(at, "clips were not put on")
            return
        at.clips = clips
        at.planner, at.skipped = at.planner.take(Answer(request.number)), False
        return
    wanted = _asked(request, words)
    if type(asked) is not type(wanted) or _places(asked) != _places(wanted):
        raise _other()
    if link.reading is not None or link.beeped is not None:
        at.readings += 1
    elif request.wants == "joined":
        _missed(at, "whether ends are joined was not read")
        return
    at.planner, at.skipped = at.planner.take(Answer(request.number, _value(request, link, words))), False


def _missed(at: _Dialogue, what: str) -> None:
    at.stopped = f"{what}, twice asked" if at.skipped else ""
    at.skipped = True


def _other() -> DiagnoseError:
    return DiagnoseError(
        "what was asked for before does not follow from this plan: the bench, the plant or the settings are others "
        "now; go to the step before the search, and begin it anew"
    )


def _value(request: Wish, link: Link, words: Translation) -> float | bool | None:
    if request.wants == "ohms":
        ohms = words.ohms(link)
        # the leads' zero may leave a little less than nothing
        return None if ohms is None else max(0.0, ohms)
    if link.beeped is not None:
        return link.beeped
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


def _places(asked: Do | Measure) -> tuple[tuple[str, str] | None, list[list[str]]]:
    """The two places that are looked at, and what is joined meanwhile."""
    return asked.beeps if isinstance(asked, Do) else asked.between, asked.join


def _asked(request: Wish, words: Translation) -> Do | Measure:
    """A planner's measurement as a reading, or as a question to whoever holds a tester."""
    red = [words.place(request.end, name) for name in request.red]
    black = [words.place(request.end, name) for name in request.black]
    join = [side for side in (red, black) if len(side) > 1]
    if words.tester and request.wants == "joined":
        text = words.text(red, black)
        return Do(title=words.title(red, black), text=text, beeps=(red[0], black[0]), join=join)
    return Measure(
        title=words.title(red, black),
        text=words.text(red, black),
        read=words.read,
        wires=4 if words.wires == 4 else 2,
        at=words.at,
        after=words.after,
        between=(red[0], black[0]),
        join=join,
        limit=words.limit if request.wants == "ohms" or words.joined is None else words.joined,
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
