"""Write down how far each record goes, to be kept outside of the records: printed, committed, or signed.

The list is a text: commit it, print it, send it to somebody. Sixteen letters stand for the whole of it: write them
into a log book. 'proveout verify PATH --heads FILE' holds the records against a list that was kept."""

from __future__ import annotations

import argparse
from pathlib import Path

from bench import exits
from bench.commands.common import LOGS
from bench.errors import BadRequest
from bench.say.lists import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    add = parser.add_argument
    add("paths", nargs="*", type=Path, metavar="PATH", help="records, or folders of them (default logs/)")
    add("-o", "--output", type=Path, metavar="FILE", help="write the list there; by default it is printed")
    add("--sign", type=Path, metavar="KEY", help="sign the list with this key")
    add("--new-key", type=Path, metavar="FILE", help="make a key to sign with, and FILE.pub to verify by")


def run(options: argparse.Namespace) -> int:
    """Make a key, or a list."""
    from bench.record.append import stamp, utc_now
    from bench.record.heads import NoHeads, NoSigning, heads_of, new_key, signed
    from bench.record.index import files_in
    from bench.saved import save
    from bench.say.times import second, zone

    try:
        if options.new_key is not None:
            public = new_key(options.new_key)
            print(f"{options.new_key} signs: keep it away from the records. {options.new_key}.pub verifies: {public}")
            return exits.PASS
        paths = options.paths or [LOGS]
        files = files_in(paths)
        root = paths[0] if len(paths) == 1 and paths[0].is_dir() else Path()
        made = f"{second(stamp(utc_now()))} {zone()}, {count(len(files), 'file')}"
        heads = heads_of(files, root, made)
        if not heads.kept:
            raise BadRequest("found no record")
        text = signed(heads.text, options.sign) if options.sign is not None else heads.text
    except (NoHeads, NoSigning) as error:
        raise BadRequest(str(error)) from error
    if options.output is not None:
        save(options.output, text)
        print(f"{options.output}: {count(len(heads.kept), 'record')}, letters {heads.letters}")
    else:
        print(text, end="")
    return exits.PASS
