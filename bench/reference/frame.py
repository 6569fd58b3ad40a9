"""A floor of bearers and joists as a torsion-free grillage of Euler-Bernoulli beams.

Units are mm, N, N/mm2 and kg/m3. Heights, reactions and lifts are positive up, load magnitudes
positive down, sagging moments positive.

Bearers run along x, joists along y. Where a bearer and a joist cross they share their height, never
a slope, and stay tied together. Supports act on bearers only. The unknowns are one height per
station and one slope per beam at each station (two at a joint); slopes are stored multiplied by
`SLOPE_LENGTH`, so that all unknowns are millimetres and the stiffness matrix is well scaled.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

Vector = NDArray[np.float64]
Indices = NDArray[np.int64]

MERGE = 0.001  # mm; stations closer than this are one
ON_LINE = 1.0  # mm; a wall within this of a member's line stands on that member
SLOPE_LENGTH = 500.0  # mm; scale of the slope unknowns
GRAVITY = 9.80665  # m/s2


@dataclass(frozen=True)
class Bearer:
    """A beam along x at `y`; it is jointed (hinged) over the supports in `joints`."""

    id: str
    y: float
    x0: float
    x1: float
    b: float
    h: float
    E: float
    q: float = 0.0
    joints: tuple[str, ...] = ()


@dataclass(frozen=True)
class Joist:
    """A beam along y at `x`, tied to every bearer it crosses."""

    id: str
    x: float
    y0: float
    y1: float
    b: float
    h: float
    E: float


@dataclass(frozen=True)
class Support:
    """A rigid seat that pushes up on a bearer at `x`; its top is at height `s`."""

    id: str
    bearer: str
    x: float
    s: float


@dataclass(frozen=True)
class Wall:
    """A line load of `w` N/mm on the line `at`, along x or along y."""

    dir: str
    at: float
    start: float
    end: float
    w: float


@dataclass(frozen=True)
class Point:
    """A surveyed point of the floor with its level `z`."""

    id: str
    x: float
    y: float
    z: float = 0.0


@dataclass(frozen=True)
class House:
    """All that the calculation is given."""

    bearers: tuple[Bearer, ...]
    joists: tuple[Joist, ...]
    supports: tuple[Support, ...]
    area_load: float
    density: float
    walls: tuple[Wall, ...] = ()
    points: tuple[Point, ...] = ()
    gravity: float = GRAVITY

    @property
    def seats(self) -> Vector:
        """Seat heights, one per support."""
        return np.array([s.s for s in self.supports])


def house_from_json(data: dict[str, Any]) -> House:
    """Reads the form that `tiny-input.json` has."""
    loads = data["loads"]
    walls = (Wall(w["dir"], w["at"], w["from"], w["to"], w["w"]) for w in loads["walls"])
    bearers = (Bearer(**{**b, "joints": tuple(b.get("joints", ()))}) for b in data["bearers"])
    return House(
        bearers=tuple(bearers),
        joists=tuple(Joist(**j) for j in data["joists"]),
        supports=tuple(Support(**s) for s in data["supports"]),
        area_load=loads["area_N_mm2"],
        density=loads["density_kg_m3"],
        walls=tuple(walls),
        points=tuple(Point(**p) for p in data.get("survey", ())),
        gravity=data.get("gravity_m_s2", GRAVITY),
    )


def load_house(path: Path) -> House:
    """Reads a house from a JSON file."""
    return house_from_json(json.loads(path.read_text()))


@dataclass
class Loads:
    """What one beam carries: a uniform load, uniform loads over a part, and point loads."""

    uniform: float
    parts: list[tuple[float, float, float]] = field(default_factory=list)  # from, to, N/mm
    points: list[tuple[float, float]] = field(default_factory=list)  # position, N

    def marks(self) -> list[float]:
        """Positions that have to be stations."""
        ends = [end for start, stop, _ in self.parts for end in (start, stop)]
        return ends + [position for position, _ in self.points]


def strips(xs: Vector) -> tuple[Vector, Vector]:
    """Left and right edge of the strip of floor that each joist carries; `xs` increase."""
    if len(xs) == 0:
        return xs, xs
    middles = (xs[:-1] + xs[1:]) / 2
    return np.r_[xs[0], middles], np.r_[middles, xs[-1]]


def share_loads(house: House) -> tuple[list[Loads], list[Loads]]:
    """Applies the load-sharing rules; gives the loads of the bearers and of the joists."""

    def own_weight(b: float, h: float) -> float:
        return house.density * house.gravity * 1e-9 * b * h

    bearers = [Loads(own_weight(b.b, b.h) + b.q) for b in house.bearers]
    joists = [Loads(own_weight(j.b, j.h)) for j in house.joists]
    order = sorted(range(len(joists)), key=lambda j: house.joists[j].x)
    left, right = strips(np.array([house.joists[j].x for j in order]))
    for j, start, end in zip(order, left, right):
        joists[j].uniform += house.area_load * (end - start)
    for wall in house.walls:
        if wall.dir == "x":
            _share_wall_along_bearers(house, wall, bearers, joists, order, left, right)
        else:
            _share_wall_along_joists(house, wall, joists, order)
    return bearers, joists


def _share_wall_along_bearers(
    house: House,
    wall: Wall,
    bearers: list[Loads],
    joists: list[Loads],
    order: list[int],
    left: Vector,
    right: Vector,
) -> None:
    for bearer, loads in zip(house.bearers, bearers):
        if abs(wall.at - bearer.y) <= ON_LINE:
            start, end = max(wall.start, bearer.x0), min(wall.end, bearer.x1)
            if end > start:
                loads.parts.append((start, end, wall.w))
            return
    for j, strip_start, strip_end in zip(order, left, right):
        overlap = min(wall.end, strip_end) - max(wall.start, strip_start)
        joist = house.joists[j]
        if overlap > 0 and joist.y0 - MERGE <= wall.at <= joist.y1 + MERGE:
            joists[j].points.append((wall.at, wall.w * overlap))


def _share_wall_along_joists(
    house: House, wall: Wall, joists: list[Loads], order: list[int]
) -> None:
    def add(j: int, share: float) -> None:
        joist = house.joists[j]
        start, end = max(wall.start, joist.y0), min(wall.end, joist.y1)
        if end > start:
            joists[j].parts.append((start, end, wall.w * share))

    for j in order:
        if abs(wall.at - house.joists[j].x) <= ON_LINE:
            add(j, 1.0)
            return
    for before, after in zip(order, order[1:]):
        x0, x1 = house.joists[before].x, house.joists[after].x
        if x0 < wall.at < x1:
            add(before, (x1 - wall.at) / (x1 - x0))
            add(after, (wall.at - x0) / (x1 - x0))
            return
    raise ValueError(f"wall along y at x = {wall.at} stands outside the outer joists")


def merge(positions: Vector, start: float, end: float) -> Vector:
    """Sorted stations within `start..end`, each kept once."""
    inside = positions[(positions > start - MERGE) & (positions < end + MERGE)]
    ordered = np.sort(np.r_[start, inside, end])
    return ordered[np.r_[True, np.diff(ordered) > MERGE]]


def locate(stations: Vector, positions: Vector | float) -> Any:
    """Index of the station at each of these positions, which must be stations."""
    return np.searchsorted(stations, np.asarray(positions) - 1.5 * MERGE)


@dataclass
class Beam:
    """One bearer or joist cut at its stations, with the numbers of its unknowns."""

    id: str
    b: float
    h: float
    E: float
    loads: Loads
    stations: Vector
    heights: Indices  # unknown of the height at each station
    before: Indices  # unknown of the slope just before each station
    after: Indices  # unknown of the slope just after: another one at a joint

    @property
    def EI(self) -> float:
        """Bending stiffness in N.mm2."""
        return self.E * self.b * self.h**3 / 12

    @property
    def section_modulus(self) -> float:
        """Section modulus in mm3."""
        return self.b * self.h**2 / 6

    def unknowns(self) -> Indices:
        """The four unknowns of each element, one row per element."""
        return np.stack(
            [self.heights[:-1], self.after[:-1], self.heights[1:], self.before[1:]], axis=1
        )

    def load_per_length(self) -> Vector:
        """Uniform load of each element, N/mm down."""
        middles = (self.stations[:-1] + self.stations[1:]) / 2
        q = np.full(len(middles), self.loads.uniform)
        for start, end, w in self.loads.parts:
            q[(middles > start) & (middles < end)] += w
        return q

    def shape_row(self, position: float) -> tuple[Indices, Vector]:
        """Unknowns and weights that give the cubic at this position, without local bubble."""
        i = int(np.clip(np.searchsorted(self.stations, position) - 1, 0, len(self.stations) - 2))
        length = self.stations[i + 1] - self.stations[i]
        t = (position - self.stations[i]) / length
        slope = length / SLOPE_LENGTH
        weights = np.array(
            [
                1 - 3 * t**2 + 2 * t**3,
                slope * (t - 2 * t**2 + t**3),
                3 * t**2 - 2 * t**3,
                slope * (t**3 - t**2),
            ]
        )
        return self.unknowns()[i], weights


@dataclass
class Frame:
    """The assembled equations K w = f + reactions."""

    house: House
    bearers: list[Beam]
    joists: list[Beam]
    K: sp.csc_matrix
    f: Vector
    c: Indices  # unknowns at the supports, in the order of the supports
    F: Indices  # all the others
    P: sp.csr_matrix  # rows that give the surveyed points

    @property
    def n(self) -> int:
        """Number of unknowns."""
        return len(self.f)

    @property
    def total_load(self) -> float:
        """All loads together, N."""
        heights = np.unique(np.concatenate([b.heights for b in self.bearers + self.joists]))
        return -float(self.f[heights].sum())


def assemble(house: House) -> Frame:
    """Builds stiffness, loads and interpolation rows."""
    bearer_loads, joist_loads = share_loads(house)
    bearers, joists, n, place = _number(house, bearer_loads, joist_loads)
    _sort_unknowns(bearers + joists, place)
    K, f = _equations(bearers + joists, n)
    c = support_unknowns(house, bearers)
    others = np.ones(n, dtype=bool)
    others[c] = False
    return Frame(
        house,
        bearers,
        joists,
        K,
        f,
        c,
        np.flatnonzero(others),
        _point_rows(house, bearers, joists, n),
    )


def support_unknowns(house: House, bearers: list[Beam]) -> Indices:
    """The unknown of the bearer's height at each support."""
    beam_of = {beam.id: beam for beam in bearers}
    found = (
        beam_of[s.bearer].heights[locate(beam_of[s.bearer].stations, s.x)] for s in house.supports
    )
    return np.fromiter(found, dtype=np.int64, count=len(house.supports))


