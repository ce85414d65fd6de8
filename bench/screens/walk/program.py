"""The walk as a program: keys become wishes, news becomes notes and tones, the folded record becomes a picture.

The screen holds no truth of its own: it folds the record that the runner sends, and the runner records or refuses what
it wishes for. Loaded behind the first picture, since it brings the whole machine with it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from queue import Empty
from typing import TYPE_CHECKING, Final

from bench.record.append import stamp
from bench.screens.program.keys import OUT, TAKE, Action, Key, act_of
from bench.screens.program.picture import Picture
from bench.screens.program.program import Host, Program, signs_of
from bench.screens.program.prompts import OVER, Check, Figure, Prompt, Sure
from bench.screens.program.settings import Ended, Why
from bench.screens.walk import findings, voltage_words
from bench.screens.walk import sayings as words
from bench.screens.walk.findings import READ, look_of
from bench.screens.walk.follow import Felt, Follower, Happened, Lost, News, Said, Volts
from bench.screens.walk.keys import SAYS, actions, keys
from bench.screens.walk.noting import note, wrong_with
from bench.screens.walk.paint import paint
from bench.screens.walk.scanned import FIRST, led_to
from bench.screens.walk.sound import Ringer, Speaker
from bench.screens.walk.touched import touched, unknown
from bench.screens.walk.view import View, allowed
from bench.walk import events as e
from bench.walk.left_on import outputs_on
from bench.walk.state import MOVED_ON, OutOfTurn, Phase, Refused, Stale, accepts, by_eye_at

if TYPE_CHECKING:
    from bench.runner.protocol import Wish
    from bench.screens.walk.link import Link

QUIET: Final = 0.7
"""Seconds that a key must have been up before it says yes again. Keyboards begin to repeat a held key after 0.25 to
0.66 s and go on faster, so a key that is held down never gets there."""
SEEN: Final = 0.4
"""Seconds that a request must have been on the screen: nobody has read it sooner, and the key was meant for the one
before."""
LIVE_EVERY: Final = 0.09
"""Seconds between two pictures of the live reading: ten in a second are read as moving, and cost half of twenty."""
FRESH: Final = 10.0
"""Seconds after which an entry makes no sound: it is history that a late screen catches up with."""
BEGINS_NUMBER: Final = frozenset("0123456789-")
"""What begins a number that is asked for."""
BEGINS_FIGURE: Final = frozenset("0123456789-.,O+")
"""What a reading that is typed may begin with."""
ONCE: Final = frozenset({"word", "value", "reason", "back", "again", "pause", "go-on", "seat"})
"""Acts that a held key must not do again and again."""


class WalkProgram(Program[View]):
    """The operator's screen.

    Args:
        host: the terminal.
        clock: monotonic seconds.
        now: time on the wall, with its zone.

    Attributes:
        follower: the fold of what came from the runner.
        link: the line to it; None until it stands.
        ringer: rings the bell.
        ended: how the screen ended, with what it saw last.
    """

    def __init__(self, host: Host, clock: Callable[[], float], now: Callable[[], datetime]) -> None:
        super().__init__(host, View(starting=host.settings.starting, glyphs=signs_of(host.settings)))
        self.follower = Follower(clock)
        self.link: Link | None = None
        self.ringer = Ringer(host.bell, host.set_timer)
        self.ended = Ended("left")
        self._clock, self._now = clock, now
        self._speaker = Speaker(host.settings.say) if host.settings.say else None
        self._tones = host.settings.tones
        self._pressed: dict[str, float] = {}
        self._answered = -1
        self._covered = False
        self._things: tuple[object, ...] = ()
        self._facts: tuple[object, ...] = ()
        self._painted = float("-inf")

    def connected(self, link: Link) -> None:
        """The line stands. Called from the line's own thread, before the program is shown."""
        self.link = link
        self.change(you=link.you, record=link.record)
        if link.seat in ("", link.you) and not self.host.settings.watch:
            link.take_seat()

    def close(self) -> None:
        """Leave the line, and be silent; the runner pauses by itself."""
        super().close()
        self.ringer.stop()
        if self._speaker is not None:
            self._speaker.close()
        if self.link is not None:
            self.link.close()

    def leave(self, why: Why = "left", then: str = "") -> None:
        """End the screen, and keep how, and what is to be done then."""
        state, lost = self.follower.state, self.follower.lost
        if why == "left":
            why = "finished" if state.finished else "lost" if lost is not None else "left"
        seen = state if state.setting is not None else None
        if not self.over:
            self.ended = Ended(why, seen, self.moment.record, lost.why if lost is not None else "", then)
        super().leave()

    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""
        self.leave("ended")

    def keys_of(self, moment: View) -> tuple[Key, ...]:
        """See :func:`bench.screens.walk.keys.keys`."""
        return keys(moment)

    def paint(self, cells: int, rows: int) -> Picture:
        """See :func:`bench.screens.walk.paint.paint`."""
        return paint(self.moment, cells, rows, self.known)

    # what came

    def tick(self) -> None:
        """Take the news in and paint if anything looks different now."""
        self._take_news()
        self._tell_covered()
        super().tick()

    def _take_news(self) -> None:
        """Take in what has come from the runner."""
        spoken: Happened | None = None
        while True:
            try:
                news = self.follower.news.get_nowait()
            except Empty:
                break
            if self._take(news):
                assert isinstance(news, Happened)
                spoken = news
        if spoken is not None and self._speaker is not None:
            self._speaker.say(findings.spoken(spoken.after, spoken.outcome))
        self._drop_stale_prompt()
        self._look()

    def _tell_covered(self) -> None:
        """Say when a box or the help comes over the page, and when it goes: the walk waits behind it."""
        moment = self.moment
        covered = self.host.asked() is not None or moment.help or moment.typed is not None
        if covered != self._covered and self.link is not None:
            self._covered = covered
            with suppress(ConnectionError):
                self.link.busy(covered)

    def _take(self, news: News) -> bool:
        """React to one piece of news. Returns whether a voice should tell of it."""
        match news:
            case Said(why=why, failing=failing):
                if not failing:
                    self._answered = -1  # what was refused may be answered again
                    self._note(why)
            case Lost():
                self._ring("lost")
            case Felt(settled=settled):
                self._ring("settled" if settled else "contact")
            case Volts(now=now, last=last):
                self._ring(voltage_words.tone(now, last))
                if now.stage == "coming" and (last is None or last.stage != "coming"):
                    self._uncover()
                if self._speaker is not None and now.stage != "leaving":
                    self._speaker.say(voltage_words.said(now, last))
            case Happened():
                if self.moment.note and news.before.number != news.after.number:
                    self._note("")
                if self._fresh(news) and (said := words.remark_of(news.entry.event)):
                    self._note(said)
                return self._fresh(news) and self._sound(news)
        return False

    def _fresh(self, news: Happened) -> bool:
        try:
            age = self._now().timestamp() - datetime.fromisoformat(news.entry.at).timestamp()
        except ValueError:
            return False
        return age < FRESH

    def _sound(self, news: Happened) -> bool:
        outcome = news.outcome
        if outcome is not None and outcome.verdict != "done":
            # within a search a low reading is news and no failure
            self._ring("pass" if look_of(outcome) == READ else outcome.verdict)
            return True
        if news.after.phase is Phase.TROUBLED and news.before.phase is not Phase.TROUBLED:
            self._ring("trouble")
        stepped = news.after.number != news.before.number
        return stepped and news.after.phase in (Phase.ASKING, Phase.PLACING, Phase.TROUBLED, Phase.DONE)

    def _ring(self, what: str) -> None:
        # a page in a browser has tones of its own, a terminal has only a bell
        if what and self._tones and not self.host.sound(what):
            self.ringer.ring(what)

    def _uncover(self) -> None:
        """Nothing hides a test voltage that comes, and no key is taken for anything else."""
        top = self.host.asked()
        if isinstance(top, Prompt):
            top.answer(None)
        self.change(help=False, stages=False, earth=False, typed=None)

    def _drop_stale_prompt(self) -> None:
        """A prompt for a request that somebody else answered meanwhile goes away."""
        top = self.host.asked()
        if not isinstance(top, Prompt) or top.number in (None, self.follower.state.number):
            return
        if top.answer(None):
            self._note("the step changed while you typed; nothing was sent")

    # the moment

    def _look(self) -> None:
        """Go on to another moment where anything that is shown is another one now."""
        follower, now = self.follower, self._now()
        waited = int(self._clock() - follower.since) if follower.state.phase is Phase.MEASURING else 0
        things = (follower.state, follower.lost, follower.voltage, follower.live, follower.rise)
        facts = (follower.failing, now.hour, now.minute, waited)
        # states are large: two that are one and the same are told by identity, never compared
        same = [a is b for a, b in zip(things, self._things, strict=False)] if facts == self._facts else []
        if same and all(same):
            return
        moment = self._clock()
        if same and all(same[:3]) and moment - self._painted < LIVE_EVERY:
            return  # only a live reading is another one
        self._painted = moment
        state, lost, volts, live, rise = things
        fresh = {} if self._things and self._things[0] is state else {"left": follower.left(), "may": allowed(state)}
        self._things, self._facts = things, facts
        self.change(
            state=state,
            live=live,
            rise=rise,
            voltage=volts,
            trend=follower.trend,
            lost=lost,
            failing=follower.failing,
            now=now,
            elapsed=moment - follower.since,
            **fresh,
        )

    def _note(self, text: str) -> None:
        if text != self.moment.note:
            self.change(note=text)

    # keys

    def pressed(self, key: str, character: str | None = None) -> None:
        """A key: what has come before it is taken in first, so that it means what is there now."""
        if key not in OUT:
            self._take_news()
        elif outputs_on(self.follower.state):
            self.do_all_off()  # first, and then it is asked what else was meant
        super().pressed(key, character)
        self._tell_covered()

    def press(self, key: str, character: str | None) -> None:
        """A key while no list is open: what it does depends on what is shown.

        Whoever begins to type a hold point's word in capitals is typing that word.
        """
        if key in self.moves:
            self.move(self.moves[key])
            return
        now = self._clock()
        up = now - self._pressed.get(key, float("-inf"))
        self._pressed[key] = now
        act = act_of(self.known, key)
        if act and character is not None and character.isupper() and self._begins_word(character):
            self.do_word(character)
        elif character is not None and self._begins_figure(character):
            self.do_value(character)
        elif not act and self.moment.kind == "voltage":
            self.do_stop()  # any key
        elif character == FIRST and not self.moment.watching:
            self.do_scan(character)
        elif not act:
            if self.moment.watching and key in TAKE:
                self._note("you watch; k takes the operator's seat")
        else:
            if self.moment.scroll:
                self.change(scroll=0)
            self._act(act, up, now)

    def actions(self) -> list[Action]:
        """See :func:`bench.screens.walk.keys.actions`."""
        return actions(self.moment)

    def _act(self, act: str, up: float, now: float) -> None:
        if act in SAYS:
            self._yes(act, up, now)
        elif act == "stop" and up < QUIET:
            pass  # the key that confirmed hands off, held
        elif up < QUIET and act in ONCE:
            self._note("a key that is held counts once; press it again")
        else:
            self._note("")
            self.do(act)

    def _yes(self, act: str, up: float, now: float) -> None:
        """The key that says yes, or no where asked: once for each request, by a fresh press, for one that was seen."""
        number = self.moment.state.number
        if up < QUIET or number == self._answered:
            return
        if now - self.follower.since < SEEN:
            self._note("the step had just changed; look, and press again")
            return
        self._note("")
        self._answered = number
        self._wish(e.Answered(number=number, answer=SAYS[act]))

    def _wish(self, event: Wish) -> None:
        if self.link is None:
            return
        try:
            self.link.wish(event)
        except ConnectionError:
            self.follower.hear(None)

    def _refusal(self, event: e.Event) -> str:
        """What the machine would say to an event, so that a person hears it while still typing."""
        try:
            accepts(self.follower.state, event, stamp(self._now()))
        except Stale:
            return MOVED_ON
        except (Refused, OutOfTurn) as error:
            return str(error)
        return ""

    # acts

    def _prompt(
        self,
        title: str,
        lines: list[str],
        make: Callable[[str], Wish],
        *,
        numbered: bool,
        wrong: Check | None = None,
        begun: str = "",
        figure: bool = False,
    ) -> None:
        """Ask for a text, check it against the machine, and wish for what it makes."""

        def check(text: str) -> str:
            return (wrong(text) if wrong is not None else "") or self._refusal(make(text.strip()))

        def done(text: str | None) -> None:
            if text is not None:
                self._wish(make(text))

        number = self.moment.state.number if numbered else None
        kind = Figure if figure else Prompt
        prompt = kind(title, lines, check, number=number, unicode=self.host.settings.unicode, begun=begun)
        prompt.out = self._out
        self.host.ask(prompt, done)

    def _out(self) -> None:
        """Ctrl-C while something is asked."""
        if outputs_on(self.follower.state):
            self.do_all_off()

    def _answer(self, title: str, lines: list[str], want: str, begun: str = "") -> None:
        number = self.moment.state.number
        self._prompt(
            title,
            lines,
            lambda text: (
                self._led(text) or e.Answered(number=number, answer=words.as_figure(self.moment.state.step, text))
            ),
            numbered=True,
            wrong=lambda text: self._scan_leads_nowhere(text) or ("" if text.strip() else f"{want} is wanted"),
            begun=OVER if begun == "+" else begun,
            figure=self._types_reading(),
        )

    def _begins_word(self, typed: str) -> bool:
        step = self.moment.state.step
        on_hold = act_of(self.known, "enter") == "word"
        return on_hold and step is not None and step.source.word.startswith(typed)

    def do_word(self, begun: str = "") -> None:
        """Ask for the word of the hold point."""
        page, step = self.moment.page, self.moment.state.step
        assert step is not None
        lines = [page.text, "", f"Type {step.source.word} when it is true."]
        self._answer(page.title, lines, f"the word {step.source.word}", begun)

    def _types_reading(self) -> bool:
        moment = self.moment
        return not moment.watching and moment.page.kind == "ask" and by_eye_at(moment.state) is not None

    def _begins_figure(self, character: str) -> bool:
        """Whether it begins a reading, or the number that a question asks for: that needs no key before it."""
        moment = self.moment
        asked = not moment.watching and moment.page.kind == "ask" and words.asks_figure(moment.state.step)
        return (character in BEGINS_FIGURE and self._types_reading()) or (character in BEGINS_NUMBER and asked)

    def do_value(self, begun: str = "") -> None:
        """Ask for the value that is wanted."""
        page = self.moment.page
        places = [f"{lead.colour} lead: {lead.label}" for lead in page.leads]
        self._answer(page.title, [page.text, *places, "", f"Wanted: {page.wanted}"], page.wanted, begun)

    def do_scan(self, begun: str = "") -> None:
        """Take a code that is scanned from a work sheet: it leads to its reading."""
        self._prompt(
            "A code from a work sheet",
            ["It leads to its line, as far as the walk has come, and back again."],
            lambda text: self._led(text) or e.Noted(text=text),
            numbered=True,
            wrong=self._leads_nowhere,
            begun=begun,
        )

    def _led(self, text: str) -> e.Went | None:
        found = led_to(self.follower.state, text)
        return found if isinstance(found, e.Went) else None

    def _leads_nowhere(self, text: str) -> str:
        found = led_to(self.follower.state, text)
        return "that is no code of a work sheet" if found is None else found if isinstance(found, str) else ""

    def _scan_leads_nowhere(self, text: str) -> str:
        found = led_to(self.follower.state, text)
        return found if isinstance(found, str) else ""

    def do_reason(self) -> None:
        """Ask why the walk goes on with this bench."""
        page = self.moment.page
        self._answer(page.title, ["Why does the walk go on with this bench? It is kept in the record."], "a reason")

    def do_skip(self) -> None:
        """Ask why the step is skipped."""
        number = self.moment.state.number
        self._prompt(
            f"Skip: {self.moment.page.title}",
            ["Why is it skipped? It is kept in the record, and the step stays open."],
            lambda text: e.Skipped(number=number, reason=text),
            numbered=True,
        )

    def do_skip_search(self) -> None:
        """Ask why the whole search is skipped."""
        number, planned = self.moment.state.number, self.moment.state.planned
        self._prompt(
            f"Skip the whole search: {planned.title if planned is not None else ''}",
            ["Why is it skipped? It is kept in the record, with what was read so far; nothing is found then."],
            lambda text: e.Skipped(number=number, reason=text, whole=True),
            numbered=True,
        )

    def do_note(self) -> None:
        """Ask for a remark. One that was begun at a step says so where the walk went on meanwhile."""
        begun_at = self.moment.state.step
        self._prompt(
            "A note for the record",
            ["It is kept with the time and your name. @FILE keeps a photo or a sheet with it, beside the record."],
            lambda text: note(text, self.moment.record, begun_at, self.follower.state.step),
            numbered=False,
            wrong=wrong_with,
        )

    def do_disturb(self) -> None:
        """Ask what was touched."""
        self._prompt(
            "What was touched or changed?",
            [
                "Names from the plant, such as J101 W101.12 2A; then, after a colon, what happened.",
                "What was proven about them before no longer counts.",
            ],
            touched,
            numbered=False,
            wrong=lambda text: unknown(self.moment.state, text),
        )

    def do_abort(self) -> None:
        """Ask for the word that gives the walk up."""
        self._prompt(
            "Give the walk up?",
            ["Outputs go off and the walk cannot be taken up again. What was read is kept.", "Type ABORT, and why."],
            lambda text: e.Aborted(why=" ".join(text.split()[1:])),
            numbered=False,
            wrong=lambda text: "" if text.split()[:1] == ["ABORT"] else "type ABORT in capitals; Escape goes back",
        )

    def do_back(self) -> None:
        """Go to the step before."""
        state = self.moment.state
        self._wish(e.Went(number=state.number, to=words.back_to(state), then="go-on"))

    def do_again(self) -> None:
        """Measure the last reading again."""
        last = words.last_reading(self.moment.state)
        if last is not None:
            self._wish(e.Went(number=self.moment.state.number, to=last.index, then="return"))

    def do_all_off(self) -> None:
        """Every output off, at once and from whatever page; nothing is asked before."""
        self._wish(e.Paused(why="everything was switched off by a key", make_safe=True))

    def do_pause(self) -> None:
        """Pause the walk."""
        self._wish(e.Paused(why="the operator paused", make_safe=True))

    def do_stop(self) -> None:
        """No test voltage: the count ends, or it is taken off."""
        self._wish(e.Paused(why="the test voltage was stopped by a key", make_safe=True))

    def do_go_on(self) -> None:
        """Go on with it."""
        self._wish(e.Continued())

    def do_seat(self) -> None:
        """Take the operator's seat; asked once more where somebody sits in it."""
        holder = self.moment.state.seat

        def done(answer: str | None) -> None:
            if answer is not None and self.link is not None:
                try:
                    self.link.take_seat()
                except ConnectionError:
                    self.follower.hear(None)

        if not self.moment.watching or not holder:
            done("yes")
            return
        lines = [f"{holder} is the operator now, may have the probes in hand, and will watch from then on."]
        self.host.ask(Sure("Take the seat?", lines, unicode=self.host.settings.unicode), done)

    def do_mirror(self) -> None:
        """Show the connectors from their other side."""
        self.change(mirrored=not self.moment.mirrored)

    def do_copy(self) -> None:
        """Copy the newest result to the clipboard; the terminal does it, if it can."""
        text = findings.to_copy(self.moment.state)
        self.host.copy_to_clipboard(text)
        self._note(f"copied, if this terminal lets programs copy: {text.partition(chr(10))[0]}")

    def do_stages(self) -> None:
        """Open or close the stages of first power."""
        self.change(stages=not self.moment.stages, scroll=0)

    def do_earth(self) -> None:
        """Open or close the earthing network."""
        self.change(earth=not self.moment.earth, stages=False, scroll=0)

    def do_sound(self) -> None:
        """Switch the tones off and on."""
        self._tones = not self._tones
        self._note("tones are on" if self._tones else "tones are off")

    def do_explain(self) -> None:
        """Leave, and have said what went wrong."""
        self.leave(then="explain")

    def do_remeasure(self) -> None:
        """Leave, and measure again what did not pass."""
        self.leave(then="again")

    def do_report(self) -> None:
        """Leave, and have a report written."""
        self.leave(then="report")

    def do_next(self) -> None:
        """Leave, and draft what is next."""
        self.leave(then="next")

    def do_leave(self) -> None:
        """Leave, asked once more where the walk would pause by it."""
        view, state = self.moment, self.moment.state
        if view.lost is not None or view.watching or state.setting is None or state.finished:
            self.leave()
            return

        def done(answer: str | None) -> None:
            if answer is not None:
                self.leave()

        lines = ["The walk pauses and outputs go off. The record is kept; start the screen again to go on."]
        sure = Sure("Leave the screen?", lines, unicode=self.host.settings.unicode)
        sure.out = self._out
        self.host.ask(sure, done)
