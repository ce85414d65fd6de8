"""Gannet Head in this process, with instruments that only a person reads: what each display shows is typed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec

from bench import assemble
from bench.plant.faults import Fault
from bench.plant.resolve import resolve
from bench.sequence.file import Measure, Prove, Zero
from bench.sequence.plan import Step
from bench.simulate import serve
from bench.simulate.messages import Done, Move, encode
from bench.simulate.process import SimulatedHands
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.terminals import AMPS, HI, LO
from bench.walk import events as e
from bench.walk.by_eye import display_of, function_of
from bench.walk.by_knobs import LIMIT, OFF
from bench.walk.facts import Display
from bench.walk.left_on import knobs_off
from bench.walk.state import Phase, State, by_hand_done, by_knobs_course, unsafe_by_hand
from tests.walk.hand_held import Typing
from tests.walks.tool import JOB

LEADS = 0.2
"""Ohms of a pair of test leads."""
BENCH = """
bench: by hand
instruments:
  - {name: hand-held, profile: hand-held-meter, port: typed}
  - {name: desk, profile: scpi-bench-meter, port: typed}
  - {name: low-ohm, profile: hand-held-low-ohm-meter, port: typed}
  - {name: tester, profile: dial-insulation-tester, port: typed}
  - {name: clamp, profile: hand-held-clamp, port: typed}
  - {name: supply, profile: hand-set-supply, port: typed}
roles: {ohms: OHMS, volts: hand-held, insulation: tester, amps: AMPS, supply: supply}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 1 %}
  - {name: the 1 Mohm resistor, value: 1 Mohm, tolerance: 1 %}