def _number(
    house: House, bearer_loads: list[Loads], joist_loads: list[Loads]
) -> tuple[list[Beam], list[Beam], int, list[tuple[Vector, Vector]]]:
    """Cuts the beams at their stations and numbers the unknowns, bearers first.

    The last result holds the plan position of each unknown, block by block.
    """
    joist_x = np.array([j.x for j in house.joists])
    joist_start = np.array([j.y0 for j in house.joists])
    joist_end = np.array([j.y1 for j in house.joists])
    supports_on: dict[str, list[Support]] = {b.id: [] for b in house.bearers}
    for support in house.supports:
        supports_on[support.bearer].append(support)
    crossed = np.full((len(house.bearers), len(house.joists)), -1, dtype=np.int64)
    bearers, place, n = [], [], 0
    for k, (bearer, loads) in enumerate(zip(house.bearers, bearer_loads)):
        crossing = (
            (joist_x > bearer.x0 - MERGE)
            & (joist_x < bearer.x1 + MERGE)
            & (bearer.y > joist_start - MERGE)
            & (bearer.y < joist_end + MERGE)
        )
        seats = [s.x for s in supports_on[bearer.id]]
        marks = np.concatenate([joist_x[crossing], seats, loads.marks()])
        stations = merge(marks, bearer.x0, bearer.x1)
        m = len(stations)
        heights = np.arange(n, n + m)
        before = np.arange(n + m, n + 2 * m)
        after = before.copy()
        hinges = [locate(stations, s.x) for s in supports_on[bearer.id] if s.id in bearer.joints]
        after[hinges] = np.arange(n + 2 * m, n + 2 * m + len(hinges))
        n += 2 * m + len(hinges)
        x = np.concatenate([stations, stations, stations[hinges]])
        place.append((x, np.full(len(x), bearer.y)))
        crossed[k, crossing] = heights[locate(stations, joist_x[crossing])]
        bearers.append(
            Beam(bearer.id, bearer.b, bearer.h, bearer.E, loads, stations, heights, before, after)
        )
    bearer_y = np.array([b.y for b in house.bearers])
    joists = []
    for j, (joist, loads) in enumerate(zip(house.joists, joist_loads)):
        on = np.flatnonzero(crossed[:, j] >= 0)
        stations = merge(np.concatenate([bearer_y[on], loads.marks()]), joist.y0, joist.y1)
        m = len(stations)
        heights = np.full(m, -1, dtype=np.int64)
        heights[locate(stations, bearer_y[on])] = crossed[on, j]
        own = np.flatnonzero(heights < 0)
        heights[own] = np.arange(n, n + len(own))
        slopes = np.arange(n + len(own), n + len(own) + m)
        n += len(own) + m
        y = np.concatenate([stations[own], stations])
        place.append((np.full(len(y), joist.x), y))
        joists.append(
            Beam(joist.id, joist.b, joist.h, joist.E, loads, stations, heights, slopes, slopes)
        )
    return bearers, joists, n, place


