"""What counts now: the latest outcome of every step, less what was voided since.

Three things reach back in time. A bench check that fails afterwards voids the readings since the check before it. A
second zero of the leads adds the drift between the two to the uncertainty of the readings between. A disturbance voids
what it touched. All three are worked out from the state whenever asked, so a check that is measured again and passes
gives the readings back.
"""

from __future__ import annotations

import bisect
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import msgspec
from msgspec.structs import replace

from bench.judge.siblings import a_decade_below, compare
from bench.plant.model import Plant, UnknownName
from bench.say import verdict as say
from bench.say.lists import count, some
from bench.sequence.file import Measure, Prove
from bench.sequence.limits import LEAST_DROP
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import BenchFacts
from bench.walk.outcome import Connected, Made, Outcome, Unjudged
from bench.walk.setting import Conditions, Setting
from bench.walk.standing import Holder, State


def outcomes(state: State) -> Iterator[Outcome]:
    """All outcomes, newest first, also those that were measured again."""
    return iter(()) if state.kept.history is None else iter(state.kept.history)


def results(state: State) -> dict[int, Outcome]:
    """Step index to the outcome that counts, in plan order."""
    setting = state.setting
    if setting is None:
        return {}
    checks = _checks(state, setting)
    disturbed = [(n, event, _reach(setting.plant, event)) for n, event in state.kept.disturbances]
    found: dict[int, Outcome] = {}
    known: Known = {}
    made, steps = state.kept.made, setting.plan.steps
    for index in sorted(made):
        latest = made[index]
        if latest.reading is not None and steps[index].kind == "measure":
            outcome = _checked(state, setting, latest, checks, known)
        else:
            outcome = latest.outcome
        if outcome.found is not None:
            outcome = _searched(state, setting, outcome, checks)
        found[index] = _undisturbed(setting, outcome, disturbed)
    return {**found, **_stand_outs(setting, found), **_leaky(setting, found), **_twins(setting, found)}


def _stand_outs(setting: Setting, found: Mapping[int, Outcome]) -> dict[int, Outcome]:
    """Conductors that do not fail but read far from the others of their cable, with the score in their remark."""
    groups: dict[tuple[str, str], dict[str, Outcome]] = {}
    made = _made_alike(setting.plant)
    for outcome in found.values():
        kind = made.get(outcome.subject)
        if kind is None or outcome.verdict not in ("pass", "undecided") or outcome.figure.value is None:
            continue
        groups.setdefault((kind, outcome.figure.unit), {})[outcome.subject] = outcome
    marked: dict[int, Outcome] = {}
    for siblings in groups.values():
        resolutions = [
            o.reading.resolution for o in siblings.values() if o.reading is not None and o.reading.resolution
        ]
        if not resolutions:
            continue
        readings = {
            name: outcome.figure.value for name, outcome in siblings.items() if outcome.figure.value is not None
        }
        unit = next(iter(siblings.values())).figure.unit
        for odd in compare(readings, unit, resolution=max(resolutions)).stand_outs:
            outcome = siblings[odd.name]
            remark = f"{outcome.remark} {odd.sentence} Score {odd.score:.1f}.".strip()
            marked[outcome.index] = replace(outcome, remark=remark, odd=True)
    return marked


def _leaky(setting: Setting, found: Mapping[int, Outcome]) -> dict[int, Outcome]:
    """Insulation that passes but lies a decade below that of its siblings, with the decades in its remark."""
    groups: dict[tuple[str, str], dict[str, Outcome]] = {}
    for index, outcome in found.items():
        step, reading = setting.plan.steps[index], outcome.reading
        if step.kind != "measure" or reading is None or reading.function != "insulation" or outcome.verdict != "pass":
            continue
        volts = str(step.source.at) if isinstance(step.source, Measure) else ""
        groups.setdefault((step.section, volts), {})[step.title] = outcome
    marked: dict[int, Outcome] = {}
    for siblings in groups.values():
        values: dict[str, float] = {}
        for name, outcome in siblings.items():
            bound = outcome.reading.bound if outcome.reading is not None else None
            value = outcome.figure.value if outcome.figure.value is not None else bound
            if value is not None and value > 0:
                values[name] = value
        for odd in a_decade_below(values, "Ω"):
            outcome = siblings[odd.name]
            remark = f"{outcome.remark} {odd.sentence} {-odd.score:.1f} decades below.".strip()
            marked[outcome.index] = replace(outcome, remark=remark, odd=True)
    return marked


