"""What a search for a second path to earth came to: the finding in words and as plain data, and back to a picture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import msgspec
import numpy as np

from bench.diagnose.earth.fit import Case, Reading, solve
from bench.diagnose.earth.hunt import Finding
from bench.diagnose.earth.lifts import CutPlan, StrayPath, cutting_plan
from bench.diagnose.earth.meter import BenchMeter
from bench.diagnose.earth.model import Bond, BondNetwork
from bench.diagnose.earth.plant import network_of, where_to_look
from bench.diagnose.earth.ranking import Explained, Posterior, Suspect
from bench.diagnose.earth.sentences import (
    CAUTION,
    chance_words,
    fault_words,
    finding_words,
    ohms_words,
    plan_words,
    visibility_words,
)
from bench.diagnose.earth.visible import Visibility, largest_ratio, poor_shown, visibility
from bench.network.cases import Flags, Floats
from bench.plant.model import Plant
from bench.sequence.file import Found

MOST: Final = 6
"""How many suspects are told, and kept with their numbers."""
SIGMAS: Final = 4.0
"""Standard deviations of its spread that a bond may be off before it is called poor by itself."""
FEW: Final = 3
"""How many suspects are told while the search is under way."""
ALARM: Final = 0.5
"""The chance of a fault from which there is something to suspect."""
SURE: Final = 0.95
"""The chance from which something is wrong, whatever it is."""
KIND: Final = "second-path"
"""``facts["search"]`` of a finding of this search."""

Verdict = Literal["pass", "fail", "undecided"]


class Ending(msgspec.Struct, frozen=True):
    """The end of a search.

    Attributes:
        plant: the plant.
        celsius: for which the designed resistances hold.
        finding: of the hunt.
        meter: that took the readings.
        worse: bonds that read too much after they were put back, with the verdict's sentence.
        path: the second path that must not be missed, in ohms.
        wanted: at what share of the possible places one of that size must show for a pass.
        count: readings in the search.
        skipped: how many of what was asked for could not be read.
        again: of each pair that was asked for once more its readings, oldest first.
    """

    plant: Plant
    celsius: float
    finding: Finding
    meter: BenchMeter
    worse: Mapping[str, str]
    path: float
    wanted: float
    count: int
    skipped: int
    again: tuple[tuple[Reading, ...], ...] = ()

    @property
    def posterior(self) -> Posterior:
        """What the readings leave standing."""
        return self.finding.posterior


def found_of(ending: Ending) -> Found:
    """The finding, for the record and for the person at the rack."""
    posterior = ending.posterior
    network = posterior.network
    seen = visibility(network, posterior.readings, posterior.prior)
    share = seen.share(ending.path)
    shown = poor_shown(network, posterior.readings, posterior.prior)
    poor = float(shown.mean())
    verdict = _verdict(ending, share, poor)
    plan = plan_of(posterior)
    lines = finding_words(ending.finding, seen, ending.path)
    for stray in strays_of(posterior):
        lines += [f"look for it: {place}" for place in where_to_look(ending.plant, stray.a, stray.b)]
    if ending.finding.kind == "stands" and plan.steps:
        lines += ["to prove and to break it:", *(line for line in plan_words(network, plan) if line != CAUTION)]
    if ending.finding.kind == "undecided":
        lines += visibility_words(seen, ending.path)
    lines += [f"bond {bond} after it was put back: {said}" for bond, said in ending.worse.items()]
    lines += [_again(network, readings) for readings in ending.again]
    if ending.skipped:
        lines.append(f"{ending.skipped} of what was asked for could not be read")
    return Found(
        verdict=verdict,
        sentence=_sentence(ending, seen, poor, verdict),
        lines=list(dict.fromkeys(lines)),
        facts=_facts(ending, seen, shown, plan),
        touches=_touches(ending),
    )


def alike(one: Reading, other: Reading) -> bool:
    """Whether two readings of the same places may well be of the same ohms."""
    if one.is_open or other.is_open:
        return one.is_open == other.is_open
    return abs(one.ohms - other.ohms) <= SIGMAS * math.hypot(one.u, other.u)


def counted(readings: Sequence[Reading]) -> Reading | None:
    """Of several readings of the same places the one that counts: the latest that another one agrees with.

    Two that differ leave the later until there is a third; None where no two of three agree.
    """
    for place in range(len(readings) - 1, 0, -1):
        if any(alike(readings[place], other) for other in readings[:place]):
            return readings[place]
    return readings[-1] if len(readings) < 3 else None


def _again(network: BondNetwork, readings: Sequence[Reading]) -> str:
    """What came of a pair that was read once more, in words."""
    first = readings[0]
    told = [ohms_words(one.ohms) for one in readings]
    where = f"{network.label(first.a)} to {network.label(first.b)}"
    if alike(*readings[:2]):
        return f"{where} was read twice, since without it nothing would point there: {told[0]}, then {told[1]}"
    said = f"{where} read {', then '.join(told)}"
    why = "a figure may be mistyped, a probe was beside its place, or a contact comes and goes"
    counts = counted(readings)
    if counts is None:
        return f"{said}: no two of them agree, and none counts; clean both places and read them again; {why}"
    if len(readings) == 2:
        return f"{said}, and not a third time: the later counts; {why}"
    return f"{said}: {ohms_words(counts.ohms)} counts, as two of three say; {why}"


def _verdict(ending: Ending, share: float, poor: float) -> Verdict:
    finding = ending.finding
    if finding.kind == "stands" or ending.worse:
        return "fail"
    if finding.kind == "undecided" and max(finding.posterior.alarm, finding.posterior.not_listed) >= SURE:
        return "fail"
    return "pass" if finding.kind == "clear" and min(share, poor) >= ending.wanted else "undecided"


def _sentence(ending: Ending, seen: Visibility, poor: float, verdict: Verdict) -> str:
    finding, posterior = ending.finding, ending.posterior
    network = posterior.network
    readings = len(posterior.readings)
    shows = f"a second path of up to {ohms_words(ending.path)} would have shown at"
    shows += f" {100 * seen.share(ending.path):.0f} % of the places where it could be"
    if finding.kind == "clear" and ending.worse:
        return f"Bond {', '.join(ending.worse)} reads too much after it was put back: clean it and tighten it."
    if finding.kind == "clear" and verdict == "pass":
        return (
            f"No second path below {ohms_words(ending.path)} at {100 * seen.share(ending.path):.0f} % of the places"
            f" where one could be, and no poor bond ({readings} readings). A path of more ohms is not excluded: lift"
            " the single-point connection and read its insulation for that."
        )
    if finding.kind == "clear" and seen.share(ending.path) >= ending.wanted:
        return (
            f"Undecided: no second path below {ohms_words(ending.path)} at {100 * seen.share(ending.path):.0f} % of the"
            f" places where one could be ({readings} readings), but whether a bond is poor this meter cannot tell: one"
            f" of {posterior.prior.poor_times:.0f} times its ohms would have shown at {100 * poor:.0f} % of the bonds."
        )
    if finding.kind == "clear":
        return (
            f"Undecided: {readings} readings show no second path, but this meter cannot decide: {shows};"
            f" {100 * ending.wanted:.0f} % is asked."
        )
    if finding.kind == "stands":
        named = [one for one in posterior.suspects if one.fault in finding.faults]
        told = "; ".join(f"{fault_words(network, s.fault, s.ohms)} ({chance_words(s.chance)})" for s in named)
        return f"{told[0].upper()}{told[1:]}."
    first = posterior.suspects[0]
    guess = f"{fault_words(network, first.fault, first.ohms)} ({chance_words(first.chance)})"
    if verdict == "fail" and posterior.alarm < SURE:
        return (
            "Something joins inside and outside that the plant file does not have"
            f" ({chance_words(posterior.not_listed)}), and this meter cannot decide where: most likely {guess}; if"
            f" not, most likely a conductor at {network.label(network.spc)} itself, which is one connection with the"
            " single-point connection and belongs into the plant file."
        )
    if verdict == "fail":
        return (
            f"Something is wrong ({chance_words(posterior.alarm)}), and this meter cannot decide what: most likely"
            f" {guess}."
        )
    return (
        f"Undecided: this meter cannot decide whether anything is wrong ({chance_words(posterior.alarm)}); if so, most"
        f" likely {guess}."
    )


def _touches(ending: Ending) -> list[str]:
    network = ending.posterior.network
    names: list[str] = list(ending.worse)
    if ending.finding.kind != "clear":
        suspects = ending.posterior.credible()
        if ending.finding.kind == "stands":
            suspects = tuple(one for one in ending.posterior.suspects if one.fault in ending.finding.faults)
        for suspect in suspects[:MOST]:
            names += [network.points[place].name for pair in suspect.fault.extras for place in pair]
            names += [network.bonds[k].name for k in (*suspect.fault.poor, *suspect.fault.opened)]
    return list(dict.fromkeys(names))


def likeliest(posterior: Posterior) -> Explained:
    """The likeliest explanation that was fitted; that of no fault where nothing is suspected."""
    return next(one for one in posterior.ranked if one.fit is not None)


def strays_of(posterior: Posterior) -> tuple[StrayPath, ...]:
    """The second paths of the likeliest explanation, with their likely ohms."""
    network, best = posterior.network, likeliest(posterior)
    assert best.fit is not None
    bonds = len(network.bonds)
    return tuple(
        StrayPath(network.points[u].name, network.points[v].name, math.exp(float(best.fit.x[bonds + place])))
        for place, (u, v) in enumerate(best.case.extras)
    )


def plan_of(posterior: Posterior) -> CutPlan:
    """How to prove and break the second paths of the likeliest explanation, at the bonds' likely ohms."""
    best = likeliest(posterior)
    assert best.fit is not None
    network = posterior.network
    return cutting_plan(network, strays_of(posterior), np.exp(best.fit.x[: len(network.bonds)]))


