"""Draws the machine of a walk into DEVELOPERS.md, and says whether the drawing there is still true.

    python tests/walk/diagram.py            write it between the markers
    python tests/walk/diagram.py --check    exit code 1 where it differs

Which event may come in which phase, and where it leads, stands in the machine's table. That the machine does all of
that and nothing else is tried out in ``test_every_state.py``.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from pathlib import Path

from bench.walk.state import BEGINS, NEXT, OPEN, Phase

BEGIN = "<!-- walk diagram begin -->"
END = "<!-- walk diagram end -->"
DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
ANY_STEP = "next_step"
"""Stands for the phase that the next step begins in."""


class NoMarkers(LookupError):
    """The file has no place for the drawing."""


def diagram() -> str:
    """The machine as a Mermaid state diagram."""
    order = list(dict.fromkeys(kind for _, kind in NEXT))
    anywhere = [
        kind for kind in order if all(_leads(phase, kind) == {phase} for phase in Phase if phase is not Phase.EMPTY)
    ]
    stays = [kind for kind in order if all(_leads(phase, kind) == {phase} for phase in OPEN)]
    always = {kind: to for kind in order if kind not in stays and (to := _always(kind)) is not None}
    arrows: dict[tuple[str, str], list[str]] = defaultdict(list)
    for (phase, kind), move in NEXT.items():
        if kind in stays or kind in always:
            continue
        for target in move.to:
            arrows[phase.value, target.value].append(kind.__name__)
        if move.enters:
            arrows[phase.value, ANY_STEP].append(kind.__name__)
    for target in BEGINS:
        arrows[ANY_STEP, target.value] = ["after the last"] if target is Phase.SAFING else []
    lines = ["stateDiagram-v2", f"    [*] --> {Phase.EMPTY.value}", f"    state {ANY_STEP} <<choice>>"]
    place = {phase.value: number for number, phase in enumerate(Phase)} | {ANY_STEP: len(Phase)}
    for (source, target), kinds in sorted(arrows.items(), key=lambda arrow: [place[name] for name in arrow[0]]):
        label = ", ".join(sorted(kinds, key=[*(kind.__name__ for kind in order), *kinds].index))
        lines.append(f"    {source} --> {target}" + (f" : {label}" if label else ""))
    lines += [f"    {phase.value} --> [*]" for phase in Phase if phase not in OPEN and phase is not Phase.EMPTY]
    notes = [
        f"{', '.join(kind.__name__ for kind in stays if kind not in anywhere)} may come in any phase but the first "
        "and the last, and stay.",
    ]
    notes += [f"{kind.__name__} may come there too, and leads to {target.value}." for kind, target in always.items()]
    notes.append(f"{', '.join(kind.__name__ for kind in anywhere)} may come in all but the first.")
    lines += [f"    note right of {Phase.EMPTY.value}", *(f"        {note}" for note in notes), "    end note"]
    return "\n".join(lines)


def _leads(phase: Phase, kind: type) -> frozenset[Phase]:
    """The phases that an event may lead to; none where it may not come."""
    move = NEXT.get((phase, kind))
    return move.reaches if move is not None else frozenset()


def _always(kind: type) -> Phase | None:
    """The one phase that an event leads to from everywhere, if it may come everywhere."""
    reached = {_leads(phase, kind) for phase in OPEN}
    only = next(iter(reached)) if len(reached) == 1 else frozenset()
    return next(iter(only)) if len(only) == 1 else None


def drawn(text: str, picture: str) -> str:
    """A text with the picture between its markers.

    Raises:
        NoMarkers: it has no markers.
    """
    begin, end = text.find(BEGIN), text.find(END)
    if begin < 0 or end < begin:
        raise NoMarkers(f"no {BEGIN} with {END} after it")
    return f"{text[: begin + len(BEGIN)]}\n```mermaid\n{picture}\n```\n{text[end:]}"


def main(arguments: list[str] | None = None) -> int:
    """Write the drawing, or check it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="change nothing; exit with 1 where the drawing is old")
    parser.add_argument("file", nargs="?", type=Path, default=DEVELOPERS)
    options = parser.parse_args(arguments)
    try:
        text = options.file.read_text("utf-8")
        drawn(text, "")
        wanted = drawn(text, diagram())
    except (OSError, NoMarkers) as error:
        print(f"{options.file}: {error}", file=sys.stderr)
        return 2
    if options.check:
        if wanted != text:
            print(f"{options.file}: the diagram is not the machine's any more; run `make diagram`", file=sys.stderr)
        return int(wanted != text)
    options.file.write_text(wanted, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