def _made_alike(plant: Plant) -> Mapping[str, str]:
    """Conductor to a text that is the same for those of its cable that are made alike: single ones may be longer,
    thinner or landed otherwise than the rest."""
    known: dict[str, str] | None = plant.kept.get(_made_alike)
    if known is None:
        known = plant.kept[_made_alike] = {
            name: f"{one.cable} {one.wire} {one.length_m} {len(one.contacts)}" for name, one in plant.conductors.items()
        }
    return known


TWIN: Final = 1.5
"""Times the loss of the least like joint at which one is looked at (ANSI/NETA, as quoted in public pages)."""
TWIN_VOLTS: Final = 0.002
"""Volts that it must lose more than that: contacts of unlike metals and pick-up (common practice, no source)."""


def _twins(setting: Setting, found: Mapping[int, Outcome]) -> dict[int, Outcome]:
    """Joints that pass but lose far more than their twins at the same current: A against B, shelf against shelf.

    What a sound one may lose at the current that flowed is the measure, so ways of other lengths still compare.
    """
    groups: dict[tuple[str, ...], list[tuple[float, Outcome, str]]] = {}
    for index, outcome in found.items():
        source, most = setting.plan.steps[index].source, outcome.bounds.high
        if (
            not isinstance(source, Measure)
            or source.limit.computed != "stretch-drop"
            or outcome.verdict != "pass"
            or outcome.figure.value is None
            or not most
        ):
            continue
        kind = tuple(_kind(setting.plant, name) for name in source.between)
        name = f"{source.between[0]} to {source.between[1]}"
        groups.setdefault(kind, []).append((abs(outcome.figure.value) / max(most - LEAST_DROP, 1e-9), outcome, name))
    marked: dict[int, Outcome] = {}
    for twins in groups.values():
        least, _, least_name = min(twins, key=lambda one: one[0])
        for part, outcome, _ in twins:
            most = (outcome.bounds.high or 0.0) - LEAST_DROP
            if (part - TWIN * least) * most < TWIN_VOLTS or part <= TWIN * least:
                continue
            times = f"{part / least:.1f} times as much as" if least > 0.01 else "far more than"
            told = (
                f"It loses {times} its twin, {least_name}, at the same current: look at this joint cold and dead "
                f"({TWIN:g} times is where one looks, ANSI/NETA as quoted in public pages)."
            )
            marked[outcome.index] = replace(outcome, remark=f"{outcome.remark} {told}".strip(), odd=True)
    return marked


def _kind(plant: Plant, name: str) -> str:
    """What kind of place it is; breakers of one rating are like one another."""
    terminal = plant.terminals.get(name)
    if terminal is None:
        return name
    breaker = plant.breakers.get(terminal.owner)
    return f"{terminal.kind} {name.rpartition('.')[2]} {breaker.rating_a:g} A" if breaker is not None else terminal.kind


