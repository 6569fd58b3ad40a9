"""Times the frame's mathematics, one thread, and prints `size stage seconds` for each stage.

Seconds are of processor time: the clock counts what else the machine does.

`python bench.py [SUPPORTS ...] [--limit SECONDS]`. A stage that takes longer than the limit is
printed as `size stage skipped` with the reason. Lines that begin with `#` say what came out, so
that two programs can be seen to have done the same work.
"""

from __future__ import annotations

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "RAYON_NUM_THREADS"):
    # Before numpy is loaded: it reads them once.
    os.environ[variable] = "1"

import argparse
import math
import statistics
import time
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

import conic
import contact
import house
import staging
import target
from frame import Frame, Vector, assemble

REPEATS = 5  # of a short stage; the middle one counts
ENOUGH = 3.0  # s; a stage is not repeated once this long has been spent on it
DENSE_UP_TO = 2000  # supports; above, contact is solved by refactoring
LEVEL, PER_PASS, JACKS, SUB_STEPS, THETA = 20.0, 5.0, 2, 2, 1 / 300

T = TypeVar("T")


class Skipped(Exception):
    """A stage that was given up; the text says why."""


class Timer:
    """Runs the stages of one size and prints how long they take."""

    def __init__(self, size: int, limit: float) -> None:
        self.size, self.limit = size, limit

    def stage(self, name: str, work: Callable[[contact.Deadline], T]) -> T | None:
        """The result of the stage, or `None` if it was skipped."""
        times: list[float] = []
        try:
            while len(times) < REPEATS and sum(times) < ENOUGH:
                start = time.process_time()
                result = work(contact.Deadline(self.limit))
                times.append(time.process_time() - start)
        except (TimeoutError, Skipped, MemoryError) as why:
            print(f"{self.size} {name} skipped {why or 'not enough memory'}", flush=True)
            return None
        print(f"{self.size} {name} {statistics.median(times):.6f}", flush=True)
        return result

    def needed(self, name: str, work: Callable[[contact.Deadline], T]) -> T:
        """The result of a stage that the others cannot do without."""
        result = self.stage(name, work)
        if result is None:
            raise SystemExit(f"{self.size}: nothing can follow without {name}")
        return result

    def say(self, name: str, value: Any) -> None:
        """Prints a result for comparison."""
        text = f"{value:.4f}" if isinstance(value, float) else str(value)
        print(f"# {self.size} {name} {text}", flush=True)


def need(condition: bool, what: str) -> None:
    """Stops the program on a wrong result: a wrong answer has no speed."""
    if not condition:
        raise SystemExit(f"wrong result: {what}")


def run(size: int, limit: float) -> None:
    """All stages at one size."""
    timer = Timer(size, limit)
    building = house.house(*house.SIZES[size])
    caps = house.caps(size)

    def assembled(_: contact.Deadline) -> tuple[Frame, contact.Held]:
        frame = assemble(building)
        return frame, contact.Held(frame)

    frame, held = timer.needed("assemble", assembled)
    timer.say("unknowns", frame.n)
    condensed = timer.stage("influence", held.influence)
    S = None if condensed is None else condensed[0]
    if condensed is not None:
        need(bool(np.abs(condensed[1].sum(axis=1) - 1).max() < 1e-6), "rows of G sum to 1")
        timer.say("influence_sum_of_squares", float((condensed[1] ** 2).sum()))
        del condensed
    state = timer.needed("contact", lambda _: solve_contact(frame, held, S))
    need(abs(float(state.R.sum()) - frame.total_load) < 0.01, "reactions carry the load")
    timer.say("hung", int(state.hung.sum()))
    timer.say("largest_reaction_N", float(state.R.max()))
    rises = np.clip(-state.w, 0.0, caps)
    forces = timer.stage("jacks", lambda deadline: jacks(S, state, building.seats, rises, deadline))
    if forces is not None:
        timer.say("largest_jack_N", float(forces.max()))
        timer.say("sum_of_jacks_N", float(forces.sum()))
    z = frame.P @ held.field(state.w)
    found = timer.stage("target", lambda _: lifts(frame, state, z, caps, limit))
    # Where no target was found in time, the lifts of the jack stage stand in.
    u = rises if found is None else np.clip(found[0], 0.0, caps)
    if found is not None:
        check_target(frame, held, state, caps, found)
        timer.say("sum_of_squares", float(found[1] @ found[1]))
        timer.say("worst_residual_mm", float(np.abs(found[1]).max()))
        timer.say("sum_of_lifts_mm", float(u.sum()))
    met = timer.stage("passes", lambda deadline: passes(frame, held, S, state, u, deadline))
    if met is not None:
        need(met.passes == math.ceil(float(u.max()) / PER_PASS - 1e-9), "passes meet their bound")
        timer.say("passes", met.passes)
        timer.say("moves", met.moves)
        timer.say("peak_jack_N", met.peak_jack)
        timer.say("peak_slope_over", met.peak_over_seats)
        timer.say("most_hung", met.most_hung)


