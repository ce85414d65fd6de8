"""What the job screen shows at one moment, what every page lists, and which key does what there. Pure functions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final, Literal, TypeVar

import msgspec

from bench.job.readiness import STATUSES, Status, Task, ThingState
from bench.job.study import Study
from bench.screens.job.data import BenchLine, Cables, Changes, EndLine, RecordLine, SequenceLine, Survey, Traced
from bench.screens.program.moment import Moment

Page = Literal[
    "start", "ready", "next", "sequences", "records", "changes", "cables", "bench", "record", "trace", "series", "told"
]
TABS: Final[tuple[Page, ...]] = ("start", "ready", "next", "sequences", "records", "changes", "cables")
"""The pages that a figure key leads to from anywhere."""
TITLES: Final[dict[Page, str]] = {
    "start": "start",
    "ready": "readiness",
    "next": "next",
    "sequences": "sequences",
    "records": "records",
    "changes": "changes",
    "cables": "cables",
    "bench": "which bench",
    "record": "record",
    "trace": "trace",
    "series": "what was read",
    "told": "what came of it",
}
FILTERS: Final[tuple[Status | Literal["all", "open"], ...]] = ("all", "open", *STATUSES)
"""What the readiness page lists, one after the other."""
KINDS: Final = ("all", "shelf", "feed", "cable", "bond")


ORDERS: Final[dict[Page, tuple[str, ...]]] = {
    "ready": ("as in the plant", "worst first", "by name"),
    "next": ("what clears most first", "what failed first", "by kind"),
    "sequences": ("by file", "by name", "shortest first"),
    "records": ("newest first", "what failed first", "by sequence"),
    "changes": ("what changed most first", "newest first", "by name"),
    "cables": ("open first", "by name"),
}
"""How the lines of a page can be sorted; the first is how they come."""


class Place(msgspec.Struct, frozen=True):
    """Where one is.

    Attributes:
        page: which page.
        about: which sequence, record or point; empty for a page that there is one of.
    """

    page: Page
    about: str = ""


V = TypeVar("V")
Value = Task | ThingState | SequenceLine | RecordLine | BenchLine | EndLine | Study | int


class Item(msgspec.Struct, frozen=True):
    """A line that the cursor can stand on.

    Attributes:
        value: what it shows; a number stands for that many more on a page of their own.
        does: what Enter does there; see :mod:`bench.screens.job.keys`.
        words: what it can be found by.
        number: its place in its list, from 1.
        page: the list that it belongs to.
    """

    value: Value
    does: str
    words: str
    number: int
    page: Page


class JobView(Moment, frozen=True, kw_only=True, dict=True):
    """One moment of the job screen.

    Attributes:
        survey: the job; None until it was read.
        top: lines of each list on the start page.
        place: where one is.
        behind: where one came from, the latest last.
        cursors: page to the line that the cursor stands on.
        status: what the readiness page lists.
        kind: of which kind.
        find: what is looked for in a list; typed.
        typing: whether it is being typed.
        orders: page to how its lines are sorted, one of :data:`ORDERS`.
        told: what was told of a record or of two, line by line.
        traces: what was traced.
        changes: what changed most; None until it was looked for.
        cables: what the pile of cables comes to; None until it was worked out.
        card: whether the next trip's card is shown in place of what is known of an end.
        series: which series of a point is shown.
        reading: which reading of it is pointed at; None: the first bad one.
    """

    survey: Survey | None = None
    top: int = 2
    place: Place = Place("start")
    behind: tuple[Place, ...] = ()
    cursors: Mapping[Page, int] = msgspec.field(default_factory=lambda: MappingProxyType({}))
    status: str = "all"
    kind: str = "all"
    find: str = ""
    typing: bool = False
    orders: Mapping[Page, str] = msgspec.field(default_factory=lambda: MappingProxyType({}))
    told: tuple[str, ...] = ()
    traces: Mapping[str, Traced] = msgspec.field(default_factory=lambda: MappingProxyType({}))
    changes: Changes | None = None
    cables: Cables | None = None
    card: bool = False
    series: int = 0
    reading: int | None = None

    @property
    def traced(self) -> Traced | None:
        """The trace of the point that one is at; None until it was worked out."""
        return self.traces.get(self.place.about) if self.place.page in ("trace", "series") else None

    @property
    def study(self) -> Study | None:
        """The series that is shown."""
        traced = self.traced
        if traced is None or not traced.studies:
            return None
        return traced.studies[min(self.series, len(traced.studies) - 1)]

    @property
    def pointed(self) -> int:
        """Which reading of the series is pointed at; the first bad one where none was chosen."""
        study = self.study
        if study is None:
            return 0
        if self.reading is not None:
            return max(0, min(self.reading, len(study.rows) - 1))
        if study.window is not None and study.window.first_bad in study.rows:
            return study.rows.index(study.window.first_bad)
        return max(0, len(study.rows) - 1)

    @property
    def record(self) -> RecordLine | None:
        """The record that one is at."""
        if self.survey is None or self.place.page != "record":
            return None
        return next((one for one in self.survey.records if one.path == self.place.about), None)

    @cached_property
    def items(self) -> list[Item]:
        """Everything that the page lists, in order, as far as it is looked for."""
        return _items(self)

    @property
    def cursor(self) -> int:
        """The line that the cursor stands on; 0 on an empty list."""
        return max(0, min(self.cursors.get(self.place.page, 0), len(self.items) - 1))

    @property
    def order(self) -> str:
        """How the lines of this page are sorted; empty where they come in one way only."""
        page = self.place.page
        return self.orders.get(page, ORDERS[page][0]) if page in ORDERS else ""

    @property
    def item(self) -> Item | None:
        """What the cursor stands on."""
        listed = self.items
        return listed[self.cursor] if listed else None


def _items(view: JobView) -> list[Item]:
    survey = view.survey
    if survey is None:
        return []
    if view.place.page == "start":
        return _start(view, survey)
    sought = view.find.casefold().split()
    found = listed(view, survey, view.place.page)
    return [one for one in found if all(word in one.words for word in sought)] if sought else found


def listed(view: JobView, survey: Survey, page: Page) -> list[Item]:
    """All lines of a page's list."""
    match page:
        case "ready":
            things = _sorted(view, page, [one for one in survey.ready.things if _wanted(view, one)])
            return _numbered(page, ((one, f"trace {one.name}", _thing_words(one)) for one in things))
        case "next":
            tasks = _sorted(view, page, survey.ready.tasks)
            return _numbered(page, ((one, f"draft {one.kind} {one.about}".strip(), one.text) for one in tasks))
        case "sequences":
            return _numbered(
                page, ((one, f"choose {one.path}", one.name) for one in _sorted(view, page, survey.sequences))
            )
        case "records":
            records = _sorted(view, page, survey.records)
            return _numbered(page, ((one, f"record {one.path}", _record_words(one)) for one in records))
        case "changes":
            studies = _sorted(view, page, view.changes.studies if view.changes is not None else ())
            return _numbered(
                page, ((one, f"trace {first_name(one.subject)}", f"{one.subject} {one.key.text}") for one in studies)
            )
        case "cables":
            ends = _sorted(view, page, view.cables.ends if view.cables is not None else ())
            return _numbered(page, ((one, "card", f"{one.name} {one.where} {one.fits}") for one in ends))
        case "series":
            traced = view.traced
            shown = enumerate(traced.studies) if traced is not None else ()
            return _numbered(page, ((one, f"series {n}", f"{one.subject} {one.key.text}") for n, one in shown))
        case "bench":
            return _numbered(page, ((one, f"walk {one.path}", one.name) for one in _fitting(view, survey)))
        case _:
            return []


