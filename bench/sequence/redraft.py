"""A draft that is there already: whether it still is what would be drafted today, and whether hands changed it.

A drafted file says in a comment what it was drafted of, with a digest of its text as it was then. So a change of the
plant (the digest of today's draft is another) is told apart from a change by hand (the file's own is).
"""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Sequence
from typing import Final

import msgspec

from bench.plant.model import Plant, UnknownName
from bench.sequence.draft import KINDS, CannotDraft, draft
from bench.sequence.drafts.dead_first import PROVED

_MARK: Final = re.compile(
    r"^# draft (?P<kind>[a-z-]+)(?: (?!with an)(?P<of>\S+))?(?P<ammeter> with an ammeter)?, (?P<digest>[0-9a-f]{16})\n",
    re.MULTILINE,
)


class KeptDraft(msgspec.Struct, frozen=True):
    """A drafted file, and what would be drafted today.

    Attributes:
        kind: what it is a draft of.
        of: about what; may be empty.
        text: of the file.
        today: what would be drafted today, marked; empty where it cannot be drafted any more.
        stale: why it does not fit the plant any more, in words; empty where it does.
        by_hand: whether somebody changed the file.
    """

    kind: str
    of: str
    text: str
    today: str
    stale: str
    by_hand: bool

    def difference(self) -> list[str]:
        """The lines that today's draft would take out of the file (``-``) and put in (``+``)."""
        lines = difflib.unified_diff(_bare(self.text).splitlines(), _bare(self.today).splitlines(), lineterm="", n=0)
        return [line for line in lines if not line.startswith(("---", "+++", "@@"))]


def marked(text: str, kind: str, of: str, *, ammeter: bool = False) -> str:
    """A draft with the comment that tells what it is of, below its first line."""
    first, rest = text.split("\n", 1)
    lead = " with an ammeter" if ammeter else ""
    return f"{first}\n# draft {f'{kind} {of}'.strip()}{lead}, {_digest(text)}\n{rest}"


def same(text: str, other: str) -> bool:
    """Whether two drafts say the same, comments and where their plant lies apart."""
    return _digest(_bare(text)) == _digest(_bare(other))


def is_draft(text: str, kind: str, of: str) -> bool:
    """Whether a file says that it was drafted of this."""
    mark = _MARK.search(text)
    return mark is not None and (mark["kind"], mark["of"] or "") == (kind, of)


def kept(
    plant: Plant,
    text: str,
    plant_file: str,
    schema: str,
    above_steps: Sequence[str] = (),
    *,
    powered: bool = False,
    ammeter: bool | None = None,
) -> KeptDraft | None:
    """What has become of a drafted file; None where it is no draft of this program.

    Args:
        plant: as it is now.
        text: of the file.
        plant_file: the path of the plant that a draft beside it would name.
        schema: the path of the schema that it would name.
        above_steps: lines of comment above the steps, as for a new draft.
        powered: whether the plant has had power, as for a new draft.
        ammeter: whether the ammeter stands in the supply's lead in a new draft; None for as the file has it.
    """
    mark = _MARK.search(text)
    if mark is None or mark["kind"] not in KINDS:
        return None
    kind, of, stood = mark["kind"], mark["of"] or "", mark["ammeter"] is not None
    ammeter = stood if ammeter is None else ammeter
    by_hand = _digest(_bare(text)) != mark["digest"]
    try:
        proves = PROVED in " ".join(text.split())
        today = draft(plant, kind, of, plant_file, schema, above_steps, powered=powered or proves, ammeter=ammeter)
    except (CannotDraft, UnknownName) as error:
        return KeptDraft(kind, of, text, "", f"it cannot be drafted any more: {error}", by_hand)
    stale = "" if _digest(today) == mark["digest"] else "the plant has changed since it was drafted"
    if stale and powered and not proves:
        stale = "the plant has had power since it was drafted, and it does not prove it dead"
    if stale and ammeter != stood:
        stale = "the ammeter stands in the supply's lead now"
    return KeptDraft(kind, of, text, marked(today, kind, of, ammeter=ammeter), stale, by_hand)


def _bare(text: str) -> str:
    return _MARK.sub("", text, count=1)


def _digest(text: str) -> str:
    """Of what a draft says; where its plant and schema lie, and its comments, make no other draft of it."""
    said = [line for line in text.splitlines() if not line.startswith(("#", "plant:"))]
    return hashlib.sha256("\n".join(said).encode()).hexdigest()[:16]
