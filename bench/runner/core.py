"""The runner's one loop: ask the machine, have it done, write down what happened, go on.

Only this loop touches the record and the state. Instruments, screens and signals put messages into its inbox. The
order for every event is: would the machine take it; append it and have it on disk; take it; tell the screens.

A request is begun once, when its number comes up; timers belong to the request that is open and go with it. While the
record cannot be written nothing goes on: outputs are off, what comes in is let go, and the request under way is begun
anew once the event in hand is on disk.

Over 500 lines, since the loop, the seat and the failing record share one state and one order of doing things.
"""

from __future__ import annotations

import contextlib
import math
import queue
import threading
import time
from collections.abc import Callable
from typing import Final, Literal, Protocol

import msgspec

from bench.instruments.wire_text import show
from bench.record.append import CannotKeep, RecordTrouble
from bench.runner import protocol as p
from bench.runner.alarm_contacts import ContactTold
from bench.runner.contact import Contact
from bench.runner.listening import Spoke
from bench.runner.open_record import OpenRecord
from bench.runner.ports import (
    Adviser,
    Crew,
    Ears,
    Hands,
    Happened,
    Leaving,
    LiveReading,
    Manner,
    Rising,
    Watchman,
    WentOff,
)
from bench.sequence.file import Measure, Send
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.left_on import outputs_on
from bench.walk.power import still_live
from bench.walk.results import annotated
from bench.walk.state import (
    MOVED_ON,
    OutOfTurn,
    Phase,
    Refused,
    Stale,
    State,
    accepts,
    by_eye_at,
    is_other,
    request,
    take,
)

LIVE_EVERY: Final = 0.05
"""Seconds between live readings sent to screens: nobody reads faster."""
BLIND_AFTER: Final = 1.2
"""Seconds after which simulated hands that touch an open wire say so themselves."""
RETRIES: Final = 2
"""How often hands that work alone try again after trouble before they give up."""
WRITE_AGAIN: Final = 2.0
"""Seconds between tries to write an event that could not be written."""
LEAVE_AFTER: Final = 3.0
"""Seconds that a failing runner waits beyond those that its crew may take to say what it made safe."""
_ASIDE: Final = -1
"""Stands for a request's number where outputs go off beside the walk: no event of the record comes of it."""
_LEAVING: Final = -2
"""The same on the way out of a failure."""
_FAILING: Final = "the record cannot be written; nothing goes on until it can"
_FREE: Final = (e.Noted, e.Tripped, e.Attached, e.Disturbed, e.Aborted)
"""What a screen may ask for without the operator's seat. Any screen may also have everything switched off."""


class Screen(Protocol):
    """One who watches or operates; a connected client, or the console in the same process.

    Attributes:
        name: who sits there; may be empty.
        where: at which screen.
    """

    name: str
    where: str

    def send(self, message: p.ToClient) -> None:
        """Queue a message; never blocks."""


class Came(msgspec.Struct, frozen=True):
    """A screen came in.

    Attributes:
        screen: the one.
    """

    screen: Screen


class Left(msgspec.Struct, frozen=True):
    """A screen is gone.

    Attributes:
        screen: the one.
    """

    screen: Screen


class Heard(msgspec.Struct, frozen=True):
    """A screen said something.

    Attributes:
        screen: who said it.
        message: what.
    """

    screen: Screen
    message: p.FromClient


class Signalled(msgspec.Struct, frozen=True):
    """The process was told to end.

    Attributes:
        name: of the signal.
    """

    name: str


Message = Happened | LiveReading | Rising | WentOff | Leaving | Came | Left | Heard | Signalled | Spoke | ContactTold


