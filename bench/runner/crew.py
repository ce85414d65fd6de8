"""The instruments at work: one thread for each, which alone talks to it; results are posted to the runner.

Making safe does not wait in any queue. It runs beside the workers, takes an instrument over from whatever it is doing,
and one hung port does not keep another from being made safe.

Over 500 lines, since whatever may be under way at an instrument must be known where it is told to stop.
"""

from __future__ import annotations

import contextlib
import queue
import statistics
import threading
import time
from collections.abc import Callable, Mapping
from typing import Final, TypeVar

import msgspec

from bench.instruments.instrument import Instrument
from bench.instruments.matrix_wiring import Routes
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.values import Identity, Sample
from bench.instruments.wire_text import show
from bench.judge.ramp import RampUp
from bench.quantity import engineering
from bench.roles import function_name
from bench.runner.bring_up import BringUp
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened, Leaving, LiveReading, Post, WentOff
from bench.runner.routed import channels_for
from bench.runner.stuck import ALIKE, STUCK_AFTER, Digits, same_digits
from bench.sequence.file import Set
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.left_on import knobs_off
from bench.walk.state import State, by_hand_done, typed_reading

T = TypeVar("T")

MISSED: Final = 2
"""Live readings in a row that may fail before it is told: a handheld meter misses some while its dial is turned."""
LOOK_AGAIN: Final = 0.25
"""Seconds between two looks at a dial that is to be turned: sooner than a hand is back at the probes."""

AMPS_WITHIN: Final = 3.0
"""Seconds that an ammeter in a supply's lead may take for a reading before the output goes off."""
STILL_ON_WITHIN: Final = 15.0
"""Seconds that a supply may take to say that its output is still on; nothing that is read meanwhile counts."""
AWAY: Final = ("lost", "silent", "stranger")
"""Kinds of trouble during which another instrument may have been put in the place of one that has no number."""
AMPS_SET: Final = "current in a lead"
REACHED_WITHIN: Final = 10.0
"""Seconds that it may take to reach an instrument and switch it off, besides those that its profile gives charge to
leave. What has not answered by then is reported as it stands."""
LOOK_AT_OUTPUT: Final = 0.4
"""Seconds between two looks at an output that is on while nothing is read: that it went is known within a second."""


class _Meet(msgspec.Struct, frozen=True):
    number: int
    roles: tuple[str, ...]


class _Measure(msgspec.Struct, frozen=True):
    number: int
    step: Step
    through: _Through | None = None
    """Takes the reading and passes it on; None: it is posted at once."""
    bare: bool = False
    """It is read with every relay open, to see that the meter still moves."""
    wanted: Callable[[], bool] | None = None
    """Whether anybody still waits for it: a walk that was paused puts no test voltage on any more. None: yes."""


class _Switch(msgspec.Struct, frozen=True):
    number: int
    step: Step
    epoch: int


class _Energise(msgspec.Struct, frozen=True):
    number: int
    ramp: RampUp
    epoch: int
    ammeter: _InLead | None


class _Amps(msgspec.Struct, frozen=True):
    """A reading of the current for somebody on another thread, on the range for ``most`` amperes."""

    reply: queue.SimpleQueue[Sample | InstrumentTrouble]
    most: float


class _StillOn(msgspec.Struct, frozen=True):
    """A look at an output that is on, for somebody on another thread."""

    reply: queue.SimpleQueue[InstrumentTrouble | None]


class _WentOff(Exception):
    """An output that a reading needs is not on any more, or nobody can tell."""

    def __init__(self, supply: str, trouble: InstrumentTrouble) -> None:
        super().__init__(supply)
        self.supply = supply
        self.trouble = trouble


class _InLead:
    """An ammeter in a supply's lead; see :class:`bench.runner.bring_up.Ammeter`."""

    def __init__(self, worker: _Worker, most: float) -> None:
        self.name = worker.port.name
        self._worker = worker
        self._most = most

    def read(self) -> Sample:
        """A reading, asked for now, from the thread that owns the ammeter."""
        reply: queue.SimpleQueue[Sample | InstrumentTrouble] = queue.SimpleQueue()
        self._worker.jobs.put(_Amps(reply, self._most))
        try:
            found = reply.get(timeout=AMPS_WITHIN)
        except queue.Empty:
            what = f"The ammeter {self.name} gave no reading within {AMPS_WITHIN:g} s, so nothing was watched."
            raise InstrumentTrouble("silent", what, "Look at its power and its cable.") from None
        if isinstance(found, InstrumentTrouble):
            raise found
        return found


