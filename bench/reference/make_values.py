"""Makes `reference.json`, the values that the engine's frame is held against.

`python make_values.py`. Contact comes from the conic solver's quadratic program and is carried to
full precision on the set it found; refactoring the sparse equations must come to the same, and so
must the structural library when it is given the set. A frame where they differ stops the program.
"""

from __future__ import annotations

import importlib.metadata
import json
import platform
import sys
from typing import Any

import numpy as np

import contact
import library
import random_frames
from check import FRAME_DATA
from frame import Frame, Vector, assemble, house_from_json, moments_at_supports, peak_stress

RISES = [0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0]  # mm
CLEAR_FORCE, CLEAR_GAP = 1.0, 0.01  # N, mm; nearer to nothing, the contact set is not compared
ALLOWED = {"dw_mm": 1e-6, "dR_N": 1e-4, "dM_Nmm": 1e-2, "dstress_N_mm2": 1e-6}
WITH_STIFFNESS = 4  # the first so many frames carry S, g and G


def rounded(values: Any, digits: int) -> Any:
    """Numbers for the file; no minus zero."""
    return (np.round(np.asarray(values, dtype=float), digits) + 0.0).tolist()


def values_of(
    data: dict[str, Any], with_stiffness: bool
) -> tuple[dict[str, Any], dict[str, float]]:
    """Results of one frame, and how well the ways to them agree."""
    house = house_from_json({k: v for k, v in data.items() if k != "roughness_mm"})
    frame = assemble(house)
    held = contact.Held(frame)
    S, G = held.influence()
    seats = house.seats
    state, rocks, dw, dR = contact.polished(frame, held, S, seats)
    if rocks:
        raise SystemExit(f"{data['name']}: rocks")
    field = held.field(state.w)
    agreement = _agreement(frame, seats, state, field)
    agreement["conic_solver_dw_mm"], agreement["conic_solver_dR_N"] = dw, dR
    ids = [s.id for s in house.supports]
    results = {
        "unknowns": frame.n,
        "total_load_N": round(frame.total_load, 5),
        "contact": [i for i, R in zip(ids, state.R) if R > CLEAR_FORCE],
        "lifted_off": [i for i, gap in zip(ids, state.gap(seats)) if gap > CLEAR_GAP],
        "w_mm": rounded(state.w, 7),
        "R_N": rounded(state.R, 5),
        "gap_mm": rounded(state.gap(seats), 7),
        "floor_mm": rounded(frame.P @ field, 7),
        "M_bearer_at_support_Nmm": rounded(moments_at_supports(frame, field), 2),
        "peak_bearer_stress": round(peak_stress(frame.bearers, field), 7),
        "peak_joist_stress": round(peak_stress(frame.joists, field), 7),
        "dropping_only_agrees": bool(
            np.abs(_dropping_only(S, held.g, seats) - state.R).max() < 1.0
        ),
        "jack_force": _curves(frame, held, S, seats, state, ids),
    }
    if with_stiffness:
        results["S_N_per_mm"] = rounded(S, 7)
        results["g_N"] = rounded(held.g, 5)
        results["G"] = rounded(G, 10)
    return results, agreement


def _agreement(
    frame: Frame, seats: Vector, state: contact.Contact, field: Vector
) -> dict[str, float]:
    again = contact.by_refactoring(frame, seats)
    M = moments_at_supports(frame, field)
    found = library.compare(frame, seats, state.hung, field, state.R, M)
    for name, limit in ALLOWED.items():
        if not getattr(found, name) <= limit:
            raise SystemExit(f"library: {name} = {getattr(found, name)}, allowed {limit}")
    refactoring_dw = float(np.abs(again.w - state.w).max())
    refactoring_dR = float(np.abs(again.R - state.R).max())
    if not (refactoring_dw <= ALLOWED["dw_mm"] and refactoring_dR <= ALLOWED["dR_N"]):
        raise SystemExit(f"refactoring: {refactoring_dw} mm, {refactoring_dR} N")
    balance = abs(float(state.R.sum()) - frame.total_load)
    return {
        "library_dw_mm": found.dw_mm,
        "library_dR_N": found.dR_N,
        "library_dM_Nmm": found.dM_Nmm,
        "library_dstress_N_mm2": found.dstress_N_mm2,
        "refactoring_dw_mm": refactoring_dw,
        "refactoring_dR_N": refactoring_dR,
        "load_minus_reactions_N": balance,
    }


def _dropping_only(S: Vector, g: Vector, seats: Vector) -> Vector:
    """Reactions if supports that pull are left out and never tried again: often wrong."""
    hung = np.zeros(len(g), dtype=bool)
    while True:
        R, w = np.zeros(len(g)), seats.copy()
        off, on = np.flatnonzero(hung), np.flatnonzero(~hung)
        if len(off):
            load = g[off] - S[np.ix_(off, on)] @ seats[on]
            w[off] = np.linalg.lstsq(S[np.ix_(off, off)], load, rcond=1e-11)[0]
        R[on] = S[on] @ w - g[on]
        if not (R < -1e-6).any():
            return R
        hung |= R < -1e-6