def _sorted(view: JobView, page: Page, found: Iterable[V]) -> list[V]:
    """Lines in the order that was chosen; those that are alike stay as they came."""
    key = _KEYS.get((page, view.orders.get(page, "")))
    return list(found) if key is None else sorted(found, key=key)


def _failed(one: Task) -> bool:
    return not any(claim.status == "failing" for claim in one.claims)


def _lost(one: RecordLine) -> tuple[int, ...]:
    counts = dict(one.counts)
    return tuple(-counts.get(verdict, 0) for verdict in ("fail", "undecided", "void"))


def _since(one: Study) -> str:
    return one.window.first_bad.at if one.window is not None else one.rows[-1].at if one.rows else ""


_KEYS: Final[dict[tuple[Page, str], Callable[[Any], Any]]] = {
    ("ready", "worst first"): lambda one: STATUSES.index(one.status) if one.status in STATUSES else len(STATUSES),
    ("ready", "by name"): lambda one: one.name,
    ("next", "what failed first"): _failed,
    ("next", "by kind"): lambda one: one.kind,
    ("sequences", "by name"): lambda one: one.name.casefold(),
    ("sequences", "shortest first"): lambda one: (bool(one.wrong), one.steps),
    ("records", "what failed first"): _lost,
    ("records", "by sequence"): lambda one: one.sequence.casefold(),
    ("changes", "newest first"): lambda one: tuple(-ord(sign) for sign in _since(one)),
    ("changes", "by name"): lambda one: one.subject,
    ("cables", "by name"): lambda one: one.name,
}
"""What lines are sorted by in each order but the first."""


