"""What a machine says on its console, made into lines; and what is no text."""

from __future__ import annotations

import itertools

import pytest

from bench.instruments.console_text import FEWEST, USUAL, ConsoleText
from bench.simulate.uart import heard

BOOT = (
    "Line unit 4 rev C\r\nself test ... passed\r\nclock: locked to reference 1\r\n12 of 12 circuits in service\r\n"
    "watchdog armed, 2.5 s\r\nready>"
)


def spoken(reader: ConsoleText, data: bytes, at: float = 1.0) -> list[str]:
    return [one.text for one in (*reader.feed(data, at), *reader.idle(at + 1.0))]


def test_lines_end_as_machines_end_them_and_a_prompt_counts_when_nothing_follows() -> None:
    reader = ConsoleText()
    assert [one.text for one in reader.feed(b"one\r\ntwo\nthree\rfour", 1.0)] == ["one", "two", "three"]
    assert reader.feed(b"", 1.2) == []
    (prompt,) = reader.feed(b"", 1.6)
    assert (prompt.text, prompt.at) == ("four", 1.0)


def test_a_line_has_the_moment_of_its_first_character() -> None:
    reader = ConsoleText()
    reader.feed(b"up", 3.0)
    (line,) = reader.feed(b" and running\r\n", 3.3)
    assert (line.at, line.text) == (3.0, "up and running")


def test_one_end_that_comes_in_two_pieces_makes_no_line_of_its_own() -> None:
    reader = ConsoleText()
    lines = [*reader.feed(b"one\r", 1.0), *reader.feed(b"\ntwo\r", 1.1), *reader.feed(b"\n", 1.2)]
    assert [one.text for one in lines] == ["one", "two"]


def test_colours_go_and_what_is_no_character_is_spelled() -> None:
    assert spoken(ConsoleText(), b"\x1b[31mFAULT\x1b[0m at 2C \xff\x01\r\n") == ["FAULT at 2C \\xff\\x01"]
    assert spoken(ConsoleText(), "geprüft: 23 °C\r\n".encode()) == ["geprüft: 23 °C"]


def test_text_is_not_called_wrong() -> None:
    reader = ConsoleText()
    spoken(reader, BOOT.encode() + "23 °C, geprüft\r\n".encode() * 5)
    assert reader.wrong == ""


@pytest.mark.parametrize(("sent_at", "heard_at"), [*itertools.permutations(USUAL, 2)])
@pytest.mark.quick_cases(14)
def test_every_other_rate_is_recognised(sent_at: int, heard_at: int) -> None:
    came = heard(BOOT.encode() * 12, sent_at, heard_at)
    reader = ConsoleText(heard_at)
    reader.feed(came, 1.0)
    if len(came) >= FEWEST:
        assert f"another one than {heard_at} baud" in reader.wrong and str(sent_at) in reader.wrong, came[:60]


def test_a_receiver_at_the_same_rate_takes_what_was_sent() -> None:
    assert heard(bytes(range(256)), 9600, 9600) == bytes(range(256))
    assert heard(bytes(range(256)), 9600, 9650) == bytes(range(256))


@pytest.mark.parametrize(("name", "odd"), [("even", 0), ("odd", 1)])
def test_another_parity_is_told_from_another_rate(name: str, odd: int) -> None:
    came = bytes(one | (0x80 if one.bit_count() % 2 != odd else 0) for one in BOOT.encode())
    reader = ConsoleText()
    reader.feed(came, 1.0)
    assert f"7 bits with {name} parity" in reader.wrong


def test_a_character_now_and_then_is_noise_and_is_over_when_none_came_for_long() -> None:
    reader = ConsoleText()
    for number in range(12):
        reader.feed(b"12 of 12 circuits in service" + (b"\xfe" if number % 2 else b"") + b"\r\n", float(number))
    assert "noise" in reader.wrong
    reader.feed(b"all is well, and has been for some time now\r\n" * 8, 30.0)
    assert reader.wrong == ""
