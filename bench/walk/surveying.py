"""A survey as a record: what somebody found, the results of tries, and what was taken back; and the fold over it.

A survey is a walk whose events are finds. It has no steps and no end: whoever is in the hall adds what is seen, in any
order, over weeks. So its machine is small:

* the first event begins it; then any event may follow any other;
* a find with a name that is there already corrects it: the newest one counts, all are kept;
* what was withdrawn counts no more until it is found again;
* a try names finds that are there; one that was taken back counts no more.

As everywhere, events hold facts only. What they mean is worked out by :mod:`bench.diagnose.survey` when asked, so the
same record read with better rates gives a better answer.

Evolution: a new field has a default, a field is never renamed or given another meaning, and an event type is never
removed.
"""

from __future__ import annotations

from typing import Final

import msgspec
from msgspec.structs import replace

from bench.plant.finds import Find, FreePlace, Hall, ListLine, LooseEnd, Tried

SURVEY_FORMAT: Final = 1
"""The format version of a survey's record."""


class NotNow(ValueError):
    """An event does not fit what was found so far."""


class _Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="is", omit_defaults=True):
    pass


class SurveyBegan(_Event, frozen=True, kw_only=True, tag="survey-began"):
    """A survey began."""

    format: int = SURVEY_FORMAT
    software: str
    plant: str
    """The plant's name: a survey belongs to one."""
    hall: Hall
    by: str = ""


class Walled(_Event, frozen=True, kw_only=True, tag="hall"):
    """Where the bays stand is known better now."""

    hall: Hall
    by: str = ""


class Saw(_Event, frozen=True, kw_only=True, tag="saw"):
    """Something was found, or is described anew."""

    find: Find
    by: str = ""
    how: str = ""
    """Where it comes from: empty for what was typed at the rack, else the file that it was taken from."""


class Withdrew(_Event, frozen=True, kw_only=True, tag="withdrew"):
    """A find is none: noted twice, or not there."""

    name: str
    why: str
    by: str = ""


class TriedIt(_Event, frozen=True, kw_only=True, tag="tried"):
    """Ends were held against each other with a tester, by tags, or by a pull."""

    tried: Tried
    by: str = ""


class TookBack(_Event, frozen=True, kw_only=True, tag="took-back"):
    """A try does not count: the wrong end was touched."""

    n: int
    """The event that noted it."""
    why: str = ""
    by: str = ""


class Remarked(_Event, frozen=True, kw_only=True, tag="remarked"):
    """A remark."""

    text: str
    by: str = ""


class TookIn(_Event, frozen=True, kw_only=True, tag="took-in"):
    """Another survey of the same plant was taken in: the events that follow are its own."""

    source: str
    """What its record is called."""
    sha256: str
    """Of its last line that was taken in."""
    n: int
    """The number of that line's event there."""
    events: int
    """How many events follow that came from there."""
    renamed: dict[str, str] = {}
    """Names there to the names here, where something else was called so."""
    tries: dict[int, int] = {}
    """Numbers of its tries there to their numbers here."""
    by: str = ""


class TornEnd(_Event, frozen=True, kw_only=True, tag="mended"):
    """The record's torn end was set aside after a crash."""

    bytes: int
    sha256: str
    kept: str


SurveyEvent = SurveyBegan | Walled | Saw | Withdrew | TriedIt | TookBack | Remarked | TookIn | TornEnd


class SurveyEntry(msgspec.Struct, frozen=True, kw_only=True):
    """An event of a survey in its envelope."""

    n: int
    """Counts from 1 in each record."""
    at: str
    """Time of day, UTC, ISO 8601 with microseconds and a Z."""
    event: SurveyEvent


class KeptFind(msgspec.Struct, frozen=True):
    """A find with who noted it.

    Attributes:
        find: what was seen.
        n: the event's number.
        at: time of day.
        by: who.
        how: the file that it was taken from, if any.
    """

    find: Find
    n: int
    at: str
    by: str
    how: str = ""


