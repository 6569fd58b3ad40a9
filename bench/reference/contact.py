"""Which supports carry: stiffness condensed on the supports, and three ways to solve contact.

Minimise 1/2 w'Kw - f'w subject to w >= s at the supports. `by_conic_solver` puts just that to a
general solver, `by_block_pivoting` works on the condensed stiffness S, `by_refactoring` on K.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
import scipy.sparse.linalg as sla

import conic
from frame import Frame, Vector

TRIES = 10  # of swapping all, before swapping one at a time
HEIGHT_SLACK = 1e-9  # mm; rounding, not engineering
FORCE_SLACK = 1e-6  # N
PIVOT_RATIO = 1e-11  # below this the frame rocks
BLOCK = 16  # right-hand sides solved at once; more fall out of the cache


class Rocks(Exception):
    """The supports in contact do not hold the frame; its tilt is not unique."""


def factorise(matrix: sp.csc_matrix) -> sla.SuperLU:
    """Sparse factor of a symmetric positive definite matrix."""
    options = {"SymmetricMode": True}
    return sla.splu(matrix, permc_spec="COLAMD", diag_pivot_thresh=0.0, options=options)


@dataclass
class Held:
    """The frame with every support held: K_FF is then never singular."""

    frame: Frame

    def __post_init__(self) -> None:
        free = self.frame.K[self.frame.F]
        self.K_Fc = free[:, self.frame.c].tocsc()
        self.factor = factorise(free[:, self.frame.F].tocsc())
        # Loads condensed on the supports: R = S w_c - g.
        under_load = self.factor.solve(self.frame.f[self.frame.F])
        self.g = self.frame.f[self.frame.c] - self.K_Fc.T @ under_load

    def field(self, w_c: Vector) -> Vector:
        """All unknowns, from the heights at the supports."""
        w = np.empty(self.frame.n)
        w[self.frame.c] = w_c
        w[self.frame.F] = self.factor.solve(self.frame.f[self.frame.F] - self.K_Fc @ w_c)
        return w

    def influence(self, deadline: Deadline | None = None) -> tuple[Vector, Vector]:
        """S, and G = d(surveyed point)/d(support height) with every support packed."""
        frame = self.frame
        n = len(frame.c)
        P_c, P_F = frame.P[:, frame.c].tocsc(), frame.P[:, frame.F].tocsr()
        K_cc = frame.K[frame.c][:, frame.c].tocsc()
        K_cF = self.K_Fc.T.tocsr()
        S, G = np.empty((n, n), order="F"), np.empty((frame.P.shape[0], n), order="F")
        for start in range(0, n, BLOCK):
            part = slice(start, min(start + BLOCK, n))
            X = self.factor.solve(self.K_Fc[:, part].toarray(order="F"))
            S[:, part] = K_cc[:, part].toarray() - K_cF @ X
            G[:, part] = P_c[:, part].toarray() - P_F @ X
            if deadline:
                deadline.check()
        return S, G


class Deadline:
    """A limit of time that long loops ask about."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.end = time.perf_counter() + seconds

    def check(self) -> None:
        """Raises `TimeoutError` once the time is up."""
        if time.perf_counter() > self.end:
            raise TimeoutError(f"over {self.seconds:.0f} s")


@dataclass
class Contact:
    """The answer of the contact problem at the supports."""

    w: Vector  # heights of the bearers
    R: Vector  # reactions
    hung: np.ndarray  # True where the bearer is off its seat
    tries: int

    def gap(self, seats: Vector) -> Vector:
        """How far each bearer hangs above its seat."""
        return self.w - seats


def swap(hung: np.ndarray, wrong: np.ndarray, state: list[int]) -> np.ndarray:
    """The next set to try; `state` holds the least number wrong so far and the tries since."""
    n_wrong = int(wrong.sum())
    if n_wrong < state[0]:
        state[:] = [n_wrong, 0]
    else:
        state[1] += 1
    if state[1] < TRIES:
        return hung ^ wrong
    single = hung.copy()
    first = int(np.argmax(wrong))
    single[first] = not single[first]
    return single


