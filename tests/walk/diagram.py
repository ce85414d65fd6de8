"""Draws the machine of a walk into DEVELOPERS.md, and says whether the drawing there is still true.

    python tests/walk/diagram.py            write it between the markers
    python tests/walk/diagram.py --check    exit code 1 where it differs

Which event may come in which phase stands in the machine's table; where it leads is found by trying every event in
every state of two small walks. So the drawing holds nothing that the machine does not do.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

from bench.walk import events as e
from bench.walk.state import NEXT, OPEN, STEPPING, Phase
from tests.walk import walk_explorer

BEGIN = "<!-- walk diagram begin -->"
END = "<!-- walk diagram end -->"
DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
ANY_STEP = "next_step"
"""Stands for the phase that the next step begins in."""

Targets = dict[tuple[Phase, type], set[Phase]]


class NoMarkers(LookupError):
    """The file has no place for the drawing."""


def explored() -> dict[str, walk_explorer.Explored]:
    """The small walks, tried out whole."""
    with tempfile.TemporaryDirectory() as folder:
        return walk_explorer.explored(Path(folder))


def targets(walks: dict[str, walk_explorer.Explored]) -> Targets:
    """Phase and event type to the phases that it can lead to."""
    found: Targets = defaultdict(set)
    for one in walks.values():
        for before, event, after in one.moves:
            found[before.state.phase, type(event)].add(after.state.phase)
    assert set(found) == set(NEXT), "the small walks do not meet every pair of the table any more"
    return found


def diagram(found: Targets) -> str:
    """The machine as a Mermaid state diagram."""
    order = list(dict.fromkeys(kind for _, kind in NEXT))
    stays = [k for k in order if all(found.get((p, k), set()) == {p} for p in OPEN)]
    always = {k: _common(found, k) for k in order if k not in stays and _common(found, k)}
    # where a step is left for another one, the other's kind decides: drawn once
    enters = set().union(*(reached for (_, kind), reached in found.items() if kind in (e.Went, e.Skipped)))
    arrows: dict[tuple[str, str], list[str]] = defaultdict(list)
    for (phase, kind), reached in found.items():
        if kind in stays or kind in always:
            continue
        left = set(reached)
        if left & (enters & STEPPING):
            arrows[phase.value, ANY_STEP].append(kind.__name__)
            left -= enters
        for target in left:
            arrows[phase.value, target.value].append(kind.__name__)
    for target in enters:
        arrows[ANY_STEP, target.value] = ["after the last"] if target is Phase.SAFING else []
    lines = ["stateDiagram-v2", f"    [*] --> {Phase.EMPTY.value}", f"    state {ANY_STEP} <<choice>>"]
    place = {phase.value: number for number, phase in enumerate(Phase)} | {ANY_STEP: len(Phase)}
    for (source, target), kinds in sorted(arrows.items(), key=lambda arrow: [place[name] for name in arrow[0]]):
        label = ", ".join(sorted(kinds, key=[*(kind.__name__ for kind in order), *kinds].index))
        lines.append(f"    {source} --> {target}" + (f" : {label}" if label else ""))
    lines += [f"    {phase.value} --> [*]" for phase in Phase if phase not in OPEN and phase is not Phase.EMPTY]
    notes = [
        f"{', '.join(kind.__name__ for kind in stays)} may come in any phase but the first and the last, and stay."
    ]
    notes += [f"{kind.__name__} may come there too, and leads to {target.value}." for kind, target in always.items()]
    lines += [f"    note right of {Phase.EMPTY.value}", *(f"        {note}" for note in notes), "    end note"]
    return "\n".join(lines)


def _common(found: Targets, kind: type) -> Phase | None:
    """The one phase that an event leads to from everywhere, if it may come everywhere."""
    reached = [found.get((phase, kind), set()) for phase in sorted(OPEN, key=lambda phase: phase.value)]
    everywhere = set.intersection(*reached) if all(reached) else set()
    return next(iter(everywhere)) if len(everywhere) == 1 and set().union(*reached) == everywhere else None


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
        wanted = drawn(text, diagram(targets(explored())))
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
