#!/usr/bin/python3
"""Makes the static faces of the drawing code from archivo.woff2.

The drawing code reads neither WOFF2 nor variable axes, so each face it draws in is one
instance at a fixed weight and width, with tabular figures as the only figures. Needs
fonttools and brotli (Debian: python3-fonttools python3-brotli; made with 4.38.0).

    cd viewer/fonts && ./instances.py
"""

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont

# file name, weight, width in per cent
FACES = [("chart", 400, 88), ("chart-bold", 640, 88), ("heading", 640, 92)]

TEXT = "".join(map(chr, range(0x20, 0x7F))) + "".join(map(chr, range(0xA0, 0x100))) + "–—‘’“”…−•"

for name, weight, width in FACES:
    font = TTFont("archivo.woff2")
    tabular = {}
    for feature in font["GSUB"].table.FeatureList.FeatureRecord:
        if feature.FeatureTag == "tnum":
            for index in feature.Feature.LookupListIndex:
                for table in font["GSUB"].table.LookupList.Lookup[index].SubTable:
                    tabular.update(table.mapping)
    for table in font["cmap"].tables:
        table.cmap = {code: tabular.get(glyph, glyph) for code, glyph in table.cmap.items()}
    font = instantiateVariableFont(font, {"wght": weight, "wdth": width})
    options = Options(layout_features=[], hinting=False, notdef_outline=True, glyph_names=False)
    subsetter = Subsetter(options)
    subsetter.populate(text=TEXT)
    subsetter.subset(font)
    for tag in ("GSUB", "GPOS", "GDEF", "STAT", "gasp", "prep"):
        if tag in font:
            del font[tag]
    # The name table says what was changed, as the licence asks of modified versions.
    for record in font["name"].names:
        if record.nameID in (1, 4, 16):
            record.string = f"Afterbell {name} (Archivo {weight}/{width})"
        if record.nameID == 6:
            record.string = f"Afterbell-{name}"
    font.flavor = None
    font.save(f"archivo-{name}.ttf")
    print(name, len(font.getGlyphOrder()), "glyphs")