class _Live(msgspec.Struct, frozen=True):
    number: int
    step: Step
    token: int


class _Through:
    """A reading on its way from the meter's thread to that of the matrix which it is taken through."""

    def __init__(self) -> None:
        self.read: e.Read | None = None
        self.over = threading.Event()


class _Route(msgspec.Struct, frozen=True):
    """Close a route, have the meter read through it, open it."""

    number: int
    step: Step
    channels: tuple[str, ...]
    meter: _Worker
    wanted: Callable[[], bool]
    epoch: int


class ByHand(msgspec.Struct, frozen=True):
    """The instruments that have no port: a person reads them, or sets them by their knobs, and types what they show.

    Attributes:
        serials: each instrument's name to its serial number as the bench file has it. What one of them shows that
            answers over a line all the same, as a twin does, is only shown.
        state: the walk as it stands, which holds what was typed.
    """

    serials: Mapping[str, str]
    state: Callable[[], State]


_Job = _Meet | _Measure | _Route | _Switch | _Energise | _Amps | _StillOn | _Live | None


class InstrumentCrew:
    """Carries out what the runner asks of instruments; see :class:`bench.runner.ports.Crew`.

    Args:
        ports: the instruments.
        role_of: role to instrument name.
        post: takes results, from any thread.
        hurry: simulated seconds in a real one, so that timed readings come at their simulated moments.
        upto: the highest reading that a step's limit allows, where it has such a bound: the meter is held on the
            range for it, since hunting through all ranges on open leads takes some meters a second.
        plant_time: a moment of the monotonic clock to seconds on the plant's time scale; by default ``hurry`` times it.
        routes: what a relay matrix among them joins by itself.
        by_hand: the instruments without a port; None: there are none.
    """

    def __init__(
        self,
        ports: list[InstrumentPort],
        role_of: Mapping[str, str],
        post: Post,
        *,
        hurry: float = 1.0,
        upto: Callable[[Step], float | None] | None = None,
        plant_time: Callable[[float], float] | None = None,
        routes: Routes | None = None,
        by_hand: ByHand | None = None,
    ) -> None:
        self._workers = {
            port.name: _Worker(port, post, hurry, upto, plant_time or self._hurried, self._feeding) for port in ports
        }
        self._hurry = hurry
        self._role_of = role_of
        self._post = post
        self._token = 0
        self._routes = routes
        self._by_hand = by_hand
        self._serials = dict(by_hand.serials) if by_hand is not None else {}
        self._dropped = 0
        self.safe_within = REACHED_WITHIN + max((port.safe_within for port in ports if port.outputs), default=0.0)

    def meet(self, roles: tuple[str, ...], number: int) -> None:
        """Open and identify the instruments of these roles."""
        by_name: dict[str, list[str]] = {}
        for role in roles:
            name = self._role_of.get(role)
            if name is None or (name not in self._workers and name not in self._serials):
                what = f"no instrument of this bench fills the role '{role}'"
                self._post(Happened(e.Troubled(number=number, instrument="", kind="unable", what=what)))
                return
            by_name.setdefault(name, []).append(role)
        # one at a time: the next request names those that are still to be met
        name, mine = next(iter(by_name.items()))
        if name in self._serials and name not in self._workers:
            serial = self._serials[name]
            met = e.Met(number=number, instrument=name, roles=mine, identity="read by eye", serial=serial)
            self._post(Happened(met))
            return
        self._workers[name].jobs.put(_Meet(number, tuple(mine)))

    def measure(self, step: Step, number: int) -> None:
        """Take the step's reading; through the matrix where that reaches its places."""
        if self._read_by_eye(step):
            self._type_in(step, number)
            return
        meter, routes = self._for(step), self._routes
        channels = channels_for(routes, self._role_of, step) if routes is not None else None
        dropped = self._dropped

        def wanted() -> bool:
            return dropped == self._dropped

        if routes is None or channels is None:
            meter.jobs.put(_Measure(number, step, wanted=wanted))
            return
        matrix = self._workers[routes.switch]
        matrix.jobs.put(_Route(number, step, channels, meter, wanted, matrix.epoch))

    def switch(self, step: Step, number: int) -> None:
        """Set the step's output and read it back; one that is set by knobs is switched by whoever types its word."""
        if self._read_by_eye(step):
            self._done_by_hand(number)
            return
        worker = self._for(step)
        worker.jobs.put(_Switch(number, step, worker.epoch))

    def energise(self, step: Step, ramp: RampUp, number: int) -> None:
        """Bring the step's output up its ramp and watch it; by knobs a person does both, and types what is seen."""
        if self._read_by_eye(step):
            self._done_by_hand(number)
            return
        worker = self._for(step)
        in_lead: _InLead | None = None
        if "amps" in step.roles:
            most = max(level.limit_a for level in ramp.levels)
            name = self._role_of["amps"]
            if name in self._serials:
                what = f"{name} is read by eye, and nobody reads fast enough to watch an output come up."
                advice = "Give the role amps to an ammeter with a port, or leave 'ammeter' out."
                trouble = e.Troubled(number=number, instrument=name, kind="unable", what=what, advice=advice)
                self._post(Happened(trouble))
                return
            in_lead = _InLead(self._workers[name], most)
        worker.jobs.put(_Energise(number, ramp, worker.epoch, in_lead))

    def live(self, step: Step | None, number: int = -1) -> None:
        """Take live readings as the step would; None stops them. Posts ``Troubled`` where none can be had."""
        for worker in self._workers.values():
            worker.showing = 0
        if step is not None and self._role_of.get(step.role or "") in self._workers:
            self._token += 1
            worker = self._for(step)
            worker.showing = self._token
            worker.jobs.put(_Live(number, step, self._token))

    def make_safe(self, number: int) -> None:
        """Bring all outputs to their safe state at once, each in a thread of its own."""
        threading.Thread(target=self._make_safe, args=(number,), name="make safe", daemon=True).start()

    def agreed(self, instrument: str) -> None:
        """A person was shown who answers as this instrument, and tried again."""
        if instrument in self._workers:
            self._workers[instrument].agreed()

    def drop_work(self) -> None:
        """Let go of measurements under way."""
        self._dropped += 1
        for worker in self._workers.values():
            worker.drop()

    def close(self) -> None:
        """Close all ports; waits briefly for each worker."""
        for worker in self._workers.values():
            worker.showing = 0
            worker.drop()
            worker.jobs.put(None)
        for worker in self._workers.values():
            worker.join(timeout=5.0)

    def _hurried(self, moment: float) -> float:
        return moment * self._hurry

    def _read_by_eye(self, step: Step) -> bool:
        return self._role_of.get(step.role or "") in self._serials

    def _done_by_hand(self, number: int) -> None:
        """Post what a person did at a supply's knobs, once all of it was typed."""
        assert self._by_hand is not None
        event = by_hand_done(self._by_hand.state(), number)
        if event is not None:
            self._post(Happened(event))

    def _type_in(self, step: Step, number: int) -> None:
        """Post what a person typed as the step's reading."""
        assert self._by_hand is not None
        self._post(Happened(typed_reading(self._by_hand.state(), number)))

    def _for(self, step: Step) -> _Worker:
        return self._workers[self._role_of[step.role or ""]]

    def _feeding(self) -> list[_Worker]:
        """Those whose output the walk counts on."""
        return [worker for worker in self._workers.values() if worker.put_on is not None]

    def _make_safe(self, number: int) -> None:
        wanted = [worker for worker in self._workers.values() if worker.port.outputs]
        confirmed = dict.fromkeys((worker.port.name for worker in wanted), False)
        left: dict[str, str] = {worker.port.name: f"{worker.port.name}: it did not answer in time" for worker in wanted}

        def one(worker: _Worker) -> None:
            done, what = worker.make_safe()
            confirmed[worker.port.name] = done
            left[worker.port.name] = "" if done else f"{worker.port.name}: {what}"

        threads = [threading.Thread(target=one, args=(worker,), daemon=True) for worker in wanted]
        for thread in threads:
            thread.start()
        until = time.monotonic() + self.safe_within
        for thread in threads:
            thread.join(timeout=max(0.0, until - time.monotonic()))
        by_knobs = knobs_off(self._by_hand.state()) if self._by_hand is not None else {}
        for name, off in by_knobs.items():
            confirmed[name] = off
            left[name] = "" if off else f"{name}: nothing but a hand at its knob switches it off"
        event = e.MadeSafe(number=number, confirmed=dict(confirmed), left=[text for text in left.values() if text])
        self._post(Happened(event))


