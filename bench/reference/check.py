"""Holds this calculation against worked values; ends with status 1 if any of them is missed.

`python check.py`. The values are `tiny-expected.json` of the engine's test data and
`data/beams.toml` here; both state where they come from.
"""

from __future__ import annotations

import json
import sys
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

import contact
import random_frames
import staging
from conic import NotSolved
from frame import (
    Bearer,
    Frame,
    House,
    Support,
    Vector,
    Wall,
    assemble,
    bending,
    house_from_json,
    load_house,
    moments_at_supports,
    peak_stress,
    share_loads,
)
from target import Options, Target, neighbour_pairs, straightedge_triples

HERE = Path(__file__).resolve().parent
FRAME_DATA = HERE.parents[1] / "crates" / "engine" / "tests" / "data" / "frame"


class Checks:
    """Counts what agrees and prints what does not."""

    def __init__(self) -> None:
        self.n_right = 0
        self.wrong: list[str] = []
        self.worst: dict[str, float] = {}

    def close(self, name: str, got: Any, expected: Any, tolerance: float) -> None:
        """Compares numbers or arrays of them."""
        got, expected = np.asarray(got, dtype=float), np.asarray(expected, dtype=float)
        if got.shape != expected.shape:
            self.wrong.append(f"{name}: shape {got.shape}, expected {expected.shape}")
            return
        # A NaN on either side must not count as agreement.
        off = float(np.max(np.abs(got - expected), initial=0.0))
        if off <= tolerance:
            self.n_right += 1
        else:
            self.wrong.append(f"{name}: off by {off:.6g}, allowed {tolerance:g}")
        group = name.split(":")[0]
        self.worst[group] = max(self.worst.get(group, 0.0), off / tolerance)

    def same(self, name: str, got: Any, expected: Any) -> None:
        """Compares things that are equal or are not."""
        if got == expected:
            self.n_right += 1
        else:
            self.wrong.append(f"{name}: {got!r}, expected {expected!r}")

    def finish(self) -> int:
        """Prints the summary and gives the exit status."""
        for group, share in self.worst.items():
            print(f"{group:32} worst at {share:9.2e} of its tolerance")
        for line in self.wrong:
            print(f"WRONG {line}")
        print(f"{self.n_right} values agree, {len(self.wrong)} do not")
        return 1 if self.wrong else 0


def fractions(words: list[str]) -> Vector:
    """Exact fractions as numbers."""
    return np.array([float(Fraction(word)) for word in words])


def beam(spans: list[float], EI: float, q: float = 0.0, walls: tuple[Wall, ...] = ()) -> Frame:
    """One weightless bearer on level seats."""
    x = np.r_[0.0, np.cumsum(spans)]
    # With b = 12 and h = 1, I is 1 and E is EI.
    bearer = Bearer("B", 0.0, 0.0, float(x[-1]), 12.0, 1.0, EI, q)
    supports = tuple(Support(f"S{i}", "B", float(at), 0.0) for i, at in enumerate(x))
    return assemble(House((bearer,), (), supports, 0.0, 0.0, walls))


def check_beams(checks: Checks) -> None:
    """Continuous beams on rigid seats."""
    data = tomllib.loads((HERE / "data" / "beams.toml").read_text())
    exact, L, EI, w = data["tolerance_coefficient"], 1000.0, 1e9, 2.0
    for case in data["equal_spans"]:
        n, name = case["spans"], f"equal spans: {case['spans']}"
        frame = beam([L] * n, EI, w)
        held = contact.Held(frame)
        S, _ = held.influence()
        state = contact.by_block_pivoting(S, held.g, np.zeros(n + 1))
        field = held.field(state.w)
        R = fractions(case["reaction_over_wL"])
        M = fractions(case["support_moment_over_wL2"])
        checks.close(f"{name} R", state.R / (w * L), R, exact)
        checks.close(f"{name} M", moments_at_supports(frame, field)[1:-1] / (w * L**2), M, exact)
        span = bending(frame.bearers[0], field).within / (w * L**2)
        checks.close(f"{name} span M", span, case["span_moment_max_over_wL2"], exact)
    _check_unit_sinking(checks, data, L, EI)
    _check_uneven_seats(checks, data, exact)
    _check_lift_off(checks, data, L, EI, w)


