"""One photo to be made: what lies where, under which light, before which camera."""

from dataclasses import dataclass

from .card import Print
from .lights import Lighting
from .phone import Phone
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
    camera: str = "pocket"      # the sensor of the first photos; a `phone` has its own
    phone: Phone = None         # what is drawn or given of the phone, in the wider worlds
    card_print: Print = Print()
    cast_kept: float = 0.25     # of a warm light's cast that white balance leaves, as an exponent
    exposure_ev: float = 0.0    # beside what the camera would choose
    motion_px: float = 0.0      # length of the path that the camera moved
    defocus_px: float = 0.0     # radius of the blur
    noise: float = 0.012
    space: str = "srgb"
    orientation: int = 1        # EXIF: how the file is stored
    quality: int = 91
    spp: int = 40
    depth: int = 5              # longest light path, in surfaces
    azimuth: float = None       # degrees, towards which the phone leans; drawn where not given
    roll: float = None          # degrees; drawn where not given
    aim: tuple = (0.0, 0.0)     # mm, what the phone looks at, from the scene's middle
    moulds: int = 0             # draws walls, tubes and edges of the pieces; 0: all as standard
    spread: float = 0.0         # ΔE that pieces of one colour differ by (standard deviation)
    wear: float = 0.0           # 0 to 1: how unlike the gloss of worn pieces is
    dust: int = 0               # specks and fibres on tray and pieces
    world: str = ""             # whose desk: one print, its colours, its phones (`worlds`)
    renderer: str = "mitsuba"   # or "cycles"
    rests: object = None        # the recipe whose scene this is another view of
    view: str = ""              # "a", "b"...: which view of a scene that has several
    failure: str = ""           # why a count from this photo is not to be trusted
    folder: str = "tune"

    @property
    def sensor(self):
        return self.phone.sensor if self.phone else self.camera
