"""A walk of Gannet Head for the screens: real entries, made by answering the real machine."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import msgspec

from bench.files import from_text
from bench.judge.accuracy import AccuracyRow
from bench.plant.file import PlantFile
from bench.quantity import Amount, Duration, Resistance
from bench.sequence import file as s
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import BenchFacts, InstrumentFacts, Reference

LEADS = 0.152
NIGHT = datetime(2026, 5, 12, 18, 3, 11, tzinfo=UTC)


def plant(*, bay: str = "1", connector_title: str = "left", cable_title: str = "") -> PlantFile:
    """Two bays with a 50-pin connector each, a bundle of 25 pairs between them, and a feed."""

    data = {
        "plant": "Gannet Head",
        "title": "receiver hall",
        "connector-types": [
            {"name": "ribbon-50", "pins": 50, "rows": 2, "pairs": "halves", "numbering": "along-rows"},
            {"name": "round-8", "rows": [["A", "B", "C"], ["D", "E", "F", "G", "H"]], "stagger": "50 %"},
        ],
        "cable-types": [
            {"name": "house-25", "pairs": 25, "size": "AWG 24", "rated": "250 V"},
            {"name": "feed-2", "conductors": 2, "colours": ["BU", "BK"], "size": "2.5 mm2"},
        ],
        "bays": [
            {
                "name": bay,
                "title": "receivers",
                "shelves": [
                    {"name": "1C", "connectors": [{"name": "J101", "type": "ribbon-50", "at": connector_title}]}
                ],
            },
            {
                "name": "2",
                "title": "line amplifiers",
                "shelves": [
                    {
                        "name": "2A",
                        "connectors": [
                            {"name": "J201", "type": "ribbon-50", "at": "third from the left"},
                            {"name": "J202", "type": "round-8", "faces": "front"},
                        ],
                        "inlets": ["A"],
                    }
                ],
            },
        ],
        "feeds": [{"name": "A", "nominal": "-48 V", "allowed": ["-57 V", "-40.5 V"], "return": "RA"}],
        "busbars": [
            {"name": "BA", "feed": "A", "at": "1" if bay == "1" else "2", "position": "top"},
            {"name": "RA", "feed": "A", "pole": "return", "at": "2", "position": "top"},
        ],
        "breakers": [
            {"name": "F21", "feed": "A", "rating": "10 A", "at": "2", "position": "left row, 3rd"},
            {"name": "F22", "feed": "A", "rating": "10 A", "at": "2", "position": "left row, 4th"},
        ],
        "cables": [
            {
                "name": "W101",
                "type": "house-25",
                "title": cable_title,
                "length": "9.5 m",
                "from": "J101",
                "to": "J201",
            },
            {
                "name": "W301",
                "type": "feed-2",
                "length": "6 m",
                "from": ["BA.1", "RA.1"],
                "to": ["F21.line", "2A.A-return"],
            },
            {"name": "W302", "type": "feed-2", "length": "2 m", "from": ["F21.load", "cut"], "to": ["2A.A", "cut"]},
        ],
    }
    return msgspec.convert(data, PlantFile, dec_hook=from_text, strict=False)


def continuity(*, hostile: str = "") -> s.SequenceFile:
    """Every kind of step once, and the loop over the bundle."""
    limit = s.Limit(computed="conductor")
    return s.SequenceFile(
        sequence=f"continuity of W101{hostile}",
        plant="plant.yaml",
        steps=[
            s.Caution(
                title=f"Stored charge{hostile}",
                text="Battery feeds must be off and locked, with the key in your pocket. Long pairs keep a charge: "
                "short them before you touch them. Local codes and the site's rules come first; work on live parts "
                f"is for licensed people.{hostile}",
            ),
            s.Hold(
                title=f"Nothing is live{hostile}",
                text=f"Prove bay 1 and bay 2 dead with a tester that you have just seen working.{hostile}",
                word="DEAD",
            ),
            s.Do(title=f"Open both ends{hostile}", text=f"Unplug J101 and J201 from their cards.{hostile}"),
            s.Ask(title="Room", text=f"What does the thermometer at bay 1 show?{hostile}", name="ambient"),
            s.Zero(text=f"Hold the two probe tips firmly together.{hostile}"),
            s.Prove(against="reference", text=f"Touch the two ends of the reference resistor.{hostile}"),
            s.Each(
                over="conductors",
                of="W101",
                title="{conductor.cable} end to end",
                steps=[
                    s.Measure(
                        read="resistance",
                        between=("{conductor.near}", "{conductor.far}"),
                        limit=limit,
                        title="{conductor}, end to end" + hostile,
                    )
                ],
            ),
            s.Each(
                over="neighbours",
                of="J101",
                title="J101 between neighbours",
                only=["J101.1~J101.2", "J101.1~J101.26"],
                steps=[
                    s.Measure(
                        read="insulation",
                        between=("{neighbours.pin}", "{neighbours.other}"),
                        limit=s.Limit(at_least=Amount(1e7, "Ω"), source="set for the show"),
                        at=Amount(100.0, "V"),
                        after=Duration(10.0),
                        text="Nobody touches the far end while the tester is on.",
                    )
                ],
            ),
            s.Measure(
                read="resistance",
                between=("BA", "F21.line"),
                limit=s.Limit(computed="path"),
                wires=4,
                title=f"Feed A to the breaker{hostile}",
            ),
            s.Hold(text="Everybody is clear of bay 2.", word="CLEAR"),
            s.Set(text="The bench supply goes on at 5 V.", output="on", voltage=Amount(5.0, "V")),
            s.Wait(text="Let the input capacitors charge.", time=Duration(95.0)),
            s.Set(text="The bench supply goes off.", output="off"),
        ],
    )  # fmt: skip


def bench(*, weak: bool = False, simulated: bool = True) -> BenchFacts:
    """A meter for ohms, a tester for insulation, a supply."""
    percent = 40.0 if weak else 0.05
    ohms = tuple(
        AccuracyRow("ohms", "Ω", top, percent_of_reading=percent, counts=5, resolution=top / 1e5, highest=top * 1.2)
        for top in (10.0, 100.0, 1e3, 1e4)
    )
    mega = tuple(
        AccuracyRow("insulation", "Ω", top, percent_of_reading=3.0, counts=3, resolution=top / 1e3)
        for top in (1e7, 1e8, 1e9, 2e10)
    )
    return BenchFacts(
        name="ladder bench",
        simulated=simulated,
        instruments=[
            InstrumentFacts(
                name="M1",
                profile="bench-meter",
                title="bench meter",
                roles=["ohms"],
                rows=ohms,
                accuracy_of={"resistance 2w": "ohms", "resistance 4w": "ohms"},
                calibrated="2026-02-01",
            ),
            InstrumentFacts(
                name="T1",
                profile="insulation-tester",
                title="insulation tester",
                roles=["insulation"],
                rows=mega,
                accuracy_of={"insulation": "insulation"},
                calibrated="2026-02-01",
                outputs=True,
            ),
            InstrumentFacts(name="P1", profile="bench-supply", title="bench supply", roles=["supply"], outputs=True),
        ],
        role_of={"ohms": "M1", "insulation": "T1", "supply": "P1"},
        references=[Reference(name="R10", ohms=Resistance(10.0), tolerance=0.001)],
    )


class Walk(Walker):
    """Answers the machine and keeps the entries."""

    reason = "trying the screen"

    def __init__(
        self,
        *,
        hostile: str = "",
        weak: bool = False,
        sequence: s.SequenceFile | None = None,
        began: e.Began | None = None,
    ) -> None:
        self.now = NIGHT
        self.begin(
            began
            or e.Began(
                software="0.1",
                edition=e.EDITION,
                plant=plant(connector_title=f"left{hostile}", cable_title=f"receivers to amplifiers{hostile}"),
                sequence=sequence or continuity(hostile=hostile),
                bench=bench(weak=weak),
                operator="Ana",
            )
        )

    def at(self) -> str:
        return self.now.strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def add(self, event: e.Event, seconds: float = 4.0) -> e.Entry:
        """Fold one event that took so long and keep its entry."""
        self.now += timedelta(seconds=seconds)
        return super().add(event)

    def answer(self, text: str = "") -> e.Entry:
        return self.add(self.answered(text))

    def seat(self, name: str = "Ana") -> e.Entry:
        return self.add(e.Seated(by=name, where="bench laptop"))

    def read(self, value: float | None, *, over: str = "", nan: bool = False) -> e.Entry:
        """A reading of the step under way."""
        return self.add(self.shown(value, over=over, nan=nan), seconds=1.0)

    def shown(self, value: float | None, *, over: str = "", nan: bool = False) -> e.Read:
        """What the meter shows, as a reading of the step under way."""
        insulation = self.step.role == "insulation"
        return self.reading(
            function="insulation" if insulation else "resistance 2w",
            unit="Ω",
            value=value,
            over=over,
            nan=nan,
            # open ends are beyond the highest range that the meter has
            range=(2e10 if insulation else 1e4) if over else None,
            resolution=1e5 if insulation else 0.001,
            raw=[repr(value)],
        )

    def sound(self, step: Step) -> float:
        """What a sound item reads, with the leads in it."""
        if step.kind == "zero":
            return LEADS
        if step.kind == "prove":
            return 10.0 + LEADS
        if step.role == "insulation":
            return 3.1e9
        setting = self.state.setting
        assert setting is not None and step.probes is not None
        path = setting.plant.path_expected(*step.probes).nominal_ohm
        return path * (1 + 0.004 * (step.index % 5 - 2)) + (LEADS if step.source.wires == 2 else 0.0)

    def one(self) -> e.Event:
        """Do whatever is asked, as a willing person with sound wires would, in the time that it takes."""
        asked = self.asked
        match asked:
            case r.Wait(left=left):
                seconds = left
            case r.Measure():
                seconds = 1.0
            case r.MakeSafe() | r.Meet():
                seconds = 0.3
            case r.Advise():
                seconds = 0.1
            case _:
                seconds = 4.0
        return self.add(self.event(), seconds).event

    def measured(self, step: Step) -> e.Event:
        return self.shown(self.sound(step))

    def identity(self, name: str) -> str:
        return f"{name}, 1.0"

    def said(self, step: Step) -> str:
        typed = step.kind == "ask" and step.source.name != "capacitors"
        return "18.5" if typed else super().said(step)

    def until(self, kind: type, step: str = "", index: int = -1) -> Walk:
        """Go on until a request of this kind comes, for a step of this kind or index."""
        for _ in range(100_000):
            asked = self.asked
            found = getattr(asked, "step", None)
            if (
                isinstance(asked, kind)
                and (not step or found.kind == step)
                and index in (-1, getattr(found, "index", -2))
            ):
                return self
            assert not self.state.finished, asked
            self.one()
        raise AssertionError("never came")


def measured(walk: Walk, values: Sequence[float | str]) -> Walk:
    """Go on with these readings; ``+`` is over range."""
    for value in values:
        walk.until(r.Measure)
        walk.read(None, over="+") if isinstance(value, str) else walk.read(value)
    return walk
