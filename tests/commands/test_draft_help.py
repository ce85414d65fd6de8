"""What the help of ``draft`` says can be drafted is what can be."""

from __future__ import annotations

import argparse

from bench.commands import draft
from bench.sequence.draft import KINDS


def test_the_help_names_every_kind_that_there_is() -> None:
    parser = argparse.ArgumentParser()
    draft.arguments(parser)
    (said,) = (action.help or "" for action in parser._actions if action.dest == "kind")
    named = {word.strip(" :") for part in said.split(";") for word in part.split(":")[0].split(",")}
    assert named == {*KINDS, draft.NEXT, draft.AGAIN, draft.REPROVE}
