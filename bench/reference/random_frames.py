"""Invented floors of growing size for the reference values: irregular, and the same every time."""

from __future__ import annotations

from typing import Any

import numpy as np

# Bearers, and the most supports on one of them.
SIZES = [
    (2, 3), (2, 2), (2, 4), (3, 3), (3, 5), (4, 4), (4, 6), (5, 6), (6, 7), (7, 7), (7, 8), (8, 9),
]  # fmt: skip
SEED = 20250
N_POINTS = 8
CLEAR = 40.0  # mm; what is not on a line keeps this distance from it: no element is a mere sliver


def draw(k: int) -> dict[str, Any]:
    """Floor number `k`, in the form of `tiny-input.json`."""
    rng = np.random.default_rng(SEED + k)
    n_bearers, n_supports = SIZES[k]
    length = round(float(sum(rng.uniform(1300, 2000, n_supports - 1))))
    y = np.r_[0.0, np.cumsum(np.round(rng.uniform(1200, 1800, n_bearers - 1)))]
    bearers, supports = [], []
    roughness = float(rng.uniform(5, 60))
    tilt = rng.uniform(-0.004, 0.004, 2)
    for b in range(n_bearers):
        bearer, on_it = _bearer(rng, f"B{b + 1}", float(y[b]), length, n_supports)
        bearers.append(bearer)
        supports += on_it
    joists = _joists(rng, bearers, y)
    y_of = {bearer["id"]: bearer["y"] for bearer in bearers}
    for support in supports:
        support["x"] = _settled(support["x"], [j["x"] for j in joists])
        plane = tilt[0] * support["x"] + tilt[1] * y_of[support["bearer"]]
        support["s"] = round(float(plane + rng.uniform(-roughness, 0)), 1)
    return {
        "name": f"random frame {k + 1} (invented)",
        "bearers": bearers,
        "joists": joists,
        "supports": supports,
        "loads": {
            "area_N_mm2": round(float(rng.uniform(0.0003, 0.001)), 6),
            "density_kg_m3": float(rng.integers(450, 800)),
            "walls": _walls(rng, bearers, supports, joists),
        },
        "survey": _points(rng, bearers, joists),
        "gravity_m_s2": 9.80665,
        "roughness_mm": round(roughness, 1),
    }


def _bearer(
    rng: np.random.Generator, name: str, y: float, length: float, n_most: int
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    n = max(2, n_most - int(rng.integers(0, 2)))
    x = np.linspace(0, length, n)
    x[1:-1] += rng.uniform(-150, 150, n - 2)
    reach = np.where(rng.random(2) < 0.4, rng.uniform(150, 600, 2), 0.0)
    supports = [
        {"id": f"{name}-{i + 1}", "bearer": name, "x": round(float(at)), "s": 0.0}
        for i, at in enumerate(x)
    ]
    bearer = {
        "id": name,
        "y": y,
        "x0": -round(float(reach[0])),
        "x1": length + round(float(reach[1])),
        "b": float(rng.choice([75, 90, 100])),
        "h": float(rng.choice([75, 100, 125, 150])),
        "E": float(rng.integers(60, 130)) * 100,
    }
    if n > 2 and rng.random() < 0.35:
        bearer["joints"] = [supports[int(rng.integers(1, n - 1))]["id"]]
    return bearer, supports


def _joists(
    rng: np.random.Generator, bearers: list[dict[str, Any]], y: np.ndarray
) -> list[dict[str, Any]]:
    spacing = float(rng.choice([300, 400, 450, 600]))
    # Two bearers at least reach as far as this on either side: no joist hangs on one bearer alone.
    start = sorted(b["x0"] for b in bearers)[1]
    end = sorted(b["x1"] for b in bearers)[-2]
    places = list(np.arange(start, end, spacing))
    if end - places[-1] > 100:
        places.append(end)
    reach = np.round(rng.choice([0, 1], 2) * rng.uniform(CLEAR, 300, 2))
    b, h = float(rng.choice([38, 45, 50])), float(rng.choice([90, 100, 120, 140]))
    return [
        {
            "id": f"J{j + 1}",
            "x": float(x),
            "y0": float(y[0] - reach[0]),
            "y1": float(y[-1] + reach[1]),
            "b": b,
            "h": h,
            "E": float(rng.integers(60, 130)) * 100,
        }
        for j, x in enumerate(places)
    ]


def _settled(place: float, lines: list[float]) -> float:
    """The place itself, or the line that it all but stands on."""
    near = min(lines, key=lambda line: abs(line - place))
    return near if abs(near - place) < CLEAR else place


def _between(rng: np.random.Generator, lines: list[float]) -> float:
    """A place between two of these lines, clear of both."""
    k = int(rng.integers(0, len(lines) - 1))
    return round(float(rng.uniform(lines[k] + CLEAR, lines[k + 1] - CLEAR)))


def _part(rng: np.random.Generator, start: float, end: float) -> tuple[float, float]:
    """A good part of this range."""
    size = end - start
    return (
        round(float(start + rng.uniform(0, 0.4) * size)),
        round(float(end - rng.uniform(0, 0.4) * size)),
    )


def _walls(
    rng: np.random.Generator,
    bearers: list[dict[str, Any]],
    supports: list[dict[str, Any]],
    joists: list[dict[str, Any]],
) -> list[dict[str, Any]]:
    bearer = bearers[int(rng.integers(0, len(bearers)))]
    joist = joists[int(rng.integers(0, len(joists)))]
    x_range = joists[0]["x"], joists[-1]["x"]
    y_range = joist["y0"], joist["y1"]
    y_lines, x_lines = [b["y"] for b in bearers], [j["x"] for j in joists]
    off_bearers = _between(rng, y_lines)
    stops = x_lines + [s["x"] for s in supports if s["bearer"] == bearer["id"]]
    placed = [
        ("x", bearer["y"], bearer["x0"], bearer["x1"], stops),
        ("x", off_bearers, *x_range, x_lines),
        ("y", joist["x"], *y_range, [*y_lines, off_bearers]),
        ("y", _between(rng, x_lines), *y_range, [*y_lines, off_bearers]),
    ]
    walls = []
    for direction, at, start, end, across in placed:
        if rng.random() < 0.75:
            first, last = (_settled(end, across) for end in _part(rng, start, end))
            w = round(float(rng.uniform(0.5, 3.0)), 2)
            walls.append({"dir": direction, "at": at, "from": first, "to": last, "w": w})
    return walls


def _points(
    rng: np.random.Generator, bearers: list[dict[str, Any]], joists: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    x_lines, y_lines = [j["x"] for j in joists], [b["y"] for b in bearers]
    points = []
    for p in range(N_POINTS):
        kind = p % 3
        if kind == 0:  # on a bearer
            bearer = bearers[int(rng.integers(0, len(bearers)))]
            x, y = float(round(rng.uniform(bearer["x0"], bearer["x1"]))), bearer["y"]
        elif kind == 1:  # on a joist
            x, y = x_lines[int(rng.integers(0, len(joists)))], _between(rng, y_lines)
        else:  # between two joists
            x, y = _between(rng, x_lines), _between(rng, y_lines)
        points.append({"id": f"P{p + 1}", "x": x, "y": y})
    return points
