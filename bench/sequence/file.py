"""The sequence file: YAML that a person who does not program can read and change.

Nothing in a file is ever evaluated. Texts may hold names in braces, such as ``{conductor.near}``; they are replaced
by looking the name up in a fixed table (see :mod:`bench.sequence.views`) and by nothing else.
"""

from __future__ import annotations

from typing import Any, ClassVar, Final, Literal

import msgspec

from bench.files import Inconsistent
from bench.plant.handled import STATES, Change, Kind
from bench.quantity import Amount, Current, Duration, Ratio, Resistance, Temperature, Voltage
from bench.roles import HIGH_OHMS, NO_PLACES, ROLE_OF, Ohmmeter, Reads, Role, function_name

Over = Literal[
    "conductors", "pairs", "pins", "neighbours", "wires-beside", "wires-in-turn", "shelves", "inlets", "breakers",
    "cables", "bonds",
]  # fmt: skip
"""What a loop can run over. ``neighbours`` are pins side by side; ``wires-beside`` are those of them that hold wires,
each two wires once, wherever they lie side by side again; ``wires-in-turn`` are the same along each row and then from
row to row, so that one lead stays and a lead that stood beside its pin shows at the next two."""


NO_LIMIT = "no limit: the value itself is wanted"
"""Source of the limit of a reading that is held against nothing."""


