"""Starts a simulated bench as a process of its own and moves its hands."""

from __future__ import annotations

import contextlib
import selectors
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from typing import Final

import msgspec

from bench.plant.handled import UNKNOWN, Handled, Kind
from bench.quantity import Resistance
from bench.roles import Reads
from bench.sequence.file import BENCH_SUPPLY, NOWHERE, Ask, Do, Energise, Gate, Look, Measure, Prove, Rig, Tag, Zero
from bench.sequence.plan import Step
from bench.simulate.messages import Configuration, Done, Move, Ready, encode

PATIENCE: Final = 30.0
"""Seconds that the process may take to load the solver and build the circuit on a slow machine."""


class SimulationFailed(RuntimeError):
    """The simulated bench did not start, or ended by itself."""


def start_server() -> subprocess.Popen[bytes]:
    """Start a process that serves a bench on its standard input and output."""
    return subprocess.Popen(
        [sys.executable, "-m", "bench.simulate.serve"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # a ctrl-c at the terminal is for the runner, which still needs the meters to make them safe
        start_new_session=True,
    )


class SimulatedBench:
    """A running simulated bench. Use as a context manager.

    Attributes:
        ports: instrument to the address that a client opens.
        shelves: the plant's shelves with an inlet.

    Raises:
        SimulationFailed: it did not start.
    """

    def __init__(self, configuration: Configuration) -> None:
        self._lock = threading.Lock()
        self._process = start_server()
        assert self._process.stdout is not None
        self._answers = selectors.DefaultSelector()
        self._answers.register(self._process.stdout, selectors.EVENT_READ)
        self._send(configuration)
        ready = msgspec.json.decode(self._line(PATIENCE), type=Ready)
        self.ports = ready.ports
        self.shelves = frozenset(ready.shelves)

    def move(self, move: Move) -> Done:
        """Have the hands do something and wait until it is done.

        Returns:
            How it went.

        Raises:
            SimulationFailed: the move makes no sense in this plant, or the process is gone.
        """
        with self._lock:
            self._send(move)
            answer = msgspec.json.decode(self._line(PATIENCE), type=Done)
        if answer.wrong:
            raise SimulationFailed(f"the simulator's hands cannot: {answer.wrong}")
        return answer

    def close(self) -> None:
        """End it; its ports go away."""
        stdin = self._process.stdin
        if stdin is not None:
            with contextlib.suppress(OSError):
                stdin.close()
        try:
            self._process.wait(timeout=5.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._answers.close()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def __enter__(self) -> SimulatedBench:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _send(self, message: msgspec.Struct) -> None:
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(encode(message))
            self._process.stdin.flush()
        except OSError as error:
            raise SimulationFailed("the simulated bench is gone") from error

    def _line(self, patience: float) -> bytes:
        assert self._process.stdout is not None
        if not self._answers.select(patience):
            raise SimulationFailed(f"the simulated bench did not answer within {patience:g} s")
        line = self._process.stdout.readline()
        if not line:
            raise SimulationFailed("the simulated bench ended by itself; its messages are above")
        return line


class SimulatedHands:
    """The simulator's hands: they place probes in the simulated plant as the steps say.

    This is what the runner needs of hands; see :class:`bench.runner.ports.Hands`.

    Args:
        bench: the simulated bench.
        ambient: what they answer when the temperature is asked for, in °C.
        dials: what a step reads to the instrument whose dial must then be turned by hand.
        proving_ohms: of the resistor that is clipped across far ends.
    """

    name = "the simulator's hands"

    def __init__(
        self, bench: SimulatedBench, ambient: float, dials: Mapping[tuple[str, Reads], str], proving_ohms: float = 1e6
    ) -> None:
        self._bench = bench
        self._proving_ohms = proving_ohms
        self._rig = Rig()
        self._clipped = False
        self._ambient = ambient
        self._dials = dials
        self._handled = Handled()

    def reaches(self, step: Step) -> str:
        """Nothing but these hands does it."""
        return ""

    def place(self, step: Step) -> None:
        """Turn the dial to what the step reads, and put the probes where it wants them."""
        source = step.source
        if self._clipped:
            self._clipped = False
            self._bench.move(Move(rig=self._rig))
        dial = self._dial(source.role or "", source.read)
        match source:
            case Measure(between=between) if between == NOWHERE:
                self._bench.move(Move(dial=dial, lift=True))
            case Measure():
                self._bench.move(Move(dial=dial, place=source.between, join=source.join))
            case Zero():
                self._bench.move(Move(dial=dial, hold="together"))
            case Prove(across=(here, there)) if source.probes is not None:
                known = Tag(place=here, to=there, ohms=Resistance(self._proving_ohms))
                self._clipped = True
                self._bench.move(Move(rig=Rig(join=self._rig.join, tags=[*self._rig.tags, known])))
                self._bench.move(Move(dial=dial, place=source.between))
            case Prove():
                where = {"reference": "reference", "live-source": "live"}.get(source.against, "")
                self._bench.move(Move(dial=dial, hold=where, lift=not where))

    def _dial(self, role: str, reads: Reads) -> dict[str, Reads]:
        name = self._dials.get((role, reads))
        return {} if name is None else {name: reads}

    def lift(self) -> None:
        """Take the probes off."""
        self._bench.move(Move(lift=True))

    def moving(self, names: Sequence[str]) -> None:
        """Move these things from now on, and nothing else; see :mod:`bench.plant.loose_places`."""
        self._bench.move(Move(moving=list(names)))

    def restore(self, handled: Handled, rig: Rig | None = None) -> None:
        """Put breakers, supplies, cards, bonds and clips as an earlier part of the walk left them."""
        self._handled = handled
        self._rig = rig or Rig()
        if handled.closed or handled.live or handled.out or handled.lifted or rig is not None:
            moved = Move(
                breakers=sorted(handled.closed),
                energise=sorted(handled.live),
                out=sorted(handled.out),
                lifted=sorted(handled.lifted),
                rig=rig,
            )
            self._bench.move(moved)
        for mark in handled.said("connection", BENCH_SUPPLY):
            self._bench.move(Move(supply_at=list(mark.change.where)))

    def act(self, step: Step) -> None:
        """Work the breakers and supplies of the simulated plant, its cards, and where the bench supply stands."""
        source = step.source
        if isinstance(source, Energise):
            on = [name for name in step.touches if name in self._bench.shelves]
            amps = source.dummy.value if source.dummy is not None else 0.0
            dial = self._dial("amps", "current") if source.ammeter else {}
            dummies = dict.fromkeys(on, amps) if amps else {}
            # leads that were put somewhere by an act of their own are there, whatever this step takes for granted
            moved = self._handled.said("connection", BENCH_SUPPLY)
            at = None if moved else source.at
            self._bench.move(Move(dial=dial, supply_at=at, dummies=dummies, in_lead=source.ammeter))
            return
        changes = source.changes
        self._handled = self._handled.after(changes)
        kinds = {change.kind for change in changes}
        if "bond" in kinds:
            self._bench.move(Move(lifted=sorted(self._handled.lifted)))
        if source.rig is not None:
            self._rig = source.rig
            self._bench.move(Move(rig=source.rig))
        for change in changes:
            if change.kind == "connection" and change.name == BENCH_SUPPLY:
                self._bench.move(Move(supply_at=list(change.where)))
        if "card" in kinds:
            self._bench.move(Move(out=sorted(self._handled.out)))
        if kinds & {"breaker", "supply"}:
            self._bench.move(Move(breakers=sorted(self._handled.closed), energise=sorted(self._handled.live)))

    def answer(self, step: Step) -> str:
        """Read the caution, type the hold point's word, do the act, answer the question, listen to the tester."""
        match step.source:
            case Do(beeps=(red, black), join=join):
                heard = self._bench.move(Move(place=(red, black), join=join, listen=True, lift=True))
                return "yes" if heard.beeps else "no"
            case Look(kind=kind, names=names):
                return ", ".join(f"{name} {self._stands(kind, name)}" for name in names)
            case Gate():
                return "a simulated bench: going on to show what can be shown"
            case Ask(name="capacitors"):
                # nobody gets at what stands behind the diodes of a plant that is a file
                return "no"
            case Ask(name=name):
                said = {"ambient": f"{self._ambient:g}", "strap": "1.1", "checksum": "5a9e17c40b72 5a9e17c40b72"}
                return said.get(name, "0")
        return step.source.word

    def _stands(self, kind: Kind, name: str) -> str:
        """How a thing of the simulated plant stands: as these hands left it, or as it was built."""
        state = self._handled.state(kind, name)
        built = {"breaker": "open", "supply": "off", "card": "in", "bond": "in place", "plug": "mated"}
        return built[kind] if state == UNKNOWN else state

    def jump(self, seconds: float) -> bool:
        """Simulated time passes at once."""
        self._bench.move(Move(jump=seconds))
        return True
