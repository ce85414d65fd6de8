"""Which places are of one family, by readings between their pins."""

from collections.abc import Sequence

import msgspec
import pytest

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.fingerprint import alike, kind_of_reading, likenesses, next_pins, readings_of
from bench.diagnose.survey.pile import Pile
from bench.diagnose.survey.places_to_read import places_to_read
from bench.diagnose.survey.rates import Costs
from bench.diagnose.survey.sentences import trip_card
from bench.diagnose.survey.trips import next_trips
from bench.files import Inconsistent
from bench.plant.finds import Find, FreePlace, Hall, ListLine, LooseEnd, PinRead, Tried


def place(name: str, **reads: float | None) -> FreePlace:
    """Pins as ``p1_2``."""
    made = []
    for pins, ohms in reads.items():
        first, second = pins.removeprefix("p").split("_")
        made.append(PinRead(first=first, second=second, ohms=ohms))
    return FreePlace(name=name, connector="R50", gender="socket", reads=made)


FAMILIES = [
    place("P1", p1_2=0.3, p3_4=None, p5_6=4700.0, p7_8=None),
    place("P2", p1_2=None, p3_4=0.4, p5_6=None, p7_8=None),
    place("P3", p1_2=None, p3_4=None, p5_6=120.0, p7_8=0.2),
]


def test_readings_are_told_apart_by_kind() -> None:
    assert [kind_of_reading(ohms) for ohms in (0.4, 4700.0, 2e7)] == ["joined", "ohms", "open"]
    assert alike(4700.0, 4900.0)
    assert not alike(4700.0, 9000.0)
    assert readings_of([PinRead(first="9", second="1", ohms=3.0)]) == {("1", "9"): 3.0}


def test_a_twin_is_found() -> None:
    found = likenesses(place("P9", p1_2=0.5, p3_4=None, p5_6=4650.0), FAMILIES)
    assert (found[0].other, len(found[0].agree), found[0].differ) == ("P1", 3, ())
    assert found[0].chance > 0.95
    assert sum(one.chance for one in found) == pytest.approx(1.0)


def test_one_reading_that_differs_is_told_and_does_not_decide() -> None:
    found = likenesses(place("P9", p1_2=0.5, p3_4=None, p5_6=None, p7_8=None), FAMILIES)
    assert found[0].other == "P1"
    assert found[0].differ == (("5", "6"),)
    assert found[0].chance < 0.99


def test_what_is_like_nothing_is_said_to_be() -> None:
    found = likenesses(place("P9", p1_2=900.0, p3_4=900.0, p5_6=0.1, p7_8=55.0), FAMILIES)
    assert found[0].other == ""


def test_open_pins_alone_tell_little() -> None:
    found = likenesses(place("P9", p3_4=None), FAMILIES)
    assert max(one.chance for one in found) < 0.5


def test_the_next_pins_part_what_is_left() -> None:
    undecided = place("P9", p3_4=None)
    (pins, bits), *_ = next_pins(undecided, FAMILIES)
    assert pins in {("1", "2"), ("5", "6"), ("7", "8")}
    assert bits > 0.5
    assert next_pins(FAMILIES[0], FAMILIES) == ()


def test_another_connector_is_no_twin() -> None:
    other = FreePlace(name="P8", connector="D25", reads=[PinRead(first="1", second="2", ohms=0.3)])
    assert [one.other for one in likenesses(place("P9", p1_2=0.3), [other])] == [""]


def test_a_reading_needs_two_pins() -> None:
    for wrong in (
        {"first": "1", "second": "1"},
        {"first": "", "second": "2"},
        {"first": "1", "second": "2", "ohms": -1.0},
    ):
        with pytest.raises(Inconsistent):
            PinRead(**wrong)  # type: ignore[arg-type]


def hall_of_two_kinds(*, read: bool = True, known: bool = True) -> list[Find]:
    """P1 and P4 with their cables, and two ends in bay 2 for the places P2 and P3 there, which nobody read."""
    here = {"P1": (0.2, 4700.0), "P4": (None, 150.0)}
    places: list[Find] = [
        FreePlace(
            name=name, bay="1", shelf="1A", connector="B24",
            reads=[PinRead(first="1", second="3", ohms=low), PinRead(first="2", second="4", ohms=high)] if read else [],
        )
        for name, (low, high) in here.items()
    ]  # fmt: skip
    places += [FreePlace(name=name, bay="2", shelf="2A", connector="B24") for name in ("P2", "P3")]
    return [
        LooseEnd(name="L1", bay="1", jacket="black", conductors=7, label="P1" if known else ""),
        LooseEnd(name="L2", bay="1", jacket="grey", conductors=50, label="P4" if known else ""),
        LooseEnd(name="L3", bay="2", jacket="black", conductors=7),
        LooseEnd(name="L4", bay="2", jacket="grey", conductors=50),
        *places,
    ]


def answered(finds: Sequence[Find], *, known: bool = True) -> Answer:
    tried = [
        Tried(touched=end, among=[place], answer=place, way="fingerprint")
        for end, place in ((("L1", "P1"), ("L2", "P4")) if known else ())
    ]
    return Answer(Pile.of(finds, Hall(bays=["1", "2"]), tried))


