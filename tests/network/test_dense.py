"""Small matrices in plain Python against numpy, on both sides of the size where numpy takes over."""

import numpy as np
import pytest

from bench.network import dense

SIZES = [1, 2, 5, dense.SMALL, dense.SMALL + 1, 40]


def symmetric(size, seed):
    half = np.random.default_rng(seed).normal(size=(size, size))
    return half @ half.T + 0.1 * np.eye(size)


@pytest.mark.parametrize("size", SIZES)
def test_a_solution_is_numpys(size):
    draw = np.random.default_rng(size)
    matrix, rights = draw.normal(size=(size, size)), draw.normal(size=(3, size))
    matrix[0, 0] = 0.0 if size > 1 else 2.0  # so that rows have to be exchanged
    mine = dense.solved(matrix.tolist(), rights.tolist())
    assert np.allclose(mine, np.linalg.solve(matrix, rights.T).T, rtol=1e-9, atol=1e-12)
    assert np.allclose(dense.inverse(matrix.tolist()), np.linalg.inv(matrix), rtol=1e-8, atol=1e-10)


def test_nothing_to_solve_is_solved():
    assert dense.solve([], []) == []


@pytest.mark.parametrize("size", [2, dense.SMALL + 1])
def test_what_has_no_inverse_is_refused(size):
    with pytest.raises(dense.Singular):
        dense.solve([[0.0] * size for _ in range(size)], [1.0] * size)


@pytest.mark.parametrize("size", SIZES)
def test_positive_definite_is_what_cholesky_says(size):
    matrix = symmetric(size, size)
    assert dense.is_positive_definite(matrix.tolist())
    least = np.linalg.eigvalsh(matrix)[0]
    assert not dense.is_positive_definite((matrix - 1.01 * least * np.eye(size)).tolist())


@pytest.mark.parametrize("size", [1, 2, 3, 8])
@pytest.mark.parametrize("decades", [0, 12])
def test_modes_are_numpys(size, decades):
    scale = 10.0 ** np.linspace(0, -decades / 2, size)
    matrix = scale[:, None] * symmetric(size, size) * scale[None, :]
    values, vectors = (np.array(part) for part in dense.modes(matrix.tolist()))
    assert np.allclose(sorted(values), np.linalg.eigvalsh(matrix), rtol=1e-9, atol=1e-15 * np.abs(matrix).max())
    assert np.allclose(vectors @ vectors.T, np.eye(size), atol=1e-12)
    assert np.allclose((vectors.T * values) @ vectors, matrix, rtol=1e-9, atol=1e-14 * np.abs(matrix).max())