class Pivoting:
    """Block principal pivoting on R = S w - g, keeping r = S s - g as seats move.

    The hung block's Cholesky factor and columns are kept as long as the set stays the same.
    """

    def __init__(self, S: Vector, g: Vector, seats: Vector) -> None:
        self.S, self.g = S, g
        self.seats = seats.copy()
        self.r = S @ seats - g
        self._hung_of_factor: np.ndarray | None = None
        self._factor: Vector = np.empty((0, 0))
        self._columns: Vector = np.empty((0, 0))

    def move(self, i: int, rise: float) -> None:
        """Raises one seat."""
        self.seats[i] += rise
        self.r += self.S[:, i] * rise

    def solve(self, hung: np.ndarray) -> Contact:
        """Contact for the present seats, starting from this set; raises `Rocks`."""
        state = [len(self.g) + 1, 0]
        # Murty's rule ends, but no bound worth waiting for is known.
        for tries in range(1, 50 * len(self.g)):
            w, R = self._with_set(hung)
            wrong = np.where(hung, w < self.seats - HEIGHT_SLACK, R < -FORCE_SLACK)
            if not wrong.any():
                return Contact(w, R, hung, tries)
            hung = swap(hung, wrong, state)
        raise RuntimeError("block pivoting did not end")

    def _with_set(self, hung: np.ndarray) -> tuple[Vector, Vector]:
        off = np.flatnonzero(hung)
        if len(off) == 0:
            return self.seats.copy(), self.r.copy()
        if self._hung_of_factor is None or not np.array_equal(hung, self._hung_of_factor):
            self._factor = hung_block_factor(self.S, off)
            self._columns = self.S[:, off]
            self._hung_of_factor = hung.copy()
        above = -la.cho_solve((self._factor, True), self.r[off], check_finite=False)
        w = self.seats.copy()
        w[off] += above
        R = self.r + self._columns @ above
        R[off] = 0.0
        return w, R


def hung_block_factor(S: Vector, off: np.ndarray) -> Vector:
    """Cholesky factor of the hung block; raises `Rocks` if it is singular."""
    try:
        factor = la.cholesky(S[np.ix_(off, off)], lower=True, check_finite=False)
    except la.LinAlgError as error:
        raise Rocks from error
    pivots = np.diag(factor) ** 2
    if pivots.min() < PIVOT_RATIO * pivots.max():
        raise Rocks
    return factor


class Exchanged:
    """The condensed equations solved once for a contact state, to go on from it in small steps.

    In that state the heights of the supports in contact and the (absent) reactions of the others
    are given; the rest answers. `T` is the answer to a unit change of what is given. A support
    that changes sides is one more unknown: a step costs a system as small as the number that do.
    """

    def __init__(self, S: Vector, state: Contact) -> None:
        self.hung, n = state.hung, len(S)
        off, on = np.flatnonzero(state.hung), np.flatnonzero(~state.hung)
        self.T = np.empty((n, n), order="F")
        flexibility = la.cho_solve((hung_block_factor(S, off), True), np.eye(len(off)))
        carried = flexibility @ S[np.ix_(off, on)]
        self.T[np.ix_(off, off)] = flexibility
        self.T[np.ix_(off, on)] = -carried
        self.T[np.ix_(on, off)] = carried.T
        self.T[np.ix_(on, on)] = S[np.ix_(on, on)] - S[np.ix_(on, off)] @ carried
        self.answer = np.where(state.hung, state.w, state.R)

    def jack(self, i: int, rise: float, seats: Vector) -> tuple[float, int]:
        """Force at support `i` with its bearer raised by this much, and how many changed sides."""
        # What is to be reached: no reaction, or the seat; a hung bearer that rises is met.
        reach = np.where(self.hung, seats, 0.0)
        given = self.answer.copy()
        moved = np.zeros(len(seats), dtype=bool)
        if self.hung[i]:
            reach[i] = self.answer[i] + rise
            moved[i] = True
        else:
            given += self.T[:, i] * rise
        slack = np.where(self.hung, HEIGHT_SLACK, FORCE_SLACK)
        state = [len(seats) + 1, 0]
        for _ in range(50 * len(seats)):
            swapped = np.flatnonzero(moved)
            change = np.linalg.solve(
                self.T[np.ix_(swapped, swapped)], reach[swapped] - given[swapped]
            )
            answer = given + self.T[:, swapped] @ change
            wrong = answer < reach - slack
            # The change is a reaction where a seat was met and a rise where one was left.
            limit = np.where(self.hung[swapped], FORCE_SLACK, HEIGHT_SLACK)
            wrong[swapped] = change < -limit
            wrong[i] = False
            if not wrong.any():
                force = change[swapped == i][0] if self.hung[i] else answer[i]
                return float(force), len(swapped)
            moved = swap(moved, wrong, state)
        raise RuntimeError("block pivoting did not end")


