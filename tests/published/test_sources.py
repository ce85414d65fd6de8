"""The page of sources tells of every outside source, and of none that nothing rests on."""

from __future__ import annotations

from bench.judge import harness, insulation
from tests.published.page import PAGE, READ, covers, named_in_code, rows, sources, text

DOCUMENTS = sources()["documents"]
LOOSE = sources()["rows"]


def test_the_page_is_the_current_one() -> None:
    assert PAGE.read_text("utf-8") == text(), "python -m tests.published.page"


def test_every_document_that_is_named_stands_on_it() -> None:
    named = named_in_code()
    assert len(named) > 40
    untold = {name: files for name, files in named.items() if not any(covers(one["name"], name) for one in DOCUMENTS)}
    assert not untold


def test_every_row_of_the_checks_has_a_source_that_stands_on_it() -> None:
    for row in rows():
        by_name = [one for one in DOCUMENTS if one["name"] in row]
        by_start = [one for one in LOOSE if row.startswith(one["begins"])]
        assert by_name or by_start, row


def test_each_entry_says_who_can_check_it_and_how_it_was_read() -> None:
    for one in DOCUMENTS:
        assert one["clause"] and one["for"] and one["check"] and one["read"] in READ, one
    assert len({one["name"] for one in DOCUMENTS}) == len(DOCUMENTS)


def test_what_is_from_memory_says_so_where_it_stands() -> None:
    """A row that the page calls quoted is not from memory in the checks, and the other way round."""
    for row in rows():
        for one in DOCUMENTS:
            if one["name"] in row and one["read"] == "memory":
                assert "memory" in row or "quoted" in row, row
    assert "from memory" in harness.insulation_limit(2.0).source
    assert insulation.insulation_rule(48.0).limit.source


def test_no_source_is_a_forum_or_a_nameless_page() -> None:
    for row in rows():
        for word in ("forum", "university", "public program", "railway", "blog"):
            assert word not in row.casefold(), row
