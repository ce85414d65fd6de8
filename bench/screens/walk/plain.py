"""The walk line by line: for screen readers, for simple terminals, and for runs without a screen.

It is a client of the runner like the screen is: it folds the same record and sends the same wishes. What is asked is
written once; what is typed answers what was written last, so an answer that comes too late is refused and never
counts for the next step.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Final, TextIO

from bench.plant.handled import STATES
from bench.screens.program.glyphs import ASCII, UNICODE
from bench.screens.program.settings import Ended, Settings, Why
from bench.screens.walk import earth_tree, findings, stage_words, stages, voltage_words
from bench.screens.walk import sayings as words
from bench.screens.walk.follow import Felt, Follower, Going, Happened, Lost, Misset, News, Rose, Said, Volts
from bench.screens.walk.from_sheet import answer, cells_of
from bench.screens.walk.noting import note, wrong_with
from bench.screens.walk.scanned import led_to
from bench.screens.walk.sound import Ringer, Speaker
from bench.screens.walk.touched import touched, unknown
from bench.sequence.file import Do, Look
from bench.walk import events as e
from bench.walk.afterwards import afterwards
from bench.walk.by_knobs import OFF, ON
from bench.walk.left_on import live_words
from bench.walk.results import results
from bench.walk.state import BEEPS, Phase, by_knobs_at, unsafe_by_hand
from bench.walk.work_sheet import BadSheet, Cell

if TYPE_CHECKING:
    from bench.runner.protocol import Wish
    from bench.screens.walk.link import Connect, Link

FRESH: Final = 10.0
"""Seconds after which an entry is history, and not told line by line."""
SEEN: Final = 0.7
"""Seconds after which an empty line may answer what was written: a held key types empty lines without end."""
HELP: Final = """What you can type, always followed by Enter:
  (nothing)      yes: take the reading, or the act is done
  read           the caution was read
  yes, no        whether the continuity tester beeps
  back           to the step before, in a search the last answer; again: measure the last reading again
  skip WHY       pass this step over; skip-search WHY: the whole search
  note TEXT      a remark for the record; @FILE in it keeps a photo or a sheet beside the record
  touched NAMES: WHAT   something was touched; what was proven about it no longer counts
  off            every output off at once, whoever holds the seat; so does Ctrl-C
                 (while a test voltage is counted down or on, any line stops it)
  pause, go      pause the walk, and go on
  retry          try again after trouble
  where          what is asked now, once more
  stages         first power: what is live, what is next, every stage and breaker
  earth          the earthing network, with what a search suspects in it
  side           connectors from their other side
  seat           take the operator's seat
  leave          leave; the walk pauses
  ABORT WHY      give the walk up, in capitals