def solve_contact(frame: Frame, held: contact.Held, S: Vector | None) -> contact.Contact:
    """Contact from nothing: all supports carry at first."""
    if S is not None and len(S) <= DENSE_UP_TO:
        return contact.by_block_pivoting(S, held.g, frame.house.seats)
    return contact.by_refactoring(frame, frame.house.seats)


def jacks(
    S: Vector | None,
    state: contact.Contact,
    seats: Vector,
    rises: Vector,
    deadline: contact.Deadline,
) -> Vector:
    """The force at every support, raised alone by its full lift."""
    if S is None:
        raise Skipped("for want of influence")
    exchanged = contact.Exchanged(S, state)
    forces = np.empty(len(rises))
    for i, rise in enumerate(rises):
        forces[i] = exchanged.jack(i, float(rise), seats)[0]
        deadline.check()
    return forces


def lifts(
    frame: Frame, state: contact.Contact, z: Vector, caps: Vector, limit: float
) -> tuple[Vector, Vector]:
    """The least-squares target."""
    try:
        return target.least_squares_on_frame(frame, state.w, state.R, z, caps, LEVEL, seconds=limit)
    except conic.NotSolved as why:
        reason = f"over {limit:.0f} s" if "Time" in str(why) else f"the solver says {why}"
        raise Skipped(reason) from why


def check_target(
    frame: Frame,
    held: contact.Held,
    state: contact.Contact,
    caps: Vector,
    found: tuple[Vector, Vector],
) -> None:
    """Holds the lifts against the frame itself."""
    u, residuals = found
    w = held.field(state.w + u)
    R = (frame.K @ w - frame.f)[frame.c]
    off = float(np.abs(frame.P @ w - residuals).max())
    need(off < 0.01, f"the floor follows the lifts, to {off} mm")
    need(bool(np.abs(residuals).max() < LEVEL + 0.01), "levels keep to their tolerance")
    need(bool((u > -0.01).all() and (u < caps + 0.01).all()), "lifts keep to their caps")
    need(bool(R.min() > -1.0), f"every support carries; least {R.min()} N")


def passes(
    frame: Frame,
    held: contact.Held,
    S: Vector | None,
    state: contact.Contact,
    u: Vector,
    deadline: contact.Deadline,
) -> staging.Replay:
    """The water line, with contact solved at every move."""
    if S is None:
        raise Skipped("for want of influence")
    moves = staging.water_line(u, PER_PASS, JACKS, SUB_STEPS)
    return staging.replay(
        frame, held, S, state.w, u, moves, THETA, stresses=False, deadline=deadline
    )


def main() -> None:
    """Runs the sizes that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("supports", nargs="*", type=int, default=list(house.SIZES))
    parser.add_argument("--limit", type=float, default=120.0, help="seconds for one stage")
    arguments = parser.parse_args()
    for size in arguments.supports:
        run(size, arguments.limit)


if __name__ == "__main__":
    main()
