"""The same frame in a general structural library, for a given set of supports in contact.

Pynite is a 3D frame library: it knows nothing of contact here. Supports in contact are rigid with
a prescribed settlement (`def_node_disp`), the others are left out. Its axes: X is our x, Z our y,
Y up.

No torsion: the torsion constant is 0. Twist that then has no stiffness is held: about a bearer's
axis at stations that no joist crosses, and about a joist's axis at stations off the bearers. Where
beams cross, each one's twist is the other's bending slope, which a constant of 0 leaves free.
Movement in the plane of the floor is held everywhere. Joints are released member ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from Pynite import FEModel3D

from frame import Beam, Frame, Vector, locate, peak_stress

COMBINATION = "Combo 1"


@dataclass
class Agreement:
    """The largest differences found between the library and this calculation."""

    dw_mm: float  # at every station of every beam
    dR_N: float
    dM_Nmm: float  # bearers at supports
    dstress_N_mm2: float  # peak of the bearers, peak of the joists


def compare(
    frame: Frame, seats: Vector, hung: np.ndarray, w: Vector, R: Vector, M: Vector
) -> Agreement:
    """Solves the frame with the library and compares."""
    model = _model(frame, seats, hung)
    model.analyze_linear(check_stability=False)
    dw = 0.0
    for beam in frame.bearers + frame.joists:
        nodes = [model.nodes[f"N{unknown}"] for unknown in beam.heights]
        heights = np.array([node.DY[COMBINATION] for node in nodes])
        dw = max(dw, float(np.abs(heights - w[beam.heights]).max()))
    reactions = np.array([model.nodes[f"N{c}"].RxnFY[COMBINATION] for c in frame.c])
    moments = np.array([_moment(model, frame, i) for i in range(len(frame.c))])
    ours = peak_stress(frame.bearers, w), peak_stress(frame.joists, w)
    theirs = _peak(model, frame.bearers), _peak(model, frame.joists)
    return Agreement(
        dw,
        float(np.abs(reactions - R).max()),
        float(np.abs(moments - M).max()),
        float(np.abs(np.subtract(ours, theirs)).max()),
    )


def _model(frame: Frame, seats: Vector, hung: np.ndarray) -> FEModel3D:
    model = FEModel3D()
    model.add_material("none", 1.0, 1.0, 0.3, 0.0)
    bearer_of = {int(u): beam for beam in frame.bearers for u in beam.heights}
    on_joist = {int(u) for beam in frame.joists for u in beam.heights}
    seat_of = {int(c): s for c, s, off in zip(frame.c, seats, hung) if not off}
    for beam, joist in zip(frame.joists, frame.house.joists):
        for y, unknown in zip(beam.stations, beam.heights):
            model.add_node(f"N{unknown}", joist.x, 0.0, y)
    for beam, bearer in zip(frame.bearers, frame.house.bearers):
        for x, unknown in zip(beam.stations, beam.heights):
            if int(unknown) not in on_joist:
                model.add_node(f"N{unknown}", x, 0.0, bearer.y)
    for name in model.nodes:
        unknown = int(name[1:])
        model.def_support(
            name,
            support_DX=True,
            support_DY=unknown in seat_of,
            support_DZ=True,
            support_RX=unknown not in on_joist,
            support_RY=True,
            support_RZ=unknown not in bearer_of,
        )
        if unknown in seat_of:
            model.def_node_disp(name, "DY", float(seat_of[unknown]))
    for beam in frame.bearers + frame.joists:
        _add_beam(model, beam)
    return model


def _pieces(beam: Beam) -> list[tuple[int, int]]:
    """First and last station of each length between joints."""
    joints = np.flatnonzero(beam.before != beam.after).tolist()
    cuts = [0, *joints, len(beam.stations) - 1]
    return list(zip(cuts, cuts[1:]))


def _add_beam(model: FEModel3D, beam: Beam) -> None:
    material, section = f"E {beam.E}", f"{beam.id}"
    if material not in model.materials:
        model.add_material(material, beam.E, beam.E / 16, 0.3, 0.0)
    area, weak = beam.b * beam.h, beam.h * beam.b**3 / 12
    model.add_section(section, area, weak, beam.EI / beam.E, 0.0)
    for k, (first, last) in enumerate(_pieces(beam)):
        name = f"{beam.id}/{k}"
        start, end = beam.stations[first], beam.stations[last]
        ends = f"N{beam.heights[first]}", f"N{beam.heights[last]}"
        model.add_member(name, *ends, material, section)
        if k > 0:
            model.def_releases(name, Rzi=True)
        q = beam.loads.uniform
        model.add_member_dist_load(name, "FY", -q, -q)
        for start_of_part, end_of_part, w in beam.loads.parts:
            x1, x2 = max(start_of_part, start) - start, min(end_of_part, end) - start
            if x2 > x1:
                model.add_member_dist_load(name, "FY", -w, -w, x1, x2)
        for position, force in beam.loads.points:
            # A load at a joint belongs to one side only.
            if start <= position < end or (last == len(beam.stations) - 1 and position == end):
                model.add_member_pt_load(name, "FY", -force, position - start)


def _moment(model: FEModel3D, frame: Frame, i: int) -> float:
    support = frame.house.supports[i]
    beam = next(b for b in frame.bearers if b.id == support.bearer)
    station = int(locate(beam.stations, support.x))
    for k, (first, last) in enumerate(_pieces(beam)):
        if first <= station <= last:
            x = beam.stations[station] - beam.stations[first]
            # The library counts hogging positive here.
            return -float(model.members[f"{beam.id}/{k}"].moment("Mz", x, COMBINATION))
    raise ValueError(support.id)


def _peak(model: FEModel3D, beams: list[Beam]) -> float:
    peak = 0.0
    for beam in beams:
        for k in range(len(_pieces(beam))):
            member = model.members[f"{beam.id}/{k}"]
            extremes = (
                member.max_moment("Mz", COMBINATION),
                member.min_moment("Mz", COMBINATION),
            )
            peak = max(peak, max(abs(m) for m in extremes) / beam.section_modulus)
    return float(peak)