class Survey(msgspec.Struct, frozen=True):
    """What a survey holds at a moment.

    Attributes:
        began: how it began; None before.
        hall: where the bays stand.
        finds: name to what counts of it.
        before: name to what was said of it before, the oldest first.
        withdrawn: name to why it is no find.
        tries: event number to the result of a try; those taken back are not among them.
        remarks: time, who, text.
        last: number of the last event.
    """

    began: SurveyBegan | None = None
    hall: Hall = msgspec.field(default_factory=lambda: Hall(bays=[]))
    finds: dict[str, KeptFind] = msgspec.field(default_factory=dict)
    before: dict[str, tuple[KeptFind, ...]] = msgspec.field(default_factory=dict)
    withdrawn: dict[str, str] = msgspec.field(default_factory=dict)
    tries: dict[int, Tried] = msgspec.field(default_factory=dict)
    remarks: tuple[tuple[str, str, str], ...] = ()
    last: int = 0

    def of(self, kind: type[LooseEnd] | type[FreePlace] | type[ListLine]) -> list[Find]:
        """The finds of one kind, in the order in which they were first noted."""
        return [kept.find for kept in self.finds.values() if isinstance(kept.find, kind)]

    def free_name(self, kind: type[LooseEnd] | type[FreePlace] | type[ListLine]) -> str:
        """A name that nothing has yet: ``L12`` for the next loose end."""
        letter = {LooseEnd: "L", FreePlace: "P", ListLine: "D"}[kind]
        taken = {*self.finds, *self.before, *self.withdrawn}
        number = 1
        while f"{letter}{number}" in taken:
            number += 1
        return f"{letter}{number}"


def add(survey: Survey, entry: SurveyEntry) -> Survey:
    """The survey after one more event.

    Args:
        survey: before it.
        entry: the event in its envelope.

    Raises:
        NotNow: it does not fit what is there.
    """
    event, n = entry.event, entry.n
    if n != survey.last + 1:
        raise NotNow(f"event {n} stands where event {survey.last + 1} belongs")
    if isinstance(event, SurveyBegan) is not (n == 1):
        raise NotNow("a survey begins once, with its first event")
    return replace(_taken(survey, entry), last=n)


def _taken(survey: Survey, entry: SurveyEntry) -> Survey:
    event = entry.event
    if isinstance(event, SurveyBegan):
        return replace(survey, began=event, hall=event.hall)
    if isinstance(event, Walled):
        return replace(survey, hall=event.hall)
    if isinstance(event, Saw):
        return _saw(survey, KeptFind(event.find, entry.n, entry.at, event.by, event.how))
    if isinstance(event, Withdrew):
        if event.name not in survey.finds:
            raise NotNow(f"nothing was found by the name of '{event.name}'")
        kept = survey.finds[event.name]
        return replace(
            survey,
            finds={name: other for name, other in survey.finds.items() if name != event.name},
            before={**survey.before, event.name: (*survey.before.get(event.name, ()), kept)},
            withdrawn={**survey.withdrawn, event.name: event.why},
        )
    if isinstance(event, TriedIt):
        for name in (event.tried.touched, *event.tried.among):
            if name not in survey.finds:
                raise NotNow(f"nothing was found by the name of '{name}'")
        if event.tried.touched in event.tried.among:
            raise NotNow(f"'{event.tried.touched}' cannot be touched and tagged at once")
        return replace(survey, tries={**survey.tries, entry.n: event.tried})
    if isinstance(event, TookBack):
        if event.n not in survey.tries:
            raise NotNow(f"event {event.n} is no try that counts")
        return replace(survey, tries={n: tried for n, tried in survey.tries.items() if n != event.n})
    if isinstance(event, Remarked):
        return replace(survey, remarks=(*survey.remarks, (entry.at, event.by, event.text)))
    return survey


def _saw(survey: Survey, kept: KeptFind) -> Survey:
    name = kept.find.name
    if not name or name != name.strip():
        raise NotNow("a find needs a name without blanks around it")
    there = survey.finds.get(name)
    if there is not None and type(there.find) is not type(kept.find):
        raise NotNow(f"'{name}' is a {kind_of(there.find)} already")
    before = survey.before
    if there is not None:
        before = {**before, name: (*before.get(name, ()), there)}
    return replace(
        survey,
        finds={**survey.finds, name: kept},
        before=before,
        withdrawn={other: why for other, why in survey.withdrawn.items() if other != name},
    )


def kind_of(find: Find) -> str:
    """What a find is, in words."""
    return {LooseEnd: "loose end", FreePlace: "free place", ListLine: "line of a list"}[type(find)]
