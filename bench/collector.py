"""The interpreter's search for cycles, put off while much is made that has none.

What a fold makes are frozen values that point at older ones and never back, so they go as soon as nobody has them.
Looking through all of them for cycles again and again costs a fifth of the work.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def put_off() -> Iterator[None]:
    """Put the search off until the block ends; within another such block nothing changes."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
