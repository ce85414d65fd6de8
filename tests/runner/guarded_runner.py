"""A process that switches a supply on as a runner does, with a guard beside it, and then waits for its end.

python -m tests.runner.guarded_runner ADDRESS RECORD
"""

from __future__ import annotations

import os
import queue
import signal
import sys
import threading
from pathlib import Path

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.profile.library import Library
from bench.quantity import Current, Voltage
from bench.runner.crew import InstrumentCrew
from bench.runner.guard import Begin, Guard
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened
from bench.sequence.file import Set
from bench.sequence.plan import Step
from bench.walk import events as e

BENCH = """
bench: guarded
instruments:
  - {{name: supply, profile: scpi-supply, port: {address}}}
"""
ON = Set(text="", output="on", voltage=Voltage(48.0), current_limit=Current(1.0))


def main(address: str, record: Path) -> None:
    # whoever started this may have told it to ignore them
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)
    profile = Library.for_job().profile("scpi-supply")
    inbox: queue.Queue[object] = queue.Queue()
    guard = Guard(Begin(os.getpid(), BENCH.format(address=address), ".", str(record)))
    port = InstrumentPort("supply", lambda: Instrument(profile, open_port(address, profile.line)), True)
    crew = InstrumentCrew([port], {"supply": "supply"}, inbox.put)

    def next_event(kind: type) -> None:
        while True:
            message = inbox.get(timeout=60)
            if isinstance(message, Happened):
                assert isinstance(message.event, kind), message.event
                return

    crew.meet(("supply",), 0)
    next_event(e.Met)
    guard.stands({"supply": address}, True)
    crew.switch(Step(index=0, key="1", kind="set", title="", text="", section="", source=ON, subject=""), 1)
    next_event(e.Switched)
    print("on", guard.pid, flush=True)
    ended = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.readline(), ended.set()), daemon=True).start()
    while not ended.wait(0.3):
        guard.stands({"supply": address}, True)
    crew.make_safe(2)
    next_event(e.MadeSafe)
    crew.close()
    guard.close(safe=True)
    print("off", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
