"""Tests are read once, and then run in processes that part from the one that has read them.

To read all tests and what they load takes five seconds of the processor, and each worker of xdist does it for itself.
Here a process that has read them parts into as many as ``--parted`` says (``fork``); each takes the next group of tests
(those with one ``xdist_group``) when it is through with one, and tells the first process what came of each test. That
one prints and counts as if it had run them. What its parts leave undone ends the run with an error.
"""

from __future__ import annotations

import multiprocessing as mp
import os
import warnings
from collections.abc import Iterator
from multiprocessing.connection import Connection, wait
from multiprocessing.context import ForkProcess
from typing import Any

import pytest
from xdist.remote import serialize_warning_message  # type: ignore[import-untyped]
from xdist.workermanage import unserialize_warning_message  # type: ignore[import-untyped]


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many processes there are."""
    parser.addoption("--parted", type=int, default=0, help="run the tests in so many processes that part from this one")


class _Teller:
    """In a part: what came of each test goes to the process that it parted from."""

    def __init__(self, config: pytest.Config, line: Connection) -> None:
        self.config, self.line = config, line

    def pytest_runtest_logstart(self, nodeid: str, location: tuple[str, int | None, str]) -> None:
        self.line.send(("begun", {"nodeid": nodeid, "location": location}))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        told = self.config.hook.pytest_report_to_serializable(config=self.config, report=report)
        self.line.send(("report", told))

    def pytest_warning_recorded(self, warning_message: Any, when: str, nodeid: str, location: Any) -> None:
        if when == "runtest":  # the first process knows what came before
            told = serialize_warning_message(warning_message)
            self.line.send(("warning", {"warning_message": told, "when": when, "nodeid": nodeid, "location": location}))


class _Part:
    """One process, as the first one sees it."""

    def __init__(self, session: pytest.Session, number: int, groups: list[list[pytest.Item]], taken: Any) -> None:
        self.line, theirs = mp.Pipe(duplex=False)
        self.begun: dict[str, Any] | None = None
        self.process: ForkProcess = mp.get_context("fork").Process(
            target=_run, args=(session, f"part{number}", theirs, groups, taken), name=f"part{number}"
        )
        with warnings.catch_warnings():
            # libraries have threads that wait for work; those that are forked from here begin without them
            warnings.filterwarnings("ignore", "This process .* is multi-threaded", DeprecationWarning)
            self.process.start()
        theirs.close()


def _run(session: pytest.Session, name: str, line: Connection, groups: list[list[pytest.Item]], taken: Any) -> None:
    """What a part does: one group after the other, until none is left."""
    config = session.config
    capture = config.pluginmanager.getplugin("capturemanager")
    if capture is not None and capture.is_globally_capturing():
        # the files that take outputs are shared with the other parts otherwise; what is printed past them is dropped
        capture.stop_global_capturing()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.close(nowhere)
        capture.start_global_capturing()
        capture.suspend_global_capture()
    config.workerinput = {"workerid": name}  # type: ignore[attr-defined]  # by this plugins know one of many
    base = config._tmp_path_factory.getbasetemp() / name  # type: ignore[attr-defined]
    base.mkdir()
    config._tmp_path_factory._basetemp = base  # type: ignore[attr-defined]
    config.pluginmanager.unregister(name="terminalreporter")
    config.pluginmanager.register(_Teller(config, line))
    todo = _todo(groups, taken)
    item = next(todo, None)
    while item is not None:
        following = next(todo, None)
        config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        item = following
    line.close()


def _todo(groups: list[list[pytest.Item]], taken: Any) -> Iterator[pytest.Item]:
    while True:
        with taken.get_lock():
            number = taken.value
            taken.value += 1
        if number >= len(groups):
            return
        yield from groups[number]


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool | None:
    """Part, listen until all is told, and see to it that nothing was left out."""
    parts = session.config.getoption("parted")
    if not parts or session.config.option.collectonly or session.testsfailed:
        return None
    together: dict[str, list[pytest.Item]] = {}
    for item in session.items:
        group = item.get_closest_marker("xdist_group")
        together.setdefault(item.nodeid if group is None else group.args[0], []).append(item)
    session.config._tmp_path_factory.getbasetemp()  # type: ignore[attr-defined]  # made once, above those of the parts
    taken = mp.get_context("fork").Value("i", 0)
    groups = list(together.values())
    running = [_Part(session, number, groups, taken) for number in range(min(parts, len(groups)))]
    try:
        _listen(session, running)
    finally:
        for part in running:
            part.process.terminate()
            part.process.join()
    return True


def _listen(session: pytest.Session, parts: list[_Part]) -> None:
    begun = 0
    running = list(parts)
    while running:
        wait([part.line for part in running] + [part.process.sentinel for part in running])
        for part in list(running):
            ended = not part.process.is_alive()
            while part.line.poll():
                try:
                    kind, told = part.line.recv()
                except EOFError:
                    ended = True
                    break
                begun += kind == "begun"
                _take(session, part, kind, told)
                if session.shouldfail:
                    raise session.Failed(session.shouldfail)
            if ended:
                part.process.join()
                running.remove(part)
                if part.process.exitcode:
                    _take(session, part, "crash", None)
    if begun != len(session.items):
        raise pytest.UsageError(f"{len(session.items) - begun} of {len(session.items)} tests were not run")


def _take(session: pytest.Session, part: _Part, kind: str, told: Any) -> None:
    hook = session.config.hook
    if kind == "begun":
        part.begun = told
    elif kind == "report":
        hook.pytest_runtest_logreport(report=hook.pytest_report_from_serializable(config=session.config, data=told))
    elif kind == "warning":
        told["warning_message"] = unserialize_warning_message(told["warning_message"])
        hook.pytest_warning_recorded.call_historic(kwargs=told)
    else:
        where = part.begun or {"nodeid": part.process.name, "location": ("", None, "")}
        why = f"{part.process.name} ended with {part.process.exitcode} in this test"
        hook.pytest_runtest_logreport(
            report=pytest.TestReport(**where, keywords={}, outcome="failed", longrepr=why, when="call")
        )