class Limit(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """What a reading is held against.

    Either computed from the plant, or set by hand with one or two bounds. ``source`` says where a bound that was set
    by hand comes from, and is asked for, since a number without an origin cannot be defended later.
    """

    computed: (
        Literal[
            "conductor",
            "path",
            "insulation",
            "insulation-by-length",
            "idle-current",
            "feed-voltage",
            "shelf-voltage",
            "stretch-drop",
        ]
        | None
    ) = None
    at_least: Amount | None = None
    at_most: Amount | None = None
    source: str = ""
    margin: Amount | None = None
    """Added to a computed upper bound, for what the plant file does not know."""

    def __post_init__(self) -> None:
        by_hand = self.at_least is not None or self.at_most is not None
        if self.computed is None and not by_hand:
            raise Inconsistent("a limit without a bound", "'computed', 'at-least' or 'at-most'")
        if self.computed is not None and by_hand:
            raise Inconsistent("a computed limit with a bound set by hand", "one or the other")
        if by_hand and not self.source:
            raise Inconsistent("a bound set by hand without 'source'", "'source': where the bound comes from")
        if self.margin is not None and self.computed is None:
            raise Inconsistent("'margin' without 'computed'", "'margin' only beside 'computed'")
        low, high = self.at_least, self.at_most
        if low is not None and high is not None:
            if low.unit != high.unit:
                raise Inconsistent(f"bounds in {low.unit} and {high.unit}", "both bounds in one unit")
            if low.value > high.value:
                raise Inconsistent(f"at-least {low} above at-most {high}", "at-least below at-most")


NOWHERE: Final = ("", "")
"""In place of two places, where no probe goes anywhere."""


class _Common(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", tag_field="step"):
    """What may be asked of any step. One that says nothing of a thing means by it what stands here.

    Attributes:
        NAMES: its fields that hold names of the plant, in which a loop's words are replaced.
    """

    NAMES: ClassVar[tuple[str, ...]] = ()

    title: str = ""

    @property
    def text(self) -> str:
        """What to do, in full."""
        return ""

    @property
    def subject(self) -> str:
        """The plant object that its verdict is about, where it says so itself."""
        return ""

    @property
    def about(self) -> str:
        """The same, where neither the step nor its loop says one."""
        return ""

    @property
    def handles(self) -> tuple[str, ...]:
        """Plant names that it handles or reads."""
        return ()

    @property
    def role(self) -> Role | None:
        """The role that it needs from the bench; None where it needs none."""
        return None

    @property
    def roles(self) -> tuple[Role, ...]:
        """All roles that it needs."""
        return (self.role,) if self.role is not None else ()

    @property
    def probes(self) -> tuple[str, str] | None:
        """Where the probes go, red first; None where no probe is placed on the plant."""
        return None

    @property
    def join(self) -> list[list[str]]:
        """Places that are held together meanwhile, group by group."""
        return []

    @property
    def read(self) -> Reads:
        """What a meter reads at it: its leads, where it says nothing else."""
        return "resistance"

    @property
    def wires(self) -> Literal[2, 4]:
        """How many wires go to the meter."""
        return 2

    @property
    def function(self) -> str:
        """The name of what is read, as readings carry it."""
        return function_name(self.read, self.wires)

    @property
    def range(self) -> Amount | None:
        """A value whose range the meter is locked to."""
        return None

    @property
    def test_voltage(self) -> Amount | None:
        """What an insulation tester puts on."""
        return None

    @property
    def after(self) -> Duration | None:
        """How long a reading runs before it counts."""
        return None

    @property
    def times(self) -> list[Duration]:
        """Moments of timed readings."""
        return []

    @property
    def readings(self) -> int:
        """How many readings are averaged."""
        return 1

    @property
    def lasts(self) -> float:
        """Seconds that a reading runs before it counts; 0 for one that is taken at once."""
        if self.times:
            return self.times[-1].value
        return self.after.value if self.after is not None else 0.0

    @property
    def live(self) -> bool:
        """Whether it needs an output that is on."""
        return False

    @property
    def keeps_off(self) -> bool:
        """Whether what it is about stays off where it is skipped, whatever the reason."""
        return False

    @property
    def energises(self) -> bool:
        """Whether something may be live after it that was not before."""
        return False

    @property
    def word(self) -> str:
        """What somebody types to pass it."""
        return ""

    @property
    def rig(self) -> Rig | None:
        """Clips and tags that stay on after it."""
        return None

    @property
    def switches_off(self) -> bool:
        """Whether it takes an output off: it may come up whatever the output is."""
        return False

    @property
    def switch_on(self) -> list[str]:
        """Supplies of the plant that a hand switches on."""
        return []

    @property
    def lift(self) -> list[str]:
        """Bonds that a hand takes off."""
        return []

    @property
    def take_out(self) -> list[str]:
        """Cards that a hand takes out."""
        return []

    @property
    def put_in(self) -> list[str]:
        """Cards that a hand puts in."""
        return []

    @property
    def changes(self) -> tuple[Change, ...]:
        """What hands leave otherwise in the plant by it."""
        return ()

    @property
    def proven(self) -> list[str]:
        """Plant names on whose earlier readings it stands."""
        return []

    @property
    def unless_proven(self) -> list[str]:
        """Plant names whose earlier readings make it needless."""
        return []


class Tag(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """A resistor clipped between two places; with 0 Ω a plain clip lead."""

    place: str
    to: str
    ohms: Resistance

    def __post_init__(self) -> None:
        if self.ohms.value < 0 or self.place == self.to:
            raise Inconsistent(f"{self.ohms} from {self.place} to {self.to}", "0 Ω or more between two places")


class Rig(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """All that is clipped to loose or landed ends after an act; what was clipped before and is not here comes off.

    ``join`` and ``tags`` may name a place that is no terminal of the plant, such as ``star``: a floating point where
    clips meet.
    """

    join: list[list[str]] = []
    """Places that are joined with one another by clips or a bar, group by group."""
    tags: list[Tag] = []

    def __post_init__(self) -> None:
        for group in self.join:
            if len(set(group)) < 2 or len(set(group)) != len(group):
                raise Inconsistent(f"the group {', '.join(group) or 'of nothing'}", "two places or more, each once")


class Caution(_Common, frozen=True, kw_only=True, tag="caution"):
    """Something that can hurt people or the plant; it is shown large and must be acknowledged."""

    text: str


class Hold(_Common, frozen=True, kw_only=True, tag="hold"):
    """A hold point: nobody passes without typing the word. The act is recorded with the name."""

    NAMES = ("proven",)

    text: str
    word: str = "CLEAR"
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nobody is asked to pass here:
    the hold point and what it guards are passed over, and the walk says why."""

    def __post_init__(self) -> None:
        if not self.word.strip() or len(self.word) > 24 or any(c.isspace() for c in self.word):
            raise Inconsistent(f"the word {self.word!r}", "one word of at most 24 letters to type")


class Do(_Common, frozen=True, kw_only=True, tag="do"):
    """One thing that the operator does and confirms."""

    NAMES = (
        "touches",
        "close",
        "open",
        "switch_on",
        "switch_off",
        "connect",
        "disconnect",
        "put_in",
        "take_out",
        "lift",
        "refit",
        "proven",
        "unless_proven",
        "beeps",
        "join",
    )

    text: str
    touches: list[str] = []
    """Plant names that the act disturbs or prepares; kept for evidence."""
    close: list[str] = []
    """Breakers that the operator closes. The text must say so; this is for the record and the simulator."""
    open: list[str] = []
    """Breakers that the operator opens."""
    switch_on: list[str] = []
    """Supplies that the operator switches on: never before a hold point."""
    switch_off: list[str] = []
    """Supplies that the operator switches off."""
    put_in: list[str] = []
    """Cards that the operator puts in, or shelves whose cards all go in: on a dead shelf only."""
    take_out: list[str] = []
    """Cards that the operator takes out, or shelves that lose all theirs."""
    connect: list[str] = []
    """Supplies of the plant in whose place the bench supply's leads go, and nowhere else from then on: output off."""
    disconnect: list[str] = []
    """Supplies of the plant in whose place the bench supply's leads were, and come off: output off."""
    lift: list[str] = []
    """Bonds that the operator takes off at one end and keeps clear: never on a live plant."""
    refit: list[str] = []
    """Bonds that the operator puts back."""
    rig: Rig | None = None
    """Clips and tags that stay on after the act; without it they stay as they are."""
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, the act is passed over by the
    walk, and says why. For whatever makes something live that no supply of the bench can switch off again."""
    unless_proven: list[str] = []
    """Plant names: the act is asked for only where an earlier reading about one of them does not count as passed."""
    beeps: tuple[str, str] | None = None
    """The two places for the tips of a continuity tester, red first: the operator then answers ``yes`` or ``no``,
    whether it beeps. Such an act does nothing else."""
    join: list[list[str]] = []
    """Places that are held together on a bar or by clips while the tester is on ``beeps``, group by group."""

    def __post_init__(self) -> None:
        Rig(join=self.join)
        if self.beeps is None:
            if self.join:
                raise Inconsistent("'join' without 'beeps'", "'rig' for clips that stay on, or 'beeps' beside it")
            return
        if self.beeps[0] == self.beeps[1]:
            raise Inconsistent(f"'{self.beeps[0]}' twice", "two different places")
        moved = self.put_in or self.take_out or self.lift or self.refit or self.connect or self.disconnect
        if self.energises or self.open or self.switch_off or moved:
            raise Inconsistent("'beeps' beside something that is switched or moved", "an act of its own for each")
        if self.rig is not None:
            raise Inconsistent("'beeps' and 'rig' together", "an act of its own for each")

    @property
    def energises(self) -> bool:
        """Whether something may be live after it that was not before."""
        return bool(self.close or self.switch_on)

    @property
    def handles(self) -> tuple[str, ...]:
        """All that it names, but what it stands on and what a tester is held to."""
        lists = [name for name in self.NAMES if name not in ("proven", "unless_proven", "beeps", "join")]
        return tuple(name for field in lists for name in getattr(self, field))

    @property
    def probes(self) -> tuple[str, str] | None:
        """Where the tips of a continuity tester go."""
        return self.beeps

    @property
    def changes(self) -> tuple[Change, ...]:
        """What hands leave otherwise in the plant by it; of a thing that is named twice the second counts."""
        made = [Change(kind, name, state) for field, kind, state in _CHANGES for name in getattr(self, field)]
        if self.connect:
            made.append(Change("connection", BENCH_SUPPLY, "connected", tuple(self.connect)))
        elif self.disconnect:
            made.append(Change("connection", BENCH_SUPPLY, "disconnected"))
        return tuple(made)


BENCH_SUPPLY: Final = "bench supply"
"""What the leads of the bench supply are called among the plant's things as handled."""

_CHANGES: Final[tuple[tuple[str, Kind, str], ...]] = (
    ("close", "breaker", "closed"),
    ("open", "breaker", "open"),
    ("switch_on", "supply", "on"),
    ("switch_off", "supply", "off"),
    ("take_out", "card", "out"),
    ("put_in", "card", "in"),
    ("lift", "bond", "lifted"),
    ("refit", "bond", "in place"),
)
"""Lists of an act's names, the kind of what is named there, and how it is left."""


class Ask(_Common, frozen=True, kw_only=True, tag="ask"):
    """A value that the operator types, such as the room's temperature."""

    NAMES = ("of", "proven")

    text: str
    name: Literal["ambient", "humidity", "remark", "strap", "checksum", "capacitors", "dial"]
    """A remark is free text; ``strap`` is what a wrist strap with its wearer read, in MΩ; ``checksum`` is that of an
    original and that of its copy, which must agree; ``capacitors`` is the leakage of a shelf's capacitors in mA and
    their series resistance in Ω, kept as a trend over the records, or ``no`` where nobody gets at them; ``dial`` is a
    figure in Ω that somebody reads off a dial or a decade, such as an arm of a bridge."""
    of: str = ""
    """The plant name that it is about; of ``capacitors`` the shelf."""
    least: float | None = None
    most: float | None = None
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nobody is asked."""

    def __post_init__(self) -> None:
        if self.name == "capacitors" and not self.of:
            raise Inconsistent("'capacitors' of nothing", "'of': the shelf whose capacitors they are")

    @property
    def about(self) -> str:
        """The plant name that it is about."""
        return self.of

    @property
    def keeps_off(self) -> bool:
        """No reason makes up for a copy of what cannot be bought again."""
        return self.name == "checksum"


class Look(_Common, frozen=True, kw_only=True, tag="look"):
    """Somebody looks at the plant and says how things stand: what a walk relies on and nobody can know from afar.

    The answer is a state for all, or names with their state: ``open``, ``FA3 closed, rest open``.
    """

    text: str = ""
    breakers: list[str] = []
    supplies: list[str] = []
    cards: list[str] = []
    bonds: list[str] = []
    plugs: list[str] = []
    """Connectors, whose plugs are looked at."""
    expect: list[str] = []
    """States that they may be in. Where one is found otherwise nothing is brought up until somebody looks again; where
    all are known to be so already, nobody is asked. Empty: any state will do."""

    def __post_init__(self) -> None:
        if sum(1 for names in self._lists if names) != 1:
            wanted = "breakers, supplies, cards, bonds or plugs, a step for each"
            raise Inconsistent("things of no kind or of several", wanted)
        wrong = [state for state in self.expect if state not in STATES[self.kind]]
        if wrong:
            raise Inconsistent(f"'{wrong[0]}' for a {self.kind}", " or ".join(STATES[self.kind]))

    @property
    def keeps_off(self) -> bool:
        """Nothing is brought up where nobody looked."""
        return True

    @property
    def handles(self) -> tuple[str, ...]:
        """All that is looked at."""
        return tuple(self.names)

    @property
    def kind(self) -> Kind:
        """The kind of the things that are looked at."""
        kinds: tuple[Kind, ...] = ("breaker", "supply", "card", "bond", "plug")
        return next(kind for kind, names in zip(kinds, self._lists, strict=True) if names)

    @property
    def names(self) -> list[str]:
        """The things that are looked at."""
        return [name for names in self._lists for name in names]

    @property
    def _lists(self) -> tuple[list[str], ...]:
        return (self.breakers, self.supplies, self.cards, self.bonds, self.plugs)

    def answered(self, answer: str) -> tuple[Change, ...]:
        """What an answer says of each thing.

        Raises:
            ValueError: it leaves one out, or names no state; the sentence says what is wanted.
        """
        states, known = STATES[self.kind], {name.casefold(): name for name in self.names}
        found: dict[str, str] = {}
        for part in filter(None, (" ".join(one.split()).casefold() for one in answer.split(","))):
            state = next((one for one in states if part == one or part.endswith(f" {one}")), "")
            if not state:
                raise ValueError(f"'{part}' ends with no state: {', '.join(states)}")
            words = part.removesuffix(state).split()
            if words in ([], ["rest"], ["all"]):
                words = [name for name in known if known[name] not in found]
            for word in words:
                if word not in known:
                    raise ValueError(f"'{word}' is none of {', '.join(self.names)}")
                found[known[word]] = state
        left = [name for name in self.names if name not in found]
        if left:
            raise ValueError(f"nothing is said of {', '.join(left)}: {', '.join(states)}?")
        return tuple(Change(self.kind, name, found[name]) for name in self.names)


class Gate(_Common, frozen=True, kw_only=True, tag="gate"):
    """What the records must have proven of a shelf before it is brought up. Where they have, the walk goes on; where
    not, only for a reason that somebody gives with a name. Passed over, the shelf is not brought up."""

    shelf: str
    text: str = ""
    cards: bool = True
    """Whether its cards are in then: what they need must be proven too."""

    @property
    def subject(self) -> str:
        """The shelf."""
        return self.shelf

    @property
    def handles(self) -> tuple[str, ...]:
        """The shelf."""
        return (self.shelf,)

    @property
    def keeps_off(self) -> bool:
        """Nothing that nobody answered for is brought up."""
        return True


class Measure(_Common, frozen=True, kw_only=True, tag="measure"):
    """One reading, held against a limit."""

    NAMES = ("between", "proven", "join")

    read: Reads
    limit: Limit
    between: tuple[str, str] = NOWHERE
    """The two places for the probes: the red lead first. A temperature has none."""
    text: str = ""
    wires: Literal[2, 4] = 2
    range: Amount | None = None
    """Lock the meter to the range that holds this value; else the meter or the limit chooses."""
    after: Duration | None = None
    """How long the reading runs before it counts: insulation and anything that charges."""
    at: Amount | None = None
    """Test voltage of an insulation reading."""
    times: list[Duration] = []
    """Timed insulation readings, all in one go while the voltage stays on; the last one is judged. With one at 30 s and
    one at 60 s the dielectric absorption ratio is told, with 60 s and 10 min the polarization index."""
    bring_to: Temperature | None = None
    """Say also what an insulation reading comes to at this temperature, by the halving rule, to compare it with others.
    The limit is for the reading as it was taken."""
    insulation_class: Literal["A", "B", "F", "H"] | None = None
    """Thermal class of a winding: then the polarization index has a minimum (IEEE 43) and is judged too."""
    readings: int = 1
    """How many readings are averaged."""
    subject: str = ""
    """The plant object that the verdict is about, where it is not the loop's."""
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, this one is passed over."""
    clamp: bool = False
    """Current is read by a clamp that closes round the conductor between the two places: nothing is opened for it."""
    live: bool = False
    """It needs a supply's output on: where that is off it is passed over, with the reason."""
    join: list[list[str]] = []
    """Places that are held together on a bar or by clips while this reading runs, group by group: all of them
    are read against all others at once."""
    meter: Ohmmeter | None = None
    """Which of a bench's two ohmmeters reads it. Where nothing is said it is the one in ``ohms``, or, where that one
    cannot prove the limit and the one in ``high-ohms`` can, the latter."""

    def __post_init__(self) -> None:
        Rig(join=self.join)
        _only_for_ohms(self.meter, self.read)
        if self.read not in NO_PLACES and self.between == NOWHERE:
            raise Inconsistent("a reading without 'between'", "the two places for the probes")
        if self.clamp and self.read not in ("current", "ac-current"):
            raise Inconsistent(f"'clamp' for {self.read}", "it for current only")
        if not 1 <= self.readings <= 1000:
            raise Inconsistent(f"readings {self.readings}", "1 to 1000 readings")
        moments = [time.value for time in self.times]
        if moments != sorted(set(moments)) or any(moment <= 0 for moment in moments):
            raise Inconsistent(
                "'times' out of order", "moments after the voltage was put on, each once, earliest first"
            )
        if self.read != "insulation":
            for name in ("times", "bring_to", "insulation_class", "at"):
                if getattr(self, name):
                    raise Inconsistent(f"'{name.replace('_', '-')}' for {self.read}", "it for insulation only")
        if self.times and (self.after is not None or self.readings != 1):
            raise Inconsistent("'times' with 'after' or 'readings'", "'times' alone")
        if self.insulation_class is not None and not {60.0, 600.0} <= set(moments):
            raise Inconsistent("'insulation-class' without readings at 60 s and 10 min", "'times' that hold both")

    @property
    def about(self) -> str:
        """The two places."""
        return "~".join(self.probes or ())

    @property
    def handles(self) -> tuple[str, ...]:
        """All places that a lead or a clip goes to."""
        return (*(self.probes or ()), *(name for group in self.join for name in group))

    @property
    def role(self) -> Role | None:
        """What reads it."""
        return "clamp" if self.clamp else self.meter or ROLE_OF[self.read]

    @property
    def probes(self) -> tuple[str, str] | None:
        """The two places."""
        return self.between if self.between != NOWHERE else None

    @property
    def test_voltage(self) -> Amount | None:
        """What the tester puts on."""
        return self.at


def _only_for_ohms(meter: Ohmmeter | None, read: Reads) -> None:
    if meter is not None and read != "resistance":
        raise Inconsistent(f"'meter' for {read}", "it for resistance only")


class Zero(_Common, frozen=True, kw_only=True, tag="zero"):
    """The probes are held together: what the meter reads then is the leads, and is taken off later readings."""

    text: str = "Hold the two probe tips firmly together."
    at_most: Resistance = msgspec.field(default_factory=lambda: Resistance(2.0))
    """More than this is no lead but a fault."""
    meter: Ohmmeter | None = None
    """Of a bench's two ohmmeters, whose leads they are: the one in ``ohms`` where nothing is said."""

    @property
    def role(self) -> Role | None:
        """The meter whose leads they are."""
        return self.meter or "ohms"


class Prove(_Common, frozen=True, kw_only=True, tag="prove"):
    """The bench itself is proven: against a reference of the bench file, with open leads, or on a live source."""

    against: Literal["reference", "open-leads", "live-source"]
    read: Reads = "resistance"
    wires: Literal[2, 4] = 2
    text: str = ""
    at: Amount | None = None
    """Test voltage, for insulation."""
    after: Duration | None = None
    """How long the reading runs before it counts, for insulation."""
    between: tuple[str, str] = NOWHERE
    """Where the leads go when the reference is clipped to a cable: that proves tester, leads and clips in one."""
    across: tuple[str, str] = NOWHERE
    """The two places that the reference is clipped across, at the other end of the same wires."""
    meter: Ohmmeter | None = None
    """Which of a bench's two ohmmeters is proven: the one in ``ohms`` where nothing is said."""

    def __post_init__(self) -> None:
        _only_for_ohms(self.meter, self.read)
        if (self.at is not None or self.after is not None) and self.read != "insulation":
            raise Inconsistent(f"'at' or 'after' for {self.read}", "them for insulation only")
        if (self.between == NOWHERE) != (self.across == NOWHERE):
            raise Inconsistent("'between' or 'across' alone", "both: leads at one end, the reference at the other")
        if self.between != NOWHERE and self.against != "reference":
            raise Inconsistent(f"'between' with {self.against}", "it with 'reference' only")

    @property
    def role(self) -> Role | None:
        """What is proven."""
        return self.meter or ROLE_OF[self.read]

    @property
    def probes(self) -> tuple[str, str] | None:
        """Where the leads go when the reference is clipped to a cable."""
        return self.between if self.between != NOWHERE else None

    @property
    def test_voltage(self) -> Amount | None:
        """What the tester puts on."""
        return self.at


class Discharge(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """How a cable loses its charge: the wait is computed from its capacitance."""

    cable: str
    start: Voltage = msgspec.field(name="from")
    """What it was charged to."""
    through: Resistance
    """The resistance that bleeds it: the tester's own, or a stick."""
    down_to: Voltage = msgspec.field(default_factory=lambda: Voltage(60.0))
    """The residual voltage that may be touched (IEC 60204-1: 60 V)."""


class Wait(_Common, frozen=True, kw_only=True, tag="wait"):
    """Time must pass: soak, discharge, warm-up. A number of seconds, or as long as a discharge takes."""

    NAMES = ("proven",)

    text: str
    time: Duration | None = None
    discharge: Discharge | None = None
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nobody waits for what would
    come next."""

    def __post_init__(self) -> None:
        if (self.time is None) == (self.discharge is None):
            raise Inconsistent("'time' and 'discharge' both or neither", "one of them")


class Listen(_Common, frozen=True, kw_only=True, tag="listen"):
    """A text is expected on a console of the plant within a time. It passes as soon as it comes; it fails when the time
    is over, or when a line comes that must not: then the walk stops, outputs off.

    What was said since the step before began counts: a machine may answer sooner than a person confirms.
    """

    NAMES = ("subject", "proven")

    text: str = ""
    console: str
    """Its name in the bench file."""
    expect: str
    """A part of a line; small and capital letters are told apart."""
    within: Duration
    """How long it is listened for."""
    dreads: list[str] = []
    """Parts of lines that end it at once, as failed."""
    subject: str = ""
    """The plant object that the verdict is about."""
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nobody listens."""

    def __post_init__(self) -> None:
        if not self.expect.strip() or not all(one.strip() for one in self.dreads):
            raise Inconsistent("an empty text", "a part of a line, for 'expect' and each of 'dreads'")
        if self.within.value <= 0:
            raise Inconsistent(f"within {self.within}", "a time above 0 s")


class Send(_Common, frozen=True, kw_only=True, tag="send"):
    """A line is sent to a console of the plant: the only way that anything is. Always behind a hold point, and when
    whoever walks confirms it."""

    NAMES = ("proven",)

    text: str = ""
    console: str
    """Its name in the bench file."""
    line: str
    """What is sent, to the letter."""
    end: Literal["cr", "lf", "cr-lf", "none"] = "cr"
    """What ends it."""
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nothing is sent."""

    @property
    def energises(self) -> bool:
        """Nobody knows what a machine does when it is told something."""
        return True

    @property
    def data(self) -> bytes:
        """The characters."""
        return self.line.encode() + {"cr": b"\r", "lf": b"\n", "cr-lf": b"\r\n", "none": b""}[self.end]


class Dread(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """A text that stops the walk whenever it comes, outputs off."""

    text: str
    """A part of a line; small and capital letters are told apart."""
    console: str = ""
    """Which console says it; empty: any."""

    def __post_init__(self) -> None:
        if not self.text.strip():
            raise Inconsistent("an empty text", "a part of a line")


class Set(_Common, frozen=True, kw_only=True, tag="set"):
    """A supply's output or a switch changes state. Always behind a hold point that nobody skipped."""

    text: str
    output: Literal["on", "off"]
    voltage: Amount | None = None
    current_limit: Amount | None = None
    """Of an electronic load: the current that it takes."""
    by: Literal["supply", "load"] = "supply"
    """What is switched: the bench supply, or an electronic load that takes current from what is on already."""

    def __post_init__(self) -> None:
        if self.by == "load" and self.output == "on" and self.current_limit is None:
            raise Inconsistent("a load without 'current-limit'", "'current-limit': the current that it takes")
        if self.by == "load" and self.voltage is not None:
            raise Inconsistent("'voltage' of a load", "'current-limit' alone: a load puts out nothing")

    @property
    def role(self) -> Role | None:
        """The supply, or the load."""
        return self.by

    @property
    def energises(self) -> bool:
        """Whether the output goes on."""
        return self.output == "on"

    @property
    def switches_off(self) -> bool:
        """Whether the output goes off."""
        return self.output == "off"


class Ramp(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """One level on the way to the target voltage."""

    to: Voltage
    """At the supply's terminals, without sign."""
    limit: Current
    """The supply's current limit on this level."""
    leakage: Current | None = None
    """The current must have fallen below this before the next level: capacitors that have slept reform meanwhile."""
    hold: Duration = msgspec.field(default_factory=lambda: Duration(3.0))
    """How long it stays on at least."""
    within: Duration = msgspec.field(default_factory=lambda: Duration(120.0))
    """The longest wait until the leakage has fallen; then the output goes off."""
    inrush: Duration = msgspec.field(default_factory=lambda: Duration(1.0))
    """How long the current may run into the limit."""

    def __post_init__(self) -> None:
        if not (self.to.value > 0 and self.limit.value > 0):
            raise Inconsistent(f"a level of {self.to} and {self.limit}", "a voltage and a limit above 0, without sign")


class Energise(_Common, frozen=True, kw_only=True, tag="energise"):
    """A supply's output is brought up and watched; always behind a hold point that was passed in this walk.

    The window that the current must lie in follows from the shelves that are on and the cards in them. The first
    reading beyond it switches the output off.
    """

    NAMES = ("at",)

    text: str
    at: list[str]
    """The supplies of the plant in whose place the bench supply stands."""
    voltage: Voltage
    """The target at the supply's terminals, without sign."""
    current_limit: Current
    """The supply's current limit at the target."""
    ramp: list[Ramp] = []
    """Lower levels first; empty: straight to the target."""
    margin: Current = msgspec.field(default_factory=lambda: Current(0.03))
    """Added to the window on both sides, for what the plant file does not know."""
    ammeter: bool = False
    """The bench's ammeter stands in the supply's lead and reads the current, in place of the supply's own reading."""
    dummy: Current | None = None
    """What a dummy load on the converter of each shelf that is on draws at nominal voltage."""
    inrush: Duration = msgspec.field(default_factory=lambda: Duration(2.0))
    """How long the current may run into the limit at the target."""
    hold: Duration = msgspec.field(default_factory=lambda: Duration(3.0))
    settle: Duration = msgspec.field(default_factory=lambda: Duration(10.0))
    """The span of the settled test: as long as the slowest time constant that matters."""
    band: Current | None = None
    """What the current may change over the span; by default 1 % of what is expected, 10 mA at least."""
    within: Duration = msgspec.field(default_factory=lambda: Duration(180.0))
    """The longest wait until it has settled; then the output goes off."""
    soak: Duration = msgspec.field(default_factory=lambda: Duration(0.0))
    """How long it is watched after it has settled."""
    drift: Ratio = msgspec.field(default_factory=lambda: Ratio(0.01))
    """A change over the whole soak that matters, as a part of the current; less than 10 mA never does."""
    derating: Ratio = msgspec.field(default_factory=lambda: Ratio(0.8))
    """Part of a breaker's rating that may be used: 80 % is the 125 % continuous-load rule of North American
    practice."""
    evidence: str = ""
    """The folder of records in which the shelves that are on were proven, if not in this sequence: ``logs``. Where its
    readiness does not clear them for power, the walk goes on only with a reason that a person gives."""

    def __post_init__(self) -> None:
        if not self.at:
            raise Inconsistent(
                "'at' without a supply", "the supply of the plant in whose place the bench supply stands"
            )
        if not (self.voltage.value > 0 and self.current_limit.value > 0):
            raise Inconsistent(
                f"{self.voltage} and {self.current_limit}", "a voltage and a current limit above 0, without sign"
            )
        volts = [level.to.value for level in self.ramp]
        if volts != sorted(set(volts)) or (volts and volts[-1] >= self.voltage.value):
            raise Inconsistent("levels out of order", "each level above the one before, and the target above all")
        if self.settle.value <= 0 or not 0 < self.derating.value <= 1 or self.margin.value < 0:
            raise Inconsistent(
                "'settle', 'derating' or 'margin' out of bounds", "more than 0 s; up to 100 %; 0 A or more"
            )

    @property
    def role(self) -> Role | None:
        """The supply."""
        return "supply"

    @property
    def roles(self) -> tuple[Role, ...]:
        """The supply, and the ammeter in its lead where one stands there."""
        return ("supply", "amps") if self.ammeter else ("supply",)

    @property
    def energises(self) -> bool:
        """It does."""
        return True


Find = Literal["conductors", "crosses", "isolation", "landings", "second-path", "supply-fault"]
"""What a search looks for: which conductor is which; joins that should not be; where wires are landed that do not get
through; poor insulation between nets; a second path to earth; the place on a supply path where voltage is lost."""


class Seek(_Common, frozen=True, kw_only=True, tag="seek"):
    """A search: readings that are chosen one after the other, each by what the ones before it said.

    What is asked for next, and what was found in the end, is written down as it happens; see
    :class:`bench.walk.events.Advised`.
    """

    find: Find
    of: str = ""
    """The cable, connector, shelf or feed that is searched; empty: the whole plant."""
    text: str = ""
    read: Reads = "resistance"
    wires: Literal[2, 4] = 2
    at: Amount | None = None
    """Test voltage, for insulation."""
    after: Duration | None = None
    """How long each reading runs before it counts."""
    proven: list[str] = []
    """Plant names: where an earlier reading about one of them does not count as passed, nothing is searched."""
    settings: dict[str, str] = {}
    """What else the search needs to know, by name; which names there are depends on what is looked for."""
    both_ohmmeters: bool = False
    """The bench's second ohmmeter, in ``high-ohms``, reads where open is expected, and where the one in ``ohms`` shows
    more than it can. Where nothing is said it does so in a search for a second path, on a bench that has one."""

    @property
    def about(self) -> str:
        """What is searched."""
        return self.of

    @property
    def handles(self) -> tuple[str, ...]:
        """What is searched."""
        return (self.of,) if self.of else ()

    @property
    def role(self) -> Role | None:
        """What reads for it."""
        return None if self.by_tester else ROLE_OF[self.read]

    @property
    def roles(self) -> tuple[Role, ...]:
        """What reads for it, and what is asked besides."""
        mine = (self.role,) if self.role is not None else ()
        return (*mine, HIGH_OHMS) if self.both_ohmmeters else mine

    @property
    def test_voltage(self) -> Amount | None:
        """What the tester puts on."""
        return self.at

    @property
    def by_tester(self) -> bool:
        """Whether a continuity tester is all that is at hand: then people answer, and no instrument is needed."""
        return self.find == "conductors" and self.settings.get("tester", "").strip().casefold() == "yes"

    def __post_init__(self) -> None:
        if (self.at is not None or self.after is not None) and self.read != "insulation":
            raise Inconsistent(f"'at' or 'after' for {self.read}", "them for insulation only")
        if self.both_ohmmeters and self.find != "second-path":
            raise Inconsistent(f"'both-ohmmeters' in a search for {self.find}", "it in one for second-path only")


class Found(_Common, frozen=True, kw_only=True, tag="found"):
    """What a search came to. It never stands in a sequence file: it ends the search in a record."""

    verdict: Literal["pass", "fail", "undecided"]
    sentence: str
    """In one sentence, for a person at the rack."""
    lines: list[str] = []
    """The same in full."""
    facts: dict[str, Any] = {}
    """The same as plain data, for other programs and for what is worked out from records."""
    touches: list[str] = []
    """Plant objects that the finding is about."""


class Each(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", tag_field="step", tag="each"):
    """Repeats its steps for every plant object of a kind: ``{conductor}``, ``{pin}``, ``{shelf}`` stand for it."""

    over: Over
    of: str = ""
    """The cable, connector, bay, shelf or feed whose objects are meant; empty: the whole plant."""
    only: list[str] = []
    but: list[str] = []
    title: str = ""
    steps: list[Step]

    def __post_init__(self) -> None:
        if self.only and self.but:
            raise Inconsistent("'only' and 'but' together", "one of them")
        if not self.steps:
            raise Inconsistent("a loop without steps", "at least one step")


Single = Caution | Hold | Do | Ask | Look | Gate | Measure | Zero | Prove | Wait | Set | Energise | Seek | Listen | Send
Step = (
    Caution
    | Hold
    | Do
    | Ask
    | Look
    | Gate
    | Measure
    | Zero
    | Prove
    | Wait
    | Set
    | Energise
    | Seek
    | Listen
    | Send
    | Each
)


class Decide(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """The decision rule of JCGM 106 that verdicts follow, named here so that the record names it."""

    rule: Literal["simple", "guarded", "guarded-acceptance", "guarded-rejection"] = "guarded"
    probability: Ratio = msgspec.field(default_factory=lambda: Ratio(0.95))
    """The chance at least that a verdict is right: the guard band follows from it."""

    def __post_init__(self) -> None:
        if not 0.5 <= self.probability.value < 1:
            raise Inconsistent(f"a probability of {self.probability}", "50 % to 99.9999 %")


class SequenceFile(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """A sequence as it stands in its file."""

    sequence: str
    """Its name."""
    plant: str
    """The plant file, relative to this file."""
    about: str = ""
    """What this proves and when to use it, in a few sentences."""
    needs: list[Role] = []
    """Roles beyond those that the steps show by themselves."""
    decide: Decide = msgspec.field(default_factory=Decide)
    ambient: Temperature | None = None
    """Fixed here; else asked by a step or taken from the plant."""
    dreads: list[Dread] = []
    """What no console of the plant may say while this is walked."""
    steps: list[Step]

    def __post_init__(self) -> None:
        if not self.steps:
            raise Inconsistent("a sequence without steps", "at least one step")


class RulesFile(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """Limits and a decision rule that take the place of a sequence's own when a record is judged again."""

    decide: Decide | None = None
    limits: dict[str, Limit] = {}
    """By a step's subject such as ``W101.12``, or ``*`` for all."""

    def __post_init__(self) -> None:
        if self.decide is None and not self.limits:
            raise Inconsistent("neither 'decide' nor 'limits'", "one of them at least")
