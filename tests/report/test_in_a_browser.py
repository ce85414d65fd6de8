"""The report in a real browser: nothing is complained of, nothing is fetched, nothing runs over the paper's edge."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from bench.record.replay import follow
from bench.record.verify import verify
from bench.report.page import page
from bench.report.sheet import sheet
from tests.job.season_folder import record
from tests.report.chromium import CHROMIUM, opened

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")
ISSUED = datetime(2026, 6, 3, 9, 0, tzinfo=UTC)
WIDE = "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1).length"


def made(*paths: Path) -> str:
    return page([sheet(path, follow(path), verify(path)) for path in paths], [], ISSUED)


@pytest.mark.slow
def test_it_is_read_from_disk_and_asks_for_nothing_else(tmp_path: Path) -> None:
    source = tmp_path / "report.html"
    source.write_text(made(record(10), record(12)), "utf-8")
    shown = opened(source, tmp_path, "document.title", "document.images.length", WIDE)
    assert shown.complaints == []
    assert [address for address in shown.requests if not address.startswith("data:")] == [source.as_uri()]
    title, images, wide = shown.answers
    assert title and images == 0 and wide == 0


def test_the_test_itself_sees_what_it_looks_for(tmp_path: Path) -> None:
    """A page that does wrong is told: otherwise the check above would prove nothing."""
    source = tmp_path / "bad.html"
    source.write_text(
        "<title>bad</title><img src='beside.png'><script>console.error('no'); nothing.here()</script>"
        "<p style='width: 5000px'>wide</p>",
        "utf-8",
    )
    shown = opened(source, tmp_path, WIDE)
    assert (tmp_path / "beside.png").as_uri() in shown.requests
    assert any("no" in text for text in shown.complaints) and any("nothing" in text for text in shown.complaints)
    assert shown.answers[0] >= 1
