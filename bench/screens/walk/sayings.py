"""What the operator is told, in words: the same for the screen and for the walk line by line. Pure functions.

Nothing here knows how it is shown; everything comes from the folded state.

Over 500 lines, since every word of every page stands here and next to nothing else.
"""

from __future__ import annotations

import re
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Final, Literal

import msgspec

from bench.plant.handled import STATES
from bench.plant.whereabouts import ordinal
from bench.roles import OHMMETERS
from bench.say.lists import listed
from bench.screens.walk import voltage_words
from bench.sequence.file import NOWHERE, Ask, Do, Gate, Hold, Listen, Look, Measure, Prove, Send, Zero
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.by_eye import function_of, wanted
from bench.walk.by_knobs import asks
from bench.walk.facts import InstrumentFacts
from bench.walk.lead_stays import stays
from bench.walk.outcome import Outcome
from bench.walk.results import outcomes
from bench.walk.state import (
    SKIPPABLE,
    Phase,
    State,
    by_eye_at,
    by_knobs_at,
    by_knobs_course,
    known,
    request,
    said_by,
    unsafe_by_hand,
)

if TYPE_CHECKING:
    from bench.plant.model import Plant
    from bench.plant.things import Conductor, Terminal
    from bench.runner.protocol import Live

Colour = Literal["red", "black"]

ROLE_WORDS: Final = {
    "ohms": "the ohmmeter",
    "high-ohms": "the second ohmmeter",
    "insulation": "the insulation tester",
    "volts": "the voltmeter",
    "amps": "the ammeter",
    "supply": "the supply",
    "load": "the electronic load",
    "switch": "the switch",
    "thermometer": "the thermometer",
    "lcr": "the LCR meter",
    "battery-tester": "the battery tester",
    "counter": "the frequency counter",
    "level-meter": "the level meter",
    "reflectometer": "the cable-fault reflectometer",
    "hygrometer": "the hygrometer",
    "hours-counter": "the hours counter",
}
LIVE_FROM_HERE: Final = "LIVE FROM HERE"
"""Stands where a person switches on: what comes before it was dead."""
HEARD: Final = 5
"""Newest lines of a console that a page shows."""
_FIGURES: Final = ("ambient", "humidity", "strap", "dial", "capacitors")
"""Questions whose answer is a figure, or two of them with a space between."""
_DECIMAL_COMMA: Final = re.compile(r"(?<=[0-9]),(?=[0-9])")
SIDES: Final = {"mating": "wiring", "wiring": "mating"}
"""From either side of a connector the other one."""


class Lead(msgspec.Struct, frozen=True):
    """Where one lead goes.

    Attributes:
        colour: of the lead.
        name: the place's name: ``J101.31``.
        label: what to look for on the label: ``J101 pin 31``.
        where: bay, shelf and side, in words.
        spot: row and place in the row; empty where there are no rows.
        wire: the colours of the conductor that lands there, and of its mate; may be empty.
        connector: the connector, where it has a face to draw; else empty.
        pin: the pin on it.
    """

    colour: Colour
    name: str
    label: str
    where: str
    spot: str = ""
    wire: str = ""
    connector: str = ""
    pin: str = ""


class Page(msgspec.Struct, frozen=True):
    """What is asked now.

    Attributes:
        kind: ``caution``, ``hold``, ``do``, ``beep``, ``ask``, ``place``, ``measure``, ``switch``, ``wait``, ``start``,
            ``safe``, ``meet``, ``consent``, ``trouble``, ``rest``, ``done`` or ``aborted``.
        number: of the request.
        title: what it is, in a few words.
        text: what to do, in full.
        hint: what the next key or touch does; may be empty.
        leads: where the leads go; red first.
        wanted: the word or value to type; empty where none is.
    """

    kind: str
    number: int
    title: str
    text: str
    hint: str = ""
    leads: tuple[Lead, ...] = ()
    wanted: str = ""


