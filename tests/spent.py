"""What each test spends of the processor, which quick ones spend much, and which cases of a test are quick.

Wall clocks say how busy the machine is; this counts the processor's time of the worker and of the processes that it
started and waited for. What tests share is made in the setup of the first that asks, which is kept apart. A test that
spends more than `ALLOWED` is told at the end of the run, and does not fail.

A test that draws its cases draws a fifth of them in the quick part and all in the slow one: it is in both. Of a test
with many cases, ``@pytest.mark.quick_cases(n)`` leaves ``n`` in the quick part, spread over all; the others are slow.
"""

from __future__ import annotations

import inspect
import os
import zlib
from typing import TYPE_CHECKING

import pytest
from hypothesis import is_hypothesis_test

from tests import drawn

if TYPE_CHECKING:
    from collections.abc import Generator

ALLOWED = 1.0
"""Processor seconds that a quick test may spend before it is told."""

_TOLD = 12
_CALL = "cpu call"
_mark = 0.0


def _spent() -> float:
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol() -> Generator[None, object, object]:
    """Each test begins at nought."""
    global _mark
    _mark = _spent()
    return (yield)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    """What setup, call and teardown spent goes with the report, from a worker too."""
    global _mark
    now = _spent()
    item.user_properties.append((f"cpu {call.when}", round(now - _mark, 3)))
    _mark = now


@pytest.hookimpl(tryfirst=True)
def pytest_pycollect_makeitem(obj: object) -> list[pytest.Item] | None:
    """A slow test has no cases where only the quick part is run: to make them takes longer than to leave them out."""
    marks = getattr(obj, "pytestmark", []) if inspect.isfunction(obj) else []
    return [] if drawn.only_quick_part() and any(mark.name == "slow" for mark in marks) else None


@pytest.hookimpl(wrapper=True)
def pytest_generate_tests(metafunc: pytest.Metafunc) -> Generator[None, object, object]:
    """Leave of the cases of a test some in the quick part: the others are slow, and not made where only that is run."""
    made = yield
    cases = metafunc._calls
    marker = metafunc.definition.get_closest_marker("quick_cases")
    if marker is not None and cases:
        quick = {number * len(cases) // marker.args[0] for number in range(marker.args[0])}
        for number, case in enumerate(cases):
            if number not in quick:
                case.marks.append(pytest.mark.slow.mark)
    if drawn.only_quick_part():
        # without cases it would be one without arguments
        cases[:] = [case for case in cases if all(mark.name != "slow" for mark in case.marks)] or cases
    return made


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Have what draws its cases in both parts, and say what runs where."""
    for item in items:
        if isinstance(item, pytest.Function) and is_hypothesis_test(item.obj):
            item.add_marker(pytest.mark.drawn)
        # what a file's tests share is made by one worker, and what one has read the next one finds
        if item.get_closest_marker("slow") is None and item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(_together(item) or item.path.stem))
    # what takes long begins first, so that no worker is left with it alone at the end; the quick files come in a drawn
    # order, the same each time, since those of a room that waits for meters would leave all workers waiting at once
    items.sort(key=_turn)


def _together(item: pytest.Item) -> str:
    marker = item.get_closest_marker("together")
    return "" if marker is None else str(marker.args[0])


def _turn(item: pytest.Item) -> tuple[bool, bool, int]:
    if item.get_closest_marker("slow") is not None:
        return False, False, 0
    return True, not _together(item), zlib.crc32(item.nodeid.partition("::")[0].encode())


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say which tests of the quick part spent more than they should."""
    spent = [
        (dict(report.user_properties).get(_CALL, 0.0), report.nodeid)
        for reports in terminalreporter.stats.values()
        for report in reports
        if getattr(report, "when", None) == "call" and "slow" not in report.keywords
    ]
    much = sorted((entry for entry in spent if entry[0] > ALLOWED), reverse=True)
    if much:
        total = sum(seconds for seconds, _ in spent)
        terminalreporter.section(f"{len(much)} quick tests spent over {ALLOWED:g} CPU seconds, of {total:.0f} in all")
        for seconds, test in much[:_TOLD]:
            terminalreporter.write_line(f"{seconds:6.1f} {test}")
