"""One drafted sequence, walked by a team with its slips through the tool's own machine, at the plant as it is."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from msgspec.structs import replace

from bench.plant.handled import Change, Handled, Kind
from bench.plant.things import Terminal
from bench.record.replay import Taken, brought
from bench.roles import OHMMETERS
from bench.screens.walk.sayings import back_to
from bench.sequence.file import BENCH_SUPPLY, Ask, Caution, Do, Gate, Hold, Look, Measure
from bench.sequence.pace import seconds_of
from bench.sequence.plan import Step
from bench.simulate.messages import Move
from bench.simulate.process import SimulatedHands
from bench.walk import events as e
from bench.walk.by_eye import display_of, function_of
from bench.walk.by_knobs import LIMIT, OFF
from bench.walk.facts import Display
from bench.walk.lead_stays import stays
from bench.walk.state import Phase, Refused, by_hand_done, by_knobs_course, unsafe_by_hand
from tests.rebuild.bench import Errors
from tests.rebuild.site import Site
from tests.rebuild.team import AT_HAND, BY_EYE, CHANGE_OVER, PLACE, Ledger, Team
from tests.walk.by_hand_hall import Person

AT_THE_LEADS = 4.0
"""Volts of a source that is known to be live would be asked for; a battery of a lamp has as much."""


_SO_ALREADY: Final[tuple[tuple[str, Kind, set[str]], ...]] = (
    ("open", "breaker", {"open", "locked off"}),
    ("close", "breaker", {"closed"}),
    ("take_out", "card", {"out"}),
    ("put_in", "card", {"in"}),
)
"""Lists of an act's names, what kind of thing they are, and how such a thing is where nothing is left to do."""


_LOOK_FIRST: Final = re.compile(r"Look at (.+?) first: (.+ must be .+ measure again)")
"""What stands on the page where nothing arrives, or runs through the meter, and something may be worked at once."""

_ONCE_IT_IS_OFF: Final = re.compile(r"Nothing is drawn\. Look at (.+?) first: .+ until the output is off")
"""What it says where nothing is drawn at a full voltage: once the output is off one goes back."""