def page(state: State, *, mirrored: bool = False) -> Page:
    """What is asked now, in words.

    Args:
        state: the folded record.
        mirrored: whether connectors are looked at from their other side, which turns left and right.
    """
    asked = request(state)
    number = asked.number
    match asked:
        case r.Start():
            return Page("start", number, "Starting the bench", "The record is opened and the bench made ready.")
        case r.MakeSafe(then=then):
            ends = {"done": "Every step is done.", "aborted": "The walk is given up.", "paused": "The walk is paused."}
            return Page("safe", number, "Making outputs safe", f"{ends.get(then, '')} Every output goes off.".strip())
        case r.Meet(roles=roles):
            return Page("meet", number, "Calling the instruments", _meeting(state, roles))
        case r.Consent() if state.setting is not None and state.setting.unclear:
            return Page(
                "consent",
                number,
                "Not clear for power",
                "The records do not clear these shelves for power. The better way is to prove what is missing first.",
                "To go on all the same, give a reason; it is kept in the record with your name.",
                wanted="a reason, in words",
            )
        case r.Consent():
            return Page(
                "consent",
                number,
                "This bench cannot prove everything",
                "The limits below are finer than this bench can tell. Readings against them may stay undecided.",
                "To go on all the same, give a reason; it is kept in the record.",
                wanted="a reason, in words",
            )
        case r.Resolve():
            text = asked.what[:1].upper() + asked.what[1:]
            if unsafe_by_hand(state):
                told = f"{text.rstrip('.')}.\nSwitch it off now, and make sure its display shows nothing."
                return Page("ask", number, "Switch it off by hand", told, wanted="the word OFF when it is off")
            return Page("trouble", number, "Trouble", text.rstrip(".") + ".", asked.advice)
        case r.Rest(why=why):
            text = f"Paused: {why.rstrip('.')}." if why else "Paused."
            return Page("rest", number, "The walk is paused", f"{text} Nothing is measured and nothing switched.")
        case r.Finished(aborted=aborted):
            if aborted:
                return Page("aborted", number, "The walk was given up", "What was read so far is kept.")
            return Page("done", number, "The walk is done", "Every step came to an end.")
        case _:
            return _step_page(state, asked, mirrored)


def _meeting(state: State, roles: tuple[str, ...]) -> str:
    wanted = listed([ROLE_WORDS.get(role, role) for role in roles])
    there = ", ".join(dict.fromkeys(met.instrument for met in state.instruments.met.values()))
    text = f"Waiting for {wanted} to answer by name."
    return f"{text}\nHere already: {there}." if there else text


def _step_page(state: State, asked: r.Request, mirrored: bool) -> Page:
    step, number = state.step, asked.number
    assert step is not None
    source = step.source
    match asked:
        case r.Ask():
            return _asking(state, step, number, mirrored)
        case r.Wait(left=left) if isinstance(source, Listen):
            heard = [text for _, _, console, text in state.heard.lines if console == source.console][-HEARD:]
            lines = "\n".join([step.text, f"{source.console} should say: {source.expect}", *heard]).strip()
            hint = f"{duration(left)} to go; it ends as soon as that is heard."
            return Page("wait", number, step.title, lines, hint)
        case r.Wait(left=left):
            return Page("wait", number, step.title, step.text, f"{duration(left)} to go; it ends by itself.")
        case r.Switch():
            state_word = "off" if source.switches_off else "on"
            if (knob := by_knobs_at(state)) is not None:
                text = f"{step.text}\nSwitch {knob.name} {state_word} at its knob, and make sure its display says so."
                return Page("ask", number, step.title, text, wanted=f"the word {state_word.upper()} when it is")
            what = "load" if step.role == "load" else "output"
            return Page("switch", number, step.title, step.text, f"The {what} goes {state_word} and is read back.")
        case r.Place() | r.Measure():
            leads = leads_of(state, step, mirrored=mirrored)
            kind = "place" if isinstance(asked, r.Place) else "measure"
            hint = placing(step, None) if kind == "place" else measuring(step)
            relays = relays_for(state, step)
            if relays:
                text = f"{relays} puts the leads there. Hands off."
                # told once: what comes after is the reading
                said = f"{step.title}: placed by {relays}; hands off." if kind == "place" else ""
                return Page("measure", number, step.title, text, said, leads)
            told = (ohmmeter_for(state, step), _joined(state, step), step.text or _own_text(step), _stays(state, step))
            text = " ".join(one for one in told if one)
            if kind == "place" and (turn := dial_for(state, step)):
                text = f"{text} {turn}"
            if kind == "place" and (read := by_eye_at(state)) is not None:
                parts = [state.pending.doubt, text, *_set_by_hand(step), f"{read.name} is read by eye."]
                lines = "\n".join(one for one in parts if one)
                return Page("ask", number, step.title, lines, leads=leads, wanted=_to_type(read, step))
            return Page(kind, number, step.title, text, hint, leads)
        case r.Advise():
            return Page("advise", number, step.title, step.text, "Working out what to read next.")
        case r.Energise(ramp=ramp) if by_knobs_at(state) is not None:
            text = f"{asks(ramp, by_knobs_course(state))}\n{step.text}"
            return Page("ask", number, step.title, text, wanted="the amperes that it shows; or OFF, or LIMIT")
        case _:
            hint = "The output comes up and is watched. It goes off by itself at the first reading outside its window."
            return Page("energise", number, step.title, step.text, hint)


