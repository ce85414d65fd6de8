"""What a first power asks of hands beside readings: tools, joints, straps, copies, a battery's protection and poles."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from bench.plant.load import load_plant, plant_of
from bench.plant.model import Plant
from bench.sequence.draft import KINDS
from bench.sequence.file import Ask, Do, Energise, Hold, Measure, SequenceFile, Step, Wait
from bench.sequence.unroll import unroll
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import passed
from bench.walk.setting import Conditions
from tests.power import pure_walk
from tests.power.small_hall import SMALL

ROOT = Path(__file__).parents[2]
JOBS = {
    "2": load_plant(ROOT / "sequences" / "gannet-head" / "plant.yaml"),
    "signals": load_plant(ROOT / "tests" / "jobs" / "beacon-hut" / "plant.yaml"),
}


def steps(bay: str) -> list[Step]:
    return KINDS["first-power"](JOBS[bay], bay).steps


def at(found: list[Step], title: str) -> int:
    """The place of the first step whose title begins so."""
    return next(n for n, step in enumerate(found) if step.title.startswith(title))


def words(found: list[Step], title: str) -> str:
    return found[at(found, title)].text


@pytest.mark.parametrize("bay", JOBS)
def test_tools_come_first_and_the_battery_is_off_last_its_earthed_pole_first(bay: str) -> None:
    found = steps(bay)
    tools, isolate = at(found, "Meter, leads and tools"), at(found, "Isolate")
    assert tools < isolate < next(n for n, step in enumerate(found) if isinstance(step, Measure))
    assert "direct voltage" in found[tools].text and "kA" in found[tools].text and "category" in found[tools].text
    act = found[isolate]
    assert isinstance(act, Do) and "earthed pole first" in act.text and "fuse out" in act.text
    mains = {name for name in act.open if JOBS[bay].breakers[name].title.startswith("main")}
    last = act.open.index(min(mains, key=act.open.index))
    assert last > 0, "shelves before the mains"


@pytest.mark.parametrize("bay", JOBS)
def test_every_joint_of_a_way_is_made_up_before_power_and_looked_at_again_cold(bay: str) -> None:
    found, plant = steps(bay), JOBS[bay]
    first = at(found, "Joints made up and marked")
    dead = next(n for n, step in enumerate(found) if isinstance(step, Hold) and step.word == "DEAD")
    assert dead < first < next(n for n, step in enumerate(found) if isinstance(step, Energise))
    act = found[first]
    assert isinstance(act, Do) and act.proven, "nobody makes up joints that were not dead"
    again = at(found, "Joints again, cold")
    assert again > max(n for n, step in enumerate(found) if step.switch_on)
    for shelf in plant.shelves_of(bay):
        for inlet in shelf.inlets:
            if f" {inlet.name}," not in act.text:
                continue
            for breaker in plant.supply_path(shelf.name, inlet.feed).breakers:
                for text in (act.text, found[again].text):
                    assert f"{breaker}.line" in text and f"{breaker}.load" in text, breaker
    # a battery's own lugs are off both times, and are made up as it is connected
    for supply in plant.supplies.values():
        assert supply.live.name not in act.text and supply.back.name not in found[again].text
    assert "maker" in act.text and "DIN 43673" in act.text and "marked across nut and bar" in act.text


@pytest.mark.parametrize("bay", JOBS)
def test_no_card_is_touched_without_a_strap_and_not_before_the_charge_has_gone(bay: str) -> None:
    found = steps(bay)
    strap = at(found, "Wrist strap")
    cards = [n for n, step in enumerate(found) if isinstance(step, Do) and (step.take_out or step.put_in)]
    assert strap < cards[0]
    for place in (*cards, *(n for n, step in enumerate(found) if step.title == "Dummy load off")):
        waits = [n for n, step in enumerate(found[:place]) if isinstance(step, Wait)]
        assert waits and not any(isinstance(step, Energise) for step in found[waits[-1] : place]), found[place].title


@pytest.mark.parametrize(("said", "taken"), [("1.2", True), ("0.5", False), ("60", False), ("good", False)])
@pytest.mark.quick_cases(2)
def test_a_strap_that_is_not_right_is_refused(said: str, taken: bool) -> None:
    ask = next(step for step in steps("2") if isinstance(step, Ask) and step.name == "strap")
    if taken:
        assert Conditions().with_answer(ask, said, ValueError).answers["strap"] == said
    else:
        with pytest.raises(ValueError, match="no card is touched"):
            Conditions().with_answer(ask, said, ValueError)


_RELAYS = "{name: AL, title: alarm relays, idle: 0.1 A,"
assert _RELAYS in SMALL
KEEPING = SMALL.replace(_RELAYS, f'{_RELAYS} keeps: "programme of the exchange, on a disc",')
"""The small hall with something on a card that cannot be bought again."""


def _keeping() -> Plant:
    return plant_of(KEEPING, Path("plant.yaml"))


def test_what_cannot_be_bought_again_is_copied_before_its_shelf_gets_power() -> None:
    plant = _keeping()
    found = KINDS["first-power"](plant, "2").steps
    unroll(SequenceFile(sequence="x", plant="plant.yaml", steps=found), plant)
    copies = {step.title: n for n, step in enumerate(found) if isinstance(step, Ask) and step.name == "checksum"}
    assert set(copies) == {f"Copy of what {name} keeps" for name in ("2B/4", "2C/2")}
    for name, place in (("2B", copies["Copy of what 2B/4 keeps"]), ("2C", copies["Copy of what 2C/2 keeps"])):
        clear = next(n for n, step in enumerate(found) if isinstance(step, Hold) and step.word == "ENERGISE" and
                     name in step.title)  # fmt: skip
        assert place < clear
        assert "programme of the exchange" in found[place].text and found[place].proven
    assert not [step for step in steps("2") if isinstance(step, Ask) and step.name == "checksum"]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("5A9E17C40B72 5a9e17c40b72", ""),
        ("5a9e17c40b72", "two checksums"),
        ("5a9e17c40b72 5a9e17c40b73", "differ"),
        ("yes yes", "two checksums"),
    ],
)
def test_a_copy_counts_only_with_the_checksum_of_its_original(said: str, why: str) -> None:
    ask = next(step for step in KINDS["first-power"](_keeping(), "2").steps if isinstance(step, Ask) and
               step.name == "checksum")  # fmt: skip
    if not why:
        assert Conditions().with_answer(ask, said, ValueError).answers["checksum"] == said
        return
    with pytest.raises(ValueError, match=why):
        Conditions().with_answer(ask, said, ValueError)


class Hurried(pure_walk.PureWalk):
    """Somebody who has no time to copy what a card of shelf 2B keeps."""

    def event(self) -> e.Event:
        match self.asked:
            case r.Ask(step=step) if isinstance(step.source, Ask) and step.source.name == "checksum":
                if step.subject == "2B":
                    return e.Skipped(number=self.state.number, reason="no time")
                return e.Answered(number=self.state.number, answer="5a9e17c40b72 5a9e17c40b72")
        return super().event()


@pytest.mark.slow
def test_a_shelf_whose_copy_was_skipped_gets_no_power_for_any_reason(tmp_path: Path) -> None:
    path = tmp_path / "plant.yaml"
    path.write_text(KEEPING, "utf-8")
    first = pure_walk.begun(tmp_path, path, "2")
    assert first.setting is not None
    walk = Hurried(first, first.setting.plant, (), 3)
    walk.run()
    assert {step.subject for step, _ in walk.fed} == {"2A", "2C"}
    assert not any("2B" in name for name in walk.handled.closed) and not passed(walk.state)


@pytest.mark.parametrize("bay", JOBS)
def test_a_battery_is_met_with_its_room_its_fuse_and_its_poles_in_order(bay: str) -> None:
    found, plant = steps(bay), JOBS[bay]
    assert "hydrogen" in words(found, "The battery's room") and "EN 50272" in words(found, "The battery's room")
    for name, supply in plant.supplies.items():
        protects, connect = at(found, f"What protects {name}"), at(found, f"Connect {name}")
        assert at(found, "The battery's room") < protects < connect
        text = found[protects].text
        assert (
            f"{supply.fuse_a:g} A" in text and "20 A for each Ah" in text and "breaks 10 kA where a short takes" in text
        )
        # what check holds against one another is said to who compares the labels: wire and device, device and device
        mine = [one for one in plant.breakers.values() if f"{one.name} {one.rating_a:g} A" in text]
        assert len(mine) > 2 and text.count("opens alone up to") == len(mine)
        wires = re.findall(r"(\S+) ([0-9.]+) A [BCD],[^;]* that bears ([0-9.]+) A", text)
        assert {one.name for one in mine if "main" not in one.title} <= {name for name, _, _ in wires}
        assert all(float(bears) >= float(rating) for _, rating, bears in wires)
        text = found[connect].text
        order = ("lug of the feed first", "earthed pole last", "torque", "side of the open fuse", "put the fuse in")
        assert sorted(order, key=text.index) == list(order)
        # a meter across the gap itself reads nothing: behind it all is open
        assert f"to the return: {supply.volts:+g} V" in text
        off = words(found, f"Disconnect {name}")
        assert off.index("Fuse out") < off.index("earthed pole first")
        warm = found[at(found, f"How warm the joints of {name}")]
        assert isinstance(warm, Ask) and warm.proven and "4 to 15 K" in warm.text and "quoted" in warm.text
    alarms = at(found, "Alarm contacts and trips")
    assert "what it feeds switched off" in found[alarms].text, "nobody draws a fuse under load"
    assert "only where the maker" in found[alarms].text and alarms < at(found, "All feeds off")
    order = found[at(found, "All feeds off")]
    assert isinstance(order, Do)
    mains = [n for n, name in enumerate(order.open) if plant.breakers[name].title.startswith("main")]
    assert mains and min(mains) > 0, "shelves before the mains"


@pytest.mark.parametrize("bay", JOBS)
def test_no_question_and_no_word_is_asked_for_at_a_shelf_that_ended(bay: str) -> None:
    """All that is asked of people behind the first dead readings stands on what was read."""
    found = steps(bay)
    start = next(n for n, step in enumerate(found) if isinstance(step, Hold) and step.word == "DEAD")
    for step in found[start:]:
        if isinstance(step, Ask):
            assert step.proven, step.title


@pytest.mark.parametrize("kind", ["first-power", "polarity", "idle-current", "supply-search"])
@pytest.mark.quick_cases(2)
@pytest.mark.parametrize("bay", JOBS)
def test_no_fuse_is_drawn_and_nothing_isolated_before_what_is_beside_is_open(bay: str, kind: str) -> None:
    of = next(shelf.name for shelf in JOBS[bay].shelves_of(bay)) if kind == "supply-search" else bay
    found = KINDS[kind](JOBS[bay], of).steps
    assert at(found, "How the breakers") < at(found, "Nothing beside is fed") < at(found, "Isolate")
    assert "before any fuse is drawn" in words(found, "Nothing beside is fed")
    called = of if kind == "supply-search" else f"bay {of}"
    assert f"every breaker to {called}," in words(found, "Isolate")


@pytest.mark.parametrize("kind", ["first-power", "polarity", "idle-current"])
@pytest.mark.parametrize("bay", JOBS)
def test_a_battery_comes_on_and_goes_off_by_its_poles_in_every_draft(bay: str, kind: str) -> None:
    """The feed's lug first and the earthed pole last, read before its fuse goes in; off in reverse."""
    found, plant = KINDS[kind](JOBS[bay], bay).steps, JOBS[bay]
    on = [step for step in found if isinstance(step, Do) and step.switch_on]
    off = [step for step in found if isinstance(step, Do) and step.switch_off]
    assert on and len(off) > 1
    for step in on:
        assert step.text.index("lug of the feed first") < step.text.index("earthed pole last")
        assert "side of" in step.text and "torque" in step.text, step.title
    for step in off:
        assert re.search(r"[Ff]uses? out", step.text), step.title
        assert "earthed pole first" in step.text, step.title
    signs = {"plus" if plant.supplies[name].volts > 0 else "minus" for step in on for name in step.switch_on}
    for step in found:
        if isinstance(step, Measure) and step.limit.computed == "feed-voltage":
            assert any(f"right sign is {sign}" in step.text for sign in signs), step.title


