"""All photos at a glance, for the README."""

from PIL import Image, ImageDraw, ImageFont, ImageOps

COLUMNS, WIDTH, HEIGHT, WORDS, GAP = 9, 200, 150, 15, 5


def sheet(home, recipes):
    found = [r for r in recipes if (home / r.folder / f"{r.name}.jpg").exists()]
    rows = -(-len(found) // COLUMNS)
    page = Image.new("RGB", (COLUMNS * (WIDTH + GAP) + GAP, rows * (HEIGHT + WORDS + GAP) + GAP), "white")
    pen, font = ImageDraw.Draw(page), ImageFont.load_default(10)
    for index, recipe in enumerate(found):
        photo = ImageOps.exif_transpose(Image.open(home / recipe.folder / f"{recipe.name}.jpg"))
        photo.thumbnail((WIDTH, HEIGHT), Image.Resampling.LANCZOS)
        x = GAP + index % COLUMNS * (WIDTH + GAP)
        y = GAP + index // COLUMNS * (HEIGHT + WORDS + GAP)
        page.paste(photo, (x + (WIDTH - photo.width) // 2, y))
        pen.text((x, y + HEIGHT + 1), f"{recipe.folder}/{recipe.name}"[:44], fill="black", font=font)
    page.save(home / "contact.jpg", quality=78, optimize=True)
