"""Brings an output up its ramp and watches it, on the thread that owns the instrument.

What to do is decided in :mod:`bench.judge.ramp`; here it is done. A reading beyond the window switches the output off
before anything else happens: before it is written down, told or thought about.

A reading counts from the moment it was asked for. The machine may be busy for a while between a reading and whoever
looks at it: one that was taken in an inrush and looked at afterwards is still one of the inrush.
"""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable
from typing import Final, Protocol

import msgspec

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.values import OutputState, Sample
from bench.judge.ramp import Finished, Off, RampJudge, RampUp, Setting
from bench.runner.ports import Rising
from bench.walk import events as e

VOLTS_EVERY: Final = 3.0
"""Seconds between looks at the terminal voltage; in between every reading is of the current."""
KEPT: Final = 800
"""Readings of a soak that are kept, about."""

SwitchOn = Callable[[Callable[[], OutputState]], OutputState]
"""Does something that switches on, unless outputs were made safe since this was asked for."""


class Ammeter(Protocol):
    """An ammeter in the supply's lead, that another thread talks to."""

    name: str

    def read(self) -> Sample:
        """A reading of the current, asked for now.

        Raises:
            InstrumentTrouble: it gave none, or not in time.
        """


class BringUp(msgspec.Struct):
    """One output on its way up.

    Args:
        instrument: the supply; it reads its own current and voltage.
        ramp: what to follow.
        clock: a moment of the monotonic clock to seconds on the time scale of the plant.
        switch_on: guards everything that switches on.
        shown: takes every reading as it comes, for screens; None: nobody looks.
        ammeter: an ammeter in the supply's lead, where the supply's own reading is not to be used.
        now: the monotonic clock, the same that the instrument goes by.
    """

    instrument: Instrument
    ramp: RampUp
    clock: Callable[[float], float]
    switch_on: SwitchOn
    shown: Callable[[Rising], None] | None = None
    ammeter: Ammeter | None = None
    now: Callable[[], float] = time.monotonic
    _times: list[float] = msgspec.field(default_factory=list)
    _amps: list[float | None] = msgspec.field(default_factory=list)
    _terminal: list[tuple[float, float]] = msgspec.field(default_factory=list)
    _sets: list[tuple[float, float, float]] = msgspec.field(default_factory=list)
    _raw: list[str] = msgspec.field(default_factory=list)
    _began: float = 0.0
    _reading: str = ""
    _thinned: int = 1
    _soaked: int = 0

    def run(self, number: int, name: str) -> e.Energised:
        """Bring it up. The output is on afterwards only where the event says ``done``.

        Args:
            number: the request's.
            name: the instrument's in the bench file.

        Raises:
            InstrumentTrouble: it could not be followed to the end; the output was told to go off all the same.
        """
        try:
            judge = self._follow()
        except BaseException:
            self.instrument.make_safe()
            raise
        tripped = len(self._amps) - 1 if judge.tripped is not None else None
        if judge.why == "done":
            return self._event(number, name, judge, "on", True, tripped)
        # the output was told to go off in the moment of the trip; here it is only read back
        state = self.instrument.make_safe()
        self._raw += state.raw_text
        return self._event(number, name, judge, "off", state.confirmed, tripped)

    def _follow(self) -> RampJudge:
        judge = RampJudge(self.ramp)
        self._set(judge, judge.begin(), first=True)
        looks = self._looks(judge)
        while True:
            t, amps = self._read("current")
            order = judge.sample(t, amps, self._looked(judge))
            if isinstance(order, Off):
                self._off()
            self._keep(judge, t, amps)
            self._show(judge, t, amps)
            match order:
                case Off() | Finished():
                    return judge
                case Setting():
                    self._set(judge, order)
                    looks = self._looks(judge)
                case None if t >= looks[0]:
                    self._terminal.append(self._voltage())
                    looks = [at for at in looks if at > t] or [t + VOLTS_EVERY]

    def _show(self, judge: RampJudge, now: float, amps: float | None) -> None:
        set_at = self._sets[-1][0]
        volts = self._terminal[-1][1] if self._terminal and self._terminal[-1][0] >= set_at else None
        settled = now - judge.settled_at if judge.settled_at is not None else None
        # the judge may have gone on to the next level, which is not set yet
        if self.shown is not None:
            self.shown(Rising(now, len(self._sets) - 1, now - set_at, amps, volts, settled))

    def _looks(self, judge: RampJudge) -> list[float]:
        """When to look at the voltage after a setting: at once and again in the inrush, so that a short is seen as one.

        A slow meter may have no more than one reading before a short trips.
        """
        set_at = self._sets[-1][0]
        return [set_at, set_at + self.ramp.levels[judge.level].inrush_s / 2]

    def _off(self) -> None:
        with contextlib.suppress(InstrumentTrouble):
            self.instrument.set_output(False)

    def _set(self, judge: RampJudge, order: Setting, first: bool = False) -> None:
        wanted: dict[str, str | float] = {"voltage": order.volts, "current": order.limit_a}
        if first:
            self.switch_on(lambda: self.instrument.set_output(True, wanted))
            self._began = self.clock(self.now())
        else:
            self.switch_on(lambda: self.instrument.change_output(wanted))
        t = self.clock(self.now()) - self._began
        judge.was_set(t)
        self._sets.append((t, order.volts, order.limit_a))

    def _read(self, what: str) -> tuple[float, float | None]:
        if what == "current" and self.ammeter is not None:
            taken = self.ammeter.read()
            self._raw = list(taken.raw_text)
            return self.clock(taken.started) - self._began, taken.value
        if self._reading != what:
            functions = self.instrument.profile.functions_for("current" if what == "current" else "voltage")
            if not functions:
                advice = (
                    "Put an ammeter into its lead and say 'ammeter: true' at the step." if what == "current" else ""
                )
                raise InstrumentTrouble("unable", f"It does not read its own {what}, so it cannot be watched.", advice)
            self.instrument.configure(functions[0].name)
            self._reading = what
        taken = self.instrument.read()
        self._raw = list(taken.raw_text)
        return self.clock(taken.started) - self._began, taken.value

    def _voltage(self) -> tuple[float, float]:
        t, volts = self._read("voltage")
        return t, volts if volts is not None else math.inf

    def _looked(self, judge: RampJudge) -> float | None:
        """The terminal voltage, where it was read since the last current and after the inrush."""
        if not self._terminal or not self._times:
            return None
        t, volts = self._terminal[-1]
        settled = self._sets[-1][0] + self.ramp.levels[judge.level].inrush_s
        return volts if t > max(self._times[-1], settled) else None

    def _keep(self, judge: RampJudge, now: float, amps: float | None) -> None:
        if judge.settled_at is not None and not judge.why:
            if not self._soaked:
                pace = judge.samples / max(now, 1e-3)
                self._thinned = max(1, math.ceil(pace * self.ramp.soak_s / KEPT))
            self._soaked += 1
            if self._soaked % self._thinned:
                return
        self._times.append(round(now, 4))
        self._amps.append(amps)

    def _event(
        self, number: int, name: str, judge: RampJudge, state: str, confirmed: bool, tripped: int | None
    ) -> e.Energised:
        return e.Energised(
            number=number,
            instrument=name,
            meter=self.ammeter.name if self.ammeter is not None else "",
            state="on" if state == "on" else "off",
            confirmed=confirmed,
            why=judge.why,
            times=self._times,
            amps=self._amps,
            terminal=[(round(t, 4), volts) for t, volts in self._terminal if math.isfinite(volts)],
            sets=[(round(t, 4), volts, limit) for t, volts, limit in self._sets],
            tripped=tripped,
            thinned=self._thinned,
            raw=self._raw,
        )