@pytest.mark.parametrize(("bay", "volts", "ohms"), [("2", 57.0, 22e3), ("signals", 28.8, 10e3)])
def test_the_first_charge_is_waited_for_from_the_highest_voltage_of_a_battery(
    bay: str, volts: float, ohms: float
) -> None:
    """Later ones from what the bench supply gave."""
    found, plant = steps(bay), JOBS[bay]
    waits = [step for step in found if isinstance(step, Wait)]
    assert plant.file.shelf_input is not None
    farad = plant.file.shelf_input.capacitance.value + max(
        sum(card.type.input_capacitance.value for card in shelf.cards if card.type.input_capacitance is not None)
        for shelf in plant.shelves_of(bay)
    )
    first = waits[0].time
    assert first is not None and first.value >= ohms * farad * math.log(volts / 5.0) * 1.26
    assert f"may have {volts:g} V" in waits[0].text and f"may have {volts:g} V" not in waits[1].text


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("bay", JOBS)
def test_a_breaker_on_the_battery_is_read_against_the_return_beside_it(bay: str) -> None:
    """Nobody has leads from the battery's room to the shelf."""
    found, plant = steps(bay), JOBS[bay]
    start = at(found, "From here on a battery")
    read = [one for one in found[start:] if isinstance(one, Measure) and one.subject in plant.breakers]
    assert read
    for one in read:
        breaker, bar = plant.breakers[one.subject], plant.terminal(one.between[1])
        bay_of = plant.shelves[breaker.at].bay if breaker.at in plant.shelves else breaker.at
        assert plant.busbars[bar.owner].at in (bay_of, breaker.at), one.title


