"""What a piece's body is the union of: convex parts, upright boxes, discs and what half-spaces
leave. A plain piece is one of them; hulls, bodies that fall and depths are taken part by part, so
that they are right for a body that is not convex too. Millimetres, in the piece's own frame."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from manifold3d import CrossSection, Manifold
from scipy.spatial import ConvexHull, HalfspaceIntersection
from shapely.geometry import MultiPoint, Polygon

PITCH, PLAY = 8.0, 0.2


@dataclass(frozen=True)
class Part:
    studs: tuple        # along x, along y
    x: float = 0.0      # of its middle
    y: float = 0.0

    @property
    def length(self):
        return PITCH * self.studs[0] - PLAY

    @property
    def width(self):
        return PITCH * self.studs[1] - PLAY

    def stud_centres(self):
        return self._lattice(*self.studs)

    def posts(self):
        """(x, y, outer, inner radius) of what stands in the hollow underside: tubes where four
        studs meet, pins between studs in one line."""
        columns, rows = self.studs
        if columns * rows == 1:
            return []
        radii = (3.25, 2.4) if min(columns, rows) > 1 else (1.6, 0.8)
        return [(*at, *radii) for at in self._lattice(max(columns - 1, 1), max(rows - 1, 1))]

    def _lattice(self, columns, rows):
        return [(self.x + PITCH * (i - (columns - 1) / 2), self.y + PITCH * (j - (rows - 1) / 2))
                for i in range(columns) for j in range(rows)]

    def polygon(self):
        return Polygon(self.outline())

    def corners(self, height):
        """Points whose hull is the part, (x, y, z)."""
        return [(x, y, z) for x, y in self.outline() for z in (0, height)]

    def deep(self, points, height):
        """How deep each point (n x 3) lies inside; outside it is negative."""
        level = np.minimum(points[:, 2], height - points[:, 2])
        return np.minimum(self.depth(points[:, :2]), level)


class Box(Part):
    def outline(self):
        """Its corners from above."""
        half = self.length / 2, self.width / 2
        return [(self.x + sx * half[0], self.y + sy * half[1])
                for sx, sy in ((-1, -1), (-1, 1), (1, 1), (1, -1))]

    def depth(self, points):
        """How deep each point (n x 2) lies inside; outside it is negative."""
        low = np.array([self.x - self.length / 2, self.y - self.width / 2])
        high = np.array([self.x + self.length / 2, self.y + self.width / 2])
        return np.minimum(points - low, high - points).min(axis=1)

    def block(self, bottom, top, radius, inset=0.0, steps=3):
        """The solid between two heights, with rounded edges: the hull of eight eighths of a
        ball. `inset` makes it smaller all around."""
        angles = np.linspace(0, np.pi / 2, steps + 1)
        eighth = np.array([(np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up))
                           for up in angles for turn in angles]) * radius
        half = np.array([self.length - 2 * inset, self.width - 2 * inset, top - bottom]) / 2
        corners = [(eighth + half - radius) * (sx, sy, sz)
                   for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)]
        return Manifold.hull_points(np.concatenate(corners)).translate(
            (self.x, self.y, (bottom + top) / 2))

    def room(self, wall, height, segments):
        """What is scooped out below, up to `height`, before posts."""
        return Manifold.cube((self.length - 2 * wall, self.width - 2 * wall, 2 * height),
                             center=True).translate((self.x, self.y, 0))

    def surface(self, height, step):
        """Points all over its six sides."""
        size = np.array([self.length, self.width, height])
        steps = [np.linspace(0, 1, max(2, int(side / step))) for side in size]
        found = []
        for axis in range(3):
            one, two = [a for a in range(3) if a != axis]
            u, v = np.meshgrid(steps[one], steps[two])
            for end in (0.0, 1.0):
                face = np.empty((u.size, 3))
                face[:, one], face[:, two], face[:, axis] = u.ravel(), v.ravel(), end
                found.append((face - (0.5, 0.5, 0)) * size + (self.x, self.y, 0))
        return np.concatenate(found)


class Disc(Part):
    SEGMENTS = 96       # so that its straight sides stay within 0.005 mm of the circle

    @property
    def radius(self):
        return self.length / 2

    def outline(self):
        return self._ring(self.radius, self.SEGMENTS)

    def depth(self, points):
        return self.radius - np.linalg.norm(points - (self.x, self.y), axis=1)

    def block(self, bottom, top, radius, inset=0.0, steps=3):
        arc = np.linspace(0, np.pi / 2, steps + 1)
        side = self.radius - inset - radius
        rim = [(side + radius * np.cos(a), top - radius + radius * np.sin(a)) for a in arc]
        foot = [(x, bottom + top - z) for x, z in rim[::-1]]
        outline = np.array([(0.0, bottom), *foot, *rim, (0.0, top)])
        return Manifold.revolve(CrossSection([outline]), self.SEGMENTS).translate((self.x, self.y, 0))

    def room(self, wall, height, segments):
        return Manifold.cylinder(2 * height, self.radius - wall, circular_segments=segments,
                                 center=True).translate((self.x, self.y, 0))

    def surface(self, height, step):
        found = [np.column_stack([self._ring(r, max(6, int(2 * np.pi * r / step))),
                                  np.full(max(6, int(2 * np.pi * r / step)), z)])
                 for z in (0.0, height) for r in np.linspace(0, self.radius, int(self.radius / step))]
        found += [np.column_stack([self.outline(), np.full(self.SEGMENTS, z)])
                  for z in np.linspace(0, height, max(2, int(height / step)))]
        return np.concatenate(found)

    def _ring(self, radius, count):
        turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
        return [(self.x + radius * c, self.y + radius * s) for c, s in zip(np.cos(turn), np.sin(turn))]


OPEN_MM = 40.0      # that a hollow reaches below the underside
LEVEL = 1e-6        # of a normal's part along z, from which a side slants


@dataclass(frozen=True)
class Hull(Part):
    """What half-spaces leave: a slope, a wedge. `planes` are rows (nx, ny, nz, d) with normals of
    length 1 that point outwards, `tops` the middles of its studs."""
    planes: tuple = ()
    tops: tuple = ()

    def stud_centres(self):
        return list(self.tops)

    def outline(self):
        corners = MultiPoint(self.vertices()[:, :2]).convex_hull.exterior.coords
        return [tuple(map(float, corner)) for corner in corners[:-1]]

    def corners(self, height):
        return [tuple(map(float, corner)) for corner in self.vertices()]

    def vertices(self, moved=None):
        """Corners, with each plane moved by so many mm."""
        moved = (0.0,) * len(self.planes) if moved is None else tuple(map(float, moved))
        return _vertices(self.planes, moved)

    def deep(self, points, height):
        planes = np.array(self.planes)
        return (planes[:, 3] - points @ planes[:, :3].T).min(axis=1)

    def block(self, bottom, top, radius, inset=0.0, steps=3):
        """Rounded; its heights are its own."""
        ball = np.array([(np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up))
                         for up in np.linspace(-np.pi / 2, np.pi / 2, 2 * steps + 1)
                         for turn in np.linspace(0, 2 * np.pi, 4 * steps, endpoint=False)]) * radius
        inner = self.vertices([-radius - inset] * len(self.planes))
        return Manifold.hull_points((inner[:, None] + ball).reshape(-1, 3))

    def room(self, wall, height, segments):
        own = np.array(self.planes)
        roof = self.vertices()[:, 2].max() - height
        below = (own[:, 2] < -1 + LEVEL) & (np.abs(own[:, 3]) < LEVEL)
        moved = np.where(below, OPEN_MM, np.where(own[:, 2] > LEVEL, -roof, -wall))
        try:
            return Manifold.hull_points(self.vertices(moved))
        except ValueError:      # no room between its walls
            return Manifold()

    def surface(self, height, step):
        hull = ConvexHull(self.vertices())
        found = []
        for a, b, c in hull.points[hull.simplices]:
            count = max(2, int(max(np.linalg.norm(b - a), np.linalg.norm(c - a)) / step))
            u, v = (part.ravel() for part in np.meshgrid(*[np.linspace(0, 1, count)] * 2))
            inside = u + v <= 1 + 1e-9
            found.append(a + u[inside, None] * (b - a) + v[inside, None] * (c - a))
        return np.concatenate(found)


@cache
def _vertices(planes, moved):
    from scipy.optimize import linprog

    rows = np.array(planes)
    limit = rows[:, 3] + moved
    best = linprog([0, 0, 0, -1], np.column_stack([rows[:, :3], np.ones(len(rows))]), limit,
                   bounds=[(None, None)] * 3 + [(0, None)])
    if best.status or best.x[3] < 1e-3:
        raise ValueError("nothing is left between the planes")
    found = HalfspaceIntersection(np.column_stack([rows[:, :3], -limit]), best.x[:3]).intersections
    return np.unique(found.round(6), axis=0)
