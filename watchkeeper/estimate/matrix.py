"""The little of matrices that the estimates need; three to eight rows do not call for a library."""

from __future__ import annotations

import math
from collections.abc import Sequence

Matrix = list[list[float]]


def diagonal(*values: float) -> Matrix:
    """Return a square matrix with these values on its diagonal."""
    return [[v if i == j else 0.0 for j in range(len(values))] for i, v in enumerate(values)]


def cholesky(p: Matrix) -> Matrix:
    """Return the lower factor L of a symmetric matrix, P = L L'.

    What is not positive by rounding counts as nothing. Its columns are independent errors of one standard
    deviation each.
    """
    n = len(p)
    low = [[0.0] * n for _ in range(n)]
    for j in range(n):
        left = p[j][j] - sum(low[j][k] ** 2 for k in range(j))
        low[j][j] = math.sqrt(left) if left > 0.0 else 0.0
        for i in range(j + 1, n):
            rest = p[i][j] - sum(low[i][k] * low[j][k] for k in range(j))
            low[i][j] = rest / low[j][j] if low[j][j] > 0.0 else 0.0
    return low


def solved(low: Matrix, right: Sequence[float]) -> list[float]:
    """Return x of L L' x = right, by a lower factor without zeros on its diagonal."""
    n = len(low)
    x = list(right)
    for i in range(n):
        x[i] = (x[i] - sum(low[i][k] * x[k] for k in range(i))) / low[i][i]
    for i in reversed(range(n)):
        x[i] = (x[i] - sum(low[k][i] * x[k] for k in range(i + 1, n))) / low[i][i]
    return x


def is_covariance(p: Matrix, most: float) -> bool:
    """Tell whether a square matrix is symmetric, has no negative axis and no variance above `most`."""
    n = len(p)
    if not all(0.0 <= p[i][i] <= most for i in range(n)):
        return False
    low = cholesky(p)
    for i in range(n):
        for j in range(n):
            # by rounding, kept values are off by far less than this
            near = 1e-6 * math.sqrt(p[i][i] * p[j][j]) + 1e-12
            if abs(p[i][j] - p[j][i]) > near:
                return False
            if abs(p[i][j] - sum(low[i][k] * low[j][k] for k in range(n))) > near:
                return False
    return True
