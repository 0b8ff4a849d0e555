"""Direct dense-matrix formulas of REML, Kenward-Roger and Satterthwaite, for checking.

Written from the papers (Patterson & Thompson 1971; Kenward & Roger 1997, eqs. 3-6 and 4.1) with
n x n matrices and no short cut, so that it shares nothing with the code under test. It was
itself checked against the values in tests/reference/lmm (test_dense_reference.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


def indicator(labels):
    labels = np.asarray(labels)
    return (labels[:, None] == np.unique(labels)[None, :]).astype(float)


@dataclass
class Dense:
    beta: np.ndarray
    cov: np.ndarray
    cov_kr: np.ndarray
    criterion: float
    score: np.ndarray
    expected: np.ndarray
    observed: np.ndarray
    pieces: list

    def kr_df(self, contrast):
        return self._df(contrast, self.expected)

    def satterthwaite_df(self, contrast):
        return self._df(contrast, self.observed)

    def _df(self, contrast, information):
        f = contrast @ self.cov @ contrast
        g = [contrast @ self.cov @ piece @ self.cov @ contrast for piece in self.pieces]
        g = np.array(g)
        return 2 * f**2 / (g @ np.linalg.solve(information, g))


def dense_fit(y, X, columns, variances):
    """Everything at given variances, one for each column of labels and the last the residual's."""
    G = [z @ z.T for z in map(indicator, columns)] + [np.eye(len(y))]
    V = sum(v * g for v, g in zip(variances, G, strict=True))
    Vi = np.linalg.inv(V)
    C = X.T @ Vi @ X
    cov = np.linalg.inv(C)
    P = Vi - Vi @ X @ cov @ X.T @ Vi
    beta = cov @ X.T @ Vi @ y
    n, p = X.shape
    logdets = np.linalg.slogdet(V)[1] + np.linalg.slogdet(C)[1]
    criterion = (n - p) * np.log(2 * np.pi) + logdets + y @ P @ y
    PG = [P @ g for g in G]
    Py = P @ y
    m = len(G)
    expected = np.array([[0.5 * np.sum(PG[i] * PG[j].T) for j in range(m)] for i in range(m)])
    observed = -expected + np.array([[y @ PG[i] @ PG[j] @ Py for j in range(m)] for i in range(m)])
    score = np.array([-0.5 * np.trace(PG[i]) + 0.5 * Py @ G[i] @ Py for i in range(m)])
    pieces = [X.T @ Vi @ g @ Vi @ X for g in G]
    W = np.linalg.inv(expected)
    U = np.zeros((p, p))
    for i in range(m):
        for j in range(m):
            Q = X.T @ Vi @ G[i] @ Vi @ G[j] @ Vi @ X
            U += W[i, j] * (Q - pieces[i] @ cov @ pieces[j])
    return Dense(beta, cov, cov + 2 * cov @ U @ cov, criterion, score, expected, observed, pieces)