def test_a_place_whose_family_tells_its_end_is_read_on_the_next_trip() -> None:
    """P1 wants seven wires, P4 fifty; which of two ends goes to P2 and which to P3 is a bit, less what is untrue."""
    answer = answered(hall_of_two_kinds())
    found = {one.place: one for one in places_to_read(answer, Costs())}
    assert set(found) == {"P2", "P3"}
    assert set(found["P2"].pins) == {("1", "3"), ("2", "4")} and found["P2"].minutes == Costs().pins
    assert 0.2 < found["P2"].bits < 1.0
    reads = [(trip, bay, read) for trip in next_trips(answer) for bay, read in trip.reads]
    assert {read.place for _, _, read in reads} <= {"P2", "P3"} and reads
    trip, bay, read = reads[0]
    assert bay == "2" and trip.minutes >= read.minutes + Costs().climb
    card = "\n".join(trip_card(trip, answer.pile.ends))
    assert f"{read.place}: prove it dead, then read its pins 1-3, 2-4" in card


def test_a_place_with_all_its_readings_or_its_end_is_not_read_again() -> None:
    finds = hall_of_two_kinds()
    whole = [PinRead(first="1", second="3", ohms=0.25), PinRead(first="2", second="4", ohms=4650.0)]
    finds = [msgspec.structs.replace(find, reads=whole) if find.name == "P2" else find for find in finds]
    assert "P2" not in {one.place for one in places_to_read(answered(finds), Costs())}
    assert not {"P1", "P4"} & {one.place for one in places_to_read(answered(finds), Costs())}


def test_where_no_place_was_read_one_with_a_likely_end_is_read_beside() -> None:
    answer = answered(hall_of_two_kinds(read=False))
    found = {one.place: one for one in places_to_read(answer, Costs())}
    assert found["P2"].beside in ("P1", "P4") and found["P2"].pins == () and found["P2"].beside_bay == "1"
    assert found["P2"].minutes == 2 * Costs().pins
    trip = next(trip for trip in next_trips(answer, most=9) if trip.reads)
    # it is read once for both places of the other bay
    assert [bay for bay, _ in trip.reads] == ["1", "2", "2"] and trip.climbs == 2
    assert next(read.place for _, read in trip.reads) == found["P2"].beside
    costs = Costs()
    assert trip.minutes == pytest.approx(3 * costs.pins + 2 * (costs.climb + costs.walk) + costs.per_bay)


def test_places_tell_nothing_of_ends_where_no_end_is_known() -> None:
    assert places_to_read(answered(hall_of_two_kinds(read=False, known=False), known=False), Costs()) == ()
    assert places_to_read(answered([find for find in hall_of_two_kinds() if find.name[0] == "L"]), Costs()) == ()


def test_a_place_of_the_same_family_wants_a_cable_of_the_same_kind():
    """P1 has its seven-wire cable; P2 reads like P1, so of two ends beside it that with seven wires belongs there."""

    def answer(*reads: PinRead) -> Answer:
        same = [PinRead(first="1", second="3", ohms=0.2), PinRead(first="2", second="4", ohms=4700.0)]
        other = [PinRead(first="1", second="3"), PinRead(first="2", second="4", ohms=150.0)]
        finds = [
            LooseEnd(name="L1", bay="1", jacket="black", conductors=7, label="P1"),
            LooseEnd(name="L2", bay="1", jacket="grey", conductors=50, label="P4"),
            LooseEnd(name="L3", bay="2", jacket="black", conductors=7),
            LooseEnd(name="L4", bay="2", jacket="grey", conductors=50),
            FreePlace(name="P1", bay="1", shelf="1A", connector="B24", reads=same),
            FreePlace(name="P4", bay="1", shelf="1A", connector="B24", reads=other),
            FreePlace(name="P2", bay="2", shelf="2A", connector="B24", reads=list(reads)),
        ]
        line = ListLine(name="D1", label="W1", from_bay="1", to_bay="2", from_place="P1")
        tried = [
            Tried(touched=end, among=[place], answer=place, way="fingerprint")
            for end, place in (("L1", "P1"), ("L2", "P4"))
        ]
        return Answer(Pile.of([*finds, line], Hall(bays=["1", "2"]), tried))

    plain = answer()
    ends = {end.name: row for row, end in enumerate(plain.pile.ends)}
    at = [place.name for place in plain.pile.places].index("P2")
    read = answer(PinRead(first="1", second="3", ohms=0.25), PinRead(first="2", second="4", ohms=4650.0))
    before = plain.places[ends["L3"], at] / plain.places[ends["L4"], at]
    after = read.places[ends["L3"], at] / read.places[ends["L4"], at]
    assert 0.5 < before < 2.0 and after > 4.0
    unlike = answer(PinRead(first="1", second="3"), PinRead(first="2", second="4", ohms=155.0))
    assert unlike.places[ends["L4"], at] > 4.0 * unlike.places[ends["L3"], at]
