"""Recordings that are made here, sample by sample, and what is heard in them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.hunt.noise import (
    Recording,
    calibration,
    changes,
    dbmp,
    dbrnc,
    heard,
    mains_lines,
    other_lines,
    read_sound,
    spectrum,
    weighted,
)
from bench.judge.noise_limits import NOISE_LIMITS
from tests.one_process import command

RATE = 16_000.0
Floats = np.ndarray


def tones(*parts: tuple[float, float], seconds: float = 3.0, noise: float = 0.0, seed: int = 1) -> Floats:
    """The sum of tones of a root mean square each, and white noise."""
    times = np.arange(round(seconds * RATE)) / RATE
    found = np.zeros_like(times)
    for hertz, rms in parts:
        found += rms * math.sqrt(2.0) * np.sin(2 * np.pi * hertz * times + hertz)
    return found + noise * np.random.default_rng(seed).standard_normal(len(times))


def recording(samples: Floats, name: str = "hall.wav") -> Recording:
    return Recording(name, RATE, samples)


@pytest.mark.slow
def test_harmonics_are_right_though_the_mains_is_off_its_nominal() -> None:
    samples = tones((50.08, 0.1), (150.24, 0.03), (600.96, 0.0003), seconds=4.0, noise=0.001)
    mains, lines = mains_lines(samples, RATE)
    assert mains == pytest.approx(50.08, abs=0.01)
    by_order = {one.order: one.rms for one in lines}
    assert by_order[1] == pytest.approx(0.1, rel=0.01) and by_order[3] == pytest.approx(0.03, rel=0.01)
    assert by_order[12] == pytest.approx(0.0003, rel=0.1)


def test_a_converter_is_no_harmonic() -> None:
    samples = tones((50.0, 0.1), (3217.0, 0.004), noise=0.001)
    (line,) = other_lines(*spectrum(samples, RATE), 50.0)
    assert line.hertz == pytest.approx(3217.0, abs=0.5) and line.rms == pytest.approx(0.004, rel=0.05)


def test_a_tone_between_two_bins_reads_right() -> None:
    hertz, power = spectrum(tones((800.43, 0.2)), RATE)
    assert weighted(hertz, power, "flat") == pytest.approx(0.2, rel=0.003)


@pytest.mark.slow
def test_a_known_tone_makes_volts_and_two_show_automatic_gain() -> None:
    loud, quiet = recording(tones((1000.0, 0.2))), recording(tones((1000.0, 0.02)))
    volts = calibration([(loud, 1.0), (quiet, 0.1)])
    assert volts == pytest.approx(5.0, rel=1e-3)
    told = heard(recording(tones((800.0, 0.1), noise=1e-5)), volts)
    assert told.levels["psophometric"] == pytest.approx(0.5, rel=0.01)
    with pytest.raises(DiagnoseError, match="automatic gain"):
        calibration([(loud, 1.0), (recording(tones((1000.0, 0.1))), 0.1)])
    with pytest.raises(DiagnoseError, match="no single tone"):
        calibration([(recording(tones((1000.0, 0.1), (300.0, 0.1))), 1.0)])


def test_a_clipped_recording_is_refused(tmp_path: Path) -> None:
    samples = np.clip(tones((400.0, 0.9)), -1.0, 1.0)
    path = tmp_path / "clipped.wav"
    wavfile.write(path, int(RATE), (samples * 32767).astype(np.int16))
    with pytest.raises(DiagnoseError, match="clipped"):
        heard(read_sound(path))


@pytest.mark.slow
@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32])
def test_every_kind_of_wav_reads_alike(tmp_path: Path, kind: type) -> None:
    samples = tones((800.0, 0.1), seconds=3.0)
    scaled = {
        np.uint8: lambda: (samples * 127 + 128).round(),
        np.int16: lambda: samples * 32767,
        np.int32: lambda: samples * (2**31 - 1),
        np.float32: lambda: samples,
    }[kind]()
    path = tmp_path / "one.wav"
    wavfile.write(path, int(RATE), np.stack([np.zeros_like(scaled), scaled], axis=1).astype(kind))
    told = heard(read_sound(path, 2))
    assert told.levels["psophometric"] == pytest.approx(0.1, rel=0.02)
    assert told.volts is None
    with pytest.raises(DiagnoseError, match="channel 3"):
        read_sound(path, 3)


@pytest.mark.slow
def test_what_changed_is_told_beyond_what_both_scatter_by() -> None:
    before = heard(recording(tones((50.0, 0.02), noise=0.001)))
    same = heard(recording(tones((50.0, 0.02), noise=0.001, seed=2)))
    after = heard(recording(tones((50.0, 0.02), (650.0, 0.005), noise=0.001, seed=3)))
    assert not any(one.sure for one in changes(before, same) if one.what == "psophometric")
    told = changes(before, after)
    assert next(one for one in told if one.what == "psophometric").sure
    assert "650.0 Hz (mains times 13)" in [one.what for one in told]


def test_levels_across_600_ohm_are_those_of_the_trade() -> None:
    # 2 mVp is -51.76 dBmp (FS-1037C's formula, 20 log mVp - 57.78, secondary copy); 0 dBrn is 24.5 uV across 600 ohm
    assert dbmp(2e-3) == pytest.approx(-51.76, abs=0.01)
    assert dbrnc(24.5e-6) == pytest.approx(0.0, abs=0.02)


@pytest.mark.slow
def test_the_command_tells_and_holds_against_a_limit(tmp_path: Path) -> None:
    files = {"tone": tones((1000.0, 0.1)), "off": tones((50.0, 0.001), noise=1e-4),
             "on": tones((50.0, 0.01), (300.0, 0.01), noise=1e-4)}  # fmt: skip
    for name, samples in files.items():
        wavfile.write(tmp_path / f"{name}.wav", int(RATE), (samples * 32767).astype(np.int16))
    words = ["noise", "on.wav", "--before", "off.wav", "--tone", "tone.wav=100mV"]
    done = command([*words, "--at-most", "2 mV", "--source", "an agreement of the two owners"], tmp_path)
    assert done.returncode == 1, done.stderr
    assert "MORE than 2 mV psophometric (an agreement of the two owners)" in done.stdout
    assert "dBmp" in done.stdout and "mains times 6" in done.stdout
    relative = command(["noise", "on.wav"], tmp_path)
    assert relative.returncode == 0 and "relative to full scale" in relative.stdout and "dBm" not in relative.stdout
    assert command(["noise", "on.wav", "--at-most", "2 mV"], tmp_path).returncode == 2
    assert command(["noise", "none.wav"], tmp_path).returncode == 2
    # a published limit is told with its source, and a point's relative level moves one in dBm0
    feed = command([*words, "--limit", "feed"], tmp_path)
    assert feed.returncode == 1 and "MORE than 2 mV psophometric, a feed of 48 V" in feed.stdout
    assert "from memory" in feed.stdout
    quiet = ["noise", "off.wav", "--tone", "tone.wav=100mV", "--limit", "radio-telephone"]
    assert command([*quiet, "--relative-level", "10"], tmp_path).returncode == 0
    assert "3GPP TS 03.50, 3.6.1" in (loud := command([*quiet, "--relative-level", "-30"], tmp_path)).stdout
    assert loud.returncode == 1
    for wrong in (["--limit", "fed"], ["--limit", "feed", "--at-most", "2 mV"], ["--limit", "line", "--off-600"]):
        assert command([*words, *wrong], tmp_path).returncode == 2
    assert "channel: -65 dBm0p" in command(["noise", "--limits"], tmp_path).stdout
    assert command(["noise"], tmp_path).returncode == 2


def test_published_limits_come_to_volts_and_each_says_how_it_was_read() -> None:
    # 0 dBm in 600 ohm is 0.7746 V; 0 dBrn is 24.5 uV (hence 20 dBrn is 245 uV); -64 dBm is 0.489 mV
    volts = {one.name: one.volts() for one in NOISE_LIMITS}
    assert volts["feed"] == 2e-3
    assert volts["line"] == pytest.approx(245e-6, rel=2e-3)
    assert volts["radio-telephone"] == pytest.approx(0.489e-3, rel=2e-3)
    assert volts["channel"] / volts["receiver"] == pytest.approx(10**0.5)
    for one in NOISE_LIMITS:
        assert "from memory" in one.source or "read in a copy of its text" in one.source
        assert one.volts(6.0) / one.volts() == pytest.approx(10**0.3 if one.unit == "dBm0" else 1.0)