# as plain data


def _facts(ending: Ending, seen: Visibility, poor: Flags, plan: CutPlan) -> dict[str, Any]:
    posterior = ending.posterior
    network = posterior.network
    shown = ending.finding.kind != "clear"
    best = likeliest(posterior)
    return {
        "search": KIND,
        "kind": ending.finding.kind,
        "celsius": ending.celsius,
        "meter": ending.meter.name,
        "alarm": posterior.alarm,
        "second-crossing": posterior.second_crossing,
        "inside-loop": posterior.inside_loop,
        "posterior": [_suspect(network, one) for one in posterior.suspects[:MOST]],
        "paths": [[s.a, s.b, s.ohms] for s in strays_of(posterior)] if shown else [],
        "poor-bonds": [network.bonds[k].name for k in (*best.case.poor, *best.case.opened)] if shown else [],
        "lift": ending.finding.lift,
        "plan": [
            {
                "act": step.act,
                "bond": step.bond,
                "path": None if step.stray is None else [step.stray.a, step.stray.b],
                "expected": _plain(step.expected),
            }
            for step in plan.steps
        ]
        if shown
        else [],
        "readings": _readings(posterior, best),
        "sight": {
            "path": ending.path,
            "share": seen.share(ending.path),
            "beside": seen.share(ending.path, beside=True),
            "ratio": largest_ratio(seen),
            "blind": [list(pair) for pair in seen.blind(ending.path)[:MOST]],
            "poor": [bond.name for bond, would in zip(network.bonds, poor, strict=True) if would],
        },
        "worse": dict(ending.worse),
        "again": [
            {"between": [one[0].a, one[0].b], "lifted": list(one[0].lifted), "read": [_plain(r.ohms) for r in one]}
            for one in ending.again
        ],
    }