class Evening(Person):
    """A walk by hands that only type, with slips.

    Args:
        first: how it begins.
        site: the plant.
        team: who walks.
        errors: of the instruments.
        ledger: what is spent goes there.
        began: time of day at its beginning.
    """

    def __init__(self, first: e.Began, site: Site, team: Team, errors: Errors, ledger: Ledger, began: datetime) -> None:
        self.site, self.team, self.errors, self.ledger, self.night = site, team, errors, ledger, began
        self.tonight = site.tonight()
        self._hall = self.tonight  # type: ignore[assignment]
        self._mistake, self._live_v = None, 24.0
        self._hands = SimulatedHands(self.tonight, site.plant.ambient_c, {}, 1e6)  # type: ignore[arg-type]
        self._really = set(site.closed)
        self._slipped: dict[int, str] = {}
        self.taken: list[Taken] = []
        self.fed: list[tuple[Step, float]] = []
        self.truths: dict[int, float] = {}
        self._truth: float | None = None
        self._once_off: list[str] = []
        self._at: frozenset[str] = frozenset()
        self._ohmmeter = ""
        self._tips: dict[str, str] = {}
        self.watch: Callable[[Evening, Step, float], None] | None = None
        self.begin(first)
        assert self.state.setting is not None
        self._hands.restore(self.state.conditions.handled)
        self.tonight.world.breakers(sorted(self._really), 0.0)

    def at(self) -> str:
        then = self.night + timedelta(seconds=30 * self.state.taken)
        return then.strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def add(self, event: e.Event) -> e.Entry:
        before = self.state
        entry = super().add(event)
        self.taken.append(Taken(before, entry, self.state))
        came = brought(self.taken[-1]) if isinstance(event, e.Energised) else None
        told = _ONCE_IT_IS_OFF.search(came.sentence) if came is not None else None
        self._once_off = told[1].split(", then ") if told is not None else self._once_off
        if isinstance(event, e.Read) and self._truth is not None:
            self.truths[entry.n], self._truth = self._truth, None
        return entry

    def one(self) -> e.Event:
        event = self.event()
        try:
            return self.add(event).event
        except Refused as why:
            return self.add(e.Aborted(why=str(why))).event

    @property
    def closed(self) -> frozenset[str]:
        """The breakers that are really closed."""
        return frozenset(self._really)

    def leave(self) -> None:
        """The evening is over: things stay as hands left them."""
        self.site.left(self.state.conditions.handled, self._really)

    # where they stand

    def _go(self, *names: str) -> None:
        terminals = self.site.plant.terminals
        found = [terminals.get(name) for name in names]
        self.ledger.go(tuple(one.bay for one in found if isinstance(one, Terminal)))

    # hands

    def done(self, step: Step) -> e.Event:
        source = step.source
        if isinstance(source, Do):
            self.ledger.acts += 1
            if source.probes is not None:
                self._go(*source.probes)
            before = self._hands._handled
            self._hands.act(step)
            self.ledger.spend(self._seconds(step, before) / 60.0)
            self._work_breakers(before.closed, self._hands._handled.closed)
        else:
            self.ledger.spend(seconds_of([step]) / 60.0)
            self._hands.act(step)
        return self.answered(self._said(step))

    def _seconds(self, step: Step, before: Handled) -> float:
        """How long an act takes where some of it is so already: leads that are off are not taken off once more."""
        source = step.source
        assert isinstance(source, Do)
        left: dict[str, list[str]] = {}
        for field, kind, states in _SO_ALREADY:
            left[field] = [name for name in getattr(source, field) if before.state(kind, name) not in states]
        off = source.disconnect
        if before.state("connection", BENCH_SUPPLY) != "connected" and set(off) <= self.site.apart:
            off = []
        self.site.apart |= {*source.disconnect} - {*source.connect}
        return seconds_of([replace(step, source=replace(source, **left, disconnect=off))])

    def _work_breakers(self, before: frozenset[str], after: frozenset[str]) -> None:
        """Breakers as they are really worked: now and then one is left out, or its neighbour is taken."""
        changed = False
        for name in sorted(before ^ after):
            changed = True
            self.ledger.acts += 1
            if self.team.slips("forgotten", name):
                continue
            if self.team.slips("wrong place", name):
                names = list(self.site.plant.breakers)
                name = names[(names.index(name) + 1) % len(names)]
            (self._really.add if (name not in self._really and name in after) or name not in before else
             self._really.discard)(name)  # fmt: skip
        if changed:
            self.tonight.world.breakers(sorted(self._really), self.tonight.clock.now())

    def _said(self, step: Step) -> str:
        match step.source:
            case Look(kind="breaker", names=names, expect=expect):
                seen = {name for name in names if name in self._really and not self.team.slips("overlooked", name)}
                if expect and "closed" not in expect and seen:
                    # what is found closed and must be open is put right, and looked at again
                    self.ledger.acts += len(seen)
                    self.ledger.spend(seconds_of([step]) / 60.0)
                    self._really -= seen
                    self.tonight.world.breakers(sorted(self._really), self.tonight.clock.now())
                    seen = set()
                return ", ".join(f"{name} {'closed' if name in seen else 'open'}" for name in names)
            case Look(kind="card", names=names, expect=["in"]):
                # who looks whether cards are in, and finds one out, puts it in
                self.ledger.spend(0.75 * len(self.state.conditions.handled.out & set(names)))
                self._hands._handled = self._hands._handled.after([Change("card", name, "in") for name in names])
                self.tonight.world.cards(sorted(self._hands._handled.out), self.tonight.clock.now())
                return ", ".join(f"{name} in" for name in names)
            case Gate():
                return "we know that it is so: the leader says go on"
            case Do() if step.source.beeps is not None:
                return self._hands.answer(step)
            case Ask(name="ambient"):
                return f"{self.site.plant.ambient_c:g}"
            case Caution() | Hold():
                return step.source.word
        return self._hands.answer(step)

    def placed(self, step: Step) -> e.Event:
        self._hands.place(step)
        assert step.role is not None
        facts = self.bench.for_role(step.role)
        assert facts is not None
        source = step.source
        again = bool(self.state.pending.typed) and not (isinstance(source, Measure) and source.times)
        if again:
            self._look_first(step)
        if not again:
            if step.role in OHMMETERS:
                self.ledger.spend(CHANGE_OVER if self._ohmmeter not in ("", facts.name) else 0.0)
                self._ohmmeter = facts.name
            stays = isinstance(source, Measure) and bool(self._at & set(source.between))
            self.ledger.spend((AT_HAND if stays else PLACE) + BY_EYE)
            self.ledger.readings += 1
            self._at = frozenset(source.between) if isinstance(source, Measure) else frozenset()
            if isinstance(source, Measure):
                self._go(*source.between)
        else:
            self.ledger.spend(BY_EYE)
        at = f"{step.title} {' '.join(sorted(source.between))}" if isinstance(source, Measure) else step.title
        if isinstance(source, Measure) and step.probes and self._stood_beside(step, at, again=again):
            # the reading before was taken with it too
            return e.Went(number=self.state.number, to=back_to(self.state), then="go-on")
        wait = source.after.value if source.after is not None else 0.0
        self.tonight.move(Move(jump=max(20.0, wait)))
        self.ledger.spend(max(0.0, wait - 20.0) / 60.0)
        function = function_of(step)[1]
        truth = self._held(step)
        if isinstance(source, Measure):
            self._truth = truth
        text = _shown(self.errors.shown(facts.name, function, truth), facts.displays[function])
        if not again and self.team.slips("mistyped", at):
            text = self.team.typed(text, at)
        return self.answered(text)

    def _look_first(self, step: Step) -> None:
        """Breakers that the page says to look at, where there is nothing: one that is found otherwise is worked."""
        asked = _LOOK_FIRST.search(self.state.pending.doubt)
        if asked is not None:
            self._looked_at(step, asked[1].split(", then "), closed="must be open" not in asked[2])

    def _looked_at(self, step: Step, names: list[str], *, closed: bool) -> bool:
        """Some breakers are looked at and put as they must be; whether one was otherwise."""
        plant = self.site.plant
        self.ledger.go(tuple(dict.fromkeys(plant.breakers[name].line.bay for name in names)))
        self.ledger.spend(seconds_of([replace(step, source=Look(title="As asked?", breakers=names))]) / 60.0)
        wrong = {name for name in names if (name in self._really) != closed and not self.team.slips("overlooked", name)}
        if closed:
            # another one that was closed in its place
            beside = self._really - self.state.conditions.handled.closed - set(names)
            wrong |= {name for name in sorted(beside) if not self.team.slips("overlooked", name)}
        if wrong:
            self.ledger.acts += len(wrong)
            self._really ^= wrong
            self.tonight.world.breakers(sorted(self._really), self.tonight.clock.now())
        return bool(wrong)

    def _stood_beside(self, step: Step, at: str, *, again: bool) -> bool:
        """Put the leads where they go: one that stays is not touched, and one that moves may come to stand beside.

        Returns:
            Whether somebody sees that the one that stays stands wrong, by itself or since the page asks.
        """
        assert step.probes is not None
        lead = stays(self.state, step)
        if again:
            # whoever looks once more puts both right
            wrong = lead is not None and self._tips.get(lead.colour, lead.place) != lead.place
            self._tips = {}
            return wrong and "go back with b" in self.state.pending.doubt and not self.team.slips("overlooked", at)
        red, black = step.probes
        tips = {"red": red, "black": black}
        if lead is not None:
            tips[lead.colour] = self._tips.get(lead.colour, lead.place)
        moved = "red" if lead is not None and lead.colour == "black" else "black"
        if self.team.slips("wrong place", at):
            beside = self.site.beside(tips[moved])
            tips[moved] = beside if beside not in (red, black) else tips[moved]
        self._tips = tips
        if lead is not None and tips[lead.colour] != lead.place and tips["red"] == tips["black"]:
            # they meet on one place, in front of whoever moves the other one there
            return not self.team.slips("overlooked", at)
        if tips != {"red": red, "black": black}:
            self.tonight.world.place(tips["red"], tips["black"], self.tonight.clock.now())
        return False

    def waited(self, left: float) -> e.Event:
        self.ledger.spend(left / 60.0)
        return super().waited(left)

    def brought_up(self, step: Step) -> e.Event:
        done = by_hand_done(self.state, self.state.number)
        if done is not None:
            return done
        ramp, now = self.state.pending.ramp, by_knobs_course(self.state)
        assert ramp is not None
        if not self.state.pending.typed:
            self._hands.act(step)
        world, clock = self.tonight.world, self.tonight.clock
        if now.why:
            world.release(clock.now())
            return self.answered(OFF)
        level = ramp.levels[now.level]
        world.drive(level.volts, level.limit_a, clock.now())
        if self.watch is not None:
            self.watch(self, step, level.volts)
        stood = level.inrush_s + level.hold_s + ramp.span_s + (ramp.soak_s if now.soaking else 0.0)
        self.tonight.move(Move(jump=max(20.0, stood)))
        self.ledger.spend(max(20.0, stood) / 60.0)
        found = world.drive(level.volts, level.limit_a, clock.now())
        facts = self.bench.for_role("amps" if "amps" in step.roles else "supply")
        assert facts is not None
        self.ledger.readings += 1
        text = _shown(self.errors.shown(facts.name, "current", found.amps), facts.displays["current"])
        return self.answered(LIMIT if found.mode == "CURR" else text)

    def event(self) -> e.Event:
        if unsafe_by_hand(self.state):
            self.tonight.world.release(self.tonight.clock.now())
            return self.answered(OFF)
        step, names = self.state.step, self._once_off
        if names and step is not None and self.state.phase is Phase.ASKING and not self.state.outputs.on:
            self._once_off = []
            if self._looked_at(step, names, closed=True):
                return e.Went(number=self.state.number, to=back_to(self.state), then="go-on")
        if self.state.phase is Phase.TROUBLED:
            return e.Skipped(number=self.state.number, reason="no such instrument", by=self.by)
        return super().event()


def _shown(value: float, displays: list[Display]) -> str:
    """What stands there, as a careful person types it: over range with the range that the dial or the display names."""
    known = [replace(one, resolution=one.resolution or one.range / 2000.0) for one in displays if not one.word]
    text = display_of(min(max(value, -1e12), 1e12), known)
    if "OL" not in text:
        return text
    top = known[-1].range
    power, prefix = next(((10.0**n, sign) for n, sign in ((6, "M"), (3, "k"), (0, ""), (-3, "m")) if top >= 10.0**n))
    return f"{text.split('OL')[0]}OL {top / power:g} {prefix}".strip()
