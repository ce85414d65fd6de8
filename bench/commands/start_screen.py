"""Starts a runner and a screen, or a screen alone for a runner that is there already."""

from __future__ import annotations

import argparse
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from bench import exits
from bench.commands import common, looks
from bench.errors import BadRequest
from bench.runner.address import RunnerAddress, address_file, live_runners, read_address
from bench.screens.program.settings import Ended
from bench.screens.walk.link import through

START_WITHIN: Final = 60.0
"""Seconds that a runner may take to read its files, start a simulated bench and answer."""


class RunnerFailed(ConnectionError):
    """The runner's process ended before it answered.

    Attributes:
        code: its exit code.
        text: what it said.
    """

    def __init__(self, code: int, text: str) -> None:
        how = (
            f"was ended by {_signal(-code)} before it answered" if code < 0 else f"ended with code {code}, unexplained"
        )
        super().__init__(text or f"the runner {how}")
        self.code = code
        self.text = text


def _signal(number: int) -> str:
    try:
        return f"signal {number} ({signal.Signals(number).name})"
    except ValueError:
        return f"signal {number}"


def show(options: argparse.Namespace) -> int:
    """Start what is needed, show the screen, and give the walk's exit code when it is over."""
    chosen = [options.sequence is not None, options.resume is not None, options.attach is not None]
    if sum(chosen) != 1:
        raise BadRequest("name a sequence with --bench, or a record with --resume, or say --attach")
    if options.sequence is not None and options.bench is None:
        raise BadRequest("a sequence needs a bench: --bench FILE")
    options.plain = options.plain or not looks.paints()
    if getattr(options, "readings", None) is not None and not options.plain:
        raise BadRequest("--readings goes with --plain: a sheet is taken line by line")
    if options.attach is not None:
        return _screen(options, attached(options.attach))
    record, started = _start(options)
    return _screen(options, lambda: _wait_for_runner(record, started), record)


def _sheet(options: argparse.Namespace) -> str:
    """The text of the work sheet that was filled in at the rack; empty without one.

    Raises:
        BadRequest: it cannot be read.
    """
    path = getattr(options, "readings", None)
    if path is None:
        return ""
    try:
        return str(path.read_text("utf-8-sig"))
    except (OSError, UnicodeDecodeError) as error:
        raise BadRequest(f"{path}: {error}") from error


def attached(record: Path) -> Callable[[], RunnerAddress]:
    """Finds the runner of a walk that is under way: of this record, or the newest in logs/.

    The finder raises ConnectionError where there is none.
    """

    def find() -> RunnerAddress:
        if record != Path():
            try:
                return read_address(address_file(record))
            except FileNotFoundError:
                left = "".join(f"\n{text}" for text in _left_on(record))
                raise ConnectionError(f"no walk is under way in {record}; go on with --resume {record}{left}") from None
        runners = live_runners(common.LOGS) if common.LOGS.is_dir() else []
        if not runners:
            left = "".join(f"\n{text}" for text in _left_on(_newest(common.LOGS)))
            raise ConnectionError(f"no walk is under way in {common.LOGS}/; name the record, or start one{left}")
        return runners[0]

    return find


def _newest(logs: Path) -> Path:
    """The record that was written to last; the folder itself where there is none."""
    found = [path for path in logs.glob("*.jsonl") if path.is_file()] if logs.is_dir() else []
    return max(found, key=lambda path: path.stat().st_mtime, default=logs)


def _left_on(record: Path) -> tuple[str, ...]:
    """What a record that nobody writes any more ends with on; nothing where it cannot be read."""
    from bench.record.read import BrokenRecord
    from bench.record.replay import replay
    from bench.walk.left_on import ends_with

    if not record.is_file():
        return ()
    try:
        state = replay(record)
    except (BrokenRecord, OSError):
        return ()
    return tuple(f"{record}: {text}" for text in ends_with(state))


def _start(options: argparse.Namespace) -> tuple[Path, subprocess.Popen[bytes]]:
    """Start the runner's process; returns its record."""
    record = options.resume or options.record
    if record is None:
        record = common.record_name(common.LOGS, options.sequence.stem)
    record.parent.mkdir(parents=True, exist_ok=True)
    words = [sys.executable, "-m", "bench.cli", "runner", "--record", str(record)]
    if options.resume is not None:
        words.append("--resume")
    else:
        words.append(str(options.sequence))
    for name in ("bench", "operator", "trace_bytes", "speed", "seed", "place_after", "give_up_after"):
        value = getattr(options, name)
        if value not in (None, ""):
            words += [f"--{name.replace('_', '-')}", str(value)]
    for name in ("by_key", "demo_faults"):
        if getattr(options, name):
            words.append(f"--{name.replace('_', '-')}")
    messages = record.with_name(f"{record.name}.messages").open("wb")
    # its own session: closing the terminal or a ctrl-c there reaches the screen, never the owner of the ports
    process = subprocess.Popen(
        words, stdin=subprocess.DEVNULL, stdout=messages, stderr=messages, start_new_session=True
    )
    messages.close()
    return record, process