def _asking(state: State, step: Step, number: int, mirrored: bool) -> Page:
    """The page of a step that a person reads, does or types."""
    title, text = step.title, step.text
    match step.source:
        case Hold() as hold:
            hint = f"Type the word {hold.word} when it is true. Nobody passes without it."
            return Page("hold", number, title, text, hint, wanted=f"the word {hold.word}")
        case Ask() as ask:
            return Page("ask", number, title, text, wanted=_wanted(ask))
        case Look() as look:
            states = STATES[look.kind]
            wanted = f"{', '.join(states)}; or one by one, as in: {look.names[0]} {states[1]}, rest {states[0]}"
            return Page("ask", number, title, looking(state, step, look), wanted=wanted)
        case Gate() as gate:
            assert state.setting is not None
            lines = "\n".join(f"Not proven: {one}." for one in state.setting.missing(gate.shelf))
            return Page("ask", number, title, f"{text}\n{lines}".strip(), wanted="a reason to go on without, in words")
        case Do(beeps=(_, _)):
            text = text or "Touch both places with the tester's tips and hold still."
            leads = leads_of(state, step, mirrored=mirrored)
            return Page("beep", number, title, text, "Does the tester beep?", leads, "yes or no")
        case Send() as letter:
            told = f"{text}\nTo {letter.console} goes: {letter.line}".strip()
            return Page("do", number, title, told, "It is sent when you confirm.")
    return Page(step.kind, number, title, text, "" if step.kind == "caution" else "Confirm when it is done.")


def _set_by_hand(step: Step) -> list[str]:
    """What a person sets and does at an instrument that is read by eye, beside its dial."""
    source = step.source
    if not isinstance(source, Measure | Prove):
        return []
    said = []
    if isinstance(source, Measure) and source.range is not None:
        said.append(f"Where it has ranges to set: the lowest that shows {source.range}.")
    if source.read == "insulation":
        if source.at is not None:
            said.append(f"Set it to {source.at}: no other voltage.")
        if source.after is not None:
            said.append(f"Hold its test key for {duration(source.after.value)}, and type what it shows while it runs.")
        if source.times:
            first = duration(source.times[0].value)
            said.append(f"Begin the test now and keep it on. When {first} have gone, type what it shows then.")
        said.append(
            "Say HANDS OFF, hear it from the far end, and count to five before you press the key. Then let go, and "
            "touch nothing before it shows that the cable is discharged."
        )
    return said


def _to_type(read: InstrumentFacts, step: Step) -> str:
    return wanted(read.displays.get(function_of(step)[1], []))


def looking(state: State, step: Step, look: Look) -> str:
    """What to look at, with what was said of each thing before."""
    asked = ", ".join(STATES[look.kind][:-1]) + f" or {STATES[look.kind][-1]} now?"
    lines = [step.text] if step.text else []
    unknown = []
    left: dict[str, list[str]] = {}
    for name in look.names:
        said = known(state, look.kind, name)
        if not said:
            unknown.append(name)
            continue
        was = " and ".join(f"{mark.change.state} {said_by(mark)}" for mark in said)
        left.setdefault(was, []).append(name)
    for was, names in left.items():
        lines.append(f"{listed(names)} {'was' if len(names) == 1 else 'were'} {was}: {asked}")
    if unknown:
        lines.append(f"Nobody has said how {listed(unknown)} {'stands' if len(unknown) == 1 else 'stand'}: {asked}")
    return "\n".join(lines)


