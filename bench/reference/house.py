"""The invented house that the timings use, at any size; `README.md` states it in words."""

from __future__ import annotations

import math

import numpy as np

from frame import Bearer, House, Joist, Point, Support, Vector

ALONG, ACROSS, JOIST_SPACING = 1800.0, 1500.0, 450.0  # mm
SIZES = {54: (9, 6), 300: (20, 15), 1200: (40, 30), 10000: (125, 80)}  # along, across
CAP, SHORT_CAP = 150.0, 20.0  # mm


def seat(i: int, n_along: int, n_across: int) -> float:
    """Seat height of support `i`: a dish, and a roughness from the golden ratio."""
    x, y = (i % n_along) / n_along, (i // n_along) / n_across
    rough = math.modf(i * 0.618034)[0]
    return -30.0 * (x * (1.0 - x) + y * (1.0 - y)) * 2.0 - 12.0 * rough


def caps(n: int) -> Vector:
    """The most that each support may be lifted; every seventeenth is short of room."""
    return np.where(np.arange(n) % 17 == 3, SHORT_CAP, CAP)


def house(n_along: int, n_across: int) -> House:
    """Bearers along x, joists along y, a support under every 1800 x 1500 mm."""
    x1, y1 = (n_along - 1) * ALONG, (n_across - 1) * ACROSS
    bearers = [Bearer(f"B{k}", k * ACROSS, 0.0, x1, 75.0, 100.0, 8000.0) for k in range(n_across)]
    n_joists = int(x1 / JOIST_SPACING) + 1
    joists = [
        Joist(f"J{j}", j * JOIST_SPACING, 0.0, y1, 50.0, 100.0, 8000.0) for j in range(n_joists)
    ]
    supports = [
        Support(f"S{i}", f"B{i // n_along}", i % n_along * ALONG, seat(i, n_along, n_across))
        for i in range(n_along * n_across)
    ]
    points = [
        Point(f"P{k}-{m}", m * ALONG / 2, k * ACROSS)
        for k in range(n_across)
        for m in range(2 * n_along - 1)
    ]
    return House(tuple(bearers), tuple(joists), tuple(supports), 0.0005, 600.0, (), tuple(points))