def by_block_pivoting(
    S: Vector, g: Vector, seats: Vector, hung: np.ndarray | None = None
) -> Contact:
    """Contact on the condensed stiffness; raises `Rocks` if a set on the way is singular."""
    start = np.zeros(len(g), dtype=bool) if hung is None else hung
    return Pivoting(S, g, seats).solve(start)


def by_refactoring(frame: Frame, seats: Vector, hung: np.ndarray | None = None) -> Contact:
    """Contact on banded K, factored anew for each set: for frames whose S is too large.

    Supports in contact keep their rows, as w = s, so that the band is laid out once. Raises `Rocks`
    if a set on the way is singular.
    """
    hung = np.zeros(len(seats), dtype=bool) if hung is None else hung
    state = [len(seats) + 1, 0]
    K = frame.K.tocsr()
    lower = sp.tril(K).tocoo()
    below = lower.row - lower.col
    for tries in range(1, 50 * len(seats)):
        held = np.zeros(frame.n, dtype=bool)
        held[frame.c[~hung]] = True
        w = np.zeros(frame.n)
        w[held] = seats[~hung][np.argsort(frame.c[~hung])]
        load = np.where(held, w, frame.f - K @ w)
        band = np.zeros((int(below.max()) + 1, frame.n), order="F")
        band[below, lower.col] = np.where(held[lower.row] | held[lower.col], 0.0, lower.data)
        band[0, held] = 1.0
        try:
            factor = la.cholesky_banded(band, overwrite_ab=True, lower=True, check_finite=False)
        except la.LinAlgError as error:
            raise Rocks from error
        w = la.cho_solve_banded((factor, True), load, check_finite=False)
        R = np.where(hung, 0.0, (K @ w - frame.f)[frame.c])
        w_c = w[frame.c]
        wrong = np.where(hung, w_c < seats - HEIGHT_SLACK, R < -FORCE_SLACK)
        if not wrong.any():
            return Contact(w_c, R, hung, tries)
        hung = swap(hung, wrong, state)
    raise RuntimeError("block pivoting did not end")


def by_conic_solver(frame: Frame, seats: Vector) -> tuple[Vector, Vector]:
    """All unknowns and the reactions, from the quadratic program put to the conic solver."""
    n, m = frame.n, len(seats)
    # Measured from the highest seat, so that the solver works on small numbers.
    base = float(seats.max())
    rigid = np.zeros(n)
    for beam in frame.bearers + frame.joists:
        rigid[beam.heights] = base
    scale = float(np.abs(frame.f).max())
    select = sp.coo_matrix((np.ones(m), (np.arange(m), frame.c)), shape=(m, n))
    program = conic.Program(
        Q=frame.K / scale,
        q=-frame.f / scale,
        A=sp.csc_matrix((0, n)),
        b=np.empty(0),
        G=-select,
        h=base - seats,
    )
    found = conic.solve(program, tolerance=1e-12)
    return found.x + rigid, found.multipliers * scale


def polished(
    frame: Frame, held: Held, S: Vector, seats: Vector
) -> tuple[Contact, bool, float, float]:
    """The conic solver's answer carried to full precision on the set that it found.

    Gives the state, whether the frame rocks, and how far the solver's own heights (mm) and
    reactions (N) were from it. A frame that rocks keeps the solver's heights.
    """
    w, R = by_conic_solver(frame, seats)
    gap = w[frame.c] - seats
    # The two vanish in turn; each is measured against the largest of its kind.
    hung = R / max(R.max(), 1.0) < gap / max(gap.max(), 1.0)
    # A support that just touches may be counted either way, and one of the ways may seem to rock.
    for start in (hung, np.zeros(len(seats), dtype=bool)):
        try:
            state = by_block_pivoting(S, held.g, seats, start)
        except Rocks:
            continue
        worst_w = float(np.abs(state.w - w[frame.c]).max())
        return state, False, worst_w, float(np.abs(state.R - R).max())
    return Contact(w[frame.c], R, hung, 0), True, 0.0, 0.0


def jack_curve(
    frame: Frame, held: Held, S: Vector, seats: Vector, start: Contact, i: int, rises: list[float]
) -> tuple[list[float], list[int], list[bool]]:
    """Force at support `i` as its bearer is raised from where it hangs; others stay.

    Gives the force, the number of supports in contact, and whether the frame rocks.
    """
    forces, counts, rocking = [], [], []
    for rise in rises:
        raised = seats.copy()
        raised[i] = start.w[i] + rise
        state, rocks, _, _ = polished(frame, held, S, raised)
        forces.append(float(state.R[i]))
        counts.append(int((state.R > 1e-3).sum()))
        rocking.append(rocks)
    return forces, counts, rocking
