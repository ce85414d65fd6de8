"""Write the pages that are drawn from the program: ``python -m tests.pages``."""

from __future__ import annotations

from tests.pages import commands, fields, keys

if __name__ == "__main__":
    for page in (commands, fields, keys):
        page.PAGE.write_text(page.page(), "utf-8")