def _wait_for_runner(record: Path, process: subprocess.Popen[bytes]) -> RunnerAddress:
    """Where a runner that was just started answers.

    Raises:
        RunnerFailed: it ended first.
    """
    until = time.monotonic() + START_WITHIN
    messages = record.with_name(f"{record.name}.messages")
    while time.monotonic() < until:
        code = process.poll()
        if code is not None:
            text = messages.read_text("utf-8", "replace").strip()
            messages.unlink(missing_ok=True)
            raise RunnerFailed(code, text)
        try:
            address = read_address(address_file(record))
        except FileNotFoundError:
            time.sleep(0.03)
            continue
        if address.process == process.pid:
            return address
        time.sleep(0.03)
    raise RunnerFailed(-1, f"the runner did not answer within {START_WITHIN:g} s; see {messages}")


def _screen(options: argparse.Namespace, find: Callable[[], RunnerAddress], record: Path | None = None) -> int:
    """Show the screen until it is left; then say how the walk stands, or how to come back.

    Args:
        options: the command's.
        find: says where the runner answers.
        record: of a walk that is begun or continued here.
    """
    try:
        ended = _shown(options, find)
    except RunnerFailed as error:
        print(error.text or _gone(str(error), record), file=sys.stderr)
        return error.code if error.code > 0 else exits.STOPPED
    except ConnectionError as error:
        if record is None:
            raise
        print(_gone(str(error), record), file=sys.stderr)
        return exits.STOPPED
    if ended.why == "finished" and ended.state is not None:
        # it brings the whole machine with it, which the first picture does not wait for
        from bench.report.console import Console, exit_code

        if not options.plain:  # which has told it already
            Console().summary(ended.state, Path(ended.record))
        if ended.then:
            _afterwards(options, ended)
        return exit_code(ended.state)
    if ended.why == "lost" and not ended.said:
        print(_gone("the runner is gone", Path(ended.record) if ended.record else None), file=sys.stderr)
        return exits.STOPPED
    if ended.said:
        print(ended.said, file=sys.stderr)
    if ended.why == "left" and ended.record:
        print(f"The walk waits. Take the seat again with: proveout walk --attach {ended.record}")
    elif ended.record:
        print(f"The record is kept. Go on with: proveout walk --resume {ended.record}", file=sys.stderr)
    return exits.STOPPED


def _gone(what: str, record: Path | None) -> str:
    """What a runner that went without a word leaves, and what to do."""
    begun = record is not None and record.is_file() and record.stat().st_size > 0
    then = f"Go on with: proveout walk --resume {record}" if begun else "Nothing was recorded: start the walk again."
    left = "".join(f"\n{text}" for text in _left_on(record)) if record is not None else ""
    return (
        f"{what[:1].upper()}{what[1:]}. Nothing is measured any more. It was killed, or the machine ran out of memory; "
        f"outputs may still be on: look at every supply and tester yourself.{left}\n{then}"
    )


def _afterwards(options: argparse.Namespace, ended: Ended) -> None:
    """Do what was asked for on the last page, each as if it had been typed."""
    from bench.walk.afterwards import afterwards

    assert ended.state is not None
    for one in afterwards(ended.state, ended.record):
        if one.act != ended.then:
            continue
        print(f"\n{one.typed}", flush=True)
        command = [sys.executable, "-m", "bench.cli"]
        code = subprocess.call([*command, *one.command])
        if one.act != "again" or code != exits.PASS:
            return
        drafted = one.command[-1]
        if options.bench is None:
            print(f"walk it: proveout walk {drafted} --bench BENCH")
            return
        words = ["walk", drafted, "--bench", str(options.bench), "--operator", options.operator]
        subprocess.call([*command, *words])


def _shown(options: argparse.Namespace, find: Callable[[], RunnerAddress]) -> Ended:
    connect = through(find, common.operator_name(options.operator))
    settings = looks.settings_of(options, tones=not options.quiet, say=options.say)
    if options.plain:
        from bench.screens.walk.plain import Plain

        return Plain(connect, sys.stdout, sys.stdin, settings, sheet=_sheet(options)).run()
    from bench.screens.walk.app import run

    return run(connect, settings)