def _check_unit_sinking(checks: Checks, data: dict[str, Any], L: float, EI: float) -> None:
    for case in data["unit_sinking"]:
        n, k = case["spans"], case["support"] - 1
        frame = beam([L] * n, EI)
        held = contact.Held(frame)
        S, _ = held.influence()
        seats = np.zeros(n + 1)
        seats[k] = -1.0
        name = f"unit sinking: {n} spans, support {k + 1}"
        tolerance = data["tolerance_coefficient"]
        R = (S @ seats - held.g) / (EI / L**3)
        checks.close(f"{name} R", R, fractions(case["reaction"]), tolerance)
        M = moments_at_supports(frame, held.field(seats)) / (EI / L**2)
        checks.close(f"{name} M", M, fractions(case["moment"]), tolerance)


def _check_uneven_seats(checks: Checks, data: dict[str, Any], exact: float) -> None:
    case = data["three_moment_settlement"]
    EI = case["E"] * case["b_mm"] * case["h_mm"] ** 3 / 12
    frame = beam(case["spans_mm"], EI, case["w_n_mm"])
    held = contact.Held(frame)
    S, _ = held.influence()
    seats = np.array(case["seat_mm"])
    M = moments_at_supports(frame, held.field(seats))
    # Seats in this case may pull, so the linear answer is the right one.
    R = S @ seats - held.g
    checks.close("uneven seats: R", R, case["reaction_n"], case["tolerance_n"])
    checks.close("uneven seats: M", M, case["support_moment_nmm"], case["tolerance_nmm"])


def _check_lift_off(checks: Checks, data: dict[str, Any], L: float, EI: float, w: float) -> None:
    exact = data["tolerance_coefficient"]
    case = data["three_spans_loaded_1_2"]
    frame = beam([L] * 3, EI, walls=(Wall("x", 0.0, 0.0, 2 * L, w),))
    held = contact.Held(frame)
    S, _ = held.influence()
    level = np.zeros(4)
    checks.close("lift-off: pulling", -held.g / (w * L), case["pull_allowed_over_wL"], exact)
    state = contact.by_block_pivoting(S, held.g, level)
    checks.close("lift-off: pushing", state.R / (w * L), case["push_only_over_wL"], exact)
    gap = float(Fraction(case["gap_at_last_over_wL4_EI"])) * w * L**4 / EI
    checks.close("lift-off: gap", state.w[3], gap, exact * gap)

    case = data["two_spans_centre_low"]
    L, w, EI = case["L_mm"], case["w_n_mm"], case["EI"]
    frame = beam([L, L], EI, w)
    held = contact.Held(frame)
    S, _ = held.influence()
    d0 = 5 * w * L**4 / (24 * EI)
    checks.close("centre low: d0", d0, case["lift_off_mm"], 1e-6)
    for k, share in enumerate(case["d_over_d0"]):
        seats = np.array([0.0, -share * d0, 0.0])
        state, _, _, _ = contact.polished(frame, held, S, seats)
        wanted = [case["reaction_end_n"][k], case["reaction_centre_n"][k]]
        tolerance = case["tolerance_n"]
        checks.close(f"centre low: R at {share} d0", state.R[:2], wanted, tolerance)
        gap = case["gap_over_d0"][k] * d0
        checks.close(f"centre low: gap at {share} d0", state.gap(seats)[1], gap, 1e-6)

    case = data["two_spans_centre_jacked"]
    leave = w * L**4 / (8 * EI)
    checks.close("centre jacked: leaves", leave, case["ends_leave_mm"], 1e-6)
    for share, force in zip(case["d_over_leave"], case["force_n"]):
        state, _, _, _ = contact.polished(frame, held, S, np.array([0.0, share * leave, 0.0]))
        checks.close(f"centre jacked: {share}", state.R[1], force, case["tolerance_n"])
    beyond = np.array([0.0, 1.2 * leave, 0.0])
    _, rocks, _, _ = contact.polished(frame, held, S, beyond)
    checks.same("centre jacked: rocks beyond", rocks, True)
    _, R = contact.by_conic_solver(frame, beyond)
    checks.close("centre jacked: force beyond", R[1], case["force_after_n"], case["tolerance_n"])


