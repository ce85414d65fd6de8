"""Several drafts of one kind as one: looked, proved and zeroed once, and all of their readings between.

What a draft begins and ends with takes people as long as the readings of a cable. Who has ten cables to prove in an
evening does that once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from bench.say.lists import some
from bench.sequence.drafts.parts import Beside, CannotDraft, Draft, Part, unique
from bench.sequence.file import Do, Each, Hold, Measure, Seek

_READS = Each | Measure | Seek


def together(made: Sequence[tuple[str, Draft]]) -> Draft:
    """One draft for several scopes.

    Args:
        made: each scope with its draft, all of one kind and for a dead plant, with the same wires to the meter.

    Raises:
        CannotDraft: there is none, or one has no hold point to stand on.
    """
    if not made:
        raise CannotDraft("several at once: name one at least")
    if len(made) == 1:
        return made[0][1]
    held: list[Part] = []
    looks: list[Part] = []
    opening: list[Part] = []
    middle: list[Part] = []
    closing: list[Part] = []
    for of, draft in made:
        at = _hold(draft.parts)
        if at is None:
            raise CannotDraft(f"the draft for {of} has no hold point, so it is walked by itself")
        held.append(draft.parts[at])
        looks += draft.parts[:at]
        rest = draft.parts[at + 1 :]
        reads = [number for number, part in enumerate(rest) if isinstance(_step(part), _READS)]
        first, last = (reads[0], reads[-1] + 1) if reads else (len(rest), len(rest))
        # the comments that stand above the first reading go with it
        while first and isinstance(rest[first - 1], str):
            first -= 1
        opening += rest[:first]
        middle += rest[first:last]
        closing += rest[last:]
    names = [of for of, _ in made]
    text = (
        f"What can feed {some(names, len(names))} at both ends is isolated, locked off and tagged, and has been proved "
        "dead by the person in charge. Type the word only if you have seen it done."
    )
    first_hold = held[0]
    assert isinstance(first_hold, Hold)
    proven = unique(name for one in held if isinstance(one, Hold) for name in one.proven)
    hold = msgspec.structs.replace(first_hold, text=text, proven=proven)
    parts = [*_once(looks), hold, *_once(opening), *middle, *_once(closing)]
    return Draft(made[0][1].about, parts)


def _hold(parts: Sequence[Part]) -> int | None:
    return next((n for n, part in enumerate(parts) if isinstance(part, Hold) and part.word == "DEAD"), None)


def _step(part: Part) -> Part:
    return part.step if isinstance(part, Beside) else part


def _once(parts: Iterable[Part]) -> list[Part]:
    """Each part once, the leads of several cables named in one."""
    found: list[Part] = []
    for part in parts:
        same = next((n for n, one in enumerate(found) if isinstance(one, Do) and isinstance(part, Do)
                     and one.title == part.title and one.text != part.text), None)  # fmt: skip
        if same is not None:
            one = found[same]
            assert isinstance(one, Do) and isinstance(part, Do)
            found[same] = msgspec.structs.replace(one, text=f"{one.text} {part.text}")
        elif part not in found:
            found.append(part)
    return found