@pytest.mark.parametrize("bay", JOBS)
def test_each_shelf_is_asked_what_its_capacitors_leak_once_its_cards_are_out(bay: str) -> None:
    found, plant = steps(bay), JOBS[bay]
    asked = [step for step in found if isinstance(step, Ask) and step.name == "capacitors"]
    assert [step.of for step in asked] == [shelf.name for shelf in plant.shelves_of(bay) if shelf.inlets]
    assert at(found, "Cards out") < found.index(asked[0]) < at(found, "Clear to energise")
    # 0.01 C V: 2200 uF at 48 V, 4700 uF at 24 V
    assert asked[0].most == {"2": 1.06, "signals": 1.13}[bay]


@pytest.mark.parametrize("bay", JOBS)
def test_breakers_of_shelves_are_opened_before_all_others_and_read_bay_by_bay(bay: str) -> None:
    found, plant = steps(bay), JOBS[bay]
    act = found[at(found, "Isolate")]
    assert isinstance(act, Do)
    lasts = {
        plant.supply_path(shelf.name, inlet.feed).breakers[-1] for shelf in plant.shelves_of(bay)
        for inlet in shelf.inlets if f"{inlet.name}-return" in words(found, "Joints made up")
    }  # fmt: skip
    assert lasts and set(act.open[: len(lasts)]) == lasts

    def bay_of(name: str) -> str:
        where = plant.breakers[name].at
        return plant.shelves[where].bay if where in plant.shelves else where

    read = [one.subject for one in found if isinstance(one, Measure) and one.title.startswith("breaker ")]
    bays = [bay_of(name) for name in read]
    assert len(set(bays)) == 2 and bays == sorted(bays, key=bays.index), "nobody walks to and fro"
    for one in found:
        if isinstance(one, Measure) and one.title.startswith("supply "):
            assert "own posts stay live" in one.text