def check_tiny(checks: Checks) -> None:
    """The tiny floor: contact, influence, jack curves, targets, staging."""
    house = load_house(FRAME_DATA / "tiny-input.json")
    expected = json.loads((FRAME_DATA / "tiny-expected.json").read_text())
    tolerance = expected["tolerances"]
    frame = assemble(house)
    held = contact.Held(frame)
    S, G = held.influence()
    checks.same("tiny: unknowns", frame.n, expected["dof"])
    checks.same("tiny: supports", [s.id for s in house.supports], expected["supports"])
    checks.close("tiny: load", frame.total_load, expected["total_load_N"], 1e-5)
    checks.close("tiny: S", S, expected["stiffness"]["S"], 1e-5)
    checks.close("tiny: g", held.g, expected["stiffness"]["g"], tolerance["force_N"])
    checks.close("tiny: G", G, expected["influence"]["G"], tolerance["influence"])
    state, rocks, _, _ = contact.polished(frame, held, S, house.seats)
    checks.same("tiny: rocks", rocks, False)
    ways = {
        "conic solver": state,
        "block pivoting": contact.by_block_pivoting(S, held.g, house.seats),
        "refactoring": contact.by_refactoring(frame, house.seats),
    }
    for way, found in ways.items():
        _check_contact(checks, way, frame, held, found, expected["contact"], tolerance)
    for curve in expected["jack_force"]:
        i = expected["supports"].index(curve["support"])
        F, n_in_contact, _ = contact.jack_curve(
            frame, held, S, house.seats, state, i, curve["d_mm"]
        )
        checks.close(f"jack force: {curve['support']}", F, curve["F_N"], tolerance["force_N"])
        checks.same(f"jack force: {curve['support']} count", n_in_contact, curve["in_contact"])
    row_sums = np.abs(S).sum(axis=1)
    sensitivity = expected["sensitivity"]
    checks.close("tiny: row sum", row_sums.max(), sensitivity["worst_row_sum_abs_S"], 1e-4)
    bound = sensitivity["reaction_bound_for_0_75mm_N"]
    checks.close("tiny: reaction bound", 0.75 * row_sums.max(), bound, 1e-3)
    target = Target(house.points, G, S, state.R)
    _check_neighbours(checks, target, expected["target"])
    _check_targets(checks, target, expected["target"], tolerance["objective_mm"])
    _check_staging(checks, frame, held, S, state.w, expected["staging"])


def check_sharing(checks: Checks) -> None:
    """Nothing that stands on a floor is lost or doubled when it is shared, on members or off."""
    for k in range(len(random_frames.SIZES)):
        data = random_frames.draw(k)
        house = house_from_json({name: v for name, v in data.items() if name != "roughness_mm"})
        weight = house.density * house.gravity * 1e-9
        x, y = [j.x for j in house.joists], house.joists[0]
        floor = house.area_load * (max(x) - min(x)) * (y.y1 - y.y0)
        timber = weight * (
            sum(b.b * b.h * (b.x1 - b.x0) for b in house.bearers)
            + sum(j.b * j.h * (j.y1 - j.y0) for j in house.joists)
        )
        walls = sum(wall.w * (wall.end - wall.start) for wall in house.walls)
        total = assemble(house).total_load
        checks.close(f"load sharing: frame {k + 1}", total, floor + timber + walls, 1e-6)
    # The lever rule by hand: a wall a third of the way from J1 to J2 on two otherwise idle joists.
    house = house_from_json(
        {
            "bearers": [],
            "joists": [
                {
                    "id": f"J{j}",
                    "x": 600.0 * j,
                    "y0": 0.0,
                    "y1": 3000.0,
                    "b": 50.0,
                    "h": 100.0,
                    "E": 8e3,
                }
                for j in range(3)
            ],
            "supports": [],
            "loads": {
                "area_N_mm2": 0.0,
                "density_kg_m3": 0.0,
                "walls": [
                    {"dir": "y", "at": 800.0, "from": 500.0, "to": 2000.0, "w": 3.0},
                    {"dir": "x", "at": 700.0, "from": 150.0, "to": 1000.0, "w": 2.0},
                ],
            },
        }
    )
    _, joists = share_loads(house)
    parts = [joist.parts for joist in joists]
    checks.same("load sharing: first", parts[0], [])
    checks.close("load sharing: near", parts[1], [(500.0, 2000.0, 2.0)], 1e-12)
    checks.close("load sharing: far", parts[2], [(500.0, 2000.0, 1.0)], 1e-12)
    # Strips end at 300 and 900: 150, 600 and 100 mm of the wall across.
    points = [joist.points for joist in joists]
    wanted = [[(700.0, 300.0)], [(700.0, 1200.0)], [(700.0, 200.0)]]
    checks.close("load sharing: across", points, wanted, 1e-9)


