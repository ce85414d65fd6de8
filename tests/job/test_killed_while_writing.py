"""A process that is killed while it writes a plant file and the cache: each is whole or as before, whenever it dies."""

import random
import signal
import subprocess
import sys

import pytest

from bench.plant.load import load_plant
from bench.record.index import Cache
from tests.job.test_asfound import HUT

CHILD = """
import sys
from pathlib import Path
from bench.record.index import Cache
from bench.saved import save

plant, folder, texts = Path(sys.argv[1]), Path(sys.argv[2]), [Path(name).read_text("utf-8") for name in sys.argv[3:]]
cache = Cache(folder, "study")
print("ready", flush=True)
turn = 0
while True:
    save(plant, texts[turn % 2])
    cache.put("a" * 64, texts[turn % 2].encode())
    turn += 1
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_whenever_it_dies_each_file_is_whole(tmp_path):
    """Twenty-five times at drawn moments; the plant is read again, and the cache gives what was put, or nothing."""
    draw = random.Random(11)
    before = HUT.read_text("utf-8")
    after = before.replace("title: Gannet Head, beacon hut", "title: Gannet Head, beacon hut, as found") + "# found\n"
    texts = [tmp_path / "before.txt", tmp_path / "after.txt"]
    for path, text in zip(texts, (before, after), strict=True):
        path.write_text(text, "utf-8")
    plant, folder = tmp_path / "plant.yaml", tmp_path / "logs"
    folder.mkdir()
    plant.write_text(before, "utf-8")
    seen = set()
    for _ in range(25):
        words = [sys.executable, "-c", CHILD, str(plant), str(folder), *map(str, texts)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout.readline() == "ready\n"
            # any moment will do: what is drawn is how many of its writes are waited for, and the kill comes in between
            writes = draw.randint(1, 40)
            last = plant.stat().st_ino
            while writes:
                now = plant.stat().st_ino
                writes -= now != last
                last = now
            child.send_signal(signal.SIGKILL)
        text = plant.read_text("utf-8")
        assert text in (before, after)
        seen.add(text)
        load_plant(plant)
        assert Cache(folder, "study").get("a" * 64) in (None, before.encode(), after.encode())
    assert seen == {before, after}, "both were met"
