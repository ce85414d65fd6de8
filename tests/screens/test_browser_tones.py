"""What the page in a browser sounds like: a real browser renders each tone, and its pitches are counted in it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bench.screens.browser import TONES
from tests.report.chromium import CHROMIUM, opened
from tests.screens.test_browser_server import server

pytestmark = [pytest.mark.slow, pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")]
BEFORE = """
let made = 0;
window.WebSocket = class extends EventTarget {};
window.AudioContext = class extends OfflineAudioContext {
  constructor() { super(1, 48000 * 3, 48000); made += 1; }
  resume() {}
};
"""
"""A line that the test speaks on, and a sound card whose samples can be looked at."""
HEARD = """(async () => {
  const said = (name) => new WebSocket().dispatchEvent(
    new MessageEvent("message", {data: JSON.stringify(["sound", name])}));
  const counted = (samples, from, to) => {
    let turns = 0, first = 0, last = 0;
    for (let at = Math.round(from * 48000) + 1; at < to * 48000; at++)
      if (samples[at - 1] < 0 && samples[at] >= 0) { turns += 1; first = first || at; last = at; }
    return turns > 1 ? 48000 * (turns - 1) / (last - first) : 0;
  };
  const loudest = (samples, from, to) => {
    let most = 0;
    for (let at = Math.round(from * 48000); at < to * 48000; at++) most = Math.max(most, Math.abs(samples[at]));
    return most;
  };
  const found = {untouched: (said("pass"), made)};
  for (const [name, parts] of Object.entries(PARTS)) {
    audio = null;
    dispatchEvent(new Event("pointerdown"));
    said(name);
    const samples = (await audio.startRendering()).getChannelData(0), end = parts[parts.length - 1][2];
    found[name] = {
      pitches: parts.map(([_, from, to]) => counted(samples, from, to)),
      loud: Math.min(...parts.map(([_, from, to]) => loudest(samples, from, to))),
      between: Math.max(0, ...parts.slice(1).map((part, at) => loudest(samples, parts[at][2] + 0.001, part[1]))),
      after: loudest(samples, end + 0.001, 3),
    };
  }
  return found;
})()"""


def test_each_tone_has_its_pitches_and_silence_between_and_none_comes_before_the_page_was_touched(
    tmp_path: Path,
) -> None:
    source = tmp_path / "page.html"
    source.write_text(
        f"<!doctype html><nav id='keys'></nav><script>{BEFORE}</script><script>{server()._script}</script>", "utf-8"
    )
    shown = opened(source, tmp_path, HEARD.replace("PARTS", json.dumps(TONES)))
    assert shown.complaints == []
    (found,) = shown.answers
    assert found.pop("untouched") == 0
    assert set(found) == set(TONES)
    for name, heard in found.items():
        wanted = [pitch for pitch, _, _ in TONES[name]]
        assert heard["pitches"] == pytest.approx(wanted, rel=0.02), name
        assert heard["loud"] > 0.3, f"{name} is loud enough"
        assert max(heard["between"], heard["after"]) < 0.01, f"{name} ends"
