"""The rigid move of the lower rim that best explains the misfit of the marks, and what turn the marks still allow.

A mark at (x, y) that looks along its tangent (tx, ty) sees a move (dx, dy, w) as

    misfit = tx (dx - w y) + ty (dy + w x)

with w in rad, + clockwise seen from above (the front goes to the patient's right, the left side forward). In the
solution w is scaled by 88 mm, so that all three unknowns are millimetres.
"""

import math

from chairapp.judge.numbers import total
from chairapp.judge.rim import HINGE, TANGENT, X, Y
from chairapp.judge.shapes import Doc, Marks

PINNED = 1e-6


def rigid_move(misfits: Marks) -> Doc:
    """{"dx", "dy" in mm, "turn_deg", "left_over": mm} by least squares, for marks that pin the rim (`is_pinned`).

    left_over is the largest misfit that the move leaves; with three marks nothing is left by construction: null.
    """
    stations = list(misfits)
    right = [total([_row(s)[i] * misfits[s] for s in stations]) for i in range(3)]
    move = _solve(_normal([_row(s) for s in stations]), right)
    left = [abs(misfits[s] - _seen(_row(s), move)) for s in stations]
    return {
        "dx": move[0],
        "dy": move[1],
        "turn_deg": math.degrees(move[2] / HINGE),
        "left_over": max(left) if len(stations) > 3 else None,
    }


def is_pinned(stations: list[str]) -> bool:
    """Is the smallest singular value of the system more than a millionth of the largest?"""
    if len(stations) < 3:
        return False
    values = _eigenvalues(_normal([_row(station) for station in stations]))
    # squares: a singular value of the system is the root of an eigenvalue of its normal matrix
    return min(values) > PINNED * PINNED * max(values)


def possible_turn(stations: list[str], tolerance: float) -> float | None:
    """The largest turn in deg that keeps every misfit within the tolerance; null when nothing holds the rim.

    A linear programme whose dual has a best solution on three marks: each three alone allow a turn of tolerance times
    the sum of their weights, and the marks together allow what the tightest three do.
    """
    rows = [_row(station) for station in stations]
    best = None
    for i in range(len(rows)):
        for j in range(i + 1, len(rows)):
            for k in range(j + 1, len(rows)):
                turn = _turn_of_three(rows[i], rows[j], rows[k], tolerance)
                if turn is not None and (best is None or turn < best):
                    best = turn
    return None if best is None else math.degrees(best / HINGE)


def _turn_of_three(a: list[float], b: list[float], c: list[float], tolerance: float) -> float | None:
    """The largest scaled turn of three marks: the third row of the inverse says how each misfit turns the rim."""
    det = _det(a, b, c)
    if abs(det) < 1e-9:
        return None
    turns = [
        (b[0] * c[1] - b[1] * c[0]) / det,
        (c[0] * a[1] - c[1] * a[0]) / det,
        (a[0] * b[1] - a[1] * b[0]) / det,
    ]
    return tolerance * total([abs(turn) for turn in turns])


def _row(station: str) -> list[float]:
    tx, ty = TANGENT[station]
    return [tx, ty, (ty * X[station] - tx * Y[station]) / HINGE]


def _seen(row: list[float], move: list[float]) -> float:
    return row[0] * move[0] + row[1] * move[1] + row[2] * move[2]


def _normal(rows: list[list[float]]) -> list[list[float]]:
    return [[total([row[i] * row[j] for row in rows]) for j in range(3)] for i in range(3)]


def _det(a: list[float], b: list[float], c: list[float]) -> float:
    return a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0]) + a[2] * (b[0] * c[1] - b[1] * c[0])


def _solve(m: list[list[float]], right: list[float]) -> list[float]:
    """Three equations by Cramer's rule; the caller knows that they have a solution."""
    det = _det(m[0], m[1], m[2])
    found = []
    for column in range(3):
        swapped = [[right[i] if j == column else m[i][j] for j in range(3)] for i in range(3)]
        found.append(_det(swapped[0], swapped[1], swapped[2]) / det)
    return found


def _eigenvalues(m: list[list[float]]) -> list[float]:
    """Of a symmetric 3 x 3 matrix, by Jacobi's rotations."""
    a = [list(row) for row in m]
    for _ in range(6):
        for p, q in ((0, 1), (0, 2), (1, 2)):
            _rotate(a, p, q)
    return [a[0][0], a[1][1], a[2][2]]


def _rotate(a: list[list[float]], p: int, q: int) -> None:
    """One rotation that makes the element (p, q) nought."""
    if abs(a[p][q]) < 1e-300:
        return
    slope = (a[q][q] - a[p][p]) / (2 * a[p][q])
    t = (1 if slope >= 0 else -1) / (abs(slope) + math.sqrt(slope * slope + 1))
    c = 1 / math.sqrt(t * t + 1)
    s = t * c
    for k in range(3):
        a[k][p], a[k][q] = c * a[k][p] - s * a[k][q], s * a[k][p] + c * a[k][q]
    for k in range(3):
        a[p][k], a[q][k] = c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]