def _joined(state: State, step: Step) -> str:
    """What is clipped together while a sequence's own step is read, and what was for the one before and comes off; a
    search says in its words what it wants held."""
    seeking, at, setting = state.seeking, state.place.cursor, state.setting
    if setting is None or (seeking is not None and seeking.index == at):
        return ""
    now, before = _clips(step), _clips(setting.plan.steps[at - 1]) if at else []
    off = [f"Take the clip off {listed(group)}." for group in before if group not in now]
    return " ".join([*off, *(f"Clip {listed(group)} together." for group in now)])


def _stays(state: State, step: Step) -> str:
    """Which lead stays where it was; empty where both move."""
    lead = stays(state, step)
    return lead.words if lead is not None else ""


def _clips(step: Step) -> list[list[str]]:
    return [list(group) for group in step.source.join] if isinstance(step.source, Measure) else []


def _own_text(step: Step) -> str:
    """What to do where the sequence says nothing."""
    match step.source:
        case Measure(read="insulation"):
            return "Connect the tester to both places, then hands off."
        case Measure(read="current"):
            return "Put the ammeter between both places."
        case Measure(read="temperature"):
            return "Lay the thermometer's sensor where it says, and let it settle."
        case Measure(read="humidity"):
            return "Hang the hygrometer where it says, and let it settle."
        case Measure(read="running-time"):
            return "Read what the hours counter shows."
        case Measure(wires=4):
            return "Both clips of a colour go on its place, the sense clip nearest to the part."
        case Measure():
            return "Touch both places and hold still."
        case Prove() as proof if proof.probes is not None:
            return "The reference resistor on the far ends, the leads on the near ends, then hands off."
        case Prove(against="reference"):
            return "Touch the two ends of the reference resistor."
        case Prove(against="open-leads"):
            return "Hold the probe tips apart, in free air."
        case Prove():
            return "Touch the two poles of the live source."
    return "Hold the two probe tips firmly together."


def _wanted(source: Ask) -> str:
    if source.name == "remark":
        return "your words"
    if source.name == "checksum":
        return "the checksum of the original, a space, and that of the copy"
    if source.name == "dial":
        return "what the dials say, in ohms"
    if source.name == "capacitors":
        return "the leakage in mA, a space, the series resistance in Ω; or no"
    unit = {"ambient": " in °C", "humidity": " in %", "strap": " in MΩ"}[source.name]
    if source.least is not None and source.most is not None:
        return f"a number from {source.least:g} to {source.most:g}{unit}"
    return f"a number{unit}"


def as_figure(step: Step | None, text: str) -> str:
    """What is typed in answer to a step, with the point that a record holds where many write a decimal comma.

    Args:
        step: the step under way.
        text: what was typed. It is left alone where no figure is asked for, and where a comma may part several.
    """
    return _DECIMAL_COMMA.sub(".", text) if asks_figure(step) else text


def asks_figure(step: Step | None) -> bool:
    """Whether a step is a question that is answered by a figure."""
    return step is not None and isinstance(step.source, Ask) and step.source.name in _FIGURES


def volts_on(state: State) -> str:
    """The insulation test voltage that a reading under way puts on, or is about to; empty where there is none."""
    step = state.step
    return voltage_words.of(step) if state.phase is Phase.MEASURING and by_eye_at(state) is None else ""


def relays_for(state: State, step: Step) -> str:
    """The relay matrix that places the probes for a step, as far as the bench's facts tell; empty where hands do."""
    relays = state.setting.bench.relays if state.setting is not None else None
    if relays is None or step.role is None or state.setting is None:
        return ""
    source = step.source
    if source.read not in relays.reads or state.setting.bench.role_of.get(step.role) != relays.meter:
        return ""
    match source:
        case Measure(wires=2):
            wanted = [*source.between, *(name for group in source.join for name in group)]
        case Zero():
            wanted = ["together"]
        case Prove(against="reference" | "open-leads", wires=2) if source.between == NOWHERE:
            wanted = ["reference"] if source.against == "reference" else []
        case _:
            return ""
    return relays.name if set(wanted) <= set(relays.places) else ""


