"""How a piece lies, and what the network is to say of it."""

import numpy as np

from .. import piece as pieces_, shapes

SIZES = [(1, n) for n in range(1, 9)] + [(2, n) for n in range(2, 9)] + [(4, 4), (4, 6), (6, 6)]
BLOCKS = ["brick", "plate", "tile"]     # in all sizes
ODD = [("corner", (2, 2)), ("round", (1, 1)), ("round", (2, 2))]
FORMS = BLOCKS + ["corner", "round"]
FACES = ["up", "down", "side", "end"]
STUDIO = {tuple(map(int, s.split("x"))) for s in shapes.SIZES}

# Rotations that bring a face's normal up; columns are the piece's axes in the world.
_LIE = {
    "up": np.eye(3),
    "down": np.diag([1.0, -1.0, -1.0]),
    "side": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
    "end": np.array([[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]]),
}


def kind(form, size):
    return shapes.Kind(form, f"{size[0]}x{size[1]}")


def laid(kind_, colour, x, y, turn_deg, face="up"):
    """A piece that lies on the tray with this face up, its body's middle over (x, y)."""
    if face == "end" and kind_.studs[0] == kind_.studs[1]:
        face = "side"
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    axes = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ _LIE[face]
    points = shapes.outline_points(kind_) @ axes.T
    middle = axes @ (0, 0, kind_.height / 2)
    return pieces_.Piece(kind_, colour, x - middle[0], y - middle[1], turn_deg, face,
                         -points[:, 2].min(), axes, hollow=True)


def told(piece, foot, height):
    """The numbers of the contract for one piece: its middle in the view (mm), long and short
    side as it lies (mm), direction of the long side (radians), whether square (2 where no turn
    can be told), and the indices of face, form and size."""
    axes, kind_ = piece.axes(), piece.kind
    upright = pieces_.upright(kind_, axes)
    half = (kind_.length, kind_.width, kind_.height)
    one, two = [axis for axis in range(3) if axis != upright]
    long, short = (one, two) if half[one] >= half[two] else (two, one)
    square = float(abs(half[one] - half[two]) < 1e-9)
    along = axes[:2, long]
    if kind_.form == "round":
        if upright == pieces_.UP:
            square = 2.0
        else:       # on its rim: across its own axis, whichever way it has rolled
            along = np.array([-axes[1, pieces_.UP], axes[0, pieces_.UP]])
    middle = piece.middle()
    seen = foot + (middle[:2] - foot) * height / (height - middle[2])
    face = piece.face if piece.face != "end" or kind_.studs[0] != kind_.studs[1] else "side"
    return [*seen, half[long], half[short], float(np.arctan2(along[1], along[0])),
            square, FACES.index(face), FORMS.index(kind_.form), SIZES.index(kind_.studs[::-1])]


def notch(piece):
    """The way from a corner's middle to the cell that it lacks, from above, as a unit vector;
    0, 0 for all others. It tells the corner's whole turn: 45 degrees from two of its sides
    where it lies flat, along it where it stands on a side."""
    if piece.kind.form != "corner":
        return np.zeros(2)
    # That cell is at +x, +y; see `shapes`.
    way = (piece.axes() @ (1, 1, 0))[:2]
    return way / max(np.linalg.norm(way), 1e-9)
