"""One way to put quadratic and linear programs to the conic solver."""

from __future__ import annotations

from dataclasses import dataclass

import clarabel
import numpy as np
import scipy.sparse as sp

from frame import Vector


class NotSolved(Exception):
    """The solver did not reach an optimum; the text is its own word for why."""


@dataclass
class Program:
    """min 1/2 x'Qx + q'x subject to A x = b and G x <= h."""

    Q: sp.spmatrix
    q: Vector
    A: sp.spmatrix
    b: Vector
    G: sp.spmatrix
    h: Vector


@dataclass
class Solution:
    """The optimum with the multipliers of the inequalities."""

    x: Vector
    value: float
    multipliers: Vector
    word: str


def solve(program: Program, tolerance: float = 1e-10, seconds: float = 1e9) -> Solution:
    """Solves a convex program; raises `NotSolved` with the solver's word if it cannot."""
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    settings.direct_solve_method = "faer"
    settings.max_iter = 200
    settings.time_limit = seconds
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = tolerance
    n_equal, n_less = program.A.shape[0], program.G.shape[0]
    cones = []
    if n_equal:
        cones.append(clarabel.ZeroConeT(n_equal))
    if n_less:
        cones.append(clarabel.NonnegativeConeT(n_less))
    rows = sp.vstack([program.A, program.G]).tocsc()
    solver = clarabel.DefaultSolver(
        sp.triu(program.Q).tocsc(),
        program.q,
        rows,
        np.r_[program.b, program.h],
        cones,
        settings,
    )
    found = solver.solve()
    word = str(found.status)
    if word not in ("Solved", "AlmostSolved"):
        raise NotSolved(word)
    return Solution(np.array(found.x), found.obj_val, np.array(found.z)[n_equal:], word)