class Connections(msgspec.Struct, frozen=True):
    """What a walk says of its conductors: each from the right pin to the right pin and to nothing else, or not.

    Attributes:
        yes: conductors that are connected, as far as the walk looked.
        no: those that are not, or that are joined to something else.
        undecided: those of which neither can be told.
        unsound: of ``yes`` those whose own resistance could not be decided.
        odd: of those the ones that stand out from their siblings.
    """

    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()
    unsound: tuple[str, ...] = ()
    odd: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The counts in words; empty where no conductor was read or where all that are connected are decided."""
        total = len(self.yes) + len(self.no) + len(self.undecided)
        if not self.unsound and not self.undecided:
            return ""
        parts = [f"{len(self.yes)} of {count(total, 'conductor')} {'is' if len(self.yes) == 1 else 'are'} connected"]
        if self.no:
            parts.append(f"{len(self.no)} not ({some(list(self.no), 4)})")
        if self.undecided:
            parts.append(f"{len(self.undecided)} undecided ({some(list(self.undecided), 4)})")
        said = f"Connected, right pin to right pin and to nothing else that was looked at: {', '.join(parts)}."
        if self.unsound:
            each = "Whether 1 of these is" if len(self.unsound) == 1 else f"Whether {len(self.unsound)} of these are"
            said += f" {each} sound is finer than the meter tells."
            many = f"{len(self.odd)} {'stands out from its' if len(self.odd) == 1 else 'stand out from their'} siblings"
            said += f" {many} ({some(list(self.odd), 4)})." if self.odd else " None stands out from its siblings."
        return said


def connections(state: State, found: Mapping[int, Outcome] | None = None) -> Connections:
    """What a walk's readings say of its conductors, by name.

    A conductor is connected where its own reading says so and no reading between two nets says that it is joined to
    another. Whether it stands apart is asked of what the walk read and of nothing else.

    Args:
        state: the walk.
        found: its results, where they were worked out already.
    """
    setting = state.setting
    if setting is None:
        return Connections()
    landings = setting.plant.landings
    said: dict[str, Connected] = {}
    joined: set[str] = set()
    unsure: set[str] = set()
    unsound: set[str] = set()
    odd: set[str] = set()
    for index, outcome in (found if found is not None else results(state)).items():
        if outcome.connected:
            said[outcome.subject] = outcome.connected
            if outcome.connected_at_least:
                unsound.add(outcome.subject)
                odd |= {outcome.subject} if outcome.odd else set()
        elif outcome.verdict in ("fail", "undecided") and outcome.bounds.low is not None and outcome.figure.unit == "Ω":
            at = {one.name for place in setting.plan.steps[index].probes or () for one in landings.get(place, ())}
            (joined if outcome.verdict == "fail" else unsure).update(at)
    no = {name for name, answer in said.items() if answer == "no"} | (joined & set(said))
    open_ = {name for name, answer in said.items() if answer == "undecided" or name in unsure} - no
    yes = [name for name in said if name not in no and name not in open_]
    return Connections(
        tuple(yes),
        tuple(name for name in said if name in no),
        tuple(name for name in said if name in open_),
        tuple(name for name in yes if name in unsound),
        tuple(name for name in yes if name in odd),
    )


def too_coarse(setting: Setting, outcome: Outcome) -> bool:
    """Whether a conductor is connected, and only the meter is too coarse to say whether it is sound.

    Where the meter could have decided, a reading too close to the limit is worth a look of its own.
    """
    if not outcome.connected_at_least:
        return False
    able = setting.capabilities.get(outcome.index)
    return able is not None and not isinstance(able, str) and able.answer == "cannot"


Checks = dict[Holder, list[tuple[str, Outcome]]]
"""Instrument to its checks in the order in which they were made: kind of check and outcome."""


def _checks(state: State, setting: Setting) -> Checks:
    """The checks of each instrument; one that came in for another has its own.

    Of each check step the latest reading: a check that failed is not undone by skipping it.
    """
    found: Checks = {}
    steps = {step.index for step in setting.plan.steps if step.kind in ("zero", "prove")}
    wanted, seen = set(steps), set[tuple[int, Holder]]()
    for made in state.kept.history.all_made() if state.kept.history is not None else ():
        if not wanted and not state.kept.exchanged:
            break
        if made.index not in steps or made.reading is None:
            continue
        outcome, step = made.outcome, setting.plan.steps[made.index]
        holder = state.kept.holder(made.reading.instrument, made.n)
        if (outcome.index, holder) in seen or (outcome.index not in wanted and not state.kept.exchanged):
            continue
        seen.add((outcome.index, holder))
        wanted.discard(outcome.index)
        kind = step.source.against if isinstance(step.source, Prove) else "zero"
        found.setdefault(holder, []).append((kind, outcome))
    for checks in found.values():
        checks.sort(key=lambda check: check[1].n)
    return found


def _when(check: tuple[str, Outcome]) -> int:
    return check[1].n


def _unproven(state: State, setting: Setting, outcome: Made, checks: Checks) -> str:
    """The check of the bench that only another instrument went through than took this reading; empty where none is."""
    assert outcome.reading is not None
    mine = state.kept.holder(outcome.reading.instrument, outcome.n)
    if not state.kept.exchanged:
        return ""
    own, role = {kind for kind, _ in checks.get(mine, [])}, setting.step_of(outcome.outcome).role
    for holder, made in checks.items():
        for kind, check in made:
            if holder != mine and check.n < outcome.n and kind not in own and setting.step_of(check).role == role:
                return kind
    return ""


def _exchanged(kind: str) -> str:
    checked = kind.replace("-", " ")
    return f"another instrument came in for the one that was checked ({checked}), or may have, and was not checked"


class _Around(msgspec.Struct, frozen=True):
    """The checks of an instrument around readings that were taken between the same two of them.

    Attributes:
        wrong: which of them did not pass, in words; empty where all did.
        opening: the leads' zero before; None where there is none.
        closing: and after.
    """

    wrong: str = ""
    opening: Outcome | None = None
    closing: Outcome | None = None


def _around(checks: list[tuple[str, Outcome]], first: int) -> _Around:
    """What checks say of readings that come before one of them and after the one before it."""
    before = dict(checks[:first])
    after: dict[str, Outcome] = {}
    for kind, check in checks[first:]:
        after.setdefault(kind, check)
    for when, found in (("before", before), ("after", after)):
        for kind, check in found.items():
            if check.verdict in ("fail", "undecided"):
                return _Around(f"the bench's check {when} it ({kind.replace('-', ' ')}) did not pass")
    return _Around("", before.get("zero"), after.get("zero"))


Known = dict[tuple[Holder, int], _Around]
"""Instrument and how many of its checks came before a reading, to what these say of it: most readings share it."""


def _checked(state: State, setting: Setting, made: Made, checks: Checks, known: Known) -> Outcome:
    assert made.reading is not None
    missing = _unproven(state, setting, made, checks)
    if missing:
        return made.outcome.voided(_exchanged(missing))
    holder = state.kept.holder(made.reading.instrument, made.n)
    own = checks.get(holder, [])
    first = bisect.bisect_left(own, made.n, key=_when)
    around = known.get((holder, first))
    if around is None:
        around = known[holder, first] = _around(own, first)
    if around.wrong:
        return made.outcome.voided(around.wrong)
    opening, closing = around.opening, around.closing
    zero = made.zero if isinstance(made, Unjudged) else made.figure.zero
    if opening is None or closing is None or zero is None:
        return made.outcome
    return _with_drift(state, setting, made, opening, closing)


def _searched(state: State, setting: Setting, outcome: Outcome, checks: Checks) -> Outcome:
    """A search's finding stands on all its readings: a bench check that failed beside one of them voids it."""
    for reading in outcomes(state):
        if reading.asked is None or reading.index != outcome.index or reading.reading is None:
            continue
        missing = _unproven(state, setting, reading, checks)
        if missing:
            return outcome.voided(_exchanged(missing))
        known = checks.get(state.kept.holder(reading.reading.instrument, reading.n), [])
        before = {kind: check for kind, check in known if check.n < reading.n}
        after = {kind: check for kind, check in reversed(known) if check.n > reading.n}
        for when, around in (("before", before), ("after", after)):
            for kind, check in around.items():
                if check.verdict in ("fail", "undecided"):
                    return outcome.voided(f"the bench's check {when} it ({kind.replace('-', ' ')}) did not pass")
    return outcome