def ohmmeter_for(state: State, step: Step) -> str:
    """Which of the walk's two ohmmeters reads a step, and whether it comes in for the other one; empty where one reads
    all."""
    setting = state.setting
    if setting is None or step.role not in OHMMETERS or not setting.plan.both_ohmmeters:
        return ""
    names = [setting.bench.role_of.get(role, "") for role in OHMMETERS]
    name = setting.bench.role_of.get(step.role, "")
    history = state.kept.history.all_made() if state.kept.history is not None else ()
    used = (made.reading.instrument for made in history if made.reading is not None)
    last = next((one for one in used if one in names), "")
    return f"{name} reads this." if last == name else f"Take the leads of {name}: it reads this."


def dial_for(state: State, step: Step) -> str:
    """What is to be set at the instrument by hand before it reads this step; empty where it is set over the line."""
    if state.setting is None or step.role is None:
        return ""
    facts = state.setting.bench.for_role(step.role)
    return facts.dials.get(step.source.function, "") if facts is not None else ""


def placing(step: Step, live: Live | None) -> str:
    """What the probes are to do next, judged by the live reading."""
    if live is not None and live.wrong:
        return live.wrong
    touch = live.touch if live is not None else ""
    if touch == "lift":
        return "Lift the probes, then go to the places shown."
    if touch == "touching":
        return "Hold still ..."
    if touch == "settled":
        return "Steady. Taking it."
    if touch == "open" and step.kind in ("measure", "zero"):
        return "Waiting for the probes to touch."
    if step.source.test_voltage is not None:
        return voltage_words.before(step)
    return "Confirm when the probes are in place."


_HANDLES: Final = {
    "open": "open",
    "close": "close",
    "switch off": "switch_off",
    "switch on": "switch_on",
    "put in": "put_in",
    "take out": "take_out",
    "lift": "lift",
    "put back": "refit",
    "handles": "touches",
}
"""Words for what an act does, and the fields of the step that name the things."""


def handled(source: Do) -> list[tuple[str, str]]:
    """What an act opens, closes, switches or handles: a word and the names."""
    found = ((word, getattr(source, field, [])) for word, field in _HANDLES.items())
    return [(word, ", ".join(names)) for word, names in found if names]


def measuring(step: Step) -> str:
    """What the bench does while it measures."""
    source, seconds = step.source, step.source.lasts
    if source.test_voltage is not None:
        return voltage_words.during(step, duration(seconds) if seconds else "")
    if source.read == "insulation":
        return f"The tester is on{f' for {duration(seconds)}' if seconds else ''}. Hands off."
    if seconds:
        return f"Measuring for {duration(seconds)}. Hold still."
    if source.readings > 1:
        return f"Taking {source.readings} readings. Hold still."
    return "Measuring. Hold still."


def leads_of(state: State, step: Step, *, mirrored: bool = False) -> tuple[Lead, ...]:
    """Where the leads of a measuring step go; none where the step's own text says it."""
    if step.probes is None or state.setting is None:
        return ()
    red, black = step.probes
    plant = state.setting.plant
    return (_lead(plant, "red", red, step, mirrored), _lead(plant, "black", black, step, mirrored))


def _lead(plant: Plant, colour: Colour, name: str, step: Step, mirrored: bool) -> Lead:
    flag = plant.flags.get(name)
    if flag is not None:
        side, _, number = flag.pin.partition("/")
        return Lead(colour, name, f"flag {number}", f"{side} end of cable {flag.owner}")
    terminal = plant.terminals.get(name)
    if terminal is None:
        return Lead(colour, name, name, "")
    wire = _wire(plant, terminal, step)
    if terminal.kind != "pin":
        label, where = _parted(plant.where(name), terminal.owner)
        return Lead(colour, name, label, where, wire=wire)
    connector = plant.connectors[terminal.owner]
    parts = [f"bay {connector.bay}", f"shelf {connector.shelf}", connector.faces, connector.at]
    column = terminal.column
    if mirrored:
        column = len(connector.layout.grid[terminal.row - 1]) + 1 - column
    spot = f"{ordinal(column)} from the left"
    if len(connector.layout.grid) > 1:
        spot = f"row {terminal.row}, {spot}"
    return Lead(
        colour,
        name,
        f"{connector.name} pin {terminal.pin}",
        ", ".join(part for part in parts if part),
        spot,
        wire,
        connector.name,
        terminal.pin,
    )


