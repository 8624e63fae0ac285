"""Makes the two fonts of this folder; run beside the unpacked npm package
@fontsource/figtree 5.3.0 with fonttools 4.68 and brotli installed."""

from fontTools.merge import Merger
from fontTools.subset import Options, Subsetter, parse_unicodes
from fontTools.ttLib import TTFont

PARTS = {
    "latin": "20-7E,A0-FF,131,152,153,2013,2014,2018-201A,201C-201E,2022,2026,"
    "2039,203A,20AC,2122,2191,2193,2212",
    "latin-ext": "100-17E,218-21B,1E80-1E85,1E9E,1EF2,1EF3",
}


def part(name, weight):
    options = Options()
    options.layout_features = ["kern"]
    options.hinting = False
    options.drop_tables += ["GSUB", "STAT", "gasp", "GDEF"]
    options.name_IDs = [0, 1, 2, 5, 13, 14]
    options.notdef_outline = True
    font = TTFont(f"package/files/figtree-{name}-{weight}-normal.woff2", recalcTimestamp=False)
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=parse_unicodes(PARTS[name]))
    subsetter.subset(font)
    font.flavor = None
    path = f"{name}-{weight}.ttf"
    font.save(path)
    return path


for weight, file in ((400, "figtree-regular.ttf"), (600, "figtree-semibold.ttf")):
    latin, extended = (part(name, weight) for name in PARTS)
    font = Merger().merge([latin, extended])
    # The merger writes its own name and dates; the first part's are the right ones.
    source = TTFont(latin, recalcTimestamp=False)
    font["name"] = source["name"]
    font["head"].created = source["head"].created
    font["head"].modified = source["head"].modified
    font.recalcTimestamp = False
    font.save(file)
