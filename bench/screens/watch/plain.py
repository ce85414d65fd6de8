"""A watch line by line: for screen readers, for simple terminals, from a file, and where nobody sits."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterable
from typing import Final, TextIO

from bench.diagnose.hunt.watched import clock as clock_words
from bench.diagnose.hunt.watched import jump_line, noticed_line
from bench.screens.watch.talk import How, Talk, place_lines

GRACE_S: Final = 2.0
"""Seconds for which it takes what is typed in any case, even where its time ran out while the bench was being
opened."""
LOOK_S: Final = 0.1
"""Seconds between two looks for a jump."""


def run(
    talk: Talk,
    typed: Iterable[str],
    out: TextIO,
    *,
    tones: bool = False,
    lasts: float | None = None,
    said: Iterable[str] = (),
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Tell what jumps and take what is said, until it is left, its time is over, or nothing more is typed.

    Args:
        talk: the conversation.
        typed: what is typed, a line each.
        out: what is written to.
        tones: ring at each jump.
        lasts: seconds of the watch's own time at which it is over; with it the end of what is typed ends nothing.
        said: what an outside program heard, a line each.
        clock: monotonic seconds.
    """
    lines: queue.Queue[tuple[str | None, How]] = queue.Queue()

    def feed(source: Iterable[str], how: How) -> None:
        for text in source:
            lines.put((text, how))
        if how == "typed":
            lines.put((None, how))

    for source, how in ((typed, "typed"), (said, "said")):
        if how == "typed" or said:
            threading.Thread(target=feed, args=(source, how), name=f"watch {how}", daemon=True).start()
    watch = talk.keeper.watch
    for text in place_lines(watch, talk.ranked()[0]):
        print(text, file=out)
    seen, told, trouble, moving = len(watch.jumps), "", "", False
    noticed, last = len(watch.noticed), watch.said[-1] if watch.said else None
    began = clock()
    while not talk.over:
        for sprang in talk.fresh(seen):
            print(("\a" if tones else "") + f"JUMP {jump_line(talk.keeper.watch, sprang)}", file=out, flush=True)
            seen += 1
        for one in talk.keeper.watch.noticed[noticed:]:
            print(("\a" if tones else "") + f"EVENT {noticed_line(talk.keeper.watch, one)}", file=out, flush=True)
            noticed += 1
        fresh = talk.keeper.watch.said
        for at, console, text in fresh[fresh.index(last) + 1 :] if last in fresh else fresh:
            print(f"SAID {clock_words(at)}  {console}: {text}", file=out, flush=True)
        last = fresh[-1] if fresh else None
        if talk.keeper.trouble != trouble:
            trouble = talk.keeper.trouble
            print(f"TROUBLE {trouble}" if trouble else "the trouble is over", file=out, flush=True)
        was, moving = moving, bool(talk.keeper.watch.moving)
        if (was and not moving) or not told:
            told = _tell(talk, out)
        if lasts is not None and talk.keeper.now >= lasts and clock() - began >= GRACE_S:
            break
        try:
            line, how = lines.get(timeout=LOOK_S)
        except queue.Empty:
            continue
        if line is None:
            if lasts is None:
                break
            continue
        talk.take(line, how)
        if talk.note:
            print(talk.note, file=out, flush=True)
        moving = bool(talk.keeper.watch.moving)
    _tell(talk, out)


def _tell(talk: Talk, out: TextIO) -> str:
    told = talk.told()
    print(told.verdict, file=out)
    for text in told.ranked:
        print(text, file=out)
    if told.proposed:
        print(f"next: {told.proposed}", file=out)
    out.flush()
    return told.verdict