def _parted(text: str, owner: str) -> tuple[str, str]:
    """What to look for, and where: ``bay 2, left row, breaker F21, line side`` has the breaker last."""
    before, found, after = text.rpartition(owner) if text.count(owner) == 1 else text.partition(owner)
    if not found:
        return text, ""
    where, comma, kind = before.rpartition(", ")
    if not comma:
        # a loose end: the cable comes first, and then which conductor of it
        side, _, rest = after.lstrip(", ").partition(", ")
        return f"{kind}{owner} {side}".strip(), rest
    return f"{kind}{owner}{after}", where


def _wire(plant: Plant, terminal: Terminal, step: Step) -> str:
    here = plant.landings.get(terminal.name, ())
    about = plant.conductors.get(step.subject)
    if about is not None and terminal.name in (about.near_end.name, about.far_end.name):
        return wire_words(about)
    return "; ".join(wire_words(conductor) for conductor in here[:2])


def wire_words(conductor: Conductor) -> str:
    """A conductor and its mate: ``red/blue, with blue/red (pair 6 ring)``."""
    parts = [conductor.looks]
    if conductor.mate_colour:
        parts.append(f"mate {conductor.mate_colour}")
    if conductor.pair is not None:
        parts.append(f"pair {conductor.pair} {conductor.leg}")
    if conductor.binder:
        parts.append(f"binder {conductor.binder}")
    return ", ".join(parts)


def conductor_of(state: State, step: Step) -> Conductor | None:
    """The conductor that a step is about, if it is about one."""
    if state.setting is None:
        return None
    plant = state.setting.plant
    found = plant.conductors.get(step.subject)
    if found is not None or step.probes is None:
        return found
    ends = [set(plant.landings.get(name, ())) for name in step.probes]
    shared = ends[0] & ends[1]
    return next(iter(shared)) if len(shared) == 1 else None


def side_of(plant: Plant, connector: str, *, mirrored: bool) -> str:
    """The side from which a connector's face is drawn."""
    view = plant.connectors[connector].layout.view
    return SIDES[view] if mirrored else view


# Progress


class Progress(msgspec.Struct, frozen=True):
    """How far the walk is.

    Attributes:
        step: the step under way, counted from 1; the total at the end.
        total: how many steps there are.
        section: the heading that the step stands under.
    """

    step: int
    total: int
    section: str

    @property
    def share(self) -> float:
        """0 to 1: the part that is done."""
        return (self.step - 1) / self.total if self.total else 0.0


def progress(state: State) -> Progress | None:
    """How far the walk is; None before it began."""
    if state.setting is None:
        return None
    total = len(state.setting.plan.steps)
    step = state.step
    if step is None:
        return Progress(total + 1 if state.finished else total, total, "")
    return Progress(state.place.cursor + 1, total, step.section)


def so_far(state: State) -> list[str]:
    """How far the search under way has come: its readings, and what they say so far. Empty where none is."""
    seeking = state.seeking
    advised = seeking.advised if seeking is not None and seeking.index == state.place.cursor else None
    if advised is None:
        return []
    count = "1 reading" if advised.done == 1 else f"{advised.done} readings"
    told = [f"{count} so far" + (f", about {advised.left} more" if advised.left else "")]
    return [*told, advised.why] if advised.why else told


def back_to(state: State) -> int:
    """The step that 'back' goes to: the one before; in a search its own, which takes its last answer back.

    With nothing on, what needs an output is passed over again and leads nowhere: back goes to the act before it.
    """
    seeking = state.seeking
    if seeking is not None and seeking.index == state.place.cursor and seeking.trail:
        return state.place.cursor
    back = state.place.cursor - 1
    if state.setting is None or state.outputs.on:
        return back
    steps = state.setting.plan.steps
    while 0 <= back < len(steps) and (steps[back].source.live or steps[back].kind in ("energise", "set")):
        back -= 1
    return back