"""
TESTER_A = 1e-3
"""What an insulation tester gives at the most; common practice, no source."""
Mistake = Callable[[State, Step, str], str]
"""What a person types in place of what a display shows."""


class Hall(serve.Bench):
    """The simulated plant without a port: hands move it, and people look at displays."""

    def __init__(self, began: e.Began, faults: Sequence[Fault]) -> None:
        plant = resolve(began.plant)
        self.clock = serve.SimulatedClock(1.0)
        self.world = PowerWorld(plant, faults, seed=18, reference_ohms=100.0, broken=())
        self._dials, self._ports, self._machines = {}, {}, []

    @property
    def shelves(self) -> tuple[str, ...]:
        return tuple(self.world.shelves)

    def move(self, move: Move) -> Done:
        done = self._make(encode(move))
        assert not done.wrong, done.wrong
        return done

    def truth(self, step: Step) -> float:
        """What is at the leads, in the base unit."""
        now, world = self.clock.now(), self.world
        reads, function = function_of(step)
        match reads:
            case "resistance" if function.endswith("4w"):
                return world.four_wire(HI, HI, LO, LO, now)
            case "resistance":
                return world.resistance(HI, LO, now) + LEADS
            case "insulation":
                return world.specimen(now).ohms
            case "voltage":
                volts = world.voltage(HI, LO, now, 10e6)
                return 0.0 if volts != volts else volts
            case "ac-voltage":
                return 0.0
            case "current":
                return world.clamped(now) if _bond(step) else world.current(AMPS, LO, now, 0.1)
            case "ac-current":
                return world.clamped_ac(now)
            case _:
                return world.temperature(now)

    def kept_on(self, volts: float, seconds: float) -> float:
        """Ohms on an insulation tester that has been kept on for some seconds more."""
        specimen = self.world.specimen(self.clock.now())
        specimen.leave(self.clock.now())
        self.move(Move(jump=seconds))
        specimen.drive(self.clock.now(), volts, TESTER_A)
        amps = specimen.current(volts, TESTER_A)
        return volts / amps if amps > 0.0 else float("inf")


def _bond(step: Step) -> bool:
    return isinstance(step.source, Measure) and "bond" in step.title.casefold()


def shown(value: float, displays: list[Display]) -> str:
    """What stands on the instrument for a value."""
    words = [one for one in displays if one.word]
    if words:
        lamp = next((one for one in words if one.beyond and abs(value) >= one.top), None)
        return (lamp or next(one for one in words if not one.beyond)).word
    known = [msgspec.structs.replace(one, resolution=one.resolution or one.range / 2000.0) for one in displays]
    return display_of(min(max(value, -1e12), 1e12), known)


def began(folder: Path, sequence: str | Path, bench: str = BENCH, *, ohms: str = "hand-held", amps: str = "hand-held"):
    """The beginning of a walk of a shipped sequence, or of one that was drafted, on such a bench."""
    shutil.copy(JOB / "plant.yaml", folder)
    shutil.copytree(JOB / "pins", folder / "pins", dirs_exist_ok=True)
    text = (JOB / sequence).read_text("utf-8") if isinstance(sequence, Path) else sequence
    (folder / "sequence.yaml").write_text(text, "utf-8")
    (folder / "bench.yaml").write_text(bench.replace("OHMS", ohms).replace("AMPS", amps), "utf-8")
    return assemble.began(assemble.load_job(folder / "sequence.yaml", folder / "bench.yaml"), "Ada")


def walked(
    first: e.Began,
    faults: Sequence[Fault] = (),
    *,
    kept: list[e.Entry] | None = None,
    mistake: Mistake | None = None,
    live: float = 24.0,
) -> State:
    """A whole walk by hands that only type; a source that is known to be live has ``live`` volts."""
    walk = Person(first, faults, mistake, live)
    walk.run()
    if kept is not None:
        kept.extend(walk.entries)
    return walk.state


class Person(Typing):
    """By hands that only type.

    Args:
        first: how it begins.
        faults: of the plant.
        mistake: what is typed in place of what the display shows.
        live: volts of a source that is known to be live.
    """

    def __init__(
        self, first: e.Began, faults: Sequence[Fault] = (), mistake: Mistake | None = None, live: float = 24.0
    ) -> None:
        self._hall, self._mistake, self._live_v = Hall(first, faults), mistake, live
        self._hands = SimulatedHands(self._hall, 20.0, {}, 1e6)  # type: ignore[arg-type]
        self.begin(first)

    def at(self) -> str:
        second = 90 * (self.state.taken + 1)
        minutes, hours = second // 60, second // 3600
        return f"2026-05-{1 + hours // 24:02}T{hours % 24:02}:{minutes % 60:02}:{second % 60:02}.000000Z"

    def placed(self, step: Step) -> e.Event:
        self._hands.place(step)
        assert step.role is not None
        facts = self.bench.for_role(step.role)
        assert facts is not None
        if step.source.after is not None:
            self._hall.move(Move(jump=max(15.0, step.source.after.value)))
        text = shown(self._held(step), facts.displays[function_of(step)[1]])
        # who made a slip is asked once more, and then types what is there
        if self._mistake is not None and not self.state.pending.typed:
            text = self._mistake(self.state, step, text)
        return self.answered(text)

    def rested(self, seconds: float) -> None:
        """Time goes by in the hall."""
        self._hall.move(Move(jump=seconds))

    def waited(self, left: float) -> e.Event:
        self.rested(left)
        return super().waited(left)

    def done(self, step: Step) -> e.Event:
        self._hands.act(step)
        return self.answered(self._hands.answer(step))

    def brought_up(self, step: Step) -> e.Event:
        done = by_hand_done(self.state, self.state.number)
        if done is not None:
            return done
        ramp, now = self.state.pending.ramp, by_knobs_course(self.state)
        assert ramp is not None
        if not self.state.pending.typed:
            self._hands.act(step)
        if now.why:
            self._hall.world.release(self._hall.clock.now())
            return self.answered(OFF)
        level = ramp.levels[now.level]
        self._hall.world.drive(level.volts, level.limit_a, self._hall.clock.now())
        stood = level.inrush_s + level.hold_s + ramp.span_s + (ramp.soak_s if now.soaking else 0.0)
        self._hall.move(Move(jump=max(20.0, stood)))
        found = self._hall.world.drive(level.volts, level.limit_a, self._hall.clock.now())
        facts = self.bench.for_role("supply")
        assert facts is not None
        text = shown(found.amps, facts.displays["current"])
        if found.mode == "CURR":
            text = LIMIT
        return self.answered(text if self._mistake is None else self._mistake(self.state, step, text))

    def switched(self, step: Step) -> e.Event:
        done = by_hand_done(self.state, self.state.number)
        if done is not None:
            return done
        self._hall.world.release(self._hall.clock.now())
        return self.answered(OFF)

    def made_safe(self) -> dict[str, bool]:
        return knobs_off(self.state)

    def event(self) -> e.Event:
        if unsafe_by_hand(self.state):
            self._hall.world.release(self._hall.clock.now())
            return self.answered(OFF)
        if self.state.phase is Phase.TROUBLED:
            return e.Skipped(number=self.state.number, reason="no such instrument", by=self.by)
        return super().event()

    def _held(self, step: Step) -> float:
        source = step.source
        if isinstance(source, Zero):
            return LEADS
        if isinstance(source, Prove) and source.read == "insulation" and source.against == "reference":
            return 1e6
        if isinstance(source, Prove) and source.against == "live-source":
            return self._live_v
        if isinstance(source, Measure) and source.times and source.at is not None:
            moments = [0.0, *(moment.value for moment in source.times)]
            nth = len(self.state.pending.typed)
            return self._hall.kept_on(source.at.value, moments[nth + 1] - moments[nth])
        return self._hall.truth(step)
