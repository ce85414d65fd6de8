"""How many cases a test draws: all that it names, and a fifth of them where only the quick part is run."""

from __future__ import annotations

from typing import Any, Final

from hypothesis import settings

LEAST: Final = 6
_PART: Final = 5


class _Run:
    quick = False


def quick_part_only() -> None:
    """From here on tests draw few cases; those that name no number do so too."""
    _Run.quick = True
    settings.register_profile("some", settings.get_profile("same"), max_examples=20)
    settings.load_profile("some")


def only_quick_part() -> bool:
    """Whether only the quick part is run."""
    return _Run.quick


def draws(cases: int, **more: Any) -> settings:
    """Settings of a test that draws its cases, in the place of hypothesis' own.

    Args:
        cases: how many it draws where all tests are run.
        more: other settings.
    """
    return settings(max_examples=max(min(cases, LEAST), cases // _PART) if _Run.quick else cases, **more)
