"""What was found in an earthing network, in words for the person at the rack."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from bench.diagnose.earth.fit import Case
from bench.diagnose.earth.hunt import Finding
from bench.diagnose.earth.lifts import Certificate, CutPlan, CutStep, to_lift
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.ranking import Posterior, Suspect
from bench.diagnose.earth.visible import Visibility, largest_ratio
from bench.quantity import engineering

CAUTION = (
    "Lifting an earth bond can leave metalwork at a dangerous voltage: isolate and prove dead first, as the local"
    " code and the site's rules ask, with a licensed person where they ask for one."
)
"""Said with every plan that lifts a bond."""


def ohms_words(ohms: float) -> str:
    """``12 mΩ``; ``open`` for an infinite one."""
    return "open" if ohms == inf else engineering(ohms, "Ω", digits=2)


def chance_words(chance: float) -> str:
    """``97 %``, ``over 99 %`` or ``under 1 %``."""
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def fault_words(network: BondNetwork, fault: Case, ohms: tuple[float, float, float] | None = None) -> str:
    """One fault: ``a second path joins bay 3 frame to the cable tray, about 12 mΩ (8 to 18 mΩ)``.

    Args:
        fault: a case of one fault.
        ohms: its likely ohms and the ends of their 95 % interval.

    Raises:
        ValueError: the case holds no fault or several: a bug of the caller.
    """
    if fault.faults != 1:
        raise ValueError(f"one fault expected, {fault.faults} given")
    size = ""
    if ohms is not None:
        size = f", about {ohms_words(ohms[0])}"
        if ohms_words(ohms[1]) != ohms_words(ohms[2]):
            size += f" ({ohms_words(ohms[1])} to {ohms_words(ohms[2])})"
    for k in fault.opened:
        bond = network.bonds[k]
        return f"bond {bond.name} ({network.label(bond.a)} to {network.label(bond.b)}) is open"
    if fault.poor:
        bond = network.bonds[fault.poor[0]]
        ends = f"{network.label(bond.a)} to {network.label(bond.b)}"
        return f"bond {bond.name} ({ends}) is poor{size}; {ohms_words(bond.ohms)} was designed"
    u, v = fault.extras[0]
    a, b = network.points[u], network.points[v]
    if network.crosses(u, v):
        a, b = (b, a) if a.outside else (a, b)
        tail = f"; it crosses to the building's earth away from {network.label(network.spc)}"
    else:
        tail = ""
    beside = [bond.name for bond in network.bonds if {bond.a, bond.b} == {a.name, b.name}]
    if beside:
        return f"a second conductor lies beside bond {beside[0]}, {a.label} to {b.label}{size}{tail}"
    return f"a second path joins {a.label} to {b.label}{size}{tail}"


def suspect_words(posterior: Posterior, suspect: Suspect) -> str:
    """A suspect with its likely size and its chance."""
    return f"{fault_words(posterior.network, suspect.fault, suspect.ohms)}: {chance_words(suspect.chance)}"


def stretch_words(posterior: Posterior, share: float = 0.95) -> list[str]:
    """Where to look along trays, bars and ducts: one sentence for each run that the suspects touch.

    A path may touch a run between two points of the model, so the stretch goes on to the next known
    point on either side of those suspected.
    """
    network = posterior.network
    touched: dict[str, list[float]] = {}
    for suspect in posterior.credible(share):
        for place in {end for pair in suspect.fault.extras for end in pair}:
            point = network.points[place]
            if point.run and point.metres is not None:
                touched.setdefault(point.run, []).append(point.metres)
    sentences = []
    for run, metres in sorted(touched.items()):
        known = sorted((p.metres, p.label) for p in network.points if p.run == run and p.metres is not None)
        low = max((m for m, _ in known if m < min(metres)), default=min(metres))
        high = min((m for m, _ in known if m > max(metres)), default=max(metres))
        within = _listed([label for m, label in known if low <= m <= high])
        where = f"at {low:g} m" if low == high else f"from {low:g} m to {high:g} m"
        sentences.append(f"look along {run} {where}; points within: {within}")
    return sentences


def visibility_words(seen: Visibility, ohms: float) -> list[str]:
    """What the readings would have shown of a second path of ``ohms``, and what would decide the rest."""
    network = seen.network
    blind = seen.blind(ohms)
    lines = [
        f"a second path of {ohms_words(ohms)} would show at {100 * seen.share(ohms):.0f} % of the possible places",
    ]
    if ratio := largest_ratio(seen):
        lines.append(f"at 9 places of 10 one of up to {ratio:.2g} times the designed path would show")
    if not blind:
        return lines
    shown = [f"{network.label(a)} to {network.label(b)}" for a, b in blind[:3]]
    more = f" and at {len(blind) - 3} more places" if len(blind) > 3 else ""
    lines.append(f"it would not show from {_listed(shown, 'nor from')}{more}")
    bonds = to_lift(network, *blind[0])
    if bonds:
        lines.append(f"lifting bond {bonds[0]} and reading across its gap would decide the first of these")
    lines.append(
        "a second conductor beside a designed bond shows only against the bond's expected value: at"
        f" {100 * seen.share(ohms, beside=True):.0f} % of the bonds"
    )
    lines.append("without lifting, no reading proves that there is no poorer second path")
    return lines


def finding_words(finding: Finding, seen: Visibility, ohms: float) -> list[str]:
    """The end of a hunt: what it is, where to look, what else it may be, what could not be seen.

    Args:
        seen: what the readings would have shown.
        ohms: the size of second path to say that of.
    """
    posterior = finding.posterior
    network = posterior.network
    lines: list[str] = []
    if finding.kind == "clear":
        lines.append(f"nothing in these {len(posterior.readings)} readings points to a second path or a poor bond")
        return lines + visibility_words(seen, ohms)
    if finding.kind == "stands":
        named = [s for s in posterior.suspects if s.fault in finding.faults]
        lines += [suspect_words(posterior, suspect) for suspect in named]
    else:
        lines.append("this meter cannot decide between these:")
        lines += [suspect_words(posterior, suspect) for suspect in posterior.credible()[:6]]
    lines += stretch_words(posterior)
    lines.append(
        f"second crossing to the building's earth: {chance_words(posterior.second_crossing)};"
        f" loop inside: {chance_words(posterior.inside_loop)}"
    )
    if finding.lift:
        bond = network.bonds[network.bond_place(finding.lift)]
        purpose = "to prove it" if finding.kind == "stands" else "to decide"
        lines.append(
            f"{purpose}, lift bond {bond.name} ({network.label(bond.a)} to {network.label(bond.b)})"
            " and read across its gap"
        )
        lines.append(CAUTION)
    return lines


def step_words(network: BondNetwork, step: CutStep) -> str:
    """One act of a cutting plan."""
    if step.stray is not None:
        path = f"remove the second path {network.label(step.stray.a)} to {network.label(step.stray.b)}"
        gap = f"read across the gap of bond {step.bond}" if step.bond else "read between its ends"
        return f"{path} and {gap}: {ohms_words(step.expected)} is expected"
    if step.act == "lift":
        return f"lift bond {step.bond} and read across its gap: {ohms_words(step.expected)} is expected"
    return f"put bond {step.bond} back and read across it: {ohms_words(step.expected)} is expected"


def plan_words(network: BondNetwork, plan: CutPlan) -> list[str]:
    """A cutting plan, act by act, with the caution first."""
    return [CAUTION, *(step_words(network, step) for step in plan.steps)] if plan.steps else []


def certificate_words(network: BondNetwork, proof: Certificate) -> list[str]:
    """How to prove the star: what to lift, what to gang, what to expect."""
    if not proof.lift:
        return ["no bond needs lifting"]
    lines = [CAUTION, f"lift {len(proof.lift)} bonds, all at once: {_listed(proof.lift)}"]
    for number, group in enumerate(proof.readings, 1):
        names = _listed([network.label(proof.parts[n][0]) for n in group])
        lines.append(f"reading {number} of {len(proof.readings)}: gang {names}; read to all others ganged: open")
    lines.append("a second conductor beside a bond that stays would not show; lift that bond to see it")
    return lines


def _listed(words: Sequence[str], last: str = "and") -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"
