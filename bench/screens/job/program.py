"""The job screen as a program: keys become acts, acts change the moment or start work, the moment becomes a picture.

Acts are words with an argument; :mod:`bench.screens.job.keys` says which there are.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from msgspec.structs import replace

from bench.screens.job.copied import copied
from bench.screens.job.data import SequenceLine, Source, Survey, Wish
from bench.screens.job.keys import actions, before_it, keys
from bench.screens.job.paint import paint_job
from bench.screens.job.view import FILTERS, KINDS, ORDERS, JobView, Page, Place
from bench.screens.program.cells import text_of
from bench.screens.program.keys import Action, Key, typed_on
from bench.screens.program.picture import Picture
from bench.screens.program.program import Host, Program, signs_of
from bench.screens.program.prompts import Prompt
from bench.screens.program.work import Tell, Work
from bench.screens.replay.program import ReplayProgram

DEEPEST: Final = 30
"""Places that are remembered to go back to."""
LEAST: Final = 2
"""Lines of each list on the start page, on the lowest screen."""


class JobProgram(Program[JobView]):
    """The screens around the walk.

    Args:
        host: the terminal.
        source: reads the job.
        now: time on the wall, with its zone.
        view: the moment to begin with: where one was before a walk took the screen.

    Attributes:
        wish: what is to be done with the terminal once it was left; None where it was left for good.
    """

    def __init__(self, host: Host, source: Source, now: Callable[[], datetime], view: JobView | None = None) -> None:
        super().__init__(host, replace(view or JobView(), glyphs=signs_of(host.settings), now=now(), working=None))
        self.source, self._now = source, now
        self.wish: Wish | None = None
        self._surveying = False

    def keys_of(self, moment: JobView) -> tuple[Key, ...]:
        """See :func:`bench.screens.job.keys.keys`."""
        return keys(moment)

    def actions(self) -> list[Action]:
        """See :func:`bench.screens.job.keys.actions`."""
        return actions(self.moment)

    def paint(self, cells: int, rows: int) -> Picture:
        """See :func:`bench.screens.job.paint.paint_job`."""
        top = max(LEAST, rows // 3 - 6)
        if self.moment.top != top:
            self.change(top=top)
        return paint_job(self.moment, cells, rows, self.known)

    # what came

    def begin(self) -> None:
        """Read the job."""
        self._read()

    def tick(self) -> None:
        """Take in what came, and the time."""
        now = self._now()
        if now.strftime("%H:%M") != self.moment.now.strftime("%H:%M"):
            self.change(now=now)
        super().tick()

    def start(self, title: str, call: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        """Start work; what was under way is given up."""
        self._surveying = False
        super().start(title, call, then)

    def came(self, work: Work) -> None:
        """Take the result of work; trouble that a person can mend is told."""
        self._surveying = False
        told = self.source.mend(work.error) if isinstance(work.error, Exception) else ""
        if told and self.moment.survey is not None:
            self.change(note=told.replace("\n", "; "))
        else:
            super().came(work)

    def _read(self) -> None:
        def then(survey: Survey) -> None:
            empty: MappingProxyType[str, Any] = MappingProxyType({})
            self.change(survey=survey, traces=empty, changes=None, cables=None)
            self._fetch()

        self.start("reading the job", self.source.survey, then)
        self._surveying = True

    def _fetch(self) -> None:
        """Work out what the page needs and does not have yet."""
        place, view = self.moment.place, self.moment
        if view.survey is None or self._surveying:
            return  # it is done when the job was read
        if place.page == "trace" and place.about not in view.traces:
            name = place.about

            def traced(found: Any) -> None:
                self.change(traces=MappingProxyType({**self.moment.traces, name: found}))

            self.start(f"reading every record for {name}", lambda tell: self.source.trace(name, tell), traced)
        if place.page == "changes" and view.changes is None:
            self.start("looking through all records", self.source.changes, lambda found: self.change(changes=found))
        if place.page == "cables" and view.cables is None:
            title = "working out what belongs together"
            self.start(title, self.source.cables, lambda found: self.change(cables=found))

    # what is pressed

    def press(self, key: str, character: str | None) -> None:
        """A key while the list of all actions is closed: it may be typed into what is looked for."""
        if self.moment.typing and key not in self.moves:
            self._in_find(key, character)
        else:
            super().press(key, character)

    def move(self, by: int) -> None:
        """Move the cursor, or the words of a long page."""
        view = self.moment
        if view.help or view.place.page in ("trace", "told"):
            super().move(by)
        else:
            self._at(max(0, min(len(view.items) - 1, view.cursor + by)))

    def pointed_at(self, row: int) -> None:
        """Put the cursor on the line of the list that was clicked; it is opened by a key."""
        lines = self.picture.lines
        here = next((n for n, one in enumerate(lines) if any(span.style == "cursor" for span in one)), None)
        if here is None or self.moment.typed is not None or not 0 <= row < len(lines):
            return
        between = lines[min(here, row) : max(here, row) + 1]
        wanted = self.moment.cursor + row - here
        if all(text_of(one).strip(f" {self.moment.glyphs.rule}") for one in between) and (
            0 <= wanted < len(self.moment.items)
        ):
            self._at(wanted)
            self.repaint()

    def _in_find(self, key: str, character: str | None) -> None:
        if key == "enter":
            self.change(typing=False)
        elif key == "escape":
            self.change(typing=False, find="")
        else:
            self.change(find=typed_on(self.moment.find, key, character))
            self._at(0)

    def _at(self, line: int) -> None:
        self.change(cursors=MappingProxyType({**self.moment.cursors, self.moment.place.page: line}))

    # acts

    def do_go(self, page: str) -> None:
        """Go to a page."""
        at: Any = page
        self._enter(Place(at))

    def _enter(self, place: Place) -> None:
        """Be at another place, and be able to come back."""
        view = self.moment
        if place != view.place:
            behind = () if place.page == "start" else (*view.behind, view.place)[-DEEPEST:]
            self.change(place=place, behind=behind, find="", typing=False)
        self.change(help=False, scroll=0, series=0, reading=None, card=False)
        self._fetch()

    def do_back(self) -> None:
        """Go back to where one came from."""
        if self.moment.behind:
            *rest, last = self.moment.behind
            self.change(place=last, behind=tuple(rest), find="", scroll=0, series=0, reading=None)
            self._fetch()

    def do_trace(self, name: str) -> None:
        """Show every reading of a point."""
        if self.moment.survey is not None and name not in self.moment.survey.plant.things:
            self.change(note=f"the plant file has no {name or 'such point'}: nothing can be traced")
            return
        self._enter(Place("trace", name))

    def do_draft(self, task: str) -> None:
        """Draft the sequence that does a task, and choose the bench for it."""
        survey = self.moment.survey
        wanted = (
            [] if survey is None else [one for one in survey.ready.tasks if f"{one.kind} {one.about}".strip() == task]
        )
        if survey is None or not wanted:
            return

        def then(found: tuple[SequenceLine, str]) -> None:
            sequence, told = found
            known = tuple(sequence if one.path == sequence.path else one for one in survey.sequences)
            known += () if sequence in known else (sequence,)
            self.change(survey=replace(survey, sequences=known), note=told)
            self._enter(Place("bench", sequence.path))

        self.start("drafting", lambda tell: self.source.draft(wanted[0], tell), then)

    def do_choose(self, path: str) -> None:
        """Choose the bench for a sequence."""
        survey = self.moment.survey
        sequence = next((one for one in survey.sequences if one.path == path), None) if survey is not None else None
        if sequence is not None and sequence.wrong:
            self.change(note=f"{sequence.name} cannot be walked: {sequence.wrong}")
        elif sequence is not None:
            self._enter(Place("bench", path))

    def do_walk(self, path: str) -> None:
        """Walk the chosen sequence on a bench."""
        survey, chosen = self.moment.survey, self.moment.place.about
        assert survey is not None
        bench = next((one for one in survey.benches if one.path == path), None)
        sequence = next((one for one in survey.sequences if one.path == chosen), None)
        if bench is None or sequence is None:
            return
        lacks = bench.lacks(sequence)
        if bench.wrong or lacks:
            why = bench.wrong or f"it has nothing that measures {', '.join(lacks)}"
            self.change(note=f"{bench.name} cannot be taken: {why}")
            return
        self.do_back()
        self._wish(Wish("walk", sequence.path, bench.path))

    def do_record(self, path: str) -> None:
        """Show a record."""
        self._enter(Place("record", path))

    def do_to_record(self) -> None:
        """Open the record of the reading that is pointed at."""
        survey, study = self.moment.survey, self.moment.study
        if survey is None or study is None:
            return
        name = study.rows[self.moment.pointed].record
        record = next((one for one in survey.records if one.name == name), None)
        if record is not None:
            self.do_record(record.path)

    def do_resume(self, path: str) -> None:
        """Go on with a walk."""
        self._wish(Wish("resume", path))

    def do_attach(self, path: str) -> None:
        """Take a seat at a walk."""
        self._wish(Wish("attach", path))

    def do_replay(self, path: str) -> None:
        """Look back at a record."""
        self.host.open(ReplayProgram(self.host, Path(path)))

    def _wish(self, wish: Wish) -> None:
        self.wish = wish
        self.leave()

    def do_report(self, path: str) -> None:
        """Write the report of a record."""
        if self._surveying:
            self.change(note="the job is being read; write the report after that")
            return

        def write(tell: Tell) -> tuple[str, str]:
            written = self.source.report(path, tell)
            return written, self.source.show(written, tell)

        def then(found: tuple[str, str]) -> None:
            written, told = found
            survey = self.moment.survey
            if survey is not None:
                known = (replace(one, report=written) if one.path == path else one for one in survey.records)
                self.change(survey=replace(survey, records=tuple(known)))
            self.change(note=f"the report is in {written}; {told}")

        self.start("writing the report", write, then)

    def do_show(self, report: str) -> None:
        """Open a report in the browser."""
        self.start("opening the report", lambda tell: self.source.show(report, tell), self._say)

    def _say(self, text: str) -> None:
        self.change(note=text)

    def do_explain(self, path: str) -> None:
        """Tell what people did wrong, by the readings of a record."""
        name = self._named(path)
        self.start(
            f"explaining {name}", lambda tell: self.source.explain(path, tell), lambda found: self._tell(name, found)
        )

    def do_compare(self, path: str) -> None:
        """Compare a record with the walk of the same sequence before it."""
        records = self.moment.survey.records if self.moment.survey is not None else ()
        one = next((record for record in records if record.path == path), None)
        before = before_it(records, one) if one is not None else None
        if one is not None and before is not None:
            self._compare(before.path, one.path, f"{before.name} and {one.name}")

    def do_compare_days(self) -> None:
        """Ask for two days, and compare what counted at their ends."""

        def wrong(text: str) -> str:
            return "" if len(text.split()) == 2 else "two days are wanted, such as 2026-04-30 2026-05-12"

        def done(text: str | None) -> None:
            if text is not None:
                before, after = text.split()
                self._compare(before, after, f"{before} and {after}")

        lines = ["What counted at the end of one day, against the end of another: 2026-04-30 2026-05-12."]
        self.host.ask(Prompt("Compare two days", lines, wrong, unicode=self.host.settings.unicode), done)

    def _compare(self, before: str, after: str, title: str) -> None:
        self.start(
            "comparing",
            lambda tell: self.source.compare(before, after, tell),
            lambda found: self._tell(title, found),
        )

    def _named(self, path: str) -> str:
        records = self.moment.survey.records if self.moment.survey is not None else ()
        return next((one.name for one in records if one.path == path), path)

    def _tell(self, title: str, lines: tuple[str, ...]) -> None:
        """Show what was told, on a page of its own."""
        self.change(told=lines)
        self._enter(Place("told", title))

    def do_disturb(self) -> None:
        """Ask what was touched, and write it down."""

        def then(found: tuple[str, ...]) -> None:
            self._tell("touched", found)
            self._read()

        def done(text: str | None) -> None:
            if text is not None:
                self.start("writing it down", lambda tell: self.source.disturb(text, tell), then)

        lines = [
            "Names from the plant, such as J101 W101.12 2A; then, after a colon, what happened.",
            "What was proven about them before no longer counts.",
        ]
        prompt = Prompt("What was touched or changed?", lines, self.source.misnamed, unicode=self.host.settings.unicode)
        self.host.ask(prompt, done)

    def do_copy(self) -> None:
        """Copy what is pointed at, or a page of words, to the clipboard; the terminal does it, if it can."""
        text = copied(self.moment)
        self.host.copy_to_clipboard(text)
        first = text.splitlines()[0] if text else ""
        self.change(note=f"copied, if this terminal lets programs copy: {first}")

    def do_order(self, wanted: str = "") -> None:
        """Sort the lines of a page another way: the next in turn, or ``PAGE ORDER``."""
        name, _, order = wanted.partition(" ")
        page: Page = next((one for one in ORDERS if one == name), self.moment.place.page)
        if page != self.moment.place.page:
            self.do_go(page)
        known = ORDERS[page]
        order = order or known[(known.index(self.moment.order) + 1) % len(known)]
        self.change(orders=MappingProxyType({**self.moment.orders, page: order}), note=f"sorted: {order}")
        self._at(0)

    def do_all_off(self) -> None:
        """Switch off whatever walks under way have on."""
        self.start("switching everything off", self.source.all_off, lambda came: self.change(note=came))

    def do_status(self, status: str = "") -> None:
        """List what stands so on the readiness page."""
        self._narrow("status", status, FILTERS, self.moment.status)

    def do_kind(self, kind: str = "") -> None:
        """List one kind of thing on the readiness page."""
        self._narrow("kind", kind, KINDS, self.moment.kind)

    def _narrow(self, what: str, wanted: str, known: tuple[str, ...], now: str) -> None:
        """List something else on the readiness page: what is named, or the next in turn."""
        if self.moment.place.page != "ready":
            self.do_go("ready")
        self.change(**{what: wanted or known[(known.index(now) + 1) % len(known)]})
        self._at(0)

    def do_find(self) -> None:
        """Look for something in the list."""
        self.change(typing=True)

    def do_reread(self) -> None:
        """Read the job again."""
        self._read()

    def do_cancel(self) -> None:
        """End the work under way."""
        if self.work is not None:
            self.work.cancelled = True
            self.work, self._surveying = None, False
            self.change(working=None, note="stopped; F5 reads again")

    def do_earlier(self) -> None:
        """Point at the reading before."""
        self._point(-1)

    def do_later(self) -> None:
        """Point at the reading after."""
        self._point(1)

    def _point(self, by: int) -> None:
        study = self.moment.study
        if study is not None:
            self.change(reading=max(0, min(len(study.rows) - 1, self.moment.pointed + by)))

    def do_card(self) -> None:
        """Show the next trip's card, or again what is known of an end."""
        self.change(card=not self.moment.card)

    def do_series(self, number: str = "") -> None:
        """Show one of a point's series: that of a number, or the next."""
        traced = self.moment.traced
        if traced is None or not traced.studies:
            return
        wanted = int(number) if number else (self.moment.series + 1) % len(traced.studies)
        if self.moment.place.page == "series":
            self.do_back()
        self.change(series=wanted, reading=None, scroll=0)

    def do_all_series(self) -> None:
        """List all series of the point."""
        self._enter(Place("series", self.moment.place.about))
