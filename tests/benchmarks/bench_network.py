"""How fast the circuit solver answers, against networkx and against scipy's bare factor-and-solve.

Run it with ``python -m tests.benchmarks.bench_network [--nodes N]``. The network is meshed like a plant: a tree of
wires with loads across it. One pair is asked for from a network that is built and solved afresh, as the
others do too, and then of one that is there already. Both sides by turns; medians are compared. OpenBLAS is held to one
thread for all.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded, here and below

import argparse
import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence

import networkx
import numpy as np
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

from bench.network.circuit import Edge, Network

Wires = list[tuple[int, int, float]]


def wires(nodes: int, seed: int = 1) -> Wires:
    """A connected network: wires of 5 to 500 milliohm in a tree, loads of 100 ohm to 100 kilohm across it."""
    draw = random.Random(seed)
    tree = [(draw.randrange(max(0, node - 12), node), node, draw.uniform(0.005, 0.5)) for node in range(1, nodes)]
    loads = [(*sorted(draw.sample(range(nodes), 2)), 10 ** draw.uniform(2, 5)) for _ in range(nodes // 2)]
    return [*tree, *((a, b, ohms) for a, b, ohms in loads)]


def ours(made: Wires, a: int, b: int) -> float:
    """From wires to one resistance with the tool's solver."""
    return Network(Edge(number, *wire) for number, wire in enumerate(made)).resistance(a, b)


def by_networkx(made: Wires, a: int, b: int) -> float:
    """From wires to one resistance with networkx."""
    graph = networkx.MultiGraph()
    for u, v, ohms in made:
        graph.add_edge(u, v, ohms=ohms)
    return float(networkx.resistance_distance(graph, a, b, weight="ohms", invert_weight=True))


def by_scipy(made: Wires, a: int, b: int) -> float:
    """The least that scipy needs: the matrix without node 0, one factor, one solution."""
    ends = np.array([(u, v) for u, v, _ in made])
    conductance = 1.0 / np.array([ohms for _, _, ohms in made])
    u, v = ends[:, 0], ends[:, 1]
    rows, columns = np.concatenate((u, v, u, v)), np.concatenate((u, v, v, u))
    values = np.concatenate((conductance, conductance, -conductance, -conductance))
    matrix = csc_matrix(coo_matrix((values, (rows, columns))))[1:, 1:]
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return float(solved(factor, matrix.shape[0], a, b))


def solved(factor: object, size: int, a: int, b: int) -> float:
    """One pair's resistance from a factor."""
    port = np.zeros(size)
    for node, sign in ((a, 1.0), (b, -1.0)):
        if node:
            port[node - 1] = sign
    return float(port @ factor.solve(port))  # type: ignore[attr-defined]


def seconds(work: Callable[[], float], times: int) -> float:
    """Median seconds of processor time: a busy machine makes clocks say anything."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return statistics.median(taken)


def starts(rounds: int) -> tuple[float, float]:
    """Median seconds until the simulator's modules are loaded, and until scipy's solver is too."""
    taken: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds + 1):
        for found, more in zip(taken, ("", ", scipy.sparse.linalg"), strict=True):
            began = time.perf_counter()
            subprocess.run([sys.executable, "-c", f"import bench.simulate.serve{more}"], check=True)
            found.append(time.perf_counter() - began)
    return statistics.median(taken[0][1:]), statistics.median(taken[1][1:])


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--nodes", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args(arguments)
    made = wires(asked.nodes)
    draw = random.Random(2)
    sides: dict[str, list[float]] = {"ours": [], "networkx": [], "scipy": [], "again": []}
    kept = Network(Edge(number, *wire) for number, wire in enumerate(made))
    for _ in range(asked.rounds):
        a, b = draw.sample(range(asked.nodes), 2)
        found = [ours(made, a, b), by_networkx(made, a, b), by_scipy(made, a, b), kept.resistance(a, b)]
        assert np.allclose(found, found[0], rtol=1e-6), found
        sides["ours"].append(seconds(lambda a=a, b=b: ours(made, a, b), 3))
        sides["scipy"].append(seconds(lambda a=a, b=b: by_scipy(made, a, b), 3))
        sides["again"].append(seconds(lambda a=a, b=b: kept.resistance(a, b), 20))
        sides["networkx"].append(seconds(lambda a=a, b=b: by_networkx(made, a, b), 1))
    middle = {name: statistics.median(found) for name, found in sides.items() if found}
    print(f"one resistance in a network of {asked.nodes:,} nodes and {len(made):,} edges, from its wires on:")
    print(
        f"networkx against ours (target 100): {middle['networkx'] * 1e3:.0f} ms against {middle['ours'] * 1e3:.2f} ms "
        f"of work, ratio {middle['networkx'] / middle['ours']:.0f}"
    )
    print(
        f"ours against scipy's bare factor-and-solve: {middle['ours'] * 1e3:.2f} ms against "
        f"{middle['scipy'] * 1e3:.2f} ms, ratio {middle['ours'] / middle['scipy']:.2f}; "
        f"a further pair of the same network: {middle['again'] * 1e6:.0f} µs"
    )
    plain, heavy = starts(asked.rounds)
    print(
        f"the simulator's modules against the same with scipy: {plain * 1e3:.0f} ms against {heavy * 1e3:.0f} ms, "
        f"ratio {plain / heavy:.2f}"
    )


if __name__ == "__main__":
    main()
