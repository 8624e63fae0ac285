"""One photo to be made: what lies where, under which light, before which camera."""

from dataclasses import dataclass

from .lights import Lighting
from .shapes import SIZES
from .tray import Tray


@dataclass(frozen=True)
class Recipe:
    name: str
    seed: int
    kind: str                   # sorted, touching, poured, dumped, teach, empty
    form: str                   # plate, brick, tile, mixed, or none
    lighting: Lighting
    tray: Tray
    count: int = 0
    sizes: tuple = tuple(SIZES)
    kinds: tuple = ()           # (form, size) pairs to draw from, instead of a form in all sizes
    mix: str = "PIECES"         # the palette that colours are drawn from
    colour_count: int = 9
    colours: tuple = ()         # given, or drawn: those far enough from the tray's
    hard: bool = False          # only hard neighbours, side by side
    things: tuple = ()          # that fit no shape (oddments.KINDS)
    width: int = 2048           # of the upright photo
    height: int = 1536
    focal_35mm: int = 26
    tell_focal: bool = True     # whether EXIF has it
    distance: float = 400.0     # lens to tray, mm
    tilt: float = 4.0           # degrees
    card_side: str = "left"     # layout.SIDES, or "half": cut by the picture's border
    card_turn: float = 0.0      # on top of the side's own turn
    card_curl: float = 0.0      # mm that its right end stands up
    card_glossy: bool = False
    cut: bool = False           # pieces may be cut by the picture's border
    camera: str = "pocket"
    cast_kept: float = 0.25     # of a warm light's cast that white balance leaves, as an exponent
    exposure_ev: float = 0.0    # beside what the camera would choose
    motion_px: float = 0.0      # length of the path that the camera moved
    defocus_px: float = 0.0     # radius of the blur
    noise: float = 0.012
    space: str = "srgb"
    orientation: int = 1        # EXIF: how the file is stored
    quality: int = 91
    spp: int = 40
    failure: str = ""           # why a count from this photo is not to be trusted
    folder: str = "tune"