def _check_contact(
    checks: Checks,
    way: str,
    frame: Frame,
    held: contact.Held,
    state: contact.Contact,
    expected: dict[str, Any],
    tolerance: dict[str, float],
) -> None:
    field = held.field(state.w)
    name = f"contact by {way}"
    checks.close(f"{name}: w", state.w, expected["w_mm"], tolerance["height_mm"])
    checks.close(f"{name}: R", state.R, expected["R_N"], tolerance["force_N"])
    gap = state.gap(frame.house.seats)
    checks.close(f"{name}: gap", gap, expected["gap_mm"], tolerance["height_mm"])
    off = [s.id for s, hung in zip(frame.house.supports, state.hung) if hung]
    checks.same(f"{name}: lifted off", off, expected["lifted_off"])
    M = moments_at_supports(frame, field)
    checks.close(f"{name}: M", M, expected["M_bearer_at_support_Nmm"], tolerance["moment_Nmm"])
    stresses = peak_stress(frame.bearers, field), peak_stress(frame.joists, field)
    wanted = expected["peak_bearer_stress"], expected["peak_joist_stress"]
    checks.close(f"{name}: stress", stresses, wanted, tolerance["stress_N_mm2"])


def _check_neighbours(checks: Checks, target: Target, expected: dict[str, Any]) -> None:
    name = [p.id for p in target.points]
    pairs = {(name[p], name[q], d) for p, q, d in neighbour_pairs(target.x, target.y)}
    checks.same("target: pairs", pairs, {tuple(pair) for pair in expected["slope_pairs"]})
    found = straightedge_triples(target.x, target.y)
    triples = {(name[p], name[q], name[s], share) for p, q, s, share in found}
    checks.same("target: triples", triples, {tuple(t) for t in expected["edge_triples"]})


def _check_targets(
    checks: Checks, target: Target, expected: dict[str, Any], tolerance: float
) -> None:
    def close(name: str, got: float, key: str, allowed: float = tolerance) -> None:
        checks.close(f"target: {name}", got, expected[key], allowed)

    given = Options(height=1.0, level=6.0, slope=1 / 150, edge=7.0)
    free = replace(given, height=None)
    bare = Options(height=1.0)
    close("least total", target.least_total(given)[0], "min_total_h_given")
    total, x = target.least_total(free)
    close("least total, free height", total, "min_total_h_free")
    close("that height", float(x[target.m]), "h_at_min_total")
    tilted = target.least_total(replace(free, tilt=1 / 500))[0]
    close("least total, plane", tilted, "min_total_plane_free_1_in_500")
    lowered = target.least_total(replace(free, lowering={2: 10.0}))[0]
    close("lowering", lowered, "min_sum_abs_lowering_10mm_at_S1_3_h_free")
    worst = target.smallest_worst(bare)
    close("smallest worst", worst, "minmax_h_given")
    free_worst = target.smallest_worst(replace(bare, height=None))
    close("smallest worst, free height", free_worst, "minmax_h_free")
    close("smallest worst, cap 30", target.smallest_worst(replace(bare, cap=30.0)), "minmax_cap30")
    slack = expected["least_total_at_that_minmax_tolerance"]
    at_worst = target.least_total(replace(bare, level=worst + 1e-6))[0]
    close("least total at that", at_worst, "least_total_at_that_minmax", slack)
    for options, key in ((given, "fewest_touched_h_given"), (free, "fewest_touched_h_free")):
        checks.same(f"target: {key}", target.fewest_touched(options)[0], expected[key])
    squares, u, residuals = target.least_squares(bare)
    wanted = expected["least_squares"]
    checks.close("target: sum of squares", squares, wanted["sum_sq"], tolerance)
    largest = np.abs(residuals).max()
    checks.close("target: largest residual", largest, wanted["max_residual"], tolerance)
    checks.close("target: lifts", u, wanted["u_mm"], wanted["u_tolerance_mm"])
    _check_infeasible(checks, target, expected, given, bare, tolerance)


