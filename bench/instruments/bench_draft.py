"""A bench file from what was found on the ports. A person looks it over: what no port tells stands there as remarks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from bench.instruments.bench_file import parse_bench
from bench.instruments.discovery import Found
from bench.instruments.profile.library import Library
from bench.roles import Role


def bench_text(found: Sequence[Found], name: str, day: date) -> str:
    """The text of a bench file.

    Args:
        found: what was found; those that no profile fits are left out.
        name: of the bench.
        day: when it was found.
    """
    known = [one for one in found if one.matches]
    names = _names(known)
    lines = [
        f"# Written from what answered on {day.isoformat()}. Look it over: calibration, leads, references, roles.",
        f"bench: {_quoted(name)}",
        "",
        "instruments:",
    ]
    for one, called in zip(known, names, strict=True):
        best = one.matches[0]
        lines += [
            f"  - name: {called}",
            f"    profile: {best.profile.profile}",
            f"    port: {_quoted(one.port.address)}",
        ]
        if best.identity.serial:
            lines.append(f"    serial: {_quoted(best.identity.serial)}")
        if len(one.matches) > 1:
            others = ", ".join(match.profile.profile for match in one.matches[1:])
            doubt = "its answer fits these profiles less" if one.told_apart else "CHECK: its answer fits these as well"
            lines.append(f"    # {doubt}: {others}")
        lines.append("    # calibrated: YYYY-MM-DD")
    able: dict[Role, list[str]] = {}
    for one, called in zip(known, names, strict=True):
        for role in one.matches[0].profile.roles:
            able.setdefault(role, []).append(called)
    several = {role: who for role, who in able.items() if len(who) > 1}
    if several:
        lines += ["", "# Name one for each of these:", "# roles:"]
        lines += [f"#   {role}: {' or '.join(who)}" for role, who in several.items()]
    return "\n".join(lines) + "\n"


def write_bench(path: Path, text: str, library: Library) -> None:
    """Write a bench file that is not there yet.

    Raises:
        BadFile: the text is no bench file.
        FileExistsError: there is one already; it is left as it is.
    """
    parse_bench(text, str(path), library)
    with path.open("x", encoding="utf-8") as stream:
        stream.write(text)


def _names(known: Sequence[Found]) -> list[str]:
    names: list[str] = []
    for one in known:
        base = one.matches[0].profile.profile
        count = sum(name == base or name.startswith(f"{base} ") for name in names)
        names.append(base if count == 0 else f"{base} {count + 1}")
    return names


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