def _with_drift(state: State, setting: Setting, made: Made, opening: Outcome, closing: Outcome) -> Outcome:
    step = setting.plan.steps[made.index]
    source, reading = step.source, made.reading
    if (
        not isinstance(source, Measure)
        or reading is None
        or opening.figure.value is None
        or closing.figure.value is None
    ):
        return made.outcome
    judged = made.known if isinstance(made, Unjudged) else made
    bench: BenchFacts | None
    if isinstance(made, Unjudged):
        ambient, at, bench = made.conditions.ambient, made.at, made.bench
    else:
        ambient, at, bench = made.circumstances.ambient, made.circumstances.at, made.circumstances.bench
    conditions = Conditions(ambient=ambient, zeros={reading.instrument: (opening.figure.value,)})
    drift = abs(closing.figure.value - opening.figure.value)
    if bench is not None and bench is not setting.bench:
        setting = setting.with_bench(bench)  # the walk was resumed with another one since
    # the same zero was taken off then: of its budget the drift alone is new
    same = judged is not None and judged.figure.zero == opening.figure.value and not state.rules.accuracy
    known = judged.figure.budget if judged is not None and same else None
    return setting.judge_measure(step, source, reading, made.n, conditions, state.rules, at, drift, known)


def _reach(plant: Plant, event: e.Disturbed) -> frozenset[str]:
    """Everything that a disturbance touches, by name."""
    names = set(event.touches)
    for name in event.touches:
        card = plant.cards.get(name)
        if card is not None:
            names.add(card.shelf)  # what is proven of cards is proven of their shelf
        try:
            names |= plant.touched(name)
        except UnknownName:
            continue  # the plant file has changed since; the name itself still counts
    return frozenset(names)


