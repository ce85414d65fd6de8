"""A verdict in words: one line, one sign, one order."""

from __future__ import annotations

from typing import Final

ORDER: Final = ("pass", "fail", "undecided", "skipped", "void")
"""The order in which verdicts are counted for people."""
WORDS: Final = {
    "pass": "PASS",
    "fail": "FAIL",
    "undecided": "UNDECIDED",
    "skipped": "skipped",
    "void": "VOID",
    "done": "done",
    "read": "READ",
}
"""How a verdict stands on a screen; ``read`` is a reading of a search, which is news and not judged."""
PAST: Final = {"pass": "passed", "fail": "failed", "undecided": "undecided", "skipped": "skipped", "void": "void"}
"""How a count of verdicts is told."""
SIGNS: Final = {"pass": "✓", "fail": "✗", "undecided": "?", "skipped": "»", "void": "~"}
"""A sign for each verdict, beside its word: on paper as on screens."""
PLAIN_SIGNS: Final = {"pass": "o", "fail": "x", "undecided": "?", "skipped": "-", "void": "-"}
"""The same in plain characters."""


def without_word(verdict: str, sentence: str) -> str:
    """A verdict's sentence without the verdict's own word, which stands before it anyway."""
    sentence = sentence.strip()
    head, colon, tail = sentence.partition(": ")
    if colon and head.casefold() == verdict:
        return tail
    return "" if sentence.rstrip(".").casefold() == verdict else sentence


def verdict_line(word: str, name: str, verdict: str, sentence: str, remark: str = "") -> str:
    """A verdict on one line: ``PASS W101.12: 0.874 Ω ± 23 mΩ; limit: at most 2 Ω.``

    Args:
        word: how the verdict stands before it, filled up with blanks where lines stand below each other.
        name: what it is about.
        verdict: the verdict.
        sentence: the verdict's sentence.
        remark: what is worth a look besides.
    """
    said = without_word(verdict, sentence)
    line = f"{word} {name}: {said}" if said else f"{word} {name}"
    return f"{line} {remark}" if remark else line


def counts(found: dict[str, int], words: dict[str, str] | None = None) -> str:
    """How many there are of each verdict: ``48 pass, 1 fail``; empty where there is none.

    Args:
        found: verdict to its count.
        words: how each is told, where it is not the verdict's own word.
    """
    return ", ".join(f"{found[one]} {(words or {}).get(one, one)}" for one in ORDER if found.get(one))