@pytest.mark.parametrize("bay", JOBS)
def test_what_is_connected_to_both_feeds_again_is_read_before_a_breaker_closes(bay: str) -> None:
    """A lug that changed places while both were off would go straight onto the shelves."""
    found, plant = steps(bay), JOBS[bay]
    word = next(n for n, step in enumerate(found) if isinstance(step, Hold) and step.word == "SERVICE")
    connected = next(n for n in range(word, len(found)) if found[n].switch_on)
    closed = next(n for n in range(word, len(found)) if isinstance(found[n], Do) and found[n].close)
    read = [one for one in found[connected:closed] if isinstance(one, Measure)]
    assert {plant.breakers[one.subject].feed for one in read} == {plant.supplies[one].feed for one in plant.supplies}
    for one in read:
        assert one.limit.computed == "feed-voltage" and one.between[0] == f"{one.subject}.line"


@pytest.mark.parametrize("bay", JOBS)
def test_everybody_is_clear_once_the_bench_supply_is_connected_and_not_before(bay: str) -> None:
    """Hands are at its leads until then."""
    found = steps(bay)
    words_of = [n for n, step in enumerate(found) if isinstance(step, Hold) and step.word == "ENERGISE"]
    for place in words_of:
        up = next(n for n in range(place, len(found)) if isinstance(found[n], Energise) or found[n].switch_on
                  or getattr(found[n], "close", ()))  # fmt: skip
        assert not any(isinstance(one, Do) and one.connect for one in found[place:up]), found[place].title


@pytest.mark.parametrize(("bay", "count"), [("2", 12), ("signals", 10)])
def test_each_word_stands_for_a_danger_that_was_not_there_before(bay: str, count: int) -> None:
    """Between two words something is fed that was not: empty, with cards, by another feed, by a battery."""
    found = steps(bay)
    dangers: list[set[tuple[object, ...]]] = []
    closed: set[str] = set()
    inside: set[str] = set()
    on: set[str] = set()
    for step in found:
        if isinstance(step, Hold) and step.word != "DEAD":
            dangers.append(set())
        if isinstance(step, Energise) and step.voltage.value > 5.0:
            dangers[-1].add((tuple(step.at), frozenset(closed), frozenset(inside)))
        if isinstance(step, Do):
            closed = (closed | set(step.close)) - set(step.open)
            inside |= set(step.put_in)
            on = (on | set(step.switch_on)) - set(step.switch_off)
            if step.switch_on or (on and step.close):
                dangers[-1].add((frozenset(on), frozenset(step.close)))
    met: set[tuple[object, ...]] = set()
    for mine in dangers:
        assert mine - met
        met |= mine
    assert 1 + len(dangers) == count