def _check_infeasible(
    checks: Checks,
    target: Target,
    expected: dict[str, Any],
    given: Options,
    bare: Options,
    tolerance: float,
) -> None:
    try:
        target.least_total(replace(given, cap=10.0))
        feasible = True
    except NotSolved:
        feasible = False
    checks.same("target: cap 10 is infeasible", not feasible, expected["cap10_is_infeasible"])
    wanted = expected["infeasible_fixed"]
    fixed = replace(given, level=wanted["level_mm"], fixed=(1,))
    slack = target.elastic(target.soft_rows(fixed), fixed)[0]
    checks.close("target: elastic, fixed", slack, wanted["elastic_total_slack"], tolerance)
    smallest = target.smallest_worst(replace(bare, fixed=(1,)))
    wanted_level = wanted["smallest_workable_level_mm"]
    checks.close("target: smallest workable", smallest, wanted_level, tolerance)
    # Several minimal sets exist: the one named must clash by itself, and ours must be minimal.
    named = [
        row for row in target.soft_rows(fixed) if (row.kind, row.name) == ("level", "P3 lower")
    ]
    checks.same("target: P3 alone clashes", target.elastic(named, fixed)[0] > 1e-3, True)
    conflict = target.minimal_conflict(fixed)
    checks.same("target: conflict clashes", target.elastic(conflict, fixed)[0] > 1e-3, True)
    for row in conflict if len(conflict) > 1 else []:
        rest = [other for other in conflict if other is not row]
        left = target.elastic(rest, fixed)[0]
        checks.close("target: conflict is minimal", left, 0.0, tolerance)
    wanted = expected["infeasible_edge3"]
    edge = replace(given, edge=wanted["edge_mm"])
    slack = target.elastic(target.soft_rows(edge), edge)[0]
    checks.close("target: elastic, edge", slack, wanted["elastic_total_slack"], tolerance)
    names = [f"{row.kind} {row.name.split()[0]}" for row in target.minimal_conflict(edge)]
    checks.same("target: edge conflict", names, [wanted["minimal_conflict"].split(":")[0]])


def _check_staging(
    checks: Checks,
    frame: Frame,
    held: contact.Held,
    S: Vector,
    start: Vector,
    expected: dict[str, Any],
) -> None:
    u = np.array(expected["u_mm"])
    theta = float(Fraction(expected["theta"]))
    ways = {"water": staging.water_line, "proportional": staging.proportional}
    for run in expected["runs"]:
        if run["how"] not in ways or run["order"] != "largest_first":
            continue
        moves = ways[run["how"]](u, expected["p_mm"], expected["jacks"], run["sub"])
        met = staging.replay(frame, held, S, start, u, moves, theta)
        name = f"staging: {run['how']} {run['sub']}"
        checks.same(f"{name} passes", met.passes, run["passes"])
        checks.same(f"{name} moves", met.moves, run["moves"])
        checks.close(f"{name} slopes", met.peak_over_seats, run["peak_over_seats"], 1e-6)
        checks.close(f"{name} jack", met.peak_jack, run["peak_jack_N"], 0.05)
        stresses = met.peak_bearer_stress, met.peak_joist_stress
        checks.close(
            f"{name} stress", stresses, (run["peak_sig_bearer"], run["peak_sig_joist"]), 1e-4
        )


def main() -> int:
    """Runs all checks."""
    checks = Checks()
    check_beams(checks)
    check_sharing(checks)
    check_tiny(checks)
    return checks.finish()


if __name__ == "__main__":
    sys.exit(main())