def _undisturbed(
    setting: Setting, outcome: Outcome, disturbed: Iterable[tuple[int, e.Disturbed, frozenset[str]]]
) -> Outcome:
    if outcome.verdict in ("done", "skipped", "void"):
        return outcome
    rests_on: set[str] | None = None
    for n, event, names in disturbed:
        if n <= outcome.n:
            continue
        if rests_on is None:
            rests_on = _rests_on(setting, setting.plan.steps[outcome.index])
        if rests_on & names:
            return outcome.voided(f"disturbed since: {event.text or ', '.join(event.touches)}")
    return outcome


def _rests_on(setting: Setting, step: Step) -> set[str]:
    """What a step's verdict is about, by name: its objects, their owners, and the conductors on its terminals.

    Two pins are apart only as long as the conductors on them are, so those are among it.
    """
    landings = setting.plant.landings
    named = {step.subject, *step.touches} - {""}
    owners = {name.rpartition(".")[0] for name in named if "." in name}
    return named | owners | {conductor.name for name in named for conductor in landings.get(name, ())}


def annotated(entry: e.Entry, after: State) -> e.Entry:
    """A reading's entry with what was made of it, for people and other tools; the fold does not look at that.

    Args:
        entry: the event in its envelope; anything but a reading comes back as it is.
        after: the state after it was taken.
    """
    setting = after.setting
    if not isinstance(entry.event, e.Read) or setting is None:
        return entry
    outcome = next((one for one in outcomes(after) if not one.barred), None)
    if outcome is None or outcome.n != entry.n:
        return entry
    probes = setting.step_of(outcome).pair or ()
    # the names come first and in full, so that a record can be searched for them as plain text
    named: dict[str, Any] = {"step": outcome.key, "subject": outcome.subject, "between": list(probes)}
    met = next((one for one in after.instruments.met.values() if one.instrument == entry.event.instrument), None)
    if met is not None:
        named["meter"] = met.serial or met.identity
    noted = msgspec.structs.replace(entry.event, judged={**named, **outcome.facts()})
    return e.Entry(n=entry.n, at=entry.at, event=noted)


class Tally(msgspec.Struct, frozen=True):
    """How many steps of a walk have which verdict: the one count that console, screen and report show.

    Attributes:
        counts: verdict to how many steps that read, bring up or search have it.
        asked: how many such steps the sequence has.
    """

    counts: Counter[str]
    asked: int


def tally(state: State, found: Mapping[int, Outcome] | None = None) -> Tally:
    """Count the verdicts of a walk.

    Args:
        state: of the walk.
        found: its results, where somebody has them already.
    """
    steps = state.setting.plan.steps if state.setting is not None else ()
    outcomes = results(state) if found is None else found
    counts: Counter[str] = Counter(outcome.verdict for index, outcome in outcomes.items() if steps[index].judged)
    del counts["done"]
    return Tally(counts, sum(step.judged for step in steps))


def verdict_line(outcome: Outcome) -> str:
    """One line for one verdict: what a console prints, what replay prints again byte for byte."""
    return say.verdict_line(
        f"{outcome.verdict:9}", outcome.subject or outcome.key, outcome.verdict, outcome.sentence, outcome.remark
    )


def verdict_lines(state: State) -> Iterator[str]:
    """The verdict lines of everything that counts, in plan order."""
    for outcome in results(state).values():
        if outcome.verdict != "done":
            yield verdict_line(outcome)


def passed(state: State) -> bool:
    """Whether the walk is complete and every verdict in it is a pass."""
    setting = state.setting
    if setting is None or state.place.cursor < len(setting.plan.steps):
        return False
    return all(outcome.verdict in ("pass", "done") for outcome in results(state).values())
