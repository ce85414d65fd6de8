"""What runner and screens say to each other, and what is no such thing."""

from __future__ import annotations

import contextlib

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.runner import protocol as p
from bench.walk import events as e

WISHES: list[p.Wish] = [
    e.Answered(number=3, answer='say "Ω"', by="x"),
    e.Skipped(number=3, reason="no"),
    e.Went(number=3, to=1, then="go-on"),
    e.Noted(text="line\nbreak"),
    e.Tripped(thing="F1", what="again"),
    e.Attached(files=[e.KeptFile(name="lug.jpg", sha256="0" * 64)], text="the lug"),
    e.Disturbed(touches=["J1", "W1.2"], text="t"),
    e.Paused(why="tea", make_safe=True),
    e.Continued(),
    e.Aborted(why="smoke"),
]


@pytest.mark.parametrize(
    "message",
    [p.Hello(token="t", name="Ana", where="here"), p.TakeSeat(), *(p.Do(wish=wish) for wish in WISHES)],
    ids=lambda message: type(getattr(message, "wish", message)).__name__,
)
def test_what_a_screen_says(message: p.FromClient) -> None:
    line = p.encode(message)
    assert line.endswith(b"\n") and line.count(b"\n") == 1
    assert p.from_client(line) == message


@pytest.mark.parametrize(
    "message",
    [
        p.Welcome(record="r", you="Ana", seat="Ben"),
        p.Line(raw='{"n":1,"at":"x","event":{"is":"noted","text":"\\n"},"hash":"0"}\n'),
        p.Live(role="ohms", unit="Ω", value=1e-300, resolution=0.001, settled=0.5, touch="touching"),
        p.Live(role="ohms", unit="Ω", over="+"),
        p.Refusal(why="w"),
        p.RecordFailing(why="w"),
        p.Bye(why="w"),
    ],
    ids=lambda message: type(message).__name__,
)
def test_what_a_runner_says(message: p.ToClient) -> None:
    line = p.encode(message)
    assert line.count(b"\n") == 1
    assert p.to_client(line) == message


def test_only_wishes_can_be_wished_for() -> None:
    """A screen reports no readings, no outputs made safe, no beginnings: those come from the runner's own work."""
    wishes = {type(wish) for wish in WISHES}
    assert wishes == set(p.Wish.__args__)  # type: ignore[attr-defined]
    for kind in set(e.Event.__args__) - wishes:  # type: ignore[attr-defined]
        tag = kind.__struct_config__.tag
        line = msgspec.json.encode({"say": "do", "wish": {"is": tag, "number": 1, "seconds": 1.0, "by": ""}})
        with pytest.raises(p.BadMessage, match=f"Invalid value '{tag}'"):
            p.from_client(line)


DEEP = b'{"say":"do","wish":{"is":"noted","text":"a","x":' + b"[" * 50_000 + b"]" * 50_000 + b"}}\n"


@pytest.mark.parametrize(
    "line",
    [
        *(b"", b"\n", b"null\n", b"[]\n", b"{}\n", b"\xff\xfe\n", b"[" * 100_000, DEEP),
        *(b'{"say":"hello"}\n', b'{"say":"hello","token":"\\ud800"}\n'),
        b'{"say":"welcome","record":"r","you":"y"}\n',
    ],
)
def test_garbage_is_a_bad_message(line: bytes) -> None:
    with pytest.raises(p.BadMessage):
        p.from_client(line)
    if b"welcome" not in line:
        with pytest.raises(p.BadMessage):
            p.to_client(line)


@given(st.binary(max_size=200))
def test_any_bytes_are_a_message_or_a_bad_one(line: bytes) -> None:
    for reader in (p.from_client, p.to_client):
        try:
            reader(line)
        except p.BadMessage:
            continue


@given(st.sampled_from(WISHES), st.integers(0, 200), st.integers(0, 255))
def test_a_changed_byte_is_a_message_or_a_bad_one(wish: p.Wish, place: int, byte: int) -> None:
    line = bytearray(p.encode(p.Do(wish=wish)))
    line[place % len(line)] = byte
    with contextlib.suppress(p.BadMessage):
        assert isinstance(p.from_client(bytes(line)), p.Do | p.Hello | p.TakeSeat)
