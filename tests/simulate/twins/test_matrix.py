"""The relay matrix: what it closes, in which order, and what it refuses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.simulate.twins.matrix import MatrixTwin, RowsApart
from tests.drawn import draws


class Log:
    """A world that writes down what it is told."""

    def __init__(self):
        self.told = []

    def switched(self, closed, time):
        self.told.append((time, set(closed)))


def ask(matrix, message, now, wait=1.0):
    matrix.receive(message.encode() + b"\n", now)
    return matrix.send(now + wait).decode().strip()


def wrong(matrix):
    out = []
    while len(matrix.errors):
        out.append(matrix.errors.pop().number)
    return out


def test_close_open_and_ask():
    log = Log()
    matrix = MatrixTwin(log, rows=20)
    assert log.told == [(0.0, set())]
    ask(matrix, "ROUT:CLOS (@101,205)", 1.0)
    assert log.told[-1] == (pytest.approx(1.005), {101, 205})
    assert ask(matrix, "ROUT:CLOS? (@101:103,205)", 2.0) == "1,0,0,1"
    assert ask(matrix, "ROUTe:OPEN? (@101,102)", 3.0) == "0,1"
    assert ask(matrix, "ROUT:CLOS:STAT?", 4.0) == "(@101,205)"
    ask(matrix, "ROUT:OPEN (@205)", 5.0)
    assert log.told[-1] == (pytest.approx(5.003), {101})
    ask(matrix, "ROUT:CLOS (@202);:ROUT:OPEN:ALL", 6.0)
    assert log.told[-1][1] == set()
    assert ask(matrix, "ROUT:CLOS:STAT?", 7.0) == "(@)"
    ask(matrix, "ROUT:CLOS (@105);*RST", 8.0)
    assert matrix.closed == frozenset()
    assert log.told[-1][1] == set()


def test_exclusive_breaks_before_it_makes():
    log = Log()
    matrix = MatrixTwin(log, rows=20)
    ask(matrix, "ROUT:CLOS (@101,205)", 1.0)
    ask(matrix, "ROUT:CLOS:EXCL (@205,102)", 2.0)
    assert log.told[-2:] == [(pytest.approx(2.003), {205}), (pytest.approx(2.008), {102, 205})]
    # Row 1 moves from one bus to the other: never on both.
    ask(matrix, "ROUT:CLOS:EXCL (@101)", 3.0)
    ask(matrix, "ROUT:CLOS:EXCL (@201)", 4.0)
    assert wrong(matrix) == []
    assert [closed for _, closed in log.told[-4:]] == [set(), {101}, set(), {201}]


def test_the_reply_comes_after_the_relays_have_moved():
    matrix = MatrixTwin(Log(), rows=4)
    matrix.receive(b"ROUT:CLOS:EXCL (@101);*OPC?\n", 1.0)
    assert matrix.send(1.004) == b""
    assert matrix.send(1.006) == b"1\n"


def test_what_would_short_is_refused_whole():
    log = Log()
    matrix = MatrixTwin(log, rows=20, rule=RowsApart((frozenset({7, 8}),)))
    ask(matrix, "ROUT:CLOS (@101)", 1.0)
    told = len(log.told)
    ask(matrix, "ROUT:CLOS (@102,201)", 2.0)
    assert ask(matrix, "SYST:ERR?", 3.0) == ('-221,"Settings conflict;row 1 would join buses 1 and 2"')
    ask(matrix, "ROUT:CLOS (@107,108)", 4.0)
    assert ask(matrix, "SYST:ERR?", 5.0) == ('-221,"Settings conflict;rows 7 and 8 would meet on bus 1"')
    ask(matrix, "ROUT:CLOS:EXCL (@101,201)", 6.0)
    assert wrong(matrix) == [-221]
    assert len(log.told) == told
    assert matrix.closed == {101}
    ask(matrix, "ROUT:CLOS (@107,208)", 7.0)  # on different buses they do not meet
    assert matrix.closed == {101, 107, 208}


def test_channels_that_are_not_there():
    matrix = MatrixTwin(Log(), rows=20)
    for message in ("ROUT:CLOS (@121)", "ROUT:CLOS (@301)", "ROUT:OPEN (@5)", "ROUT:CLOS? (@100)"):
        ask(matrix, message, 1.0)
    assert wrong(matrix) == [-222] * 4
    wide = MatrixTwin(Log(), rows=150, buses=4)
    ask(wide, "ROUT:CLOS (@1001,4150)", 1.0)
    assert wide.closed == {1001, 4150} == {wide.channel(1, 1), wide.channel(4, 150)}
    with pytest.raises(ValueError, match="rows"):
        MatrixTwin(Log(), rows=0)
    with pytest.raises(ValueError, match="welded"):
        MatrixTwin(Log(), rows=4, welded=[205])


def test_welded_and_dead_relays():
    log = Log()
    matrix = MatrixTwin(log, rows=20, welded=[103], dead=[104])
    assert log.told == [(0.0, {103})]
    ask(matrix, "ROUT:CLOS (@104,205)", 1.0)
    assert log.told[-1][1] == {103, 205}
    assert ask(matrix, "ROUT:CLOS? (@103,104)", 2.0) == "0,1"
    ask(matrix, "ROUT:CLOS (@203)", 3.0)  # the welded contact would join the buses
    assert wrong(matrix) == [-221]
    ask(matrix, "ROUT:OPEN:ALL", 4.0)
    assert log.told[-1][1] == {103}


ACTIONS = st.tuples(
    st.sampled_from(["CLOS", "CLOS:EXCL", "OPEN"]),
    st.lists(st.sampled_from([101, 102, 103, 104, 201, 202, 203, 204]), min_size=1, max_size=3),
)


@draws(150)
@given(st.lists(ACTIONS, max_size=15))
def test_no_moment_breaks_the_rule(actions):
    log = Log()
    rule = RowsApart((frozenset({3, 4}),))
    matrix = MatrixTwin(log, rows=4, rule=rule)
    for k, (verb, channels) in enumerate(actions):
        ask(matrix, f"ROUT:{verb} (@{','.join(map(str, channels))})", float(k))
    for _, closed in log.told:
        assert rule(frozenset(divmod(c, 100) for c in closed)) is None
    assert set(wrong(matrix)) <= {-221, -350}
    assert log.told[-1][1] == set(matrix.closed)
