"""How a command shows things: on a page or line by line, with which signs, light or dark.

A page needs a terminal that can paint. Where there is none, or one that says it is dumb, what can be shown line by line
is shown so. The look that was chosen last is kept for this user, beside what other programs keep.
"""

from __future__ import annotations

import json
import os
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from bench.screens.program.settings import Settings


def arguments(parser: argparse.ArgumentParser, *, on_the_screen: bool = False) -> None:
    """Declare the options that say how a page looks.

    Args:
        parser: the command's.
        on_the_screen: the command prints unless it is asked for a page.
    """
    where = "on the screen: " if on_the_screen else ""
    parser.add_argument(
        "--ascii",
        action="store_true",
        help=f"{where}draw with plain characters only, even where there are others",
    )
    parser.add_argument(
        "--light",
        action="store_true",
        help=f"{where}begin with the light look; else it is as it was left last",
    )


def settings_of(options: argparse.Namespace, **more: Any) -> Settings:
    """How the screen is to behave, as this command's options say.

    Args:
        options: the command's.
        more: what else the settings hold.
    """
    from bench.screens.program.settings import Settings

    light = bool(getattr(options, "light", False)) or _was_light()
    return Settings(unicode=not options.ascii and has_signs(), day=light, turned=keep_look, **more)


def paints() -> bool:
    """Whether a page can be painted here: a terminal on both sides, and one that does not call itself dumb."""
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


def has_signs() -> bool:
    """Whether the terminal's locale has signs beyond ASCII.

    ``C`` and ``POSIX`` have none, although Python writes UTF-8 there. Where nothing is said at all, as in most
    containers, the terminal is taken to be one of today.
    """
    locale = next((said for name in ("LC_ALL", "LC_CTYPE", "LANG") if (said := os.environ.get(name))), "")
    if locale in ("C", "POSIX"):
        return False
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        "Ω✓█◆".encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def keep_look(light: bool) -> None:
    """Keep the look for the next time. That it cannot be kept is no trouble: it is chosen again by one key."""
    from contextlib import suppress

    from bench.saved import save

    path = _kept()
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        save(path, json.dumps({"light": light}))


def _was_light() -> bool:
    try:
        kept = json.loads(_kept().read_text("utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(kept, dict) and kept.get("light") is True


def _kept() -> Path:
    # Textual brings it: whoever shows a page has it
    from platformdirs import user_config_path

    return user_config_path("proveout", appauthor=False) / "look.json"
