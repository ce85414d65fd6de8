"""Draws the table of rooms into DEVELOPERS.md: modules and lines of each, inner rooms with them.

python -m tests.house.rooms    write it between the markers
"""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[2]
HOUSE = ROOT / "bench"
DEVELOPERS = ROOT / "DEVELOPERS.md"
BEGIN = "<!-- rooms begin -->"
END = "<!-- rooms end -->"


def rooms() -> dict[str, list[str]]:
    """Each room of the house and its inner rooms."""
    found = {}
    for room in sorted(path.parent for path in HOUSE.glob("*/__init__.py")):
        found[room.name] = sorted(path.parent.name for path in room.glob("*/__init__.py"))
    return found


def table() -> str:
    """The rooms with their modules and lines."""
    lines = ["| room | modules | lines | inner rooms: modules, lines |", "| --- | --- | --- | --- |"]
    top = list(HOUSE.glob("*.py"))
    lines.append(f"| `bench/` itself | {len(top)} | {_lines(top):,} | |")
    for room, inner in rooms().items():
        files = sorted((HOUSE / room).rglob("*.py"))
        within = []
        for name in inner:
            own = sorted((HOUSE / room / name).rglob("*.py"))
            within.append(f"`{name}` {len(own)}, {_lines(own):,}")
        lines.append(f"| `{room}/` | {len(files)} | {_lines(files):,} | {'; '.join(within)} |")
    every = sorted(HOUSE.rglob("*.py"))
    lines.append(f"| all | {len(every)} | {_lines(every):,} | |")
    return "\n".join(lines)


def _lines(files: list[Path]) -> int:
    return sum(path.read_bytes().count(b"\n") for path in files)


def main() -> None:
    """Write the table."""
    text = DEVELOPERS.read_text("utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    DEVELOPERS.write_text(f"{before}{BEGIN}\n{table()}\n{END}{after}", "utf-8")


if __name__ == "__main__":
    main()