def suspected(posterior: Posterior, celsius: float) -> dict[str, Any]:
    """What is suspected while a search is under way, as plain data; little of it, since each request carries it."""
    network = posterior.network
    best = likeliest(posterior) if posterior.alarm >= ALARM else None
    return {
        "search": KIND,
        "celsius": celsius,
        "alarm": posterior.alarm,
        "posterior": [_suspect(network, one) for one in posterior.suspects[:FEW]] if best is not None else [],
        "paths": [[s.a, s.b, s.ohms] for s in strays_of(posterior)] if best is not None else [],
        "poor-bonds": [network.bonds[k].name for k in (*best.case.poor, *best.case.opened)] if best is not None else [],
    }


def _suspect(network: BondNetwork, suspect: Suspect) -> dict[str, Any]:
    fault = suspect.fault
    told: dict[str, Any] = {"chance": suspect.chance, "words": fault_words(network, fault, suspect.ohms)}
    if fault.extras:
        u, v = fault.extras[0]
        told |= {"fault": "second path", "between": [network.points[u].name, network.points[v].name]}
    else:
        told |= {
            "fault": "poor bond" if fault.poor else "open bond",
            "bond": network.bonds[(*fault.poor, *fault.opened)[0]].name,
        }
    if suspect.ohms is not None:
        told["ohms"] = list(suspect.ohms)
    return told