Where a word, a value or a reason is wanted, type it; begin with = if it looks like one of these."""
ANSWERED: Final = frozenset({"place", "do", "beep", "caution", "hold", "ask", "consent", "trouble", "rest"})
"""Pages that wait for a person."""

_Item = str | None
"""A typed line; None when nothing more can be typed."""


class _Timer:
    """Calls something after some seconds, in a thread that nobody waits for."""

    def __init__(self, seconds: float, call: Callable[[], None]) -> None:
        self._thread = threading.Timer(seconds, call)
        self._thread.daemon = True
        self._thread.start()

    def stop(self) -> None:
        """Do not call it."""
        self._thread.cancel()


class Plain:
    """One walk, line by line.

    Args:
        connect: makes the line to the runner.
        out: what is written to.
        typed: what is read from, line by line, in a thread of its own.
        settings: how it behaves; ``day`` and ``starting`` do not matter here.
        interactive: whether a person types. Where lines come from a file or a pipe, each is kept until something is
            asked, and on a real bench none passes a hold point: that takes a person.
        clock: monotonic seconds.
        now: time on the wall, with its zone.
        sheet: a work sheet's text that was filled in at the rack: its readings are taken in place of typed ones.
    """

    def __init__(
        self,
        connect: Connect,
        out: TextIO,
        typed: TextIO,
        settings: Settings | None = None,
        *,
        interactive: bool | None = None,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
        sheet: str = "",
    ) -> None:
        self._settings = settings or Settings()
        encoding = (getattr(out, "encoding", None) or "utf-8").lower()
        self._glyphs = UNICODE if self._settings.unicode and encoding.startswith("utf") else ASCII
        self._connect, self._out, self._typed = connect, out, typed
        self._interactive = typed.isatty() if interactive is None else interactive
        self._clock, self._now = clock, now
        self._wake: queue.SimpleQueue[None] = queue.SimpleQueue()
        self._lines: queue.SimpleQueue[_Item] = queue.SimpleQueue()
        self._follower = Follower(clock, lambda: self._wake.put(None))
        self._speaker = Speaker(self._settings.say) if self._settings.say else None
        self._ringer = Ringer(self._bell, _Timer)
        self._link: Link
        self._asked = -1
        self._asked_at = 0.0
        self._answered = -1
        self._section = ""
        self._history = 0
        self._waited = -1
        self._mirrored = False
        self._told_late: set[str] = set()
        self._why: Why | None = None
        self._voltage = ""
        self._sheet = sheet
        self._cells: Mapping[str, Cell] = {}
        self._from_sheet = Counter[str]()

    def run(self) -> Ended:
        """Walk until it is over, or until one leaves.

        Raises:
            ConnectionError, OSError: there is no runner.
        """
        self._link = self._connect(self._follower.hear)
        try:
            if self._link.seat in ("", self._link.you) and not self._settings.watch:
                self._link.take_seat()
            threading.Thread(target=self._read, name="typed lines", daemon=True).start()
            while self._why is None:
                self._step()
        except KeyboardInterrupt:
            self._why = "left"
            self._say("left; the walk pauses")
        except ConnectionError:
            self._why = "lost"
        finally:
            self._link.close()
            self._ringer.stop()
            if self._speaker is not None:
                self._speaker.close()
        state, lost = self._follower.state, self._follower.lost
        said = lost.why if lost is not None else ""
        seen = state if state.setting is not None else None
        return Ended("finished" if state.finished else self._why, seen, self._link.record, said)

    def _read(self) -> None:
        try:
            for line in self._typed:
                self._lines.put(line.rstrip("\r\n"))
                self._wake.put(None)
        except (OSError, ValueError):
            pass  # closed under our hands: the same as its end
        self._lines.put(None)
        self._wake.put(None)

    def _step(self) -> None:
        """Wait for something, tell of it, and act on what was typed."""
        self._wake.get()
        self._catch_up()
        while self._why is None and self._ready():
            line = self._next_line()
            if line is _NOTHING:
                break
            self._take(line)
            self._catch_up()

    def _catch_up(self) -> None:
        """Tell all that came, then ask what is asked now."""
        while self._why is None:
            try:
                self._tell(self._follower.news.get_nowait())
            except queue.Empty:
                self._ask()
                return

    def _next_line(self) -> _Item:
        try:
            return self._lines.get_nowait()
        except queue.Empty:
            return _NOTHING

    def _ready(self) -> bool:
        """Whether a typed line can be used now. Lines of a script wait until something is asked of them."""
        state = self._follower.state
        if self._interactive:
            return True
        return self._asked == state.number != self._answered and words.page(state).kind in ANSWERED

    # telling

    def _say(self, text: str) -> None:
        for line in text.split("\n"):
            print(self._glyphs.say(line), file=self._out)
        self._out.flush()

    def _tell(self, news: News) -> None:
        match news:
            case Said(why=why, failing=True):
                self._say(f"THE RECORD CANNOT BE WRITTEN: {why}. Nothing goes on until it can; outputs are made safe.")
            case Said(why=why):
                self._answered = -1
                self._say(f"not taken: {why}")
            case Going(text=text):
                self._say(text)
            case Volts(now=now, last=last):
                self._voltage = now.stage
                text = voltage_words.said(now, last)
                self._say(text)
                self._ring(voltage_words.tone(now, last))
                if self._speaker is not None and now.stage != "leaving":
                    self._speaker.say(text)
            case Felt(settled=settled):
                self._ring("settled" if settled else "contact")
            case Misset(wrong=wrong):
                self._say(wrong or "The dial is right now.")
            case Rose(rise=rise, ramp=ramp):
                for text in stage_words.rise_words(rise, ramp):
                    self._say(text)
            case Lost(why=why, broken=broken):
                self._lost(why, broken)
            case Happened():
                self._happened(news)

    def _lost(self, why: str, broken: bool) -> None:
        if self._follower.state.finished and not broken:
            return  # it has nothing more to do; the summary comes next
        title, text = words.lost_words(why, finished=False, broken=broken, record=self._link.record)
        self._say(f"{title}. {text}")
        self._ring("lost")
        self._why = "lost"

    def _happened(self, news: Happened) -> None:
        if not self._fresh(news.entry):
            self._history += news.outcome is not None and news.outcome.reading is not None
            return
        if self._history:
            self._say(f"{self._history} readings are in the record already")
            self._history = 0
        state, outcome = news.after, news.outcome
        # of many steps passed over the last one says why
        for one in (*news.brought[:1], *news.brought[1:][-1:]):
            if one.verdict != "done" or one.answer or one.news:
                self._say(f"{self._glyphs.mark(findings.look_of(one))} {findings.verdict_line(state, one)}")
                for advice in one.advice[:1]:
                    self._say(f"  {advice}")
        if outcome is not None and (outcome.verdict != "done" or outcome.answer or outcome.news):
            self._ring("pass" if findings.look_of(outcome) == findings.READ else outcome.verdict)
        match news.entry.event:
            case e.Answered(how="contact"):
                self._say("steady; taken")
            case e.Noted(text=text):
                self._say(f"note kept: {text}")
            case e.Attached(files=files):
                self._say(f"kept beside the record: {', '.join(one.name for one in files)}")
            case e.Disturbed(touches=touches):
                self._say(f"touched: {', '.join(touches)}; what was proven about it before no longer counts")
            case e.Seated(by=by) if by:
                self._say("you hold the operator's seat" if by == self._link.you else f"{by} holds the operator's seat")
            case e.Said(console=console, lines=lines, wrong=wrong):
                for _, said in lines:
                    self._say(f"{console}: {said}")
                if wrong:
                    self._say(f"{console}: {wrong}")
            case e.Aborted():
                self._say("the walk is given up; outputs go off")
            case _:
                pass
        if self._speaker is not None and news.before.number != state.number and state.phase is not Phase.MEASURING:
            self._speaker.say(findings.spoken(state, outcome))

    def _fresh(self, entry: e.Entry) -> bool:
        try:
            return self._now().timestamp() - datetime.fromisoformat(entry.at).timestamp() < FRESH
        except ValueError:
            return True

    def _ring(self, what: str) -> None:
        if what and self._settings.tones and self._interactive:
            self._ringer.ring(what)

    def _bell(self) -> None:
        with contextlib.suppress(OSError, ValueError):  # a ring that comes when all is closed
            self._out.write("\a")
            self._out.flush()

    # asking

    def _ask(self) -> None:
        """Write what is asked, once."""
        state = self._follower.state
        if state.number == self._asked or state.setting is None:
            return
        self._asked, self._asked_at = state.number, self._clock()
        if state.finished:
            self._end()
            return
        page = words.page(state, mirrored=self._mirrored)
        if page.kind == "wait":
            # the wait goes on piece by piece; it is told once
            if state.place.cursor != self._waited:
                self._waited = state.place.cursor
                self._say(f"{page.title}: {page.text} {page.hint}")
        elif page.kind == "measure":
            if page.hint and not words.volts_on(state):
                self._say(page.hint)  # of a test voltage it is told as it comes
        else:
            self._waited = -1
            self._write(page)
            if self._sheet:
                self._take_from_sheet()

    def _take_from_sheet(self) -> None:
        """Answer what is asked with what the work sheet says of it."""
        state = self._follower.state
        if not self._cells:
            try:
                self._cells = cells_of(self._sheet, state)
            except BadSheet as error:
                self._say(f"the work sheet is not taken: {error}")
                self._sheet = ""
                return
        said = answer(self._cells, state)
        if said is None:
            return
        self._say(said.said)
        self._from_sheet[said.kind] += 1
        self._wish(said.wish)

    def _write(self, page: words.Page) -> None:
        state = self._follower.state
        where = words.progress(state)
        if where is not None and page.kind in ANSWERED and where.section != self._section:
            self._section = where.section
            self._say(f"\n{where.section}")
        head = f"{where.step} of {where.total}: " if where is not None and state.step is not None else ""
        named = {"caution": "CAUTION: ", "hold": "HOLD POINT: ", "trouble": "TROUBLE: "}.get(page.kind, "")
        self._say(f"{head}{named}{page.title}")
        late = words.overdue(state)
        if late and late not in self._told_late:
            self._told_late.add(late)
            self._say(late)
        on = live_words(state)
        if on:
            self._say(f"ON: {'; '.join(on)}")
        for text in words.so_far(state):
            self._say(text)
        if page.text:
            self._say(page.text)
        source = state.step.source if state.step is not None else None
        if isinstance(source, Do) and page.kind == "do":
            for word, names in words.handled(source):
                self._say(f"{word}: {names}")
            if source.energises:
                self._say(f"{words.LIVE_FROM_HERE}: something may be live after this.")
        sides = words.seen_from(state, mirrored=self._mirrored)
        for lead in page.leads:
            parts = [lead.label, lead.where, lead.spot]
            if lead.connector:
                parts.append(f"seen from the {sides[lead.connector]} side")
            parts.append(lead.wire)
            self._say(f"{lead.colour} lead: {', '.join(part for part in parts if part)}")
        if page.kind == "consent" and state.setting is not None:
            for weak in state.setting.weak:
                self._say(f"  {weak}")
        if page.kind == "energise":
            self._stages()
        if page.kind in ("trouble", "rest"):
            for text in stages.beyond(state):
                self._say(f"STILL ON: {text}")
        if page.kind == "trouble" and page.hint:
            self._say(page.hint)
        wanted = self._wanted(page)
        if wanted:
            self._say(wanted)

    def _stages(self) -> None:
        """What is live, what is next, and every stage and breaker, in words."""
        stands = stages.standing(self._follower.state)
        lines = ["this sequence brings nothing up"] if stands is None else stage_words.in_words(stands)
        self._say("\n".join(lines))

    def _earth(self) -> None:
        """The earthing network with what is suspected in it, in words."""
        self._say("\n".join(earth_tree.in_words(self._follower.state)))

    def _wanted(self, page: words.Page) -> str:
        if self._follower.state.seat not in ("", self._link.you):
            return f"{self._follower.state.seat} holds the operator's seat; you watch. Type seat to take it."
        return {
            "place": self._placed(),
            "do": "Press Enter when it is done.",
            "beep": "Type yes if the tester beeps, or no if it is silent.",
            "caution": "Type read when you have read it and act on it.",
            "hold": page.hint,
            "ask": f"Type {page.wanted}.",
            "consent": "Type a reason to go on, or ABORT.",
            "trouble": "Type retry, skip WHY, or ABORT WHY.",
            "rest": "Type go to go on.",
        }.get(page.kind, "")

    def _placed(self) -> str:
        step = self._follower.state.step
        if step is not None and step.source.test_voltage is not None:
            return f"{voltage_words.before(step)} Press Enter to confirm."
        return "Hold still until it is taken, or press Enter."

    def _end(self) -> None:
        state = self._follower.state
        found = findings.summary(state)
        self._say(f"\n{words.page(state).title}: {findings.counts_line(found)}.")
        if found.unsafe:
            self._say(f"NOT CONFIRMED OFF: {', '.join(found.unsafe)}. Go and look before you touch anything.")
        for text in stages.beyond(state):
            self._say(f"STILL ON: {text}")
        for one in found.seen:
            self._say(one.sentence)
        for text in (found.connected, *found.advice[:1]):
            if found.connected:
                self._say(text)
        for outcome in (*found.worries, *found.skipped):
            self._say(f"{self._glyphs.mark(outcome.verdict)} {findings.verdict_line(state, outcome)}")
            place = findings.place_of(state, outcome)
            if place and outcome.verdict != "skipped":
                self._say(f"  {place}")
        for outcome in found.remarked:
            if outcome.news:
                self._say(f"{self._glyphs.mark(outcome.verdict)} {findings.name_of(state, outcome)}: {outcome.news}")
        for outcome in results(state).values():
            if outcome.found is not None and outcome.verdict in ("pass", "fail", "undecided"):
                self._say("\n".join([outcome.found.sentence, *(f"  {text}" for text in outcome.found.lines)]))
        if self._from_sheet:
            told = ", ".join(f"{count} {kind}" for kind, count in self._from_sheet.items())
            self._say(f"from the work sheet: {told}")
        self._say(f"record {self._link.record}")
        for after in afterwards(state, self._link.record):
            self._say(f"{after.words}: {after.typed}")
        self._why = "finished"

    # what was typed

    def _take(self, line: _Item) -> None:
        if line is None:
            if self._why is None:
                self._say("nothing more can be typed; the walk pauses")
                self._why = "left"
            return
        text = line.strip()
        state = self._follower.state
        kind = words.page(state).kind
        first, _, rest = text.partition(" ")
        rest = rest.strip()
        led = led_to(self._follower.state, text)
        if kind == "measure" and self._voltage in ("coming", "on"):
            self._command("stop", "", kind)  # whatever was typed
        elif isinstance(led, str):
            self._say(led)
        elif led is not None:
            self._wish(led)
        elif text.startswith("="):
            self._answer(text[1:].strip())
        elif kind == "hold" and self._is_word(text):
            self._answer(text)
        elif text.upper() in (OFF, ON) and (by_knobs_at(state) or unsafe_by_hand(state)):
            # of a supply that is set by its knobs this says how it is; of all others it switches them off
            self._answer(text)
        elif not text:
            self._yes(kind)
        elif (kind == "beep" and text.casefold() in BEEPS) or self._is_state(text):
            self._answer(text)
        elif first == "ABORT":
            self._wish(e.Aborted(why=rest))
        elif first.casefold() in (_ANYWHERE if kind == "consent" else _COMMANDS):
            self._command(first.casefold(), rest, kind)
        elif kind in ("ask", "hold", "consent"):
            self._answer(text)
        else:
            self._say(f"{first!r} is not understood; type help")

    def _is_word(self, text: str) -> bool:
        step = self._follower.state.step
        word = step.source.word if step is not None else ""
        return bool(word) and text.casefold() == word.casefold()

    def _is_state(self, text: str) -> bool:
        """Whether a word says how what was looked at stands: 'off' of a supply. With an output on it is a command."""
        state = self._follower.state
        source = state.step.source if state.step is not None and state.phase is Phase.ASKING else None
        return isinstance(source, Look) and not state.outputs.on and text.casefold() in STATES[source.kind]

    def _yes(self, kind: str) -> None:
        """An empty line."""
        if kind not in ("place", "do"):
            self._say(self._wanted(words.page(self._follower.state)) or "nothing is asked of you now")
            return
        if self._interactive and self._clock() - self._asked_at < SEEN:
            self._say("that came before you can have read it; press Enter again")
            return
        self._answer("")

    def _answer(self, text: str) -> None:
        """Answer what was written last."""
        state = self._follower.state
        setting = state.setting
        real = setting is not None and not setting.bench.simulated
        if words.page(state).kind == "hold" and real and not self._interactive:
            self._say("a hold point on a real bench wants a person at a terminal; the walk pauses")
            self._why = "left"
            return
        self._wish(e.Answered(number=self._asked, answer=words.as_figure(state.step, text)))

    def _command(self, word: str, rest: str, kind: str) -> None:
        state = self._follower.state
        match word:
            case "help" | "?" | "where" | "stages" | "ladder" | "earth" | "side":
                self._look_up(word)
            case "read" if kind == "caution":
                self._answer("")
            case "retry" if kind == "trouble":
                self._answer("retry")
            case "go" if kind == "rest":
                self._wish(e.Continued())
            case "back" if words.back_to(state) >= 0:
                self._wish(e.Went(number=self._asked, to=words.back_to(state), then="go-on"))
            case "again":
                self._read_again()
            case "skip":
                self._wish(e.Skipped(number=self._asked, reason=rest))
            case "skip-search" if state.planned is not None and state.planned.kind == "seek":
                self._wish(e.Skipped(number=self._asked, reason=rest, whole=True))
            case "note" if rest:
                wrong = wrong_with(rest)
                self._say(wrong) if wrong else self._wish(note(rest, self._link.record))
            case "touched":
                wrong = unknown(state, rest)
                self._say(wrong) if wrong else self._wish(touched(rest))
            case "stop" | "off" | "pause":
                self._wish(e.Paused(why=_PAUSED[word], make_safe=True))
            case "seat":
                self._link.take_seat()
            case "leave":
                self._say("left; the walk pauses")
                self._why = "left"
            case "abort":
                self._say("type ABORT in capitals to give the walk up, and why")
            case _:
                self._say(f"{word} has no place here; type where, or help")

    def _look_up(self, word: str) -> None:
        """What only shows something."""
        match word:
            case "stages" | "ladder":
                self._stages()
            case "earth":
                self._earth()
            case "where" | "side":
                if word == "where":
                    self._section = ""
                else:
                    self._mirrored = not self._mirrored
                self._write(words.page(self._follower.state, mirrored=self._mirrored))
            case _:
                self._say(HELP)

    def _read_again(self) -> None:
        last = words.last_reading(self._follower.state)
        if last is None:
            self._say("nothing was measured yet")
        else:
            self._wish(e.Went(number=self._asked, to=last.index, then="return"))

    def _wish(self, event: Wish) -> None:
        if not isinstance(event, e.Noted | e.Tripped | e.Attached | e.Disturbed):
            self._answered = self._asked
        self._link.wish(event)


_PAUSED: Final = {
    "stop": "the test voltage was stopped",
    "off": "everything was switched off",
    "pause": "the operator paused",
}
"""Words that pause a walk, and why it then says that it is paused."""
_ANYWHERE: Final = (
    "help",
    "?",
    "where",
    "stages",
    "ladder",
    "earth",
    "note",
    "touched",
    "seat",
    "leave",
    "abort",
    "off",
)
_COMMANDS: Final = frozenset(
    (*_ANYWHERE, "side", "read", "retry", "go", "back", "again", "skip", "skip-search", "pause")
)  # fmt: skip
_NOTHING: Final = "\x00nothing"
"""No line is there now; nobody can type this one."""
