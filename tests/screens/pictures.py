"""Pictures of every page: ``python -m tests.screens.pictures`` writes SVG files beside this module.

Each page is drawn at 80 by 24 and at 120 by 40, dark and light, and once in plain characters.
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

from bench.screens.settings import Settings
from tests.screens.scenes import SCENES
from tests.screens.stage import on_stage

FOLDER = Path(__file__).parent / "pictures"
WAYS: dict[str, tuple[tuple[int, int], Settings]] = {
    "80x24": ((80, 24), Settings()),
    "120x40": ((120, 40), Settings()),
    "80x24-day": ((80, 24), Settings(day=True)),
    "120x40-day": ((120, 40), Settings(day=True)),
    "80x24-ascii": ((80, 24), Settings(unicode=False)),
}


def steady(svg: str) -> str:
    """The picture with nothing in it that differs from one run to the next, and no fonts fetched from anywhere."""
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = re.sub(r"terminal-\d+", "terminal", svg)
    return re.sub(r"font-family: [^;]+;", "font-family: 'DejaVu Sans Mono', 'Menlo', 'Consolas', monospace;", svg)


async def _draw(wanted: set[str]) -> int:
    count = 0
    for way, (size, settings) in WAYS.items():
        if wanted and way not in wanted and any(one in WAYS for one in wanted):
            continue
        for make in SCENES:
            scene = make()
            if wanted - set(WAYS) and scene.name not in wanted:
                continue
            async with on_stage(scene, size=size, settings=settings) as stage:
                svg = stage.app.export_screenshot(title="Proveout")
            (FOLDER / f"{scene.name}-{way}.svg").write_text(steady(svg), "utf-8")
            count += 1
    return count


def main() -> None:
    """Draw all, or those whose scene or way is named."""
    FOLDER.mkdir(exist_ok=True)
    print(f"{asyncio.run(_draw(set(sys.argv[1:])))} pictures in {FOLDER.name}/")


if __name__ == "__main__":
    main()
