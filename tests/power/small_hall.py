"""A small plant with two feeds, three shelves and real drops, for power tests."""

from __future__ import annotations

from pathlib import Path

from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.quantity import Current

ROOT = Path(__file__).parents[2]
GANNET = ROOT / "sequences" / "gannet-head" / "plant.yaml"

SMALL = """
plant: small-hall
title: one bay of a small hall
ambient: 20 degC
cable-types:
  - {name: PW1.5, colours: [BU, BK], size: 1.5 mm2, class: 5}
  - {name: PW10, colours: [BU, BK], size: 10 mm2, class: 5}
card-types:
  - {name: CV, title: shelf converter, idle: 0.06 A, spread: 20 %, input-capacitance: 1000 uF}
  - {name: RX, title: receiver, idle: 0.55 A, spread: 8 %, input-capacitance: 470 uF}
  - {name: AL, title: alarm relays, idle: 0.1 A, spread: 12 %, load: resistive}
bays:
  - name: 2
    shelves:
      - {name: 2A, slots: 6, cards: {1: CV, 2-4: RX}, inlets: [A, B]}
      - {name: 2B, slots: 6, cards: {1: CV, 2-3: RX, 4: AL}, inlets: [A, B]}
      - {name: 2C, slots: 6, cards: {1: CV, 2: AL}, inlets: [A]}
feeds:
  - {name: A, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}
  - {name: B, nominal: -48 V, allowed: [-57 V, -40.5 V], return: BR, drop: 2 V}
supplies:
  - {name: GA, feed: A, kind: battery, voltage: -53.5 V, resistance: 8 mohm}
  - {name: GB, feed: B, kind: battery, voltage: -53.5 V, resistance: 8 mohm}
busbars:
  - {name: BA, feed: A, at: 2}
  - {name: BB, feed: B, at: 2}
  - {name: BR, pole: return, at: 2}
breakers:
  - {name: FA, title: main of feed A, feed: A, rating: 16 A, at: 2, load-on: BA.1}
  - {name: FB, title: main of feed B, feed: B, rating: 16 A, at: 2, load-on: BB.1}
  - {name: FA2A, feed: A, rating: 6 A, at: 2, line-on: BA.2}
  - {name: FA2B, feed: A, rating: 6 A, at: 2, line-on: BA.3}
  - {name: FA2C, feed: A, rating: 6 A, at: 2, line-on: BA.4}
  - {name: FB2A, feed: B, rating: 6 A, at: 2, line-on: BB.2}
  - {name: FB2B, feed: B, rating: 6 A, at: 2, line-on: BB.3}
cables:
  - {name: WGA, type: PW10, length: 11 m, from: [GA.feed, GA.return], to: [FA.line, BR.1]}
  - {name: WGB, type: PW10, length: 11 m, from: [GB.feed, GB.return], to: [FB.line, BR.2]}
  - {name: WA2A, type: PW1.5, length: 6 m, from: [FA2A.load, BR.3], to: [2A.A, 2A.A-return]}
  - {name: WA2B, type: PW1.5, length: 7 m, from: [FA2B.load, BR.4], to: [2B.A, 2B.A-return]}
  - {name: WA2C, type: PW1.5, length: 8 m, from: [FA2C.load, BR.5], to: [2C.A, 2C.A-return]}
  - {name: WB2A, type: PW1.5, length: 6.5 m, from: [FB2A.load, BR.6], to: [2A.B, 2A.B-return]}
  - {name: WB2B, type: PW1.5, length: 7.5 m, from: [FB2B.load, BR.7], to: [2B.B, 2B.B-return]}
"""

BENCH = """
bench: power bench
instruments:
  - name: meter
    profile: scpi-bench-meter
    port: simulated
    calibrated: 2026-03-02
    settings: {{nplc: '0.2', compensation: 'OFF'}}
  - {{name: supply, profile: scpi-supply, port: simulated, calibrated: 2026-03-02}}
roles: {{ohms: meter, volts: meter, amps: meter, supply: supply}}
references:
  - {{name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}}
simulate:
  seed: 7
  faults: [{faults}]
"""
"""A simulated bench with a meter and a supply; takes ``faults``."""


def written(folder: Path, text: str = SMALL) -> Path:
    """The plant as a file."""
    path = folder / "plant.yaml"
    path.write_text(text, "utf-8")
    return path


def small(folder: Path, text: str = SMALL) -> Plant:
    """The plant, read by the real loader."""
    return load_plant(written(folder, text))


def amps(value: float) -> Current:
    """A current."""
    return Current(value)
