"""The lift of each support that brings the surveyed points to a wanted height.

The floor after lifting is z + G u. `Target` puts the rows of the problem to the conic solver with
G and S as they are; `least_squares_on_frame` states the same problem with the frame's sparse
equations, which is what large floors need.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.optimize
import scipy.sparse as sp

import conic
from frame import MERGE, Frame, Point, Vector

NEIGHBOUR = 2000.0  # mm; farthest apart for a slope, longest straight-edge
FORCE_ROW = 100.0  # N/mm; scale of the bearing rows
FEASIBLE = 1e-6  # mm of slack in all that still counts as feasible


def lines(x: Vector, y: Vector) -> list[list[int]]:
    """Points that share an x or a y, in order along their line."""
    found = []
    for across, along in ((y, x), (x, y)):
        key = np.round(across / MERGE).astype(np.int64)
        order = np.lexsort((along, key))
        cuts = np.flatnonzero(np.diff(key[order])) + 1
        found += [line.tolist() for line in np.split(order, cuts) if len(line) > 1]
    return found


def neighbour_pairs(x: Vector, y: Vector) -> list[tuple[int, int, float]]:
    """Consecutive points on one line at most 2 m apart, with their distance."""
    pairs = []
    for line in lines(x, y):
        for p, q in zip(line, line[1:]):
            distance = float(np.hypot(x[q] - x[p], y[q] - y[p]))
            if distance <= NEIGHBOUR:
                pairs.append((p, q, distance))
    return pairs


def straightedge_triples(x: Vector, y: Vector) -> list[tuple[int, int, int, float]]:
    """Three consecutive points spanning at most 2 m, with the share of the first in the middle."""
    triples = []
    for line in lines(x, y):
        for p, q, s in zip(line, line[1:], line[2:]):
            span = float(np.hypot(x[s] - x[p], y[s] - y[p]))
            if span <= NEIGHBOUR:
                triples.append((p, q, s, float(np.hypot(x[s] - x[q], y[s] - y[q])) / span))
    return triples


@dataclass(frozen=True)
class Options:
    """Which rows are on. A row that is `None` is off; a height `None` is free."""

    height: float | None = 0.0
    tilt: float = 0.0  # limit of |a| and of |b|
    level: float | None = None
    slope: float | None = None
    edge: float | None = None
    cap: float = 150.0
    fixed: tuple[int, ...] = ()
    lowering: dict[int, float] = field(default_factory=dict)
    least_reaction: float = 0.0


@dataclass(frozen=True)
class Row:
    """coefficients @ x <= bound, with a name that a person can read."""

    kind: str
    name: str
    coefficients: Vector
    bound: float


class Target:
    """One floor: points with levels, influence, stiffness and the present state.

    The unknowns are the lifts u, then h, a and b of the target plane h + a x + b y.
    """

    def __init__(self, points: tuple[Point, ...], G: Vector, S: Vector, reactions: Vector) -> None:
        self.points, self.G, self.S, self.reactions = points, G, S, reactions
        self.x = np.array([p.x for p in points])
        self.y = np.array([p.y for p in points])
        self.z = np.array([p.z for p in points])
        self.m = G.shape[1]
        self.residual = np.column_stack([G, -np.ones(len(points)), -self.x, -self.y])

    def soft_rows(self, options: Options) -> list[Row]:
        """Level, slope and straight-edge rows: those that a tolerance belongs to."""
        rows = []
        name = [p.id for p in self.points]
        if options.level is not None:
            for p in range(len(self.points)):
                rows += both_sides("level", name[p], self.residual[p], self.z[p], options.level)
        if options.slope is not None:
            for p, q, distance in neighbour_pairs(self.x, self.y):
                row, constant = self.residual[p] - self.residual[q], self.z[p] - self.z[q]
                limit = options.slope * distance
                rows += both_sides("slope", f"{name[p]}-{name[q]}", row, constant, limit)
        if options.edge is not None:
            for p, q, s, share in straightedge_triples(self.x, self.y):
                weights = np.zeros(len(self.points))
                weights[[p, q, s]] = -share, 1.0, share - 1.0
                row, constant = weights @ self.residual, float(weights @ self.z)
                label = f"{name[p]}-{name[q]}-{name[s]}"
                rows += both_sides("edge", label, row, constant, options.edge)
        return rows

    def hard_rows(self, options: Options) -> list[Row]:
        """Bearing rows and bounds."""
        rows = []
        wide = np.zeros((self.m, self.m + 3))
        wide[:, : self.m] = self.S
        for i in range(self.m):
            bound = float(self.reactions[i]) - options.least_reaction
            rows.append(Row("bearing", str(i), -wide[i], bound))
            unit = np.zeros(self.m + 3)
            unit[i] = 1.0
            upper = 0.0 if i in options.fixed else options.cap
            rows.append(Row("cap", str(i), unit, upper))
            rows.append(Row("lowest", str(i), -unit, options.lowering.get(i, 0.0)))
        for k in (1, 2):
            unit = np.zeros(self.m + 3)
            unit[self.m + k] = 1.0
            rows += both_sides("tilt", "ab"[k - 1], unit, 0.0, options.tilt)
        return rows

    def program(
        self, rows: list[Row], options: Options, q: Vector, extra: sp.spmatrix | None = None
    ) -> conic.Program:
        """The rows as a program; `extra` holds the columns of further unknowns, one row per row."""
        n_extra = 0 if extra is None else extra.shape[1]
        left = sp.csc_matrix(np.array([row.coefficients for row in rows]))
        G = left if extra is None else sp.hstack([left, extra]).tocsc()
        fixed_height = options.height is not None
        A = np.zeros((1 if fixed_height else 0, self.m + 3 + n_extra))
        A[:, self.m] = 1.0
        return conic.Program(
            Q=sp.csc_matrix((len(q), len(q))),
            q=q,
            A=sp.csc_matrix(A),
            b=np.array([options.height] if fixed_height else []),
            G=G,
            h=np.array([row.bound for row in rows]),
        )

    def all_rows(self, options: Options) -> list[Row]:
        """Soft and hard rows."""
        return self.soft_rows(options) + self.hard_rows(options)

    def least_total(self, options: Options) -> tuple[float, Vector]:
        """Least sum of lifts (of |u| where lowering is allowed), and the unknowns."""
        rows = self.all_rows(options)
        # One unknown t per support with t >= u and t >= -u.
        sizes = []
        for i in range(self.m):
            unit = np.zeros(self.m + 3)
            unit[i] = 1.0
            sizes += [Row("size", str(i), unit, 0.0), Row("size", str(i), -unit, 0.0)]
        extra = sp.vstack(
            [
                sp.csc_matrix((len(rows), self.m)),
                -sp.kron(sp.identity(self.m), np.ones((2, 1))),
            ]
        )
        q = np.r_[np.zeros(self.m + 3), np.ones(self.m)]
        found = conic.solve(self.program(rows + sizes, options, q, extra))
        return found.value, found.x[: self.m + 3]

    def smallest_worst(self, options: Options) -> float:
        """Smallest possible largest residual; the level row itself is left out."""
        rows = self.all_rows(replace(options, level=None))
        levels = self.soft_rows(replace(options, level=0.0, slope=None, edge=None))
        extra = np.zeros((len(rows) + len(levels), 1))
        extra[len(rows) :] = -1.0
        q = np.r_[np.zeros(self.m + 3), 1.0]
        program = self.program(rows + levels, options, q, sp.csc_matrix(extra))
        return conic.solve(program).value

    def least_squares(self, options: Options) -> tuple[float, Vector, Vector]:
        """Least sum of squared residuals, the lifts, and the residuals."""
        program = self.program(self.all_rows(options), options, 2 * self.residual.T @ self.z)
        program.Q = sp.csc_matrix(2 * self.residual.T @ self.residual)
        x = conic.solve(program, tolerance=1e-12).x
        residuals = self.z + self.residual @ x
        return float(residuals @ residuals), x[: self.m], residuals

    def fewest_touched(self, options: Options) -> tuple[int, Vector]:
        """Least number of supports that are lifted, by the mixed-integer solver of scipy."""
        m = self.m
        rows = self.all_rows(options)
        A = np.hstack([np.array([row.coefficients for row in rows]), np.zeros((len(rows), m))])
        touch = np.hstack([np.eye(m), np.zeros((m, 3)), -options.cap * np.eye(m)])
        lower, upper = np.full(2 * m + 3, -np.inf), np.full(2 * m + 3, np.inf)
        lower[m + 3 :], upper[m + 3 :] = 0.0, 1.0
        if options.height is not None:
            lower[m] = upper[m] = options.height
        found = scipy.optimize.milp(
            np.r_[np.full(m, 1e-4), np.zeros(3), np.ones(m)],
            constraints=[
                scipy.optimize.LinearConstraint(A, ub=np.array([row.bound for row in rows])),
                scipy.optimize.LinearConstraint(touch, ub=0.0),
            ],
            integrality=np.r_[np.zeros(m + 3), np.ones(m)],
            bounds=scipy.optimize.Bounds(lower, upper),
            options={"mip_rel_gap": 0.0},
        )
        if not found.success:
            raise conic.NotSolved(found.message)
        return int(np.round(found.x[m + 3 :]).sum()), found.x[:m]

    def elastic(self, soft: list[Row], options: Options) -> tuple[float, Vector]:
        """Least sum of slacks on the soft rows with the hard rows kept, and the multipliers."""
        hard = self.hard_rows(options)
        n = len(soft)
        at_least_zero = [Row("slack", "", np.zeros(self.m + 3), 0.0)] * n
        extra = sp.vstack([-sp.identity(n), sp.csc_matrix((len(hard), n)), -sp.identity(n)])
        q = np.r_[np.zeros(self.m + 3), np.ones(n)]
        found = conic.solve(self.program(soft + hard + at_least_zero, options, q, extra))
        return found.value, found.multipliers[:n]

    def minimal_conflict(self, options: Options) -> list[Row]:
        """Soft rows that clash and of which none can go, by a deletion filter."""
        soft = self.soft_rows(options)
        _, multipliers = self.elastic(soft, options)
        kept = [row for row, y in zip(soft, multipliers) if y > 1e-6]
        for kind in ("edge", "slope", "level"):
            for row in [row for row in kept if row.kind == kind]:
                rest = [other for other in kept if other is not row]
                if rest and self.elastic(rest, options)[0] > FEASIBLE:
                    kept = rest
        return kept


def both_sides(kind: str, name: str, row: Vector, constant: float, limit: float) -> list[Row]:
    """|row @ x + constant| <= limit as two rows."""
    return [
        Row(kind, f"{name} upper", row, limit - constant),
        Row(kind, f"{name} lower", -row, limit + constant),
    ]


def least_squares_on_frame(
    frame: Frame,
    w_c: Vector,
    R: Vector,
    z: Vector,
    caps: Vector,
    level: float,
    tolerance: float = 1e-8,
    seconds: float = 1e9,
) -> tuple[Vector, Vector]:
    """Least squares with level, bearing and cap rows, on the frame's sparse equations.

    The unknowns are the changes v of all heights and slopes: K_F v = 0, the supports' rows of v are
    the lifts, R + K_c v are the new reactions, z + P v the new floor. The target is height 0. Gives
    the lifts and the residuals.
    """
    n, m = frame.n, len(w_c)
    K, P = frame.K.tocsr(), frame.P.tocsr()
    # Rows near 1: the equations by the size of K, reactions by that of a support's own stiffness.
    equations = K[frame.F] / float(K.diagonal().mean())
    select = sp.coo_matrix((np.ones(m), (np.arange(m), frame.c)), shape=(m, n)).tocsr()
    program = conic.Program(
        Q=2 * P.T @ P,
        q=2 * P.T @ z,
        A=equations,
        b=np.zeros(len(frame.F)),
        G=sp.vstack([P, -P, -K[frame.c] / FORCE_ROW, select, -select]),
        h=np.r_[level - z, level + z, R / FORCE_ROW, caps, np.zeros(m)],
    )
    found = conic.solve(program, tolerance=tolerance, seconds=seconds)
    return found.x[frame.c], z + P @ found.x