def _sort_unknowns(beams: list[Beam], place: list[tuple[Vector, Vector]]) -> None:
    """Renumbers station by station along the longer side, which keeps the band narrow."""
    x = np.concatenate([p[0] for p in place])
    y = np.concatenate([p[1] for p in place])
    along, across = (x, y) if np.ptp(x) >= np.ptp(y) else (y, x)
    new_number = np.empty(len(x), dtype=np.int64)
    new_number[np.lexsort((across, along))] = np.arange(len(x))
    for beam in beams:
        beam.heights = new_number[beam.heights]
        beam.before = new_number[beam.before]
        beam.after = new_number[beam.after]


def element_stiffness(length: Vector, EI: Vector) -> NDArray[np.float64]:
    """Stiffness of each element, (n, 4, 4), for slopes multiplied by `SLOPE_LENGTH`."""
    s = length / SLOPE_LENGTH
    one = np.ones_like(length)
    rows = [
        [12 * one, 6 * s, -12 * one, 6 * s],
        [6 * s, 4 * s**2, -6 * s, 2 * s**2],
        [-12 * one, -6 * s, 12 * one, -6 * s],
        [6 * s, 2 * s**2, -6 * s, 4 * s**2],
    ]
    return np.moveaxis(np.array(rows), 2, 0) * (EI / length**3)[:, None, None]