def _fitting(view: JobView, survey: Survey) -> list[BenchLine]:
    """The benches: those that fit the chosen sequence first, real ones before simulated ones."""
    chosen = next((one for one in survey.sequences if one.path == view.place.about), None)

    def last(one: BenchLine) -> tuple[bool, bool, bool]:
        return bool(one.wrong), chosen is not None and bool(one.lacks(chosen)), one.simulated

    return sorted(survey.benches, key=last)


def _numbered(page: Page, found: Iterable[tuple[Value, str, str]]) -> list[Item]:
    return [Item(value, does, words.casefold(), n, page) for n, (value, does, words) in enumerate(found, 1)]


def _start(view: JobView, survey: Survey) -> list[Item]:
    """What fails, and the first few of each list; where there are more, a line that leads to them."""
    found: list[Item] = []
    failing = [one for one in survey.ready.things if one.status == "failing"]
    wholes: dict[Page, list[Item]] = {
        "ready": _numbered("ready", ((one, f"trace {one.name}", _thing_words(one)) for one in failing))
    }
    pages: tuple[Page, ...] = ("next", "sequences", "records")
    wholes |= {page: listed(view, survey, page) for page in pages}
    for page, whole in wholes.items():
        found += whole[: view.top]
        if len(whole) > view.top:
            more = len(whole) - view.top
            does = "status failing" if page == "ready" else f"go {page}"
            found.append(Item(more, does, "", view.top + 1, page))
    return found


def goal(task: Task) -> str:
    """What is traced for a task: what it is about, else the first thing that is not proven."""
    return task.about or first_name(next((one.claim.about for one in task.claims), ""))


def _thing_words(one: ThingState) -> str:
    return f"{one.kind} {one.name} {one.title} {one.status}"


def _record_words(one: RecordLine) -> str:
    return f"{one.name} {one.sequence} {one.operator} {one.told}"


def first_name(about: str) -> str:
    """What is traced for something that is between two places: the first of them."""
    return about.partition("~")[0]


def _wanted(view: JobView, one: ThingState) -> bool:
    """Whether the readiness page lists a thing: it has any claim that stands as is asked for."""
    if view.kind not in ("all", one.kind):
        return False
    match view.status:
        case "all":
            return True
        case "open":
            return one.status != "proven"
        case "proven":
            return one.status == "proven"
        case _:
            return view.status in one.counts or one.status == view.status
