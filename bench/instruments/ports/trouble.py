"""The one error of this room: something outside the program went wrong with an instrument or its port."""

from __future__ import annotations

from typing import Final, Literal, get_args

from bench.instruments.wire_text import show

Kind = Literal[
    "lost",
    "silent",
    "garbled",
    "busy",
    "denied",
    "refused",
    "stranger",
    "mismatch",
    "unable",
    "unsafe",
    "aborted",
]
"""What kind of trouble.

lost: the port is gone. silent: no answer, or not all of it, in time. garbled: an answer that cannot be believed.
busy: somebody else has the port. denied: no permission. refused: the instrument reported an error. stranger: not the
instrument that was expected. mismatch: it measures something else, or on another range. unable: the profile cannot do
what was asked. unsafe: a safe state could not be confirmed. aborted: stopped by :meth:`Transport.abort`.
"""

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)


class InstrumentTrouble(Exception):
    """An instrument or its port gave trouble.

    Attributes:
        kind: one of :data:`KINDS`.
        what: what happened, in one sentence.
        advice: what a person can do about it; may be empty.
        raw: the bytes that were received in the matter, in order.
        effect_unknown: a command may or may not have reached the instrument; it must not simply be sent again.
    """

    def __init__(
        self,
        kind: Kind,
        what: str,
        advice: str = "",
        *,
        raw: tuple[bytes, ...] = (),
        effect_unknown: bool = False,
    ) -> None:
        super().__init__(f"{what} {advice}".rstrip())
        self.kind = kind
        self.what = what
        self.advice = advice
        self.raw = raw
        self.effect_unknown = effect_unknown

    @property
    def shown(self) -> tuple[str, ...]:
        """The raw bytes as printable text, for a record."""
        return tuple(show(data) for data in self.raw)