def element_loads(length: Vector, q: Vector) -> Vector:
    """Consistent loads of each element under a uniform downward load, (n, 4)."""
    moment = q * length**2 / 12 / SLOPE_LENGTH
    return -np.stack([q * length / 2, moment, q * length / 2, -moment], axis=1)


def _equations(beams: list[Beam], n: int) -> tuple[sp.csc_matrix, Vector]:
    unknowns = np.concatenate([beam.unknowns() for beam in beams])
    length = np.concatenate([np.diff(beam.stations) for beam in beams])
    EI = np.concatenate([np.full(len(beam.stations) - 1, beam.EI) for beam in beams])
    q = np.concatenate([beam.load_per_length() for beam in beams])
    k = element_stiffness(length, EI)
    rows = np.repeat(unknowns, 4, axis=1).ravel()
    columns = np.tile(unknowns, (1, 4)).ravel()
    K = sp.coo_matrix((k.ravel(), (rows, columns)), shape=(n, n)).tocsc()
    f = np.zeros(n)
    np.add.at(f, unknowns, element_loads(length, q))
    for beam in beams:
        for position, force in beam.loads.points:
            f[beam.heights[locate(beam.stations, position)]] -= force
    return K, f


def _point_rows(house: House, bearers: list[Beam], joists: list[Beam], n: int) -> sp.csr_matrix:
    """Rows that give the floor at the surveyed points from the unknowns."""
    finder = _PointFinder(house, bearers, joists)
    parts = [finder.row(point.x, point.y) for point in house.points]
    rows = np.repeat(np.arange(len(parts)), [len(p[0]) for p in parts])
    if not parts:
        return sp.csr_matrix((0, n))
    columns = np.concatenate([p[0] for p in parts])
    values = np.concatenate([p[1] for p in parts])
    return sp.coo_matrix((values, (rows, columns)), shape=(len(parts), n)).tocsr()