def duration(seconds: float) -> str:
    """A time as people say it: ``8 s``, ``1 min 35 s``, ``2 h 5 min``."""
    whole = max(0, round(seconds))
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    if minutes:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{rest} s"


def left(seconds: float | None) -> str:
    """An estimate of what is left, no finer than it is good: ``about 14 min left``; empty where not known."""
    if seconds is None:
        return ""
    if seconds < 60:
        return "under a minute left"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"about {minutes} min left"
    hours, rest = divmod(5 * round(minutes / 5), 60)
    return f"about {hours} h {rest} min left" if rest else f"about {hours} h left"


def remark_of(event: e.Event) -> str:
    """What somebody wrote into the record beside the steps, for every screen; empty for all else."""
    match event:
        case e.Noted(text=text, by=by):
            return f"{by or 'somebody'} noted: {text}"
        case e.Attached(files=files, text=text, by=by):
            return f"{by or 'somebody'} kept {', '.join(one.name for one in files)}{f': {text}' if text else ''}"
        case e.Disturbed(touches=touches, text=text, by=by):
            return f"{by or 'somebody'} says that {', '.join(touches)} was touched{f': {text}' if text else ''}"
        case e.Tripped(thing=thing, what=what, by=by):
            return f"{by or 'somebody'} says that {thing} tripped{f': {what}' if what else ''}"
        case e.Said(console=console, lines=lines, wrong=wrong):
            return f"{console}: {wrong or (lines[-1][1] if lines else '')}"
        case _:
            return ""


def local_time(at: str, zone: tzinfo | None = None) -> str:
    """A record's time of day, as the clock on the wall shows it: ``18:03``; empty where it is none.

    Args:
        at: the record's time, ISO 8601.
        zone: where the wall is; the computer's own zone by default.
    """
    try:
        return datetime.fromisoformat(at).astimezone(zone).strftime("%H:%M")
    except ValueError:
        return ""


def lost_words(why: str, *, finished: bool, broken: bool, record: str) -> tuple[str, str]:
    """Title and text for the end of the line to the runner."""
    kept = f"The record is safe: {record}." if record else "What was recorded is safe."
    if broken:
        return (
            "This screen does not understand the record",
            f"{why}. {kept} The runner goes on by itself and pauses. Start the screen with the version that runs it.",
        )
    if finished:
        return "The runner has ended", f"{why or 'The walk is over'}. {kept}"
    said = f" It said: {why}." if why else ""
    return (
        "The runner is gone",
        f"Nothing is measured any more.{said} {kept} A runner that ends makes its outputs safe; if it was killed or "
        "lost its power, look at every supply and tester yourself. Leave this screen and resume the record: the walk "
        "goes on where it stands.",
    )


def overdue(state: State) -> str:
    """That the calibration of the instrument for this step is overdue; empty where it is not."""
    step = state.step
    if step is None or step.role is None or state.setting is None:
        return ""
    facts = state.setting.bench.for_role(step.role)
    return facts.overdue(state.at) if facts is not None else ""


def seat_words(state: State, you: str) -> str:
    """Who holds the operator's seat, as far as it matters to the one who looks; empty for the operator."""
    if not state.seat:
        return ""
    return "" if state.seat == you else f"{state.seat} holds the seat; you watch"


def may_skip(state: State) -> bool:
    """Whether the step under way may be skipped with a reason."""
    step = state.step
    phases = (Phase.ASKING, Phase.PLACING, Phase.MEASURING, Phase.ADVISING, Phase.TROUBLED)
    return step is not None and state.phase in phases and step.kind in SKIPPABLE


def last_reading(state: State) -> Outcome | None:
    """The newest outcome of a reading: what 'measure again' means."""
    return next((one for one in outcomes(state) if one.reading is not None), None)


def seen_from(state: State, *, mirrored: bool) -> dict[str, str]:
    """For the connectors of the step under way, the side that their faces show."""
    step = state.step
    if step is None or state.setting is None:
        return {}
    plant = state.setting.plant
    return {
        lead.connector: side_of(plant, lead.connector, mirrored=mirrored)
        for lead in leads_of(state, step)
        if lead.connector
    }