def _readings(posterior: Posterior, best: Explained) -> list[dict[str, Any]]:
    network = posterior.network
    assert best.fit is not None
    designed = predicted(network, posterior.readings, Case(), np.log(network.ohms))
    explained = predicted(network, posterior.readings, best.case, best.fit.x)
    bonds = {frozenset((bond.a, bond.b)): bond for bond in network.bonds}
    return [
        {
            "between": [one.a, one.b],
            **_of_bond(bonds.get(frozenset((one.a, one.b)))),
            "lifted": list(one.lifted),
            "read": _plain(one.ohms),
            "u": one.u,
            "designed": _plain(before),
            "explained": _plain(after),
        }
        for one, before, after in zip(posterior.readings, designed, explained, strict=True)
    ]


def _of_bond(bond: Bond | None) -> dict[str, Any]:
    """Of a reading from end to end of a bond: its name, and the most that its spread allows it."""
    return {} if bond is None else {"bond": bond.name, "most": bond.ohms * math.exp(SIGMAS * bond.spread)}


def predicted(network: BondNetwork, readings: Sequence[Reading], case: Case, x: Floats) -> list[float]:
    """What each reading should be under a case; infinite for open.

    Args:
        x: logarithms of ohms, shape (bonds + extra paths,).
    """
    found = []
    for one in readings:
        gone = [network.bond_place(name) for name in one.lifted]
        circuit = solve(network, [case], x[None, :], gone)
        i, j = (np.array([network.place(name)], dtype=np.intp) for name in (one.a, one.b))
        found.append(float(circuit.resistances(i, j)[0, 0]) if circuit.joined(i, j)[0, 0] else math.inf)
    return found


def _plain(ohms: float) -> float | str:
    """A number, or the word ``open``: JSON has no infinity."""
    return ohms if math.isfinite(ohms) else "open"


# and back


class Picture(msgspec.Struct, frozen=True):
    """What a picture of an earthing network shows: second paths and bonds that are poor or open."""

    network: BondNetwork
    strays: tuple[StrayPath, ...] = ()
    poor: tuple[str, ...] = ()


def is_earth(facts: Mapping[str, Any]) -> bool:
    """Whether a finding's facts are those of a search for a second path to earth."""
    return facts.get("search") == KIND


def picture_of(plant: Plant, facts: Mapping[str, Any], celsius: float = 20.0) -> Picture:
    """The picture of a finding; of the design where the facts are of something else.

    Raises:
        DiagnoseError: the plant has no earthing network, or not the one of the facts.
    """
    if not is_earth(facts):
        return Picture(network_of(plant, celsius))
    network = network_of(plant, float(facts.get("celsius", celsius)))
    strays = tuple(StrayPath(str(a), str(b), float(ohms)) for a, b, ohms in facts.get("paths", ()))
    for stray in strays:
        network.place(stray.a), network.place(stray.b)
    poor = tuple(str(name) for name in facts.get("poor-bonds", ()))
    for name in poor:
        network.bond_place(name)
    return Picture(network, strays, poor)
