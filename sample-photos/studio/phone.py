"""What a phone does to a picture beyond the first photos' camera: each number is drawn or given
by a recipe, and each default does nothing."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Phone:
    sensor: str = "pocket"      # camera.sensitivities: a name, or "drawn-N" for one drawn from N
    matrix_error: float = 0.0   # standard deviation of what the colour matrix mixes wrongly
    metering: str = "highlights"    # or "mean": a dark tray is lifted until whites clip
    flare: float = 0.0          # share of all light that the lens spreads over the whole picture
    local_tone: float = 0.0     # 0 to 1: how far shadows and highlights are evened out by place
    shoulder: float = 0.0       # 0 to 1: how softly highlights run into white instead of clipping
    pupil_mm: float = 0.0       # diameter of the lens's opening: depth of field; 0 is a pinhole
    focus_mm: float = 0.0       # height over the tray that is in focus
    smoothing: float = 0.0      # 0 to 1: noise and fine texture wiped away
