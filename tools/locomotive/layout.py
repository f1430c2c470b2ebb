"""Where things stand: the main dimensions of an engine, derived from its spec.

Lengths are metres of a full-size engine of 1.435 m gauge; the builder scales the
finished model to its gauge. x is forward, measured from the middle of the engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.solids import bend
from tools.locomotive.spec import LocomotiveSpec

HALF_GAUGE = 0.7175  # m, half of 1.435 m

BARRELS = {
    "cone": ((0.0, 0.0), (1.0, 1.0)),
    "wagon": ((0.0, 0.0), (0.3, 0.0), (0.62, 1.0), (1.0, 1.0)),
    "shoulder": ((0.0, 0.0), (0.42, 0.0), (0.5, 1.0), (1.0, 1.0)),
    "courses": (
        *((0.0, 0.0), (0.33, 0.0), (0.335, 0.5), (0.66, 0.5)),
        *((0.665, 1.0), (1.0, 1.0)),
    ),
}
"""How a boiler's taper is spread along it, see `Layout.barrel`."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Main dimensions.

    Attributes
    ----------
    front, rear : float
        x of the front and rear buffer beams' outer faces.
    drivers, leading, trailing : tuple of float
        x of the axles, front first.
    wheel_d, lead_d, trail_d : float
        Diameters.
    board : ndarray, shape (n, 2)
        Top of the running board (x, z), rear first.
    board_y, edge_h : float
        Half width over the running boards; height of their outer edge.
    boiler_z, boiler_r, front_r : float
        Height of the boiler's axis; radius at the firebox and at the smokebox.
    smoke_front, smoke_rear, cab_front, cab_rear : float
        x along the boiler.
    rod_y, crank : float
        Distance of the coupling rods' plane from the middle; crank radius.
    cylinder_x, cylinder_z, cylinder_len, cylinder_r : float
    cylinder_y : float
    roof_z, cab_y : float
        Height of the cab side's top edge; half width of the cab.
    barrel : tuple of (float, float)
        Along the boiler from the cab (0) to the smokebox (1), the part of its taper done.
    """

    front: float
    rear: float
    drivers: tuple[float, ...]
    leading: tuple[float, ...]
    trailing: tuple[float, ...]
    wheel_d: float
    lead_d: float
    trail_d: float
    board: NDArray[np.float64]
    board_y: float
    edge_h: float
    boiler_z: float
    boiler_r: float
    front_r: float
    smoke_front: float
    smoke_rear: float
    cab_front: float
    cab_rear: float
    rod_y: float
    crank: float
    cylinder_x: float
    cylinder_z: float
    cylinder_len: float
    cylinder_r: float
    cylinder_y: float
    roof_z: float
    cab_y: float
    barrel: tuple[tuple[float, float], ...]

    @property
    def length(self) -> float:
        """Over the buffer beams, without tender."""
        return self.front - self.rear

    @property
    def board_z(self) -> float:
        """Height of the running board at the cab."""
        return float(self.board[0, 1])

    def radius(self, x: float) -> float:
        """Radius of the boiler at x."""
        t = np.clip((x - self.cab_front) / max(self.smoke_rear - self.cab_front, 1e-6), 0, 1)
        along, taper = zip(*self.barrel, strict=True)
        done = np.interp(t, along, taper)
        return float(self.boiler_r + done * (self.front_r - self.boiler_r))

    def board_at(self, x: float) -> float:
        """Height of the running board at x (its nearest end beyond it)."""
        return float(np.interp(x, self.board[:, 0], self.board[:, 1]))


def _axles(s: LocomotiveSpec, d: float) -> tuple[list[float], list[float], list[float]]:
    """x of driven, leading and trailing axles; the last driver stands at 0."""
    lead, driven, trail = s.axles
    pitch = d * (1.0 + s.driver_gap)
    if driven <= 2:
        pitch *= 1.0 + 0.35 * s.driver_gap
    drivers = [pitch * i for i in reversed(range(driven))]
    ld, td = s.lead_d * d, s.trail_d * d
    room = 0.12 + 0.12 * s.truck_spread
    first = drivers[0] + (d + ld) / 2 + room
    if s.cylinders == "outside" and lead == 1:
        first += 0.3
    leading = [first + ld * s.truck_spread * i for i in reversed(range(lead))]
    last = -(d + td) / 2 - room - 0.15 * (s.truck_spread - 1)
    trailing = [last - td * s.truck_spread * i for i in range(trail)]
    return drivers, leading, trailing


def lay_out(s: LocomotiveSpec) -> Layout:
    """Derive the main dimensions of an engine."""
    d, half = s.driver_d, HALF_GAUGE * s.half_width
    drivers, leading, trailing = _axles(s, d)
    ld, td = s.lead_d * d, s.trail_d * d
    cyl_len = np.clip(0.5 * d, 0.55, 0.85)
    if len(leading) >= 2:
        cyl_x = 0.5 * (leading[0] + leading[1])
    elif leading:
        cyl_x = leading[0] + (0.1 if ld < 0.6 * d else 0.35)
    else:
        cyl_x = drivers[0] + d / 2 + cyl_len / 2 + 0.28
    nose = [leading[0] + ld / 2 if leading else drivers[0] + d / 2]
    if s.cylinders == "outside":
        nose.append(cyl_x + cyl_len / 2)
    front = max(nose) + s.overhang_front
    tail = min([trailing[-1] - td / 2 if trailing else -d / 2, drivers[-1] - d / 2])
    rear = tail - s.overhang_rear
    length = front - rear
    cab_len = min(s.cab_len, 0.26 * length) if s.cab != "none" else min(0.9, 0.16 * length)
    bunker = 0.0 if s.has_tender else min(s.bunker_len, 0.14 * length)
    cab_rear = rear + bunker + 0.05
    cab_front = cab_rear + cab_len
    smoke_front = front - min(s.smokebox_set, 0.16 * length)
    smoke_len = min(max(s.smokebox_len * (smoke_front - cab_front), 0.55), 1.6)
    mid = 0.5 * (front + rear)
    r = s.boiler_r * half
    board = _board(s, front, rear, smoke_front - 0.75 * smoke_len, cab_front, drivers)
    board_z = float(board[0, 1])
    high = float(board[:, 1].max())
    boiler_z = max(board_z + s.boiler_pitch * r, 0.5 * (board_z + high) + 0.5 * r)
    rod_y = HALF_GAUGE + 0.5 * s.wheel_width + 0.07 + (0.17 if s.outside_frame else 0.0)
    cyl_r = min(0.5 * s.cyl_d * (0.55 + 0.3 * d), 0.8 * (board_z - 0.25) / 2 + 0.1)
    roof = max(
        boiler_z + s.cab_h * r, board_z + 1.5 * min(1.0, 0.45 + 0.4 * d), boiler_z + 0.55 * r
    )
    shift = lambda xs: tuple(float(x - mid) for x in xs)  # noqa: E731
    board[:, 0] -= mid
    return Layout(
        front=front - mid,
        rear=rear - mid,
        drivers=shift(drivers),
        leading=shift(leading),
        trailing=shift(trailing),
        wheel_d=d,
        lead_d=ld,
        trail_d=td,
        board=board,
        board_y=max(half, rod_y + 0.22),
        edge_h=s.board_edge_h * length,
        boiler_z=boiler_z,
        boiler_r=r,
        front_r=r * (1.0 - s.boiler_taper),
        smoke_front=smoke_front - mid,
        smoke_rear=smoke_front - smoke_len - mid,
        cab_front=cab_front - mid,
        cab_rear=cab_rear - mid,
        rod_y=rod_y,
        crank=min(0.5 * s.crank * d, 0.36 * d),
        cylinder_x=cyl_x - mid,
        cylinder_z=d / 2 + s.cyl_tilt * max(cyl_x - drivers[-1], 1.0),
        cylinder_len=float(cyl_len),
        cylinder_r=cyl_r,
        cylinder_y=rod_y + 0.14,
        roof_z=roof,
        cab_y=max(half, rod_y + 0.22) - 0.06,
        barrel=BARRELS[s.boiler_form],
    )


def _board(
    s: LocomotiveSpec, front: float, rear: float, smoke: float, cab: float, drivers: list[float]
) -> NDArray[np.float64]:
    """Top line of the running board, rear end first."""
    d = s.driver_d
    z = max(s.board_height * d, 0.62)
    low = max(0.55 * z, min(z, 0.75))
    mid = drivers[0] + 0.55 * d
    shapes: dict[str, list[tuple[float, float]]] = {
        "flat": [(rear, z), (front, z)],
        "step_mid": [(rear, z), (mid - 0.2, z), (mid + 0.1, z + 0.28), (front, z + 0.28)],
        "step_cab": [(rear, z), (cab - 0.05, z), (cab + 0.02, z + 0.22), (front, z + 0.22)],
        "drop_front": [(rear, z), (front - 0.75, z), (front - 0.45, low), (front, low)],
        "drop_both": [
            (rear, low),
            (rear + 0.5, low),
            (rear + 0.8, z),
            (front - 0.75, z),
            (front - 0.45, low),
            (front, low),
        ],
        "ramp": [(rear, z), (smoke, z), (front - 0.1, low), (front, low)],
        "short": [(rear, z), (smoke + 0.3, z)],
        "two_steps": [
            *((rear, low), (cab - 0.1, low), (cab, z), (mid - 0.1, z)),
            *((mid + 0.1, z + 0.2), (front, z + 0.2)),
        ],
        "fall": [(rear, z), (mid, z), (front, 0.5 * (z + low))],
        "humped": [(rear, z)],
    }
    path = shapes[s.board_profile]
    if s.board_profile == "humped":
        for x in reversed(drivers):
            path += [
                (x - 0.5 * d, z),
                (x - 0.32 * d, z + 0.16 * d),
                (x + 0.32 * d, z + 0.16 * d),
                (x + 0.5 * d, z),
            ]
        path.append((front, z))
    if s.board_profile != "short" and path[-1][1] > 1.4 and s.seed % 5 < 3:
        high = path.pop()[1]
        path += [(front - 0.62, high), (front - 0.3, 1.15), (front, 1.15)]
    ordered = [p for i, p in enumerate(path) if i == 0 or p[0] > path[i - 1][0] + 1e-6]
    return bend(ordered, 0.22) if len(ordered) > 2 else np.array(ordered)
