"""What is copied to the clipboard from a page of the job: what is pointed at, or the page's own words."""

from __future__ import annotations

from typing import Final

from bench.job.readiness import ThingState
from bench.screens.job.data import BenchLine, RecordLine, SequenceLine
from bench.screens.job.lists import draw_item, why
from bench.screens.job.trace_page import words_of
from bench.screens.job.view import JobView
from bench.screens.program.cells import text_of

WIDE: Final = 500
"""Cells of a line that is copied: it is not cut."""


def copied(view: JobView) -> str:
    """The text that is copied from a page; empty where there is nothing.

    Args:
        view: the moment.
    """
    page, item = view.place.page, view.item
    if page == "told":
        return "\n".join(view.told)
    if page == "record":
        return view.place.about
    if page == "trace":
        study = view.study
        return (
            "\n".join(text_of(one).rstrip() for one in words_of(view, WIDE)) if study is not None else view.place.about
        )
    if item is None:
        return ""
    lines = [text_of(draw_item(view, item, WIDE)).strip()]
    if isinstance(item.value, SequenceLine | BenchLine | RecordLine):
        lines.append(item.value.path)
    elif isinstance(item.value, ThingState):
        lines += [text_of(one).rstrip() for one in why(view, item.value, WIDE)[1:]]
    return "\n".join(lines)