class _PointFinder:
    """Finds the member or the pair of joists that a point of the floor lies on."""

    def __init__(self, house: House, bearers: list[Beam], joists: list[Beam]) -> None:
        self.bearers, self.joists = bearers, joists
        self.bearer_y = np.array([b.y for b in house.bearers])
        order = np.argsort([j.x for j in house.joists], kind="stable")
        self.joist_x = np.array([house.joists[j].x for j in order])
        self.in_order = [joists[j] for j in order]

    def row(self, x: float, y: float) -> tuple[Indices, Vector]:
        for k in np.flatnonzero(np.abs(self.bearer_y - y) <= MERGE):
            beam = self.bearers[k]
            if beam.stations[0] - MERGE <= x <= beam.stations[-1] + MERGE:
                return beam.shape_row(x)
        after = int(np.searchsorted(self.joist_x, x - MERGE))
        if after == len(self.joist_x) or (after == 0 and x < self.joist_x[0] - MERGE):
            raise ValueError(f"point at x = {x}, y = {y} lies beyond the outer joists")
        if abs(self.joist_x[after] - x) <= MERGE:
            return self._on_joist(after, y)
        t = (x - self.joist_x[after - 1]) / (self.joist_x[after] - self.joist_x[after - 1])
        (left, left_weights), (right, right_weights) = (
            self._on_joist(after - 1, y),
            self._on_joist(after, y),
        )
        return np.r_[left, right], np.r_[(1 - t) * left_weights, t * right_weights]

    def _on_joist(self, place: int, y: float) -> tuple[Indices, Vector]:
        beam = self.in_order[place]
        if not beam.stations[0] - MERGE <= y <= beam.stations[-1] + MERGE:
            raise ValueError(f"point at y = {y} lies beyond joist {beam.id}")
        return beam.shape_row(y)


@dataclass
class Bending:
    """Bending of one beam: moments just before and after its stations, and the largest."""

    before: Vector  # N.mm at each station, from the element before it
    after: Vector  # N.mm at each station, from the element after it
    within: Vector  # N.mm where the shear vanishes inside each element, 0 if it does not
    peak: float  # largest magnitude, between stations too


def bending(beam: Beam, w: Vector) -> Bending:
    """Moments of one beam for the heights and slopes `w`."""
    length = np.diff(beam.stations)
    q = beam.load_per_length()
    k = element_stiffness(length, np.full(len(length), beam.EI))
    forces = np.einsum("eij,ej->ei", k, w[beam.unknowns()]) - element_loads(length, q)
    start, end = -forces[:, 1] * SLOPE_LENGTH, forces[:, 3] * SLOPE_LENGTH
    shear = forces[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.where(q > 0, shear / q, -1.0)
    inside = (x > 0) & (x < length)
    within = np.where(inside, start + shear * x - q * x**2 / 2, 0.0)
    peak = max(np.abs(part).max() for part in (start, end, within))
    return Bending(np.r_[0.0, end], np.r_[start, 0.0], within, float(peak))


def peak_stress(beams: list[Beam], w: Vector) -> float:
    """Largest bending stress in these beams, N/mm2."""
    return max(bending(beam, w).peak / beam.section_modulus for beam in beams)


def moments_at_supports(frame: Frame, w: Vector) -> Vector:
    """Bending moment of the bearer at each support, N.mm, sagging positive."""
    beam_of = {beam.id: beam for beam in frame.bearers}
    bent = {beam.id: bending(beam, w) for beam in frame.bearers}
    moments = []
    for support in frame.house.supports:
        i = locate(beam_of[support.bearer].stations, support.x)
        # The two sides agree to rounding; at a beam's end only one of them exists.
        sides = bent[support.bearer].before[i], bent[support.bearer].after[i]
        moments.append(max(sides, key=abs))
    return np.array(moments)
