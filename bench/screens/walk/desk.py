"""The operator's desk: keys become wishes, news becomes notes and tones, the state becomes a picture.

Loaded behind the first picture, since it brings the whole machine with it.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from queue import Empty
from typing import TYPE_CHECKING, Final

from bench.screens.program.glyphs import ASCII, UNICODE
from bench.screens.program.prompts import Check, Prompt, Sure
from bench.screens.program.settings import Ended, Why
from bench.screens.walk import findings, keys
from bench.screens.walk import sayings as words
from bench.screens.walk.findings import READ, look_of
from bench.screens.walk.follow import Follower, Happened, Lost, News, Said
from bench.screens.walk.paint import Picture, paint
from bench.screens.walk.sound import APART, PATTERNS, Speaker
from bench.screens.walk.touched import touched, unknown
from bench.screens.walk.view import View
from bench.sequence.file import Hold
from bench.walk import events as e
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, accepts

if TYPE_CHECKING:
    from textual.timer import Timer

    from bench.runner.protocol import Wish
    from bench.screens.walk.app import WalkApp
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


class Desk:
    """Everything behind the page.

    Args:
        app: the program that it belongs to.
        clock: monotonic seconds.
        now: time on the wall, with its zone.
    """

    def __init__(self, app: WalkApp, clock: Callable[[], float], now: Callable[[], datetime]) -> None:
        self.app = app
        self.follower = Follower(clock)
        self.link: Link | None = None
        self.view = View(starting=app.settings.starting, glyphs=UNICODE if app.settings.unicode else ASCII)
        self.rung = 0
        self._clock, self._now = clock, now
        self._speaker = Speaker(app.settings.say) if app.settings.say else None
        self._tones = app.settings.tones
        self._picture = Picture([])
        self._pressed: dict[str, float] = {}
        self._answered = -1
        self._things: tuple[object, ...] = ()
        self._facts: tuple[object, ...] = ()
        self._painted = float("-inf")
        self._rings = 0
        self._bell: Timer | None = None

    def connected(self, link: Link) -> None:
        """The line stands. Called from the line's own thread, before the desk is used."""
        self.link = link
        self.view = replace(self.view, you=link.you, record=link.record)
        if link.seat in ("", link.you) and not self.app.settings.watch:
            link.take_seat()

    def close(self) -> None:
        """Leave the line, and be silent."""
        if self._speaker is not None:
            self._speaker.close()
        if self.link is not None:
            self.link.close()

    def ended(self, why: Why) -> Ended:
        """How the screen ends, with what it saw last."""
        state, lost = self.follower.state, self.follower.lost
        if why == "left":
            why = "finished" if state.finished else "lost" if lost is not None else "left"
        seen = state if state.setting is not None else None
        return Ended(why, seen, self.view.record, lost.why if lost is not None else "")

    # what came

    def tick(self) -> None:
        """Take the news in and paint if anything looks different now."""
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
        self.repaint()

    def _take(self, news: News) -> bool:
        """React to one piece of news. Returns whether a voice should tell of it."""
        match news:
            case Said(why=why, failing=failing):
                if not failing:
                    self._answered = -1  # what was refused may be answered again
                    self._note(why)
            case Lost():
                self._ring("lost")
            case Happened():
                if self.view.note and news.before.number != news.after.number:
                    self._note("")
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
        if self._tones:
            if self._bell is not None:
                self._bell.stop()
            self._rings = PATTERNS.get(what, 0)
            self._ring_on()

    def _ring_on(self) -> None:
        if self._rings < 1:
            return
        self._rings -= 1
        self.rung += 1
        self.app.bell()
        self._bell = self.app.set_timer(APART, self._ring_on) if self._rings else None

    def _drop_stale_prompt(self) -> None:
        """A prompt for a request that somebody else answered meanwhile goes away."""
        top = self.app.screen
        if isinstance(top, Prompt) and top.number not in (None, self.follower.state.number):
            top.dismiss(None)
            self._note("the step changed while you typed; nothing was sent")

    # painting

    def repaint(self) -> None:
        """Paint the moment, if it is another one than before."""
        follower, size, now = self.follower, self.app.size, self._now()
        waited = int(self._clock() - follower.since) if follower.state.phase is Phase.MEASURING else 0
        things = (follower.live, follower.rise, follower.state, follower.lost, self.view)
        facts = (follower.failing, size, self.app.palette, now.hour, now.minute, waited)
        # states are large: two that are one and the same are told by identity, never compared
        same = facts == self._facts and len(self._things) == len(things)
        if same and all(map(operator.is_, things, self._things)):
            return
        moment = self._clock()
        if same and all(map(operator.is_, things[2:], self._things[2:])) and moment - self._painted < LIVE_EVERY:
            return  # only a live reading is another one
        self._painted = moment
        live, rise, state, lost, _ = things
        self.view = replace(
            self.view,
            state=state,
            live=live,
            rise=rise,
            trend=follower.trend,
            lost=lost,
            failing=follower.failing,
            now=now,
            elapsed=self._clock() - follower.since,
            left=self.view.left if self._things and self._things[2] is state else follower.left(),
        )
        self._things, self._facts = (live, rise, state, lost, self.view), facts
        self._picture = paint(self.view, max(1, size.width), max(1, size.height))
        self.app.sheet.show(self._picture.lines, self.app.palette)

    def _change(self, **changes: object) -> None:
        self.view = replace(self.view, **changes)  # type: ignore[arg-type]
        self.repaint()

    def _note(self, text: str) -> None:
        if text != self.view.note:
            self._change(note=text)

    # keys

    def pressed(self, key: str, typed: str = "") -> None:
        """A key on the page: what it does depends on what is shown.

        Args:
            key: the key, a letter in lower case.
            typed: as it was typed: whoever begins to type a hold point's word in capitals is typing that word.
        """
        if key in ("ctrl+c", "ctrl+q"):
            self._leave()
            return
        if key in keys.SCROLL:
            self._scroll(keys.SCROLL[key])
            return
        self.tick()
        now = self._clock()
        up = now - self._pressed.get(key, float("-inf"))
        self._pressed[key] = now
        act = keys.act_of(self.view, key)
        if act and typed.isupper() and self._begins_word(typed):
            self._word(typed)
            return
        if not act:
            if self.view.watching and key in keys.TAKE:
                self._note("you watch; k takes the operator's seat")
            return
        if self.view.scroll:
            self._change(scroll=0)
        if act in _SAYS:
            self._yes(act, up, now)
            return
        if up < QUIET and act in _ONCE:
            self._note("a key that is held counts once; press it again")
            return
        if self.view.note:
            self._note("")
        _ACTS[act](self)

    def _yes(self, act: str, up: float, now: float) -> None:
        """The key that says yes, or no where asked: once for each request, by a fresh press, for one that was seen."""
        number = self.view.state.number
        if up < QUIET or number == self._answered:
            return
        if now - self.follower.since < SEEN:
            self._note("the step had just changed; look, and press again")
            return
        self._note("")
        self._answered = number
        self._wish(e.Answered(number=number, answer=_SAYS[act]))

    def _wish(self, event: Wish) -> None:
        if self.link is None:
            return
        try:
            self.link.wish(event)
        except ConnectionError:
            self.follower.hear(None)

    def _scroll(self, by: int) -> None:
        self._change(scroll=max(0, min(self._picture.furthest, self.view.scroll + by)))

    def _refusal(self, event: e.Event) -> str:
        """What the machine would say to an event, so that a person hears it while still typing."""
        try:
            accepts(self.follower.state, event)
        except (Refused, Stale, OutOfTurn) as error:
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
    ) -> None:
        """Ask for a text, check it against the machine, and wish for what it makes."""

        def check(text: str) -> str:
            return (wrong(text) if wrong is not None else "") or self._refusal(make(text.strip()))

        def done(text: str | None) -> None:
            if text is not None:
                self._wish(make(text))

        number = self.view.state.number if numbered else None
        prompt = Prompt(title, lines, check, number=number, unicode=self.app.settings.unicode, begun=begun)
        self.app.push_screen(prompt, done)

    def _answer(self, title: str, lines: list[str], want: str, begun: str = "") -> None:
        number = self.view.state.number
        self._prompt(
            title,
            lines,
            lambda text: e.Answered(number=number, answer=text),
            numbered=True,
            wrong=lambda text: "" if text.strip() else f"{want} is wanted",
            begun=begun,
        )

    def _begins_word(self, typed: str) -> bool:
        step = self.view.state.step
        on_hold = keys.act_of(self.view, "enter") == "word"
        return on_hold and step is not None and isinstance(step.source, Hold) and step.source.word.startswith(typed)

    def _word(self, begun: str = "") -> None:
        page, step = self.view.page, self.view.state.step
        assert step is not None and isinstance(step.source, Hold)
        lines = [page.text, "", f"Type {step.source.word} when it is true."]
        self._answer(page.title, lines, f"the word {step.source.word}", begun)

    def _value(self) -> None:
        page = self.view.page
        self._answer(page.title, [page.text, "", f"Wanted: {page.wanted}"], page.wanted)

    def _reason(self) -> None:
        page = self.view.page
        self._answer(page.title, ["Why does the walk go on with this bench? It is kept in the record."], "a reason")

    def _skip(self) -> None:
        number = self.view.state.number
        self._prompt(
            f"Skip: {self.view.page.title}",
            ["Why is it skipped? It is kept in the record, and the step stays open."],
            lambda text: e.Skipped(number=number, reason=text),
            numbered=True,
        )

    def _skip_search(self) -> None:
        number, planned = self.view.state.number, self.view.state.planned
        self._prompt(
            f"Skip the whole search: {planned.title if planned is not None else ''}",
            ["Why is it skipped? It is kept in the record, with what was read so far; nothing is found then."],
            lambda text: e.Skipped(number=number, reason=text, whole=True),
            numbered=True,
        )

    def _write(self) -> None:
        self._prompt(
            "A note for the record",
            ["It is kept with the time and your name."],
            lambda text: e.Noted(text=text),
            numbered=False,
            wrong=lambda text: "" if text.strip() else "nothing is written yet",
        )

    def _disturb(self) -> None:
        self._prompt(
            "What was touched or changed?",
            [
                "Names from the plant, such as J101 W101.12 2A; then, after a colon, what happened.",
                "What was proven about them before no longer counts.",
            ],
            touched,
            numbered=False,
            wrong=lambda text: unknown(self.view.state, text),
        )

    def _abort(self) -> None:
        self._prompt(
            "Give the walk up?",
            ["Outputs go off and the walk cannot be taken up again. What was read is kept.", "Type ABORT, and why."],
            lambda text: e.Aborted(why=" ".join(text.split()[1:])),
            numbered=False,
            wrong=lambda text: "" if text.split()[:1] == ["ABORT"] else "type ABORT in capitals; Escape goes back",
        )

    def _back(self) -> None:
        state = self.view.state
        self._wish(e.Went(number=state.number, to=words.back_to(state), then="go-on"))

    def _again(self) -> None:
        last = words.last_reading(self.view.state)
        if last is not None:
            self._wish(e.Went(number=self.view.state.number, to=last.index, then="return"))

    def _pause(self) -> None:
        self._wish(e.Paused(why="the operator paused", make_safe=True))

    def _go_on(self) -> None:
        self._wish(e.Continued())

    def _seat(self) -> None:
        if self.link is not None:
            try:
                self.link.take_seat()
            except ConnectionError:
                self.follower.hear(None)

    def _mirror(self) -> None:
        self._change(mirrored=not self.view.mirrored)

    def _help(self) -> None:
        self._change(help=True, scroll=0)

    def _ladder(self) -> None:
        self._change(ladder=not self.view.ladder, scroll=0)

    def _earth(self) -> None:
        self._change(earth=not self.view.earth, scroll=0)

    def _close(self) -> None:
        self._change(help=False, scroll=0)

    def _theme(self) -> None:
        self.app.theme = "night" if self.app.theme == "day" else "day"
        self.repaint()

    def _silence(self) -> None:
        self._tones = not self._tones
        self._note("tones are on" if self._tones else "tones are off")

    def _leave(self) -> None:
        view, state = self.view, self.view.state
        if view.lost is not None or view.watching or state.setting is None or state.finished:
            self.app.leave("left")
            return

        def done(answer: str | None) -> None:
            if answer is not None:
                self.app.leave("left")

        lines = ["The walk pauses and outputs go off. The record is kept; start the screen again to go on."]
        self.app.push_screen(Sure("Leave the screen?", lines, unicode=self.app.settings.unicode), done)


_SAYS: Final = {"take": "", "retry": "retry", "yes": "yes", "no": "no"}
"""Acts that answer the open request at once, and what they say."""
_ONCE: Final = frozenset({"word", "value", "reason", "back", "again", "pause", "go-on", "seat"})
"""Acts that a held key must not do again and again."""
_ACTS: Final[dict[str, Callable[[Desk], None]]] = {
    "word": Desk._word,
    "value": Desk._value,
    "reason": Desk._reason,
    "skip": Desk._skip,
    "skip-search": Desk._skip_search,
    "note": Desk._write,
    "disturb": Desk._disturb,
    "abort": Desk._abort,
    "back": Desk._back,
    "again": Desk._again,
    "pause": Desk._pause,
    "go-on": Desk._go_on,
    "seat": Desk._seat,
    "mirror": Desk._mirror,
    "help": Desk._help,
    "ladder": Desk._ladder,
    "earth": Desk._earth,
    "close": Desk._close,
    "theme": Desk._theme,
    "sound": Desk._silence,
    "leave": Desk._leave,
}
