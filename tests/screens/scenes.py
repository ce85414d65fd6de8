"""The moments that a screen can show, each made from real entries: for pictures and for tests of all pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bench.runner import protocol as p
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import MOVED_ON, Phase
from tests.screens.gannet import LEADS, Walk, measured
from tests.screens.walk import earth_scenes as earth
from tests.screens.walk import power_scenes as power
from tests.screens.walk import search_scenes as search


@dataclass
class Scene:
    """One moment.

    Attributes:
        name: of the picture.
        walk: the entries.
        said: what the runner says besides.
        keys: what is pressed then.
        shows: words that must be on the screen.
        linked: whether the line stands at all.
    """

    name: str
    walk: Walk
    said: tuple[object, ...] = ()
    keys: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()
    linked: bool = True
    you: str = "Ana"


def ohms(value: float | None, touch: str, settled: float = 0.0) -> p.Live:
    """A live reading of the ohmmeter, with the leads in it."""
    over = "+" if value is None else ""
    shown = None if value is None else value + LEADS
    return p.Live(role="ohms", unit="Ω", value=shown, over=over, resolution=0.001, settled=settled, touch=touch)


def _asked(kind: str, index: int = -1, **more: object) -> Walk:
    walk = Walk(**more)  # type: ignore[arg-type]
    walk.until(r.Ask, kind, index)
    walk.seat()
    return walk


def _bundle(readings: list[float | str]) -> Walk:
    """In the middle of the bundle, after these readings."""
    walk = Walk()
    walk.until(r.Place, "measure")
    walk.seat()
    return measured(walk, readings).until(r.Place)


GOOD = [ohm + LEADS for ohm in (0.812, 0.816, 0.808, 0.810, 0.815, 0.809, 0.813)]


def _trouble() -> Walk:
    walk = _bundle(list(GOOD))
    walk.one()
    walk.add(
        e.Troubled(
            number=walk.asked.number,
            instrument="M1",
            kind="silent",
            what="M1 did not answer within 2.0 s",
            advice="Look at its power and its cable, then try again.",
        )
    )
    return walk


def _unsafe() -> Walk:
    walk = Walk()
    walk.until(r.MakeSafe)
    walk.add(e.MadeSafe(number=walk.asked.number, confirmed={"T1": False, "P1": True}))
    return walk


def _paused() -> Walk:
    walk = _bundle(list(GOOD))
    walk.add(e.Paused(why="the operator paused", make_safe=True))
    return walk


def _insulation() -> Walk:
    walk = Walk()
    walk.until(r.Place, "measure", 57)
    walk.seat()
    return walk


def _insulating() -> Walk:
    walk = _insulation()
    walk.one()
    return walk


def _waiting() -> Walk:
    walk = Walk()
    walk.until(r.Wait)
    walk.seat()
    walk.add(e.Elapsed(number=walk.asked.number, seconds=37.0), 37.0)
    return walk


def _done(readings: list[float | str], *, skip: bool = False) -> Walk:
    walk = Walk()
    walk.until(r.Place, "measure")
    walk.seat()
    measured(walk, readings)
    if skip:
        walk.until(r.Place, "measure")
        walk.add(e.Skipped(number=walk.asked.number, reason="the shelf is still in the lorry", by="Ana"))
    walk.until(r.Finished)
    return walk


def _aborted() -> Walk:
    walk = _bundle(list(GOOD))
    walk.add(e.Aborted(why="it got late"))
    walk.until(r.Finished)
    return walk


def _consent() -> Walk:
    walk = Walk(weak=True)
    walk.until(r.Consent)
    walk.seat()
    return walk


def _met() -> Walk:
    walk = Walk()
    walk.until(r.Meet)
    walk.one()
    return walk


def _switching() -> Walk:
    walk = Walk()
    walk.until(r.Switch)
    walk.seat()
    return walk


def _feed() -> Walk:
    walk = Walk()
    walk.until(r.Place, "measure", 58)
    walk.seat()
    return walk


def _zero(kind: str) -> Walk:
    walk = Walk()
    walk.until(r.Place, kind)
    walk.seat()
    return walk


def _energising(*said: object) -> Scene:
    walk = power.PowerWalk().seated().to(power.FULL, Phase.ENERGISING)
    return Scene("energise", walk, said, shows=("LIVE", "coming up to 48 V", "in the place of GA", "FA2A"))  # type: ignore[arg-type]


def _stages(walk: power.PowerWalk, *shows: str) -> Scene:
    return Scene("stages", walk, keys=("l",), shows=shows)  # type: ignore[arg-type]


def _earth(name: str, walk: object, *shows: str) -> Scene:
    return Scene(name, walk, keys=("l",), shows=("The earthing network", *shows))  # type: ignore[arg-type]


SCENES: dict[str, Callable[[], Scene]] = {
    "earth": lambda: _earth("earth", earth.begun(), "5 readings so far", "single-point connection", "asked now"),
    "earth-suspected": lambda: _earth(
        "earth-suspected",
        earth.suspecting(),
        "<1> a second path joins frame of bay 3 (E3) to signal tray",
        "over 99 % bond LE5",
    ),
    "earth-lifted": lambda: _earth("earth-lifted", earth.lifted(), "OFF NOW: LE7"),
    "earth-found": lambda: _earth("earth-found", earth.ended(), "the search came to its end", "over 99 %", "<1>"),
    "energise-begun": lambda: _energising(),
    "energise-level": lambda: _energising(*power.rising(1, 0.042, 8.0)),
    "energise": lambda: _energising(*power.rising(3, 1.792, 31.0, 17.0)),
    "stages": lambda: _stages(
        power.PowerWalk().seated().to("Clear to energise 2A: with cards"),
        "The stages of shelf 2A",
        "nothing, as far as this walk knows",
        "Clear to energise",
        "FA2A by hand, then 2A on A alone, converter in",
        "first half",
        "FA2A",
    ),
    "stages-on": lambda: _stages(power.up(), "supply in the place of GA at 48 V", "ON", "1.72 A", "V expected", "left"),
    "stages-light": lambda: _stages(power.up(0.6), "TOO LITTLE", "not seated", "fuse", "1.03 A where 1.72 A"),
    "search-card": lambda: Scene(
        "search-card",
        search.card(),
        shows=("Clip on: J101, bay 1, shelf 1C", "tag from each to W101.screen.near", "J101.26", "Enter done"),
    ),
    "search-flag": lambda: Scene(
        "search-flag",
        search.flag(),
        said=(ohms(None, "open"),),
        shows=("Flag 2 against the screen of W101", "flag 2", "7 readings so far", "ends read as one tag", "READ"),
    ),
    "search-bar": lambda: Scene(
        "search-bar", search.bar(), said=(ohms(None, "open"),), shows=("ends on a bar", "on a bar: ", "readings so far")
    ),
    "search-beep": lambda: Scene(
        "search-beep", search.beep(), shows=("Does the tester beep?", "it is silent", "on a bar: ", "readings so far")
    ),
    "search-found": lambda: Scene(
        "search-found", search.found(), shows=("47 of 50 conductors of W101 are identified", "FAIL", "joined")
    ),
    "starting": lambda: Scene("starting", Walk(), linked=False, shows=("Starting the bench",)),
    "meeting": lambda: Scene("meeting", _met(), shows=("Calling the instruments", "Here already: M1")),
    "consent": lambda: Scene("consent", _consent(), shows=("cannot prove", "reason", "x", "give the walk up")),
    "caution": lambda: Scene(
        "caution", _asked("caution"), shows=("CAUTION", "Stored charge", "locked", "licensed people", "y")
    ),
    "hold": lambda: Scene("hold", _asked("hold"), shows=("HOLD POINT", "DEAD", "type the word")),
    "hold-typed": lambda: Scene(
        "hold-typed", _asked("hold"), keys=("enter", "d", "e", "a", "enter"), shows=("wants the word DEAD",)
    ),
    "do": lambda: Scene("do", _asked("do"), shows=("Open both ends", "Unplug J101", "Confirm when it is done")),
    "ask": lambda: Scene("ask", _asked("ask"), shows=("thermometer", "a number in °C")),
    "ask-typed": lambda: Scene(
        "ask-typed", _asked("ask"), keys=("enter", *"185", "enter"), shows=("a number from -40 to 70 is wanted",)
    ),
    "zero": lambda: Scene(
        "zero", _zero("zero"), said=(ohms(0.0, "touching", 0.5),), shows=("tip to tip", "Hold still", "2 Ω")
    ),
    "prove": lambda: Scene("prove", _zero("prove"), said=(ohms(10.0, "settled", 1.0),), shows=("reference R10",)),
    "place-open": lambda: Scene(
        "place-open",
        _bundle([]),
        said=(ohms(None, "open"),),
        shows=(
            "W101.1",
            "RED",
            "BLACK",
            "J101 pin 26",
            "J201 pin 26",
            "white/blue",
            "blue/white",
            "pair 1 tip",
            "bay 1",
        ),
    ),
    "place-touching": lambda: Scene(
        "place-touching",
        _bundle(GOOD),
        said=(ohms(0.871, "touching", 0.6),),
        shows=("W101.8", "Hold still", "NOW", "brown", "mating side", "14 of 63"),
    ),
    "place-passed": lambda: Scene(
        "place-passed", _bundle(GOOD), said=(ohms(0.8, "lift", 1.0),), shows=("PASS", "LAST", "Lift the probes")
    ),
    "place-failed": lambda: Scene(
        "place-failed",
        _bundle([*GOOD, "+"]),
        said=(ohms(None, "open"),),
        shows=("FAIL", "LAST", "W101.8", "nothing conducts"),
    ),
    "place-high": lambda: Scene(
        "place-high",
        _bundle([*GOOD, 1.9 + LEADS]),
        said=(ohms(0.8, "lift", 1.0),),
        shows=("FAIL", "LAST", "W101.8", "too high"),
    ),
    "place-undecided": lambda: Scene(
        "place-undecided",
        _bundle([*GOOD, 0.897 + LEADS]),
        said=(ohms(0.8, "lift", 1.0),),
        shows=("UNDECIDED", "W101.8"),
    ),
    "mirrored": lambda: Scene("mirrored", _bundle(GOOD), keys=("m",), shows=("wiring side", "22nd from the left")),
    "insulation": lambda: Scene(
        "insulation", _insulation(), shows=("J101 pin 1", "J101 pin 26", "insulation", "at least 10 MΩ")
    ),
    "insulating": lambda: Scene(
        "insulating",
        _insulating(),
        said=(p.Voltage(stage="on", volts=100.0),),
        shows=("TEST VOLTAGE 100 V", "100 V IS ON", "Hands off", "for 10 s", "STOP"),
    ),
    "voltage-coming": lambda: Scene(
        "voltage-coming",
        _insulating(),
        said=(p.Voltage(stage="coming", volts=100.0, seconds=4),),
        shows=("TEST VOLTAGE 100 V", "IN 4 s", "Hands off", "any other key: STOP"),
    ),
    "voltage-leaving": lambda: Scene(
        "voltage-leaving",
        _insulating(),
        said=(p.Voltage(stage="leaving", volts=64.0),),
        shows=("TEST VOLTAGE 100 V", "DISCHARGING: 64 V left", "Hands off"),
    ),
    "discharged": lambda: Scene(
        "discharged",
        _insulation(),
        said=(p.Voltage(stage="gone", volts=19.0, said="Discharged, read back: less than 25 V is left on the leads."),),
        shows=("Discharged, read back", "J101 pin 26", "All hands off"),
    ),
    "feed": lambda: Scene("feed", _feed(), shows=("busbar BA", "breaker F21", "line side", "left row")),
    "switching": lambda: Scene("switching", _switching(), shows=("bench supply goes on", "read back")),
    "wait": lambda: Scene("wait", _waiting(), shows=("Let the input capacitors charge", "58 s to go")),
    "trouble": lambda: Scene(
        "trouble", _trouble(), shows=("TROUBLE", "did not answer", "try again", "skip this step", "abort")
    ),
    "unsafe": lambda: Scene("unsafe", _unsafe(), shows=("TROUBLE", "could not be confirmed off", "by hand")),
    "paused": lambda: Scene("paused", _paused(), shows=("The walk is paused", "the operator paused", "go on")),
    "watching": lambda: Scene("watching", _bundle(GOOD), you="Bea", shows=("Ana holds the seat", "k")),
    "refused": lambda: Scene(
        "refused",
        _bundle(GOOD),
        said=(p.Refusal(why=MOVED_ON),),
        shows=("the step has moved on; look again",),
    ),
    "help": lambda: Scene("help", _bundle(GOOD), keys=("question_mark",), shows=("Help", "hatched part")),
    "note": lambda: Scene("note", _bundle(GOOD), keys=("o",), shows=("A note for the record",)),
    "disturb": lambda: Scene(
        "disturb",
        _bundle(GOOD),
        keys=("d", *"J111", "enter"),
        shows=("What was touched", "nothing called J111", "did you mean 'J101'"),
    ),
    "skip": lambda: Scene(
        "skip", _bundle(GOOD), keys=("s", "enter"), shows=("Why is it skipped", "skipping needs a reason")
    ),
    "abort": lambda: Scene(
        "abort", _bundle(GOOD), keys=("x", *"yes", "enter"), shows=("Give the walk up?", "type ABORT")
    ),
    "leave": lambda: Scene("leave", _bundle(GOOD), keys=("q",), shows=("Leave the screen?",)),
    "failing": lambda: Scene(
        "failing",
        _bundle(GOOD),
        said=(p.RecordFailing(why="logs/W101.jsonl cannot be written: No space left on device"),),
        shows=("CANNOT BE WRITTEN", "No space left", "Outputs are made safe"),
    ),
    "lost": lambda: Scene(
        "lost", _bundle(GOOD), said=(None,), shows=("THE RUNNER IS GONE", "The record is safe", "W101.jsonl")
    ),
    "done": lambda: Scene(
        "done",
        _done([*GOOD, "+", 0.897 + LEADS, 1.9 + LEADS], skip=True),
        shows=("The walk is done", "failed", "W101.8", "skipped", "J101 pin"),
    ),
    "done-clean": lambda: Scene("done-clean", _done([]), shows=("The walk is done", "passed", "record", "W101.jsonl")),
    "aborted": lambda: Scene("aborted", _aborted(), shows=("given up", "9 passed", "not reached")),
}
