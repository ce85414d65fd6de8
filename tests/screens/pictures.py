"""Pictures of the pages: ``python -m tests.screens.pictures`` writes SVG files into the folder beside this module.

Each page can be drawn at 80 by 24 and at 120 by 40, dark and light, and once in plain characters.
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

from bench.screens.program.settings import Settings
from tests.screens.job.job_pictures import JOB_FEW, draw_job
from tests.screens.replay.replay_pictures import REPLAY_FEW, draw_replay
from tests.screens.scenes import SCENES
from tests.screens.stage import on_stage

FOLDER = Path(__file__).parent / "pictures"
WAYS: dict[str, tuple[tuple[int, int], Settings]] = {
    "80x24": ((80, 24), Settings()),
    "120x40": ((120, 40), Settings()),
    "80x24-day": ((80, 24), Settings(day=True)),
    "60x20": ((60, 20), Settings()),
    "phone": ((48, 44), Settings()),
    "120x40-day": ((120, 40), Settings(day=True)),
    "80x24-ascii": ((80, 24), Settings(unicode=False)),
}


def steady(svg: str) -> str:
    """The picture with nothing in it that differs from one run to the next, and no fonts fetched from anywhere."""
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = re.sub(r"terminal-\d+", "terminal", svg)
    return re.sub(r"font-family: [^;]+;", "font-family: 'DejaVu Sans Mono', 'Menlo', 'Consolas', monospace;", svg)


FEW = (
    ("caution", "80x24"),
    ("place-touching", "80x24"),
    ("place-failed", "80x24"),
    ("place-touching", "120x40"),
    ("place-touching", "120x40-day"),
    ("done", "120x40"),
    ("search-card", "80x24"),
    ("search-flag", "120x40"),
    ("energise", "80x24"),
    ("stages-light", "120x40"),
    ("earth-suspected", "80x24"),
    ("earth-suspected", "120x40"),
)
"""The pictures that are kept; the others are for looking at."""


async def _draw(wanted: list[str]) -> int:
    def asked(name: str, way: str) -> bool:
        if not wanted:
            return (name, way) in (*FEW, *JOB_FEW, *REPLAY_FEW)
        return wanted == ["all"] or bool({name, way, f"{name}-{way}"} & set(wanted))

    count = 0
    for way, (size, settings) in WAYS.items():
        for name, make in SCENES.items():
            if not asked(name, way):
                continue
            async with on_stage(make(), size=size, settings=settings) as stage:
                svg = stage.app.export_screenshot(title="Proveout")
            (FOLDER / f"{name}-{way}.svg").write_text(steady(svg), "utf-8")
            count += 1
    for name, svg in {**await draw_job(asked, WAYS), **await draw_replay(asked, WAYS)}.items():
        (FOLDER / f"{name}.svg").write_text(steady(svg), "utf-8")
        count += 1
    return count


def main() -> None:
    """Draw the few that are kept; or ``all``; or those whose page or way is named."""
    FOLDER.mkdir(exist_ok=True)
    print(f"{asyncio.run(_draw(sys.argv[1:]))} pictures in {FOLDER.name}/")


if __name__ == "__main__":
    main()