class Runner:
    """Carries one walk out.

    Args:
        record: what the walk is written to, with what it holds already.
        hands: who places the probes.
        manner: how they work.
        seated: whether a screen is needed to go on (the walk pauses when its seat falls empty).
        clock: monotonic seconds.
        adviser: who says what a search wants next.

    Attributes:
        inbox: where instruments, screens and signals put their messages.
        crew: the instruments, from :meth:`run` on.
        ears: who listens to consoles of the plant; None where there are none.
    """

    def __init__(
        self,
        record: OpenRecord,
        hands: Hands,
        manner: Manner,
        *,
        seated: bool = False,
        clock: Callable[[], float] = time.monotonic,
        adviser: Adviser | None = None,
    ) -> None:
        # a simple queue: signal handlers put into it, also while this thread is inside it
        self.inbox: queue.SimpleQueue[Message] = queue.SimpleQueue()
        self.crew: Crew
        self.ears: Ears | None = None
        self._open = record
        self._writer = record.writer
        self._written_to = record.writer.path
        self._hands = hands
        self._manner = manner
        self._seated = seated
        self._clock = clock
        self._adviser = adviser
        self._guard: Watchman | None = None
        self._met: dict[str, str] = {}
        self._screens: list[Screen] = []
        self._seat: Screen | None = None
        self._seat_told: Screen | None = None
        self._covered: list[Screen] = []
        self._vacated = False
        self._empty_since = clock() if seated else None
        self._begun = -1
        self._timers: list[tuple[float, Callable[[], object]]] = []
        self._contact = Contact()
        self._live_sent = 0.0
        self._rise_told: tuple[float, int, bool] = (0.0, -1, True)
        self._retries = 0
        self._lost_outputs = 0
        self._ending: str = ""
        self._voltage: p.Voltage | None = None
        self._unwritten: e.Event | None = None
        self._unsaid: list[Spoke | ContactTold] = []

    @property
    def state(self) -> State:
        """The walk so far: the fold of what the record holds."""
        return self._open.state

    @property
    def alone(self) -> bool:
        """Whether the hands answer everything by themselves."""
        return self._manner.alone

    def run(self, crew: Crew, guard: Watchman | None = None) -> State:
        """Work until the walk is over; outputs are safe when this returns or raises.

        Args:
            crew: the instruments.
            guard: who makes outputs safe when this process is gone.

        Raises:
            RecordTrouble: the record could not be written and nobody mended that before the walk was given up.
        """
        self.crew, self._guard = crew, guard
        safe = False
        try:
            while not self.state.finished:
                self._tell_guard()
                asked = request(self.state)
                if asked.number != self._begun and self._unwritten is None and not self._waits(asked):
                    self._begun = asked.number
                    self._begin(asked)
                    continue
                self._handle_next()
            safe = True
        finally:
            try:
                if not self.state.finished:
                    safe = self._leave_safe()
            finally:
                crew.close()
                if self._guard is not None:
                    self._guard.close(safe)
        return self.state

    def _waits(self, asked: r.Request) -> bool:
        """Whether the request waits to be begun, since a box covers the page of whoever holds the seat. Outputs go off
        all the same."""
        return self._unseen and not isinstance(asked, r.MakeSafe)

    @property
    def _unseen(self) -> bool:
        return any(one is self._seat for one in self._covered)

    def _tell_guard(self) -> None:
        if self._guard is not None:
            self._guard.stands(self._met, bool(outputs_on(self.state)))

    def _leave_safe(self) -> bool:
        """Outputs off on the way out of a failure; waits for the crew, and says whether all are off."""
        self.crew.drop_work()
        self.crew.make_safe(_LEAVING)
        until = time.monotonic() + self.crew.safe_within + LEAVE_AFTER
        with contextlib.suppress(queue.Empty):
            while (left := until - time.monotonic()) > 0:
                match self.inbox.get(timeout=left):
                    case Happened(e.MadeSafe(number=number, confirmed=confirmed)) if number == _LEAVING:
                        return all(confirmed.values())
        return False

    # what the machine asks for

    def _begin(self, asked: r.Request) -> None:
        self._drop_timers()
        self.crew.live(None)
        alone, number = self._manner.alone, asked.number
        match asked:
            case r.MakeSafe():
                self.crew.make_safe(number)
            case r.Meet():
                self.crew.meet(asked.roles, number)
            case r.Ask() if alone:
                self._hands.act(asked.step)
                if why := self._send_to_console(asked, self._hands.name):
                    self._record(e.Aborted(why=f"nothing was sent: {why}", by=self._hands.name))
                else:
                    self._answer(number, self._hands.answer(asked.step))
            case r.Consent() if alone:
                self._answer(number, "a simulated bench: going on to show what can be shown")
            case r.Place():
                self._begin_placing(asked)
            case r.Measure() if asked.step.source.test_voltage is not None and by_eye_at(self.state) is None:
                self._put_voltage_on(asked, 0 if alone else self._manner.countdown)
            case r.Measure():
                self.crew.measure(asked.step, number)
            case r.Switch():
                self.crew.switch(asked.step, number)
            case r.Energise():
                self._hands.act(asked.step)
                self.crew.energise(asked.step, asked.ramp, number)
            case r.Wait():
                self._begin_waiting(asked)
            case r.Advise():
                self._advise(number)
            case r.Resolve() if alone:
                self._resolve_alone(number)
            case r.Rest(why=why) if alone and self._seat is None and why and why == self.state.heard.dreaded:
                self._record(e.Aborted(why=why, by=self._hands.name))
            case r.Rest() if alone and self._seat is None:
                self._record(e.Continued(by=self._hands.name))
            case _:
                pass  # somebody at a screen answers

    def _put_voltage_on(self, asked: r.Measure, left: int) -> None:
        """Count down, telling every screen, and then take the reading at its test voltage; a rest ends the count."""
        wanted = asked.step.source.test_voltage
        assert wanted is not None
        if left > 0:
            self._tell_voltage(p.Voltage(stage="coming", volts=wanted.value, seconds=left))
            self._after(self._manner.tick, lambda: self._put_voltage_on(asked, left - 1))
            return
        self._tell_voltage(p.Voltage(stage="on", volts=wanted.value))
        self.crew.measure(asked.step, asked.number)

    def _tell_voltage(self, now: p.Voltage) -> None:
        self._voltage = now
        self._tell(now)

    def _drop_timers(self) -> None:
        """What was to come by itself does not, a test voltage neither."""
        self._timers.clear()
        if self._voltage is not None and self._voltage.stage == "coming":
            said = "The test voltage was stopped before it came on."
            self._tell_voltage(p.Voltage(stage="gone", volts=0.0, said=said))

    def _answer(self, number: int, answer: str, matrix: str = "") -> None:
        how: Literal["matrix", "simulated"] = "matrix" if matrix else "simulated"
        why = self._record(e.Answered(number=number, answer=answer, by=matrix or self._hands.name, how=how))
        if why and self._manner.alone and self._unwritten is None:
            # nobody else is there to answer
            self._record(e.Aborted(why=f"{self._hands.name} cannot answer: {why}", by=self._hands.name))

    def _resolve_alone(self, number: int) -> None:
        self._retries += 1
        if self._retries > RETRIES:
            trouble = self.state.pending.trouble
            self._record(e.Aborted(why=trouble.what if trouble else "trouble", by=self._hands.name))
        else:
            self._answer(number, "retry")

    def _advise(self, number: int) -> None:
        """Ask the adviser, on a thread of its own: an abort never waits for it."""
        state, adviser = self.state, self._adviser

        def think() -> None:
            event: e.Event
            try:
                if adviser is None:
                    raise ValueError("nobody is there to say what this search wants next")
                event = msgspec.structs.replace(adviser(state), number=number)
            except Exception as error:
                kind = type(error).__name__
                what = str(error) if isinstance(error, ValueError) else f"the search failed ({kind}: {error})"
                advice = "Skip the search with a reason, or take its last answer back."
                event = e.Troubled(number=number, instrument="", kind="no-advice", what=what, advice=advice)
            self.inbox.put(Happened(event))

        threading.Thread(target=think, name="adviser", daemon=True).start()

    def _begin_placing(self, asked: r.Place) -> None:
        matrix = self._hands.reaches(asked.step)
        if self._manner.alone or matrix:
            self._hands.place(asked.step)
            self._answer(asked.number, "", matrix)
            return
        self._hands.lift()
        # only a touch that came after the request counts, however the probes lie now
        self._contact.taken()
        self.crew.live(asked.step, asked.number)
        if self._manner.place_after is not None:
            self._after(self._manner.place_after, lambda: self._place_by_itself(asked))

    def _place_by_itself(self, asked: r.Place) -> None:
        """Simulated hands beside a screen: place, and speak up where no reading can tell that they have."""
        self._hands.place(asked.step)
        if by_eye_at(self.state) is not None:
            return  # the display is read by a person
        source = asked.step.source
        sees_nothing = isinstance(source, Measure) and source.limit.at_least is not None
        wait = 0.4 if sees_nothing or not self._manner.by_contact else BLIND_AFTER
        self._after(wait, lambda: self._take_by_itself(asked.number))

    def _take_by_itself(self, number: int) -> None:
        """Take the reading, but not behind a box."""
        if self._unseen:
            self._after(LIVE_EVERY, lambda: self._take_by_itself(number))
        else:
            self._answer(number, "")

    def _begin_waiting(self, asked: r.Wait) -> None:
        piece = min(1.0, asked.left)
        # what a machine says comes in its own time
        listens = asked.step.kind == "listen"
        if self._manner.alone and not listens and self._hands.jump(asked.left):
            self._record(e.Elapsed(number=asked.number, seconds=asked.left))
            return
        began = self._clock()
        self._after(
            piece,
            lambda: self._record(e.Elapsed(number=asked.number, seconds=self._clock() - began)),
        )

    # time

    def _after(self, seconds: float, act: Callable[[], object]) -> None:
        self._timers.append((self._clock() + seconds, act))
        self._timers.sort(key=lambda timer: timer[0])

    def _handle_next(self) -> None:
        now = self._clock()
        if self._timers and self._timers[0][0] <= now:
            self._timers.pop(0)[1]()
            return
        self._watch_seat(now)
        wait = 0.5 if not self._timers else min(0.5, self._timers[0][0] - now)
        try:
            message = self.inbox.get(timeout=max(0.0, wait))
        except queue.Empty:
            return
        self._handle(message)

    # what comes in

    def _handle(self, message: Message) -> None:
        match message:
            case Happened(event):
                self._happen(event)
            case LiveReading():
                self._live(message)
            case Rising():
                self._rise(message)
            case WentOff():
                self._went_off(message)
            case Leaving():
                self._charge_leaves(message)
            case Spoke() | ContactTold():
                self._unsaid.append(message)
                self._say_what_was_said()
            case Came(screen):
                self._come(screen)
            case Left(screen):
                self._leave(screen)
            case Heard(screen, said):
                self._hear(screen, said)
            case Signalled(name):
                self._end(f"told to end by {name}")

    def _charge_leaves(self, leaving: Leaving) -> None:
        """Tell how much is left, of a test voltage as such."""
        on = self._voltage is not None and self._voltage.stage in ("on", "leaving", "unknown")
        if leaving.gone:
            self._tell_voltage(p.Voltage(stage="gone", volts=leaving.value, said=leaving.gone))
        elif leaving.lost:
            self._tell_voltage(p.Voltage(stage="unknown", volts=leaving.value))
        elif on:
            self._tell_voltage(p.Voltage(stage="leaving", volts=leaving.value))
        else:
            self._tell(p.Live(role=leaving.instrument, unit=leaving.unit, value=leaving.value))

    def _say_what_was_said(self) -> None:
        """Write down what consoles and contacts said; while the record cannot be written nothing of it is lost."""
        while self._unsaid and self._unwritten is None:
            spoke = self._unsaid.pop(0)
            if isinstance(spoke, ContactTold):
                by = f"contact {spoke.contact}"
                told = e.Tripped(thing=spoke.thing, what=spoke.text, by=by) if spoke.tripped else None
                self._record(told or e.Noted(text=spoke.text, by=by))
                continue
            now = time.monotonic()
            lines = [(round(max(0.0, now - line.at), 3), line.text) for line in spoke.lines]
            self._record(e.Said(console=spoke.console, lines=lines, wrong=spoke.wrong))

    def _send_to_console(self, asked: r.Ask, by: str) -> str:
        """Send what a step says, once that is written down; why not, empty where it went or nothing is to."""
        source = asked.step.source
        if not isinstance(source, Send):
            return ""
        if self.ears is None:
            return "no console is listened to"
        why = self._record(e.Sending(number=asked.number, console=source.console, line=show(source.data), by=by))
        return why or self.ears.send(source.console, source.data)

    def _went_off(self, gone: WentOff) -> None:
        """Rest: whatever hangs on that output is off, and its hold point comes up again before it goes on."""
        if gone.instrument not in self.state.outputs.on or self.state.phase is Phase.SAFING:
            return  # it is being switched off already
        trouble = self.state.pending.trouble
        if trouble is not None and trouble.instrument == gone.instrument:
            return  # it is told already, and the walk stands still on it
        self._lost_outputs += 1
        if self._manner.alone and self._lost_outputs > RETRIES:
            self._record(e.Aborted(why=gone.what, by=self._hands.name))
        else:
            self._record(e.Paused(why=gone.what, make_safe=True))

    def _happen(self, event: e.Event) -> None:
        """Record what the crew reports; say so where it does not fit, for it will not come again by itself."""
        number, instrument = getattr(event, "number", None), getattr(event, "instrument", "")
        setting = self.state.setting
        if isinstance(event, e.Met):
            event = msgspec.structs.replace(event, other=is_other(self.state, event))
        if isinstance(event, e.MadeSafe) and setting is not None:
            beyond = still_live(setting.plant, self.state.conditions.handled)
            event = msgspec.structs.replace(event, left=[*event.left, *beyond])
        why = self._record(event)
        if not why or self._unwritten is not None:
            return
        if isinstance(event, e.Troubled) and event.kind == "unsafe" and number != self.state.number:
            # the walk had left the step: it must be told all the same
            self._record(e.Noted(text=f"{event.what} {event.advice}".strip()))
            return
        if number == self.state.number:
            what = f"what came does not fit what was asked: {why}"
            self._record(e.Troubled(number=self.state.number, instrument=instrument, kind="misfit", what=what))
        elif isinstance(event, e.Switched | e.Energised) and event.state == "on" and not self._wanted_on(instrument):
            # it went on after the walk had left the step: nobody counts on it, nobody watches it
            self.crew.make_safe(_ASIDE)

    def _wanted_on(self, instrument: str) -> bool:
        return instrument in self.state.outputs.on or self.state.phase in (Phase.SWITCHING, Phase.ENERGISING)

    def _record(self, event: e.Event) -> str:
        """Record one event. Returns why not, or nothing."""
        failing = self._unwritten is not None
        if failing and event is not self._unwritten:
            if isinstance(event, e.Switched | e.Energised) and event.state == "on":
                self.crew.make_safe(_ASIDE)
            return _FAILING
        entry = self._writer.envelope(event)
        try:
            after = take(self.state, entry)
            entry = annotated(entry, after)
            line = self._writer.append(entry)
        except (Stale, Refused, OutOfTurn, CannotKeep) as error:
            if failing:  # no state changed since it was taken; but nothing may hang on that
                self._written_again()
            return MOVED_ON if isinstance(error, Stale) else str(error)
        except RecordTrouble as error:
            self._record_fails(event, str(error))
            return str(error)
        self._open.lines.append(line)
        was, self._written_to = self._written_to, self._writer.path
        facts = after.setting.bench.instrument(event.instrument) if isinstance(event, e.Met) and after.setting else None
        if isinstance(event, e.Met) and facts is not None and facts.outputs and event.address:
            self._met[event.instrument] = event.address
        if isinstance(event, e.Read):
            self._retries = 0
        trouble = self.state.pending.trouble
        if isinstance(event, e.Answered) and trouble is not None and trouble.kind == "stranger":
            self.crew.agreed(trouble.instrument)
        working = (Phase.MEASURING, Phase.ENERGISING)
        came = isinstance(event, e.Read | e.Energised | e.Troubled)
        if self.state.phase in working and after.phase is not self.state.phase and not came:
            self.crew.drop_work()
        self._open.state = after
        if self._screens:
            self._tell(p.Line(raw=line.decode()))
        self._open.told(entry, after)
        if failing:
            self._written_again()
        if was != self._written_to:
            text = (
                f"the record {was} was moved or removed while it was written; it goes on, whole, in {self._written_to}"
            )
            return self._record(e.Noted(text=text))
        return ""

    def _tell(self, message: p.ToClient) -> None:
        for screen in self._screens:
            self._send(screen, message)

    def _send(self, screen: Screen, message: p.ToClient) -> None:
        try:
            screen.send(message)
        except Exception:
            # a screen that fails is only a dead screen; it is let go when its turn comes
            self._screens = [one for one in self._screens if one is not screen]
            self.inbox.put(Left(screen))

    def _role(self) -> str:
        step = self.state.step
        return (step.role or "") if step is not None else ""

    def _record_fails(self, event: e.Event, why: str) -> None:
        """Outputs off, say so, and try the same event again until it can be written or the walk is given up."""
        first = self._unwritten is None
        self._unwritten = event
        if first:
            self._drop_timers()
            self.crew.live(None)
            self.crew.drop_work()
            self.crew.make_safe(_ASIDE)
        self._tell(p.RecordFailing(why=why))
        if self._ending or (not self._screens and self._manner.alone):
            raise RecordTrouble(why)
        self._after(WRITE_AGAIN, lambda: self._record(event))

    def _written_again(self) -> None:
        """Go on; where an output was on the machine hears that it is off now, and rests."""
        self._unwritten = None
        self._begun = -1
        self._settle()
        self._say_what_was_said()
        if self.state.outputs.on or self.state.phase in (Phase.SWITCHING, Phase.ENERGISING):
            self._record(e.Paused(why="the record could not be written; outputs were made safe", make_safe=True))

    def _live(self, sample: LiveReading) -> None:
        asked = request(self.state)
        if not isinstance(asked, r.Place) or sample.role != self._role():
            return
        if sample.wrong:
            self._tell(p.Live(role=sample.role, unit=sample.unit, wrong=sample.wrong))
            return
        contact = self._contact
        settled = contact.feed(sample.at, sample.value, sample.resolution)
        if settled or sample.at - self._live_sent >= LIVE_EVERY:
            self._live_sent = sample.at
            self._tell(
                p.Live(
                    role=sample.role,
                    unit=sample.unit,
                    value=sample.value,
                    over=sample.over,
                    resolution=sample.resolution,
                    settled=contact.settled,
                    touch=contact.touch,
                )
            )
        # only ohms tell open probes from touching ones: an open voltmeter reads a steady nothing
        by_eye = by_eye_at(self.state) is not None
        if settled and not self._unseen and self._manner.by_contact and sample.role == "ohms" and not by_eye:
            self._record(e.Answered(number=asked.number, by=self._operator(), how="contact"))

    def _rise(self, rising: Rising) -> None:
        """Tell the screens how a load comes up, as often as anybody reads, and whenever something is new about it."""
        if self.state.phase is not Phase.ENERGISING:
            return
        now, told = self._clock(), self._rise_told
        new = (rising.level, rising.settled is None)
        if told[1:] == new and now - told[0] < LIVE_EVERY:
            return
        self._rise_told = (now, *new)
        volts = rising.volts if rising.volts is None or math.isfinite(rising.volts) else None
        self._tell(
            p.Rise(
                at=rising.at,
                level=rising.level,
                since=rising.since,
                amps=rising.amps,
                volts=volts,
                settled=rising.settled,
            )
        )

    def _operator(self) -> str:
        return self._seat.name if self._seat is not None else self._hands.name

    # screens and the seat

    def _come(self, screen: Screen) -> None:
        # two screens of one login are two: neither takes the other's seat for its own
        name, number = screen.name, 2
        while any(one.name == screen.name for one in self._screens):
            screen.name, number = f"{name} {number}", number + 1
        self._screens.append(screen)
        seat = self._seat.name if self._seat is not None else ""
        self._send(screen, p.Welcome(record=str(self._writer.path), you=screen.name, seat=seat))
        for line in self._open.lines:
            if screen not in self._screens:
                return
            self._send(screen, p.Line(raw=line.decode()))
        if self._voltage is not None:
            self._send(screen, self._voltage)

    def _leave(self, screen: Screen) -> None:
        self._screens = [one for one in self._screens if one is not screen]
        self._covered = self._uncovered_by(screen)
        if screen is self._seat:
            self._seat = None
            self._empty_since = self._clock()
            self._vacated = True
            self._settle()

    def _sit(self, screen: Screen) -> None:
        self._seat = screen
        self._empty_since = None
        self._settle()

    def _settle(self) -> None:
        """Write down who sits, and rest where somebody went; once the record can be written, if it cannot now."""
        if self._seat is not self._seat_told and self._unwritten is None:
            seat, self._seat_told = self._seat, self._seat
            self._record(e.Seated(by=seat.name, where=seat.where) if seat is not None else e.Seated(by=""))
        if not self._vacated or self._unwritten is not None:
            return
        self._vacated = False
        if self._manner.alone:
            if self.state.phase is Phase.PAUSED:
                self._begun = -1  # a walk that somebody made rest goes on without them
        else:
            self._record(e.Paused(why="the operator's screen went away", make_safe=True))

    def _watch_seat(self, now: float) -> None:
        """Nobody in the seat for too long: give the walk up safely."""
        if not self._seated or self._seat is not None or self._empty_since is None:
            return
        if now - self._empty_since > self._manner.give_up_after:
            self._end("nobody took the operator's seat in time")

    def _hear(self, screen: Screen, said: p.FromClient) -> None:
        match said:
            case p.TakeSeat():
                if screen is not self._seat:
                    self._sit(screen)
            case p.Busy(covered=covered):
                self._cover(screen, covered=covered)
            case p.Do(wish=wish):
                why = self._wish(screen, _named(wish, screen.name))
                if why:
                    self._send(screen, p.Refusal(why=why))
            case _:
                self._send(screen, p.Refusal(why="you are let in already"))

    def _cover(self, screen: Screen, *, covered: bool) -> None:
        """Nothing begins behind a box of the one who sits there; what was held steady meanwhile settles anew."""
        self._covered = [*self._uncovered_by(screen), *([screen] if covered else [])]
        if not covered:
            self._contact.anew()

    def _uncovered_by(self, screen: Screen) -> list[Screen]:
        return [one for one in self._covered if one is not screen]

    def _wish(self, screen: Screen, wish: p.Wish) -> str:
        """Do what a screen wishes. Returns why not, or nothing."""
        if self._unwritten is not None:
            if isinstance(wish, e.Aborted):
                self._end("given up while the record could not be written")
            return _FAILING
        volts = self._voltage is not None and self._voltage.stage in ("coming", "on")
        off = isinstance(wish, e.Paused) and wish.make_safe and (volts or bool(outputs_on(self.state)))
        if screen is not self._seat and not isinstance(wish, _FREE) and not off:
            if self._seat is not None:
                return f"{self._seat.name} holds the operator's seat; take it first"
            try:
                accepts(self.state, wish, self._writer.envelope(wish).at)
            except (Stale, Refused, OutOfTurn) as error:
                return MOVED_ON if isinstance(error, Stale) else str(error)  # a late key does not take a seat
            self._sit(screen)
        asked = request(self.state)
        if isinstance(wish, e.Answered) and asked.number == wish.number:
            if isinstance(asked, r.Place):
                self._hands.place(asked.step)
            if isinstance(asked, r.Ask):
                self._hands.act(asked.step)
                if why := self._send_to_console(asked, screen.name):
                    return why
        why = self._record(wish)
        # what is in hand is no refusal: it is written as soon as the record can be
        return why if self._unwritten is None else ""

    def _end(self, why: str) -> None:
        if self._ending:
            return
        self._ending = why
        if self._unwritten is not None:
            raise RecordTrouble(f"{why}; the record could not be written")
        self._record(e.Aborted(why=why))


def _named(wish: p.Wish, name: str) -> p.Wish:
    """The wish with the sender's name in it, whatever it said itself; a person answers by key."""
    if isinstance(wish, e.Answered):
        return msgspec.structs.replace(wish, by=name, how="key")
    return msgspec.structs.replace(wish, by=name)
