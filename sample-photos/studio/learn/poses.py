"""How a piece lies, and what the network is to say of it."""

import numpy as np

from .. import piece as pieces_, shapes

SIZES = [(1, n) for n in range(1, 9)] + [(2, n) for n in range(2, 9)] + [(4, 4), (4, 6), (6, 6)]
FORMS = ["brick", "plate", "tile"]
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
    side as it lies (mm), direction of the long side (radians), whether square, and the
    indices of face, form and size."""
    axes = piece.axes()
    upright = int(np.argmax(np.abs(axes[2])))
    half = (piece.kind.length, piece.kind.width, piece.kind.height)
    one, two = [axis for axis in range(3) if axis != upright]
    long, short = (one, two) if half[one] >= half[two] else (two, one)
    square = abs(half[one] - half[two]) < 1e-9
    middle = piece.middle()
    seen = foot + (middle[:2] - foot) * height / (height - middle[2])
    face = piece.face if piece.face != "end" or piece.kind.studs[0] != piece.kind.studs[1] else "side"
    return [*seen, half[long], half[short], float(np.arctan2(axes[1, long], axes[0, long])),
            float(square), FACES.index(face), FORMS.index(piece.kind.form),
            SIZES.index(piece.kind.studs[::-1])]