def _curves(
    frame: Frame,
    held: contact.Held,
    S: Vector,
    seats: Vector,
    start: contact.Contact,
    ids: list[str],
) -> list[dict[str, Any]]:
    """Jack curves at the first support, the one with the largest gap and one in the middle."""
    gaps = start.gap(seats)
    wanted = {0: None, int(gaps.argmax()): None, len(ids) // 2: None, len(ids) - 1: None}
    curves = []
    for i in list(wanted)[:3]:
        forces, counts, rocking = contact.jack_curve(frame, held, S, seats, start, i, RISES)
        curves.append(
            {
                "support": ids[i],
                "d_mm": RISES,
                "F_N": rounded(forces, 5),
                "in_contact": counts,
                "rocks": rocking,
            }
        )
    return curves


def header() -> dict[str, Any]:
    """What made the file and how."""
    version = importlib.metadata.version
    return {
        "command": "python bench/reference/make_values.py",
        "python": platform.python_version(),
        "numpy": version("numpy"),
        "scipy": version("scipy"),
        "conic_solver": f"clarabel {version('clarabel')}",
        "structural_library": f"PyNiteFEA {version('PyNiteFEA')}",
        "how": (
            "contact by the quadratic program min 1/2 w'Kw - f'w, w >= s through the conic solver, "
            "then carried to full precision on the set it found; the structural library was given "
            "that set: supports in contact as rigid supports with prescribed settlements, the "
            "others absent, torsion constant 0 (twist without stiffness held), joints as released "
            "member ends; it took the loads on each member as shared here"
        ),
    }


def write(frames: list[dict[str, Any]]) -> str:
    """JSON with one line per member or list of numbers, so that it can be read and compared."""
    text = json.dumps(
        {
            "note": (
                "Invented frames. Units mm, N, N/mm2, kg/m3; s = seat height, up positive; load "
                "magnitudes positive down; sagging moments positive. A bearer's joints are hinges "
                "over these supports. floor_mm: the surveyed points without the bubble of the "
                "local load. contact and lifted_off name only supports with R > 1 N and with "
                "gap > 0.01 mm. "
                "peak stresses look inside the spans too. dropping_only_agrees: whether leaving "
                "out the supports that pull, and never trying them again, happens to give the same "
                "reactions. jack_force: bearer raised by d from where it hangs, other seats stay; "
                "where rocks is true the heights are not unique, the force is, to 0.1 N."
            ),
            "made_by": header(),
            "tolerances": {
                "height_mm": 1e-4,
                "force_N": 0.05,
                "force_where_rocking_N": 0.1,
                "moment_Nmm": 1.0,
                "stress_N_mm2": 1e-4,
                "stiffness_N_per_mm": 1e-4,
                "influence": 1e-7,
            },
            "frames": frames,
        }
    )
    return _layout(json.loads(text), 0) + "\n"


def _layout(value: Any, depth: int) -> str:
    flat = json.dumps(value)
    if not isinstance(value, (dict, list)) or len(flat) + depth <= 110 or _is_numbers(value):
        return flat
    pad = " " * (depth + 1)
    if isinstance(value, dict):
        inside = [f"{pad}{json.dumps(k)}: {_layout(v, depth + 1)}" for k, v in value.items()]
        return "{\n" + ",\n".join(inside) + "\n" + " " * depth + "}"
    inside = [pad + _layout(v, depth + 1) for v in value]
    return "[\n" + ",\n".join(inside) + "\n" + " " * depth + "]"


def _is_numbers(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, (int, float, bool)) for v in value)


def main() -> int:
    """Writes the file and prints what agreed to how much."""
    frames = []
    for k in range(len(random_frames.SIZES)):
        data = random_frames.draw(k)
        results, agreement = values_of(data, k < WITH_STIFFNESS)
        shown = {name: float(f"{value:.1e}") for name, value in agreement.items()}
        frames.append({"input": data, "expected": results, "agreement": shown})
        rocking = [c["support"] for c in results["jack_force"] if any(c["rocks"])]
        print(
            f"frame {k + 1:2}: {len(results['w_mm'])} supports, {results['unknowns']} unknowns, "
            f"{len(results['lifted_off'])} lifted off; library "
            f"{agreement['library_dw_mm']:.1e} mm, {agreement['library_dR_N']:.1e} N, "
            f"{agreement['library_dM_Nmm']:.1e} N.mm; conic "
            f"{agreement['conic_solver_dw_mm']:.1e} mm, {agreement['conic_solver_dR_N']:.1e} N; "
            f"dropping only {results['dropping_only_agrees']}, rocks at {rocking}"
        )
    (FRAME_DATA / "reference.json").write_text(write(frames))
    return 0


if __name__ == "__main__":
    sys.exit(main())
