"""The hall's desk: keys become acts, acts change the moment or start work in a thread, the moment becomes a picture.

Acts are words with an argument; :mod:`bench.screens.job.keys` says which there are.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from bench.screens.job.data import Cancelled, Source, Survey, Tell, Wish
from bench.screens.job.keys import MOVES, OUT, act_of, actions
from bench.screens.job.paint import paint_hall
from bench.screens.job.view import FILTERS, KINDS, Hall, Place, Working
from bench.screens.program.glyphs import ASCII, UNICODE

if TYPE_CHECKING:
    from bench.screens.job.app import HallApp

DEEPEST: Final = 30
"""Places that are remembered to go back to."""
LEAST: Final = 2
"""Lines of each list on the start page, on the lowest screen."""


class Work:
    """Something long, in a thread of its own.

    Not a worker of Textual's: those outlive the screen. The thread looks whether it is still wanted each time that it
    tells how far it is, and ends then.

    Args:
        title: what is done, in words.
        call: does it.
        then: is given what came of it, on the screen's own thread.
    """

    def __init__(self, title: str, call: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        self.title, self.done, self.of = title, 0, 0
        self.over = False
        self.error: BaseException | None = None
        self.cancelled = False
        self._then, self._result = then, None
        self._call = call
        threading.Thread(target=self._run, name=title, daemon=True).start()

    def _run(self) -> None:
        try:
            self._result = self._call(self._tell)
        except BaseException as error:
            # whatever it is, it belongs to the screen's own thread
            self.error = error
        self.over = True

    def _tell(self, title: str, done: int, of: int) -> None:
        if self.cancelled:
            raise Cancelled
        self.title, self.done, self.of = title, done, of

    def finish(self) -> None:
        """Hand over what came of it."""
        self._then(self._result)


class HallDesk:
    """Everything behind the page.

    Args:
        app: the program that it belongs to.
        source: reads the job.
        now: time on the wall, with its zone.
        hall: the moment to begin with: where one was before a walk took the screen.
    """

    def __init__(self, app: HallApp, source: Source, now: Callable[[], datetime], hall: Hall | None = None) -> None:
        self.app, self.source, self._now = app, source, now
        glyphs = UNICODE if app.settings.unicode else ASCII
        self.hall = replace(hall or Hall(), glyphs=glyphs, now=now(), working=None)
        self.work: Work | None = None
        self._painted: tuple[object, ...] = ()
        self._surveying = False
        self._read()

    def close(self) -> None:
        """Leave: work under way is not wanted any more."""
        if self.work is not None:
            self.work.cancelled = True

    # what came

    def tick(self) -> None:
        """Take in how far the work is and what came of it, and paint if anything looks different now."""
        work = self.work
        if work is not None and work.over:
            self.work = None
            self._set(working=None)
            self._came(work)
        elif work is not None:
            now_at = Working(work.title, work.done, work.of)
            if now_at != self.hall.working:
                self._set(working=now_at)
        now = self._now()
        if now.strftime("%H:%M") != self.hall.now.strftime("%H:%M"):
            self._set(now=now)
        self.repaint()

    def _came(self, work: Work) -> None:
        self._surveying = False
        if work.cancelled:
            return
        if work.error is None:
            work.finish()
            return
        if isinstance(work.error, Cancelled):
            return
        told = self.source.mend(work.error) if isinstance(work.error, Exception) else ""
        if not told or self.hall.survey is None:
            # a bug, or a job that cannot be read at all: it is told in full when the terminal is itself again
            self.app.bug = work.error
            self.app.leave()
            return
        self._set(note=told.replace("\n", "; "))

    def _start(self, title: str, call: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        """Start work; what was under way is given up."""
        self._surveying = False
        if self.work is not None:
            self.work.cancelled = True
        self.work = Work(title, call, then)
        self._set(working=Working(title))

    def _read(self) -> None:
        def then(survey: Survey) -> None:
            empty: MappingProxyType[str, Any] = MappingProxyType({})
            self._set(survey=survey, traces=empty, changes=None)
            self._fetch()

        self._start("reading the job", self.source.survey, then)
        self._surveying = True

    def _fetch(self) -> None:
        """Work out what the page needs and does not have yet."""
        place, hall = self.hall.place, self.hall
        if hall.survey is None or self._surveying:
            return  # it is done when the job was read
        if place.page == "trace" and place.about not in hall.traces:
            name = place.about

            def traced(found: Any) -> None:
                self._set(traces=MappingProxyType({**self.hall.traces, name: found}))

            self._start(f"reading every record for {name}", lambda tell: self.source.trace(name, tell), traced)
        if place.page == "changes" and hall.changes is None:
            self._start("looking through all records", self.source.changes, lambda found: self._set(changes=found))

    # what is shown

    def _set(self, **changes: Any) -> None:
        self.hall = replace(self.hall, **changes)

    def repaint(self) -> None:
        """Paint the moment, if it or the screen's size is another one now."""
        size, palette = self.app.size, self.app.palette
        top = max(LEAST, size.height // 3 - 6)
        if self.hall.top != top:
            self._set(top=top)
        # a moment is never changed, only replaced: to look whether it is the same one costs nothing
        if self._painted and self._painted[0] is self.hall and self._painted[1:] == (size, palette):
            return
        self._painted = (self.hall, size, palette)
        self.app.sheet.show(paint_hall(self.hall, size.width, size.height), palette)

    # what is pressed

    def pressed(self, key: str, character: str | None) -> None:
        """A key, with the character that it writes."""
        hall = self.hall
        if hall.note:
            self._set(note="")
        if key in OUT:
            self.app.leave()
        elif hall.palette is not None:
            self._in_palette(key, character)
        elif hall.typing:
            self._in_find(key, character)
        elif key in MOVES:
            self._move(MOVES[key])
        else:
            act = act_of(hall, key.lower() if len(key) == 1 else key)
            if act:
                self.do(act)
        self.repaint()

    def _in_palette(self, key: str, character: str | None) -> None:
        typed = self.hall.palette or ""
        found = actions(self.hall)
        if key in MOVES and key not in ("home", "end"):
            chosen = max(0, min(len(found) - 1, self.hall.chosen + MOVES[key]))
            self._set(chosen=chosen)
        elif key == "enter":
            if found:
                act = found[min(self.hall.chosen, len(found) - 1)].does
                self._set(palette=None)
                self.do(act)
        elif key == "escape":
            self._set(palette=None)
        else:
            self._set(palette=_typed(typed, key, character), chosen=0)

    def _in_find(self, key: str, character: str | None) -> None:
        if key == "enter":
            self._set(typing=False)
        elif key == "escape":
            self._set(typing=False, find="")
        elif key in MOVES:
            self._move(MOVES[key])
        else:
            self._set(find=_typed(self.hall.find, key, character))
            self._at(0)

    def _move(self, by: int) -> None:
        hall = self.hall
        if hall.help or hall.place.page == "trace":
            self._set(scroll=max(0, min(self._furthest(), hall.scroll + by)))
        else:
            self._at(max(0, min(len(hall.items) - 1, hall.cursor + by)))

    def _furthest(self) -> int:
        """How far the page can be scrolled."""
        from bench.screens.job.pages import furthest

        return furthest(self.hall, self.app.size.width, self.app.size.height)

    def _at(self, line: int) -> None:
        self._set(cursors=MappingProxyType({**self.hall.cursors, self.hall.place.page: line}))

    # acts

    def do(self, act: str) -> None:
        """Carry an act out.

        Raises:
            KeyError: there is no such act: a bug.
        """
        verb, _, about = act.partition(" ")
        getattr(self, _ACTS[verb])(about)

    def _go(self, page: str) -> None:
        at: Any = page
        self._enter(Place(at))

    def _enter(self, place: Place) -> None:
        """Be at another place, and be able to come back."""
        hall = self.hall
        if place != hall.place:
            behind = () if place.page == "start" else (*hall.behind, hall.place)[-DEEPEST:]
            self._set(place=place, behind=behind, find="", typing=False)
        self._set(help=False, scroll=0, series=0, reading=None)
        self._fetch()

    def _back(self, _: str) -> None:
        if self.hall.behind:
            *rest, last = self.hall.behind
            self._set(place=last, behind=tuple(rest), find="", scroll=0, series=0, reading=None)
            self._fetch()

    def _trace(self, name: str) -> None:
        if self.hall.survey is not None and name not in self.hall.survey.plant.things:
            self._set(note=f"the plant file has no {name or 'such point'}: nothing can be traced")
            return
        self._enter(Place("trace", name))

    def _choose(self, path: str) -> None:
        survey = self.hall.survey
        sequence = next((one for one in survey.sequences if one.path == path), None) if survey is not None else None
        if sequence is not None and sequence.wrong:
            self._set(note=f"{sequence.name} cannot be walked: {sequence.wrong}")
        elif sequence is not None:
            self._enter(Place("bench", path))

    def _walk(self, path: str) -> None:
        survey, chosen = self.hall.survey, self.hall.place.about
        assert survey is not None
        bench = next((one for one in survey.benches if one.path == path), None)
        sequence = next((one for one in survey.sequences if one.path == chosen), None)
        if bench is None or sequence is None:
            return
        lacks = bench.lacks(sequence)
        if bench.wrong or lacks:
            why = bench.wrong or f"it has nothing that measures {', '.join(lacks)}"
            self._set(note=f"{bench.name} cannot be taken: {why}")
            return
        self._back("")
        self._wish(Wish("walk", sequence.path, bench.path))

    def _record(self, path: str) -> None:
        self._enter(Place("record", path))

    def _to_record(self, _: str) -> None:
        survey, study = self.hall.survey, self.hall.study
        if survey is None or study is None:
            return
        name = study.rows[self.hall.pointed].record
        record = next((one for one in survey.records if one.name == name), None)
        if record is not None:
            self._record(record.path)

    def _resume(self, path: str) -> None:
        self._wish(Wish("resume", path))

    def _attach(self, path: str) -> None:
        self._wish(Wish("attach", path))

    def _replay(self, path: str) -> None:
        from bench.screens.replay.app import open_record

        self.app.push_screen(open_record(Path(path), self.app.settings))

    def _wish(self, wish: Wish) -> None:
        self.app.leave(wish)

    def _report(self, path: str) -> None:
        if self._surveying:
            self._set(note="the job is being read; write the report after that")
            return

        def then(written: str) -> None:
            self._set(note=f"the report is in {written}")

        self._start("writing the report", lambda tell: self.source.report(path, tell), then)

    def _status(self, status: str) -> None:
        self._narrow("status", status, FILTERS, self.hall.status)

    def _kind(self, kind: str) -> None:
        self._narrow("kind", kind, KINDS, self.hall.kind)

    def _narrow(self, what: str, wanted: str, known: tuple[str, ...], now: str) -> None:
        """List something else on the readiness page: what is named, or the next in turn."""
        if self.hall.place.page != "ready":
            self._go("ready")
        self._set(**{what: wanted or known[(known.index(now) + 1) % len(known)]})
        self._at(0)

    def _find(self, _: str) -> None:
        self._set(typing=True)

    def _open_palette(self, _: str) -> None:
        self._set(palette="", chosen=0)

    def _help(self, _: str) -> None:
        self._set(help=True, scroll=0)

    def _close(self, _: str) -> None:
        self._set(help=False, scroll=0)

    def _theme(self, _: str) -> None:
        self.app.turn()

    def _reread(self, _: str) -> None:
        self._read()

    def _cancel(self, _: str) -> None:
        if self.work is not None:
            self.work.cancelled = True
            self.work, self._surveying = None, False
            self._set(working=None, note="stopped; u reads again")

    def _leave(self, _: str) -> None:
        self.app.leave()

    def _earlier(self, _: str) -> None:
        self._point(-1)

    def _later(self, _: str) -> None:
        self._point(1)

    def _point(self, by: int) -> None:
        study = self.hall.study
        if study is not None:
            self._set(reading=max(0, min(len(study.rows) - 1, self.hall.pointed + by)))

    def _series(self, number: str) -> None:
        """Show one of a point's series: that of a number, or the next."""
        traced = self.hall.traced
        if traced is None or not traced.studies:
            return
        wanted = int(number) if number else (self.hall.series + 1) % len(traced.studies)
        if self.hall.place.page == "series":
            self._back("")
        self._set(series=wanted, reading=None, scroll=0)

    def _all_series(self, _: str) -> None:
        self._enter(Place("series", self.hall.place.about))


def _typed(text: str, key: str, character: str | None) -> str:
    """What stands there after a key."""
    if key == "backspace":
        return text[:-1]
    if key == "ctrl+u":
        return ""
    if character is not None and character.isprintable() and len(text) < 80:
        return text + character
    return text


_ACTS: Final = {
    "go": "_go",
    "back": "_back",
    "trace": "_trace",
    "choose": "_choose",
    "walk": "_walk",
    "record": "_record",
    "to-record": "_to_record",
    "resume": "_resume",
    "attach": "_attach",
    "replay": "_replay",
    "report": "_report",
    "status": "_status",
    "kind": "_kind",
    "find": "_find",
    "palette": "_open_palette",
    "help": "_help",
    "close": "_close",
    "theme": "_theme",
    "reread": "_reread",
    "cancel": "_cancel",
    "leave": "_leave",
    "earlier": "_earlier",
    "later": "_later",
    "series": "_series",
    "all-series": "_all_series",
}
