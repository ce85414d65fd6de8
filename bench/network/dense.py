"""Small dense matrices as lists of rows: numpy is loaded only for the larger ones.

A shelf's few inlets or a cable's few charges make matrices of a handful of rows. Loading numpy for them takes longer
than a whole walk spends on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import mul
from typing import Final, TypeAlias

Rows: TypeAlias = Sequence[Sequence[float]]
"""A matrix, row by row."""

SMALL: Final = 16
"""Up to this many rows plain Python keeps up; numpy is loaded above."""


class Singular(ValueError):
    """The matrix has no inverse."""


def solved(matrix: Rows, rights: Rows) -> list[list[float]]:
    """Solve for several right-hand sides, by elimination with partial pivoting.

    Args:
        matrix: square.
        rights: the right-hand sides, each of one number a row of the matrix.

    Returns:
        A solution for each right-hand side.

    Raises:
        Singular: there is none.
    """
    size = len(matrix)
    if size > SMALL:
        import numpy as np

        try:
            answer: list[list[float]] = np.linalg.solve(np.array(matrix), np.array(rights).T).T.tolist()
        except np.linalg.LinAlgError:
            raise Singular("the matrix has no inverse") from None
        return answer
    rows = [[*row, *(right[place] for right in rights)] for place, row in enumerate(matrix)]
    for place in range(size):
        best = max(range(place, size), key=lambda other: abs(rows[other][place]))
        rows[place], rows[best] = rows[best], rows[place]
        top = rows[place]
        pivot = top[place]
        if pivot == 0.0 or math.isnan(pivot):
            raise Singular("the matrix has no inverse")
        tail = top[place + 1 :]
        for row in rows[place + 1 :]:
            factor = row[place] / pivot
            if factor:
                row[place + 1 :] = [mine - factor * above for mine, above in zip(row[place + 1 :], tail, strict=True)]
    answers = []
    for column in range(size, size + len(rights)):
        found = [0.0] * size
        for place in range(size - 1, -1, -1):
            row = rows[place]
            rest = row[column] - sum(row[later] * found[later] for later in range(place + 1, size))
            found[place] = rest / row[place]
        answers.append(found)
    return answers


def solve(matrix: Rows, right: Sequence[float]) -> list[float]:
    """Solve for one right-hand side.

    Raises:
        Singular: there is no solution.
    """
    return solved(matrix, [right])[0] if len(matrix) else []


def inverse(matrix: Rows) -> list[list[float]]:
    """The inverse of a square matrix.

    Raises:
        Singular: there is none.
    """
    columns = solved(matrix, [[float(row == column) for row in range(len(matrix))] for column in range(len(matrix))])
    return [list(row) for row in zip(*columns, strict=True)]


def times(matrix: Rows, vector: Sequence[float]) -> list[float]:
    """The matrix times a vector."""
    return [dot(row, vector) for row in matrix]


def dot(one: Sequence[float], other: Sequence[float]) -> float:
    """The sum of products."""
    total: float = sum(map(mul, one, other))
    return total


def is_positive_definite(matrix: Rows) -> bool:
    """Whether a symmetric matrix is positive definite: whether it has a Cholesky factor."""
    size = len(matrix)
    if size > SMALL:
        import numpy as np

        try:
            np.linalg.cholesky(np.array(matrix))
        except np.linalg.LinAlgError:
            return False
        return True
    lower: list[list[float]] = []
    for place in range(size):
        row: list[float] = []
        for column in range(place):
            above = lower[column]
            row.append((matrix[place][column] - dot(row, above[:column])) / above[column])
        rest = matrix[place][place] - dot(row, row)
        if not rest > 0.0:
            return False
        row.append(math.sqrt(rest))
        lower.append(row)
    return True


def modes(matrix: Rows) -> tuple[list[float], list[list[float]]]:
    """Eigenvalues of a symmetric matrix and an eigenvector of length 1 for each.

    Cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, section on Jacobi methods): slower than others for
    large matrices, plain and exact to rounding for those of a few rows.
    """
    size = len(matrix)
    work = [list(row) for row in matrix]
    vectors = [[float(row == column) for column in range(size)] for row in range(size)]
    for _ in range(60):
        off = math.sqrt(sum(work[p][q] ** 2 for p in range(size) for q in range(p)))
        if off == 0.0 or off <= 1e-16 * math.sqrt(sum(work[p][p] ** 2 for p in range(size))):
            break
        for p in range(size):
            for q in range(p + 1, size):
                if work[p][q]:
                    _rotate(work, vectors, p, q)
    return [work[p][p] for p in range(size)], vectors


def _rotate(work: list[list[float]], vectors: list[list[float]], p: int, q: int) -> None:
    """One rotation that makes the entry at ``p``, ``q`` zero."""
    theta = (work[q][q] - work[p][p]) / (2.0 * work[p][q])
    tangent = math.copysign(1.0, theta) / (abs(theta) + math.hypot(theta, 1.0))
    cosine = 1.0 / math.hypot(tangent, 1.0)
    sine = tangent * cosine
    shift = tangent * work[p][q]
    work[p][p] -= shift
    work[q][q] += shift
    work[p][q] = work[q][p] = 0.0
    for k in range(len(work)):
        if k not in (p, q):
            one, other = work[k][p], work[k][q]
            work[k][p] = work[p][k] = cosine * one - sine * other
            work[k][q] = work[q][k] = sine * one + cosine * other
    above, below = vectors[p], vectors[q]
    vectors[p] = [cosine * a - sine * b for a, b in zip(above, below, strict=True)]
    vectors[q] = [sine * a + cosine * b for a, b in zip(above, below, strict=True)]