class _Worker(threading.Thread):
    """The one thread that talks to one instrument."""

    def __init__(
        self,
        port: InstrumentPort,
        post: Post,
        hurry: float,
        upto: Callable[[Step], float | None] | None,
        plant_time: Callable[[float], float],
        feeding: Callable[[], list[_Worker]],
    ) -> None:
        super().__init__(name=f"instrument {port.name}", daemon=True)
        self.port = port
        self.jobs: queue.SimpleQueue[_Job] = queue.SimpleQueue()
        self.showing = 0
        """Which wish for live readings is in force; 0 for none."""
        self.put_on: Mapping[str, str | float] | None = None
        """What its output was switched on with; None where the walk does not count on it."""
        self.digits = Digits()
        self._told_off: object = None
        """What was on when it was told that it is not any more."""
        self._feeding = feeding
        self._post = post
        self._hurry = hurry
        self._upto = upto
        self._plant_time = plant_time
        self._instrument: Instrument | None = None
        self._opening = threading.Lock()
        self._opener = port.opener
        self._missed = False
        """It was not where it should be, and the person was told that it will be looked for."""
        self._before: Identity | None = None
        self._away = True
        """It was out of sight since it was met last: one that has no number of its own may be another one now."""
        self._asked_since = True
        """A person said who it is since it was out of sight."""
        self._busy = False
        self.epoch = 0
        """Counts how often it was made safe: what was asked for before switches nothing on any more."""
        self._gate = threading.Lock()
        """Held while something switches on."""
        self._shown: Identity | None = None
        """Who answers, where a person was asked whether that is the instrument that is meant."""
        self._agreed: Identity | None = None
        """And of whom a person said so."""
        self._lost = False
        """Its port went away in the middle of something that had no reading of its own."""
        self._set_to: tuple[str, float | None, dict[str, str | float]] | None = None
        self.start()

    def run(self) -> None:
        """Work until told to stop; look at an output that is on while there is nothing to do."""
        while True:
            try:
                job = self.jobs.get(timeout=LOOK_AT_OUTPUT if self.put_on is not None else None)
            except queue.Empty:
                self._watch_output()
                continue
            if job is None:
                break
            self._work(job)
        instrument = self._instrument
        if instrument is not None:
            with contextlib.suppress(InstrumentTrouble):
                instrument.close()

    def _work(self, job: _Job) -> None:
        number = getattr(job, "number", -1)
        try:
            match job:
                case _Meet():
                    self._meet(job)
                case _Measure():
                    self._busy = True  # before the look: whoever drops work either sees this or is seen
                    read = self._measure(job) if job.wanted is None or job.wanted() else None
                    if read is None:
                        return
                    if job.through is not None:
                        job.through.read = read
                    else:
                        self._post(Happened(read))
                case _Route():
                    self._route(job)
                case _Switch():
                    self._switch(job)
                case _Energise():
                    self._busy = True
                    self._energise(job)
                case _Amps():
                    self._busy = True
                    self._amps(job)
                case _StillOn(reply):
                    reply.put(self._look_at_output())
                case _Live(_, step, token):
                    self._show(step, token)
        except _WentOff as gone:
            if gone.trouble.kind != "aborted":
                self._tell(number, gone.trouble, gone.supply)
        except InstrumentTrouble as trouble:
            if trouble.kind in AWAY:
                self._away, self._asked_since = True, False
            if trouble.kind != "aborted":
                self._tell(number, trouble)
        except Exception as error:
            # a bug must not kill the thread: outputs may still have to be made safe through it
            what = f"the program failed while talking to {self.port.name}: {type(error).__name__}: {error}"
            self._post(Happened(e.Troubled(number=number, instrument=self.port.name, kind="bug", what=what)))
        finally:
            self._busy = False
            if isinstance(job, _Measure) and job.through is not None:
                job.through.over.set()
            if self._instrument is not None:
                self._instrument.clear_abort()

    def _tell(self, number: int, trouble: InstrumentTrouble, instrument: str = "") -> None:
        self._post(
            Happened(
                e.Troubled(
                    number=number,
                    instrument=instrument or self.port.name,
                    kind=trouble.kind,
                    what=trouble.what,
                    advice=trouble.advice,
                    raw=list(trouble.shown),
                )
            )
        )

    def drop(self) -> None:
        """End a measurement under way."""
        if self._busy and self._instrument is not None:
            self._instrument.abort()

    def agreed(self) -> None:
        """A person was shown who answers, and tried again."""
        if self._shown is not None:
            self._agreed, self._asked_since = self._shown, True

    # each kind of job

    def _open(self, *, to_make_safe: bool = False) -> Instrument:
        """The instrument, opened and identified anew.

        Args:
            to_make_safe: what was met a moment ago and is out of sight now is taken for what answers there: an order to
                switch off harms least, whoever it is.
        """
        with self._opening:
            if self._instrument is not None:
                with contextlib.suppress(InstrumentTrouble):
                    self._instrument.close()
                self._instrument = None
            instrument = self._opener()
            self._shown = None
            try:
                identity = instrument.meet()
                agreed = self._agreed is not None and self._agreed.same_instrument(identity)
                if self._before is not None and not self._before.same_instrument(identity) and not agreed:
                    self._shown = identity
                    raise InstrumentTrouble(
                        "stranger",
                        f"Another instrument answers as {self.port.name}: {identity.text[:80]!r}.",
                        f"Before it was {self._before.text[:80]!r}. Put that one back and try again; or try again with "
                        "this one, and what was checked with the first one is checked anew.",
                    )
                # one that has no number of its own may be another one by now, whatever was said of it before
                unsure = self._away and not self._asked_since and not identity.serial and not to_make_safe
                sure = agreed and not unsure
                if sure or not (self.port.confirm or (self.port.outputs and unsure and self._before is not None)):
                    instrument.set_up()
                else:
                    self._shown = identity
            except BaseException:
                instrument.close()
                raise
            self._before = identity
            self.put_on = None  # to open it was to set it up anew
            self._instrument = instrument
            self._set_to = None
            return instrument

    def _find(self) -> Instrument:
        """The instrument, opened where it was, or after a person tried again where else it may be plugged in."""
        try:
            instrument = self._open()
        except InstrumentTrouble as trouble:
            search = self.port.search
            if search is None or trouble.kind not in ("lost", "stranger"):
                raise
            if not self._missed:
                self._missed = True
                advice = f"{trouble.advice} {self.port.searches}".strip()
                raise InstrumentTrouble(trouble.kind, trouble.what, advice, raw=trouble.raw) from trouble
            self._opener = search()
            instrument = self._open()
        self._missed = False
        return instrument

    def _meet(self, job: _Meet) -> None:
        instrument = self._find()
        identity = instrument.identity
        if self._shown is not None and instrument.hands_off:
            # it is told as trouble, so that somebody answers before anything is sent to it but questions
            named = f"identity: '{identity.text[:120]}'"
            once = f"; and write its name into the bench file, so that this is asked once only: {named}"
            then = once if identity.serial else ". It has no number of its own, so this is asked at each start."
            raise InstrumentTrouble(
                "stranger",
                f"{self.port.name} names itself {identity.text[:120]!r} at {instrument.address}, and nobody has said "
                "yet that this is it. It can put out voltage.",
                f"Look which instrument answers there. If it is {self.port.name}, try again{then}",
            )
        self._post(
            Happened(
                e.Met(
                    number=job.number,
                    instrument=self.port.name,
                    roles=list(job.roles),
                    identity=identity.text,
                    address=instrument.address,
                    serial=identity.serial,
                    version=identity.version,
                    other=self._away and not identity.serial,
                )
            )
        )
        self._away = False

    def _ready(self) -> Instrument:
        if self._instrument is None:
            raise InstrumentTrouble("lost", f"{self.port.name} is not open.", "Try again.")
        return self._instrument

    def _configure(self, step: Step, wide: bool = False) -> tuple[Instrument, str]:
        """Set the instrument for a step; returns it and the function's common name.

        Args:
            step: the step.
            wide: let it range by itself where the step itself names no range.
        """
        instrument = self._ready()
        source = step.source
        reads, wires = source.read, source.wires
        functions = instrument.profile.functions_for(reads, wires if reads == "resistance" else None)
        if not functions:
            raise InstrumentTrouble(
                "unable",
                f"{self.port.name} does not read {reads}{f' with {wires} wires' if reads == 'resistance' else ''}.",
                "Give the role to another instrument in the bench file.",
            )
        chosen = functions[0]
        held = source.range.value if source.range is not None else None
        if held is None and not wide and chosen.lock:
            most = self._upto(step) if self._upto is not None else None
            held = most if most is not None and chosen.range_for(most) is not None else None
        known = {setting.name for setting in chosen.settings}
        wanted: dict[str, str | float] = {n: v for n, v in self.port.settings.items() if n in known}
        if source.test_voltage is not None:
            wanted["voltage"] = source.test_voltage.value
        # setting a meter anew takes longer than a reading: do it only where something is different
        if instrument.setup is None or self._set_to != (chosen.name, held, wanted):
            self._set_to = None
            instrument.configure(chosen.name, held, wanted)
            self._set_to = (chosen.name, held, wanted)
        return instrument, function_name(reads, wires)

    def _measure(self, job: _Measure) -> e.Read:
        """Take a reading; whatever output is on is read back before and after it, or it does not count."""
        self._refuse_dead("before the reading")
        read = self._taken(job)
        self._refuse_dead("while the reading was taken")
        if not job.bare:
            self._refuse_stuck(job, read, self._ready())
        return read

    def _refuse_stuck(self, job: _Measure, read: e.Read, instrument: Instrument) -> None:
        """Refuse a reading whose digits, down to the last, came at several places in a row, though probes were lifted.

        What the meter showed meanwhile tells. Through relays it is looked at with all of them open, but for a test
        voltage, which is put on for no such look.

        Raises:
            InstrumentTrouble: ``stuck``; the next time the same digits are counted anew.
        """
        source, setup = job.step.source, instrument.setup
        if instrument.profile.outputs:
            return  # it reads at its own terminals, where nothing is lifted between two readings
        silent = setup is not None and instrument.profile.function(setup.function).energises
        opened = job.through is not None
        place = (*source.probes, *map(str, source.join)) if source.probes else (job.step.key,)
        self.digits.taken(source.read, place, read, opened=opened, silent=silent)
        if len(self.digits.places) < STUCK_AFTER or (opened and not silent):
            return
        self.digits.forget()
        raise InstrumentTrouble(
            "stuck",
            f"{same_digits(STUCK_AFTER, read)} "
            + ("such readings are not alike." if silent else "showed nothing else in between."),
            "Read something else with it, such as its open leads; if that is read right, try again."
            if silent
            else "Lift the probes and see that the display changes; if it does, try again.",
            raw=tuple(text.encode() for text in read.raw),
        )

    def _refuse_dead(self, when: str) -> None:
        """Have every output that the walk counts on read back.

        Raises:
            _WentOff: one is off, or does not say.
        """
        for worker in self._feeding():
            if worker is self:
                trouble = self._look_at_output()
            else:
                reply: queue.SimpleQueue[InstrumentTrouble | None] = queue.SimpleQueue()
                worker.jobs.put(_StillOn(reply))
                try:
                    trouble = reply.get(timeout=STILL_ON_WITHIN)
                except queue.Empty:
                    trouble = InstrumentTrouble("silent", f"It did not answer within {STILL_ON_WITHIN:g} s.")
            if trouble is not None:
                what = f"The output of {worker.port.name} is not known to be on {when}: {trouble.what}"
                advice = f"{trouble.advice} Pause: outputs are made safe then, and the hold point comes up again."
                told = InstrumentTrouble(trouble.kind, what, advice.strip(), raw=trouble.raw)
                raise _WentOff(worker.port.name, told) from trouble

    def _watch_output(self) -> None:
        """Tell where an output that is on went off by itself, or does not answer any more; once."""
        on = self.put_on
        if on is self._told_off:
            return
        try:
            trouble = self._look_at_output()
        except Exception as error:
            trouble = InstrumentTrouble("unable", f"The program failed: {type(error).__name__}: {error}.")
        if trouble is not None and trouble.kind != "aborted":
            self._told_off = on
            what = f"The output of {self.port.name} is not known to be on any more: {trouble.what} {trouble.advice}"
            self._post(WentOff(self.port.name, what.strip()))

    def _look_at_output(self) -> InstrumentTrouble | None:
        """Read back that the output is on; what is wrong where it is not.

        It is told to go off then: what tripped must not come back by itself while somebody looks for the reason. The
        walk goes on counting on it until it makes everything safe itself, so that no later reading counts either.
        """
        put_on = self.put_on
        if put_on is None:
            return None  # made safe meanwhile
        try:
            self._ready().confirm_output(put_on)
        except InstrumentTrouble as trouble:
            if trouble.kind != "aborted" and self._instrument is not None:
                self._instrument.make_safe()
            return trouble
        return None

    def _taken(self, job: _Measure) -> e.Read:
        """Take a reading; of one at a test voltage it is told what becomes of the charge, until that is read back."""
        instrument, function = self._configure(job.step)
        if job.step.source.test_voltage is None:
            return self._samples(job, instrument, function)
        instrument.leaving = self._leaving
        safe = instrument.profile.safe
        gone = f"Discharged, read back: {safe.text}." if safe is not None else ""
        try:
            read = self._samples(job, instrument, function)
        except InstrumentTrouble as trouble:
            # where it does not say so itself it was read back after all
            lost = trouble.kind == "unsafe"
            self._post(Leaving(self.port.name, 0.0, "V", "" if lost else gone, lost or not gone))
            raise
        self._post(Leaving(self.port.name, 0.0, "V", gone, not gone))
        return read

    def _samples(self, job: _Measure, instrument: Instrument, function: str) -> e.Read:
        source = job.step.source
        if source.times:
            moments = [time.value for time in source.times]
            taken = instrument.read_timed([moment / self._hurry for moment in moments])
            series = [(moment, sample.value) for moment, sample in zip(moments, taken, strict=True)]
            read = read_of(job.number, self.port.name, function, taken[-1:])
            return msgspec.structs.replace(read, series=series)
        after = source.lasts
        samples = [instrument.read(after / self._hurry)]
        if samples[0].over and source.range is None and not after:
            # beyond what the limit allows: how far beyond tells a poor joint from an open wire
            instrument, function = self._configure(job.step, wide=True)
            samples = [instrument.read()]
        # an overload does not become a number by reading it again
        while len(samples) < source.readings and samples[-1].value is not None:
            samples.append(instrument.read())
        return read_of(job.number, self.port.name, function, samples)

    def _route(self, job: _Route) -> None:
        """A reading through relays: they are closed before, still closed after, and open again before it counts.

        Each of that is read back; a relay that is not as it should be makes trouble out of the reading.
        """
        if not job.wanted():
            return
        instrument = self._instrument
        if instrument is None or self._lost:
            instrument = self._find()
            self._lost = False
        through = _Through()
        try:
            self._switch_on(job.epoch, lambda: instrument.set_channels(job.channels))
            if job.wanted():
                job.meter.jobs.put(_Measure(job.number, job.step, through, wanted=job.wanted))
                while not through.over.wait(0.2) and job.meter.is_alive():
                    pass
            replies = instrument.confirm_channels(job.channels) if through.read is not None else ()
        except InstrumentTrouble as trouble:
            # everything was opened before it was raised, as far as the line goes
            self._lost = trouble.kind in ("lost", "stranger")
            raise
        if job.epoch == self.epoch:
            instrument.set_channels(())
        if through.read is not None and len(job.meter.digits.places) >= ALIKE and not job.step.source.test_voltage:
            self._refuse_unmoved(job, through.read)
        if through.read is not None:
            raw = [*through.read.raw, *(f"{self.port.name}: {show(reply)}" for reply in replies)]
            self._post(Happened(msgspec.structs.replace(through.read, raw=raw)))

    def _refuse_unmoved(self, job: _Route, read: e.Read) -> None:
        """With every relay open the meter must read open, or at least something else than before.

        Raises:
            InstrumentTrouble: ``stuck``.
        """
        bare = _Through()
        job.meter.jobs.put(_Measure(job.number, job.step, bare, bare=True))
        while not bare.over.wait(0.2) and job.meter.is_alive():
            pass
        if bare.read is None:
            return  # its trouble was told
        job.meter.digits.forget()
        resistance = job.step.source.read == "resistance"
        if bare.read.over != "+" if resistance else bare.read.value == read.value:
            shown = "no number" if bare.read.value is None else engineering(bare.read.value, bare.read.unit)
            raise InstrumentTrouble(
                "stuck",
                f"{same_digits(ALIKE, read)} shows {shown} with every relay open.",
                "The meter is stuck at its last value, or something else is on its leads: look at it, then try again.",
            )

    def _switch(self, job: _Switch) -> None:
        source = job.step.source
        assert isinstance(source, Set)
        settings: dict[str, str | float] = {}
        if source.voltage is not None:
            settings["voltage"] = source.voltage.value
        if source.current_limit is not None:
            settings["current"] = source.current_limit.value
        instrument = self._ready()
        already = False
        if source.output == "on":
            state = self._switch_on(job.epoch, lambda: instrument.set_output(True, settings))
            self.put_on = settings
        else:
            already = self._is_off_already(instrument)
            state = instrument.set_output(False)
            self.put_on = None
        self._post(
            Happened(
                e.Switched(
                    number=job.number,
                    instrument=self.port.name,
                    state="on" if state.on else "off",
                    confirmed=True,
                    already=already,
                    raw=list(state.raw_text),
                )
            )
        )

    def _is_off_already(self, instrument: Instrument) -> bool:
        """Whether an output that was switched on, and is to go off now, went off by itself before."""
        on = self.put_on
        if on is None:
            return False
        try:
            instrument.confirm_output(on)
        except InstrumentTrouble as trouble:
            return trouble.kind == "mismatch"
        return False

    def _switch_on(self, epoch: int, act: Callable[[], T]) -> T:
        """Do something that switches on, unless the instrument was made safe since that was asked for."""
        with self._gate:
            if epoch != self.epoch:
                raise InstrumentTrouble("aborted", f"{self.port.name} was made safe meanwhile.")
            return act()

    def _energise(self, job: _Energise) -> None:
        self._set_to = None
        work = BringUp(
            self._ready(),
            job.ramp,
            self._plant_time,
            lambda act: self._switch_on(job.epoch, act),
            self._post,
            job.ammeter,
        )
        came = work.run(job.number, self.port.name)
        if came.state == "on" and came.sets:
            _, volts, most = came.sets[-1]
            self.put_on = {"voltage": volts, "current": most}
        self._post(Happened(came))

    def _amps(self, job: _Amps) -> None:
        try:
            instrument = self._ready()
            if self._set_to is None or self._set_to[0] != AMPS_SET:
                functions = instrument.profile.functions_for("current")
                if not functions:
                    raise InstrumentTrouble("unable", f"{self.port.name} does not read current.")
                chosen = functions[0]
                known = {setting.name for setting in chosen.settings}
                wanted: dict[str, str | float] = {n: v for n, v in self.port.settings.items() if n in known}
                # held on one range: to look for another one takes time in which nothing is watched
                held = job.most if chosen.lock and chosen.range_for(job.most) is not None else None
                instrument.configure(chosen.name, held, wanted)
                self._set_to = (AMPS_SET, held, wanted)
            job.reply.put(instrument.read())
        except InstrumentTrouble as trouble:
            job.reply.put(trouble)
        except Exception as error:
            what = f"the program failed while reading {self.port.name}: {type(error).__name__}: {error}"
            job.reply.put(InstrumentTrouble("unable", what))

    def _show(self, step: Step, token: int) -> None:
        """Live readings until the next job comes or they are stopped.

        Where its dial is wrong a person is told what it shows and what to turn, as long as it is. A port that went away
        is told at once, for whoever holds the probes waits for a contact that nobody would see; so is a meter that
        gives nothing however often it is asked.
        """
        role = step.role or ""
        missed = 0
        while self.showing == token and self.jobs.empty():
            try:
                instrument, _ = self._configure(step)
                for taken in instrument.live():
                    missed = 0
                    self.digits.shown(taken.value)
                    sample = LiveReading(role, taken.finished, taken.unit, taken.value, taken.over, taken.resolution)
                    self._post(sample)
                    if self.showing != token or not self.jobs.empty():
                        return
            except InstrumentTrouble as trouble:
                if trouble.kind in ("unable", "aborted") or self.showing != token or not self.jobs.empty():
                    return  # it is not shown live, or what comes next finds out
                if trouble.kind == "mismatch":
                    wrong = f"{trouble.what} {trouble.advice}".strip()
                    self._post(LiveReading(role, time.monotonic(), "", None, "", None, wrong))
                else:
                    missed += 1
                    if trouble.kind == "lost" or missed > MISSED:
                        raise
                time.sleep(LOOK_AGAIN)

    def _leaving(self, left: float, unit: str) -> None:
        """Charge is leaving: people want to see how much is left."""
        self._post(Leaving(self.port.name, left, unit))

    def make_safe(self) -> tuple[bool, str]:
        """Make the instrument safe from another thread; opens it first if it is not open.

        Returns:
            Whether that was confirmed, and what it said.
        """
        # from here on nothing that was asked for before switches on; what is past that check is waited for
        self.epoch += 1
        self.put_on = None
        inside = not self._gate.acquire(blocking=False)
        if not inside:
            self._gate.release()
        try:
            instrument = self._instrument or self._open(to_make_safe=True)
            state = instrument.make_safe(self._leaving)
            if inside:
                with self._gate:
                    state = instrument.make_safe(self._leaving)
            if state.lost:
                # it may have been plugged in again meanwhile
                state = self._open(to_make_safe=True).make_safe(self._leaving)
        except InstrumentTrouble as trouble:
            return False, trouble.what
        return state.confirmed, state.what


def read_of(number: int, instrument: str, function: str, samples: list[Sample]) -> e.Read:
    """The event of one reading, or of the mean of several.

    Args:
        number: the request's.
        instrument: its name on the bench.
        function: as readings name it.
        samples: one at least.
    """
    last = samples[-1]
    values = [sample.value for sample in samples if sample.value is not None]
    mean = statistics.fmean(values) if len(values) == len(samples) else None
    return e.Read(
        number=number,
        instrument=instrument,
        function=function,
        unit=last.unit,
        value=mean,
        over=last.over,
        bound=last.bound if last.over else None,
        nan=last.nan,
        flags=list(dict.fromkeys(flag for sample in samples for flag in sample.flags)),
        trace=list(last.trace),
        range=last.range,
        resolution=last.resolution,
        raw=[text for sample in samples for text in sample.raw_text],
        count=len(samples),
        spread=statistics.stdev(values) if mean is not None and len(values) > 1 else None,
        took=sum(sample.took for sample in samples),
        tries=max(sample.tries for sample in samples),
    )
