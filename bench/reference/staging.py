"""Lifting in passes: two ways to order the moves, and a replay that solves contact at each move."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from contact import Contact, Deadline, Held, Pivoting
from frame import Frame, Vector, peak_stress
from target import neighbour_pairs

EXACT = 1e-9  # mm


@dataclass(frozen=True)
class Move:
    """Supports that are raised at once in this pass, and the lift still to do after it."""

    number_of_pass: int
    supports: tuple[int, ...]
    still_to_do: tuple[float, ...]


def _raise_to(e: Vector, wanted: Vector, jacks: int, number_of_pass: int) -> Iterator[Move]:
    """Brings every support with more to do than `wanted` down to it, most left to do first."""
    moving = [i for i in np.argsort(-e, kind="stable") if e[i] > wanted[i] + EXACT]
    for start in range(0, len(moving), jacks):
        group = moving[start : start + jacks]
        e[group] = wanted[group]
        yield Move(number_of_pass, tuple(map(int, group)), tuple(float(wanted[i]) for i in group))


def water_line(u: Vector, per_pass: float, jacks: int, sub_steps: int) -> Iterator[Move]:
    """Largest remaining first: a line sinks from the largest lift to nothing."""
    e = u.copy()
    top = float(u.max())
    for k in range(math.ceil(top / per_pass - EXACT)):
        for step in range(1, sub_steps + 1):
            line = max(top - k * per_pass - step * per_pass / sub_steps, 0.0)
            yield from _raise_to(e, np.minimum(u, line), jacks, k + 1)


def proportional(u: Vector, per_pass: float, jacks: int, sub_steps: int) -> Iterator[Move]:
    """Every support at the same share of its lift."""
    e = u.copy()
    passes = math.ceil(float(u.max()) / per_pass - EXACT)
    for k in range(passes):
        for step in range(1, sub_steps + 1):
            share = 1.0 - (k + step / sub_steps) / passes
            yield from _raise_to(e, u * max(share, 0.0), jacks, k + 1)


@dataclass
class Replay:
    """What was met on the way."""

    passes: int = 0
    moves: int = 0
    peak_over_seats: float = 0.0  # slope beyond its limit
    peak_over_beams: float = 0.0
    peak_jack: float = 0.0  # N, at a support just raised
    peak_bearer_stress: float = 0.0
    peak_joist_stress: float = 0.0
    most_hung: int = 0
    end: Contact | None = field(default=None, repr=False)


class SlopeCheck:
    """Slopes between neighbouring supports against the limit of each pair."""

    def __init__(self, frame: Frame, start: Vector, end: Vector, theta: float) -> None:
        y_of = {b.id: b.y for b in frame.house.bearers}
        x = np.array([s.x for s in frame.house.supports])
        y = np.array([y_of[s.bearer] for s in frame.house.supports])
        pairs = neighbour_pairs(x, y)
        self.i = np.array([p[0] for p in pairs])
        self.j = np.array([p[1] for p in pairs])
        self.length = np.array([p[2] for p in pairs])
        self.limit = np.maximum(theta, np.maximum(self.slopes(start), self.slopes(end)))

    def slopes(self, heights: Vector) -> Vector:
        """Size of the slope of each pair."""
        return np.abs(heights[self.i] - heights[self.j]) / self.length

    def over(self, heights: Vector) -> float:
        """Largest slope beyond its limit, 0 if none."""
        return max(float((self.slopes(heights) - self.limit).max(initial=0.0)), 0.0)


def replay(
    frame: Frame,
    held: Held,
    S: Vector,
    start: Vector,
    u: Vector,
    moves: Iterator[Move],
    theta: float,
    stresses: bool = True,
    deadline: Deadline | None = None,
) -> Replay:
    """Runs through the moves from seats that are snug at `start`."""
    slopes = SlopeCheck(frame, start, start + u, theta)
    pivoting = Pivoting(S, held.g, start)
    state = pivoting.solve(np.zeros(len(start), dtype=bool))
    still = u.copy()
    met = Replay()
    for move in moves:
        for i, left in zip(move.supports, move.still_to_do):
            pivoting.move(i, still[i] - left)
            still[i] = left
        state = pivoting.solve(state.hung)
        met.passes, met.moves = move.number_of_pass, met.moves + 1
        met.most_hung = max(met.most_hung, int(state.hung.sum()))
        met.peak_jack = max(met.peak_jack, float(state.R[list(move.supports)].max()))
        met.peak_over_seats = max(met.peak_over_seats, slopes.over(pivoting.seats))
        met.peak_over_beams = max(met.peak_over_beams, slopes.over(state.w))
        if stresses:
            w = held.field(state.w)
            met.peak_bearer_stress = max(met.peak_bearer_stress, peak_stress(frame.bearers, w))
            met.peak_joist_stress = max(met.peak_joist_stress, peak_stress(frame.joists, w))
        if deadline:
            deadline.check()
    met.end = state
    return met
