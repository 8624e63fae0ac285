"""Makes calibration/prints.csv: how a printed patch differs from a moulded piece.

    .venv/bin/python tests/reference/colour_prints.py

A print and a pigmented plastic that look alike in daylight do not look alike to a camera in
lamplight. For many lights and cameras the root-polynomial correction that is right for
pigmented surfaces is found, and what it makes of the card's patches is written down: the
mean error it is expected to leave on each patch, and how much that varies.

The lights are those CIE illuminants that the spectral test does not use, the cameras are drawn
at random around usual sensitivities, and none of the test's spectra is used. The pigments'
absorptions are coarse shapes from memory (no source), mixed with white by Kubelka and Munk's
K/S for an opaque layer. Everything is drawn by seed.
"""


import numpy as np

import colour
import colour_reference as cr

W = cr.WAVELENGTHS


def bump(centre, width):
    return np.exp(-0.5 * ((W - centre) / width) ** 2)


def edge(centre, width):
    """Absorbs below the centre."""
    return 1 / (1 + np.exp((W - centre) / width))


BLACK = np.ones(W.size)
PIGMENTS = [
    edge(575, 9) + 0.12 * bump(640, 40) + 0.03,  # red iron oxide
    edge(510, 11) + 0.12 * bump(640, 50) + 0.15 * bump(530, 30) + 0.03,  # yellow iron oxide
    edge(500, 7) + 0.004,  # yellows
    edge(480, 7) + 0.004,
    edge(555, 8) + 0.004,  # orange
    edge(592, 7) * (1 - 0.35 * bump(420, 40)) + 0.006,  # reds
    edge(580, 8) + 0.006,
    bump(565, 14) + 0.8 * bump(530, 16) + 0.45 * bump(495, 25) + 0.12 * bump(400, 40) + 0.01,  # quinacridone
    bump(570, 30) + 0.8 * bump(615, 16) + 0.2 * bump(480, 40) + 0.1 * bump(400, 30) + 0.015,  # dioxazine
    bump(600, 42) + 0.25 * bump(540, 40) + 0.15 * bump(660, 25) + 0.01,  # ultramarine
    bump(620, 28) + 0.9 * bump(700, 30) + 0.35 * bump(580, 30) + 0.08 * bump(400, 50) + 0.01,  # blue phthalocyanine
    bump(640, 25) + 0.7 * bump(700, 35) + 0.35 * bump(600, 35) + 0.5 * edge(455, 14) + 0.01,  # green phthalocyanine
    0.7 * bump(545, 18) + bump(590, 20) + 0.9 * bump(625, 18) + 0.02,  # cobalt blue
    bump(600, 38) + 0.9 * edge(470, 16) + 0.25 * bump(420, 30) + 0.2 * bump(680, 30) + 0.04,  # chromium oxide
    bump(435, 28) + 0.55 * bump(480, 22) + 0.75 * bump(672, 13) + 0.3 * bump(630, 28) + 0.1 * bump(590, 30) + 0.04,  # leaf
]


def pigmented(count, seed):
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        k = np.exp(rng.normal(-3.2, 1.2)) * BLACK
        for j in rng.choice(len(PIGMENTS), rng.integers(1, 4), replace=False):
            k = k + np.exp(rng.normal(-0.7, 1.3)) * PIGMENTS[j]
        k = np.interp(W + rng.normal(0, 6), W, k)
        gloss = rng.uniform(0, 0.03)
        reflectance = gloss + (1 - gloss) * (1 + k - np.sqrt(k * k + 2 * k)) * rng.uniform(0.9, 1)
        out.append(0.005 + 0.97 * np.clip(reflectance, 0, 1))
    return np.array(out)


def lights():
    other = [
        name
        for name in colour.SDS_ILLUMINANTS
        if name not in cr.LIGHTS and not name.startswith("ISO")
    ]
    return [cr.aligned(colour.SDS_ILLUMINANTS[name]) for name in other]


def cameras(count, seed):
    rng = np.random.default_rng(seed)
    x = (W - 400) / 300
    out = []
    for _ in range(count):
        broad = np.exp(rng.uniform(0, np.log(1.6)))
        window = 1 / (1 + np.exp((W - rng.uniform(655, 690)) / rng.uniform(4, 9)))
        window = window / (1 + np.exp(-(W - rng.uniform(400, 418)) / 5))
        peaks = np.stack(
            [
                bump(rng.uniform(590, 615), rng.uniform(26, 38) * broad),
                bump(rng.uniform(525, 545), rng.uniform(32, 42) * broad),
                bump(rng.uniform(450, 470), rng.uniform(22, 32) * broad),
            ]
        )
        crosstalk = np.eye(3) + rng.uniform(0, 0.10 * broad, (3, 3)) * (1 - np.eye(3))
        ripple = [
            rng.normal(0, 0.12) * np.sin(2 * np.pi * (x * rng.uniform(0.5, 2.5) + rng.uniform()))
            for _ in range(3)
        ]
        out.append(((crosstalk @ peaks) * window * np.exp(np.stack(ripple))).T)
    return out


def metric(lab):
    """src/colour/metric.rs."""
    lightness, a, b = lab
    bend = lambda c: np.sqrt(c**7 / (c**7 + 25.0**7))
    g = 0.5 * (1 - bend(np.hypot(a, b)))
    a1 = (1 + g) * a
    chroma, hue = np.hypot(a1, b), np.arctan2(b, a1)
    degrees = np.degrees(hue) % 360
    cosine = lambda f, o: np.cos(np.radians(f * degrees + o))
    t = 1 - 0.17 * cosine(1, -30) + 0.24 * cosine(2, 0) + 0.32 * cosine(3, 6) - 0.2 * cosine(4, -63)
    sl = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    sc, sh = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    rt = -np.sin(np.radians(60 * np.exp(-(((degrees - 275) / 25) ** 2)))) * 2 * bend(chroma)
    along = np.array([0, np.cos(hue) * (1 + g), np.sin(hue)]) / sc
    across = np.array([0, -np.sin(hue) * (1 + g), np.cos(hue)]) / sh
    return np.array([[1 / sl, 0, 0], along + 0.5 * rt * across, np.sqrt(1 - rt * rt / 4) * across])


def lab(rgb):
    """CIELAB of linear sRGB, carried on below zero."""
    xyz = rgb @ cr.SRGB_TO_XYZ.T / cr.SRGB_WHITE
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)


def designs(u):
    p = np.maximum(u, 0)
    roots = np.sqrt(p[:, [0, 1, 0]] * p[:, [1, 2, 2]])
    return [np.concatenate([u[:, [k for k in range(3) if k != c]], roots], 1) - u[:, [c]] for c in range(3)]


def corrected(u, c, rows):
    return u + np.stack([rows[k] @ c[5 * k : 5 * k + 5] for k in range(3)], 1)


def population_fit(u, truth, metrics):
    """Gauss-Newton with damping on errors in dE00; the model of src/colour/model.rs."""
    rows, c, damping = designs(u), np.zeros(15), 1e-3
    errors = lambda c: np.einsum("nij,nj->ni", metrics, lab(corrected(u, c, rows)) - truth)
    r = errors(c)
    for _ in range(12):
        out = corrected(u, c, rows)
        slopes = [(lab(out + d) - lab(out - d)) / 2e-6 for d in 1e-6 * np.eye(3)]
        slopes = np.einsum("nij,njk->nik", metrics, np.stack(slopes, 2))
        jacobian = np.concatenate([slopes[:, :, [k]] * rows[k][:, None, :] for k in range(3)], 2).reshape(-1, 15)
        normal = jacobian.T @ jacobian + 1e-3 * np.eye(15)
        gradient = jacobian.T @ r.reshape(-1) + 1e-3 * c
        for _ in range(8):
            moved = c - np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
            there = errors(moved)
            if (there**2).sum() < (r**2).sum():
                c, r, damping = moved, there, damping * 0.2
                break
            damping *= 10
    return c


def main():
    pieces = pigmented(400, 7)
    truth = cr.lab_of(cr.xyz_d65(pieces))
    metrics = np.array([metric(v) for v in truth])
    names, nominal = cr.load_card()
    prints = [cr.sigmoid_reflectances(nominal), cr.dye_reflectances(nominal)]
    print_labs = [cr.lab_of(cr.xyz_d65(r)) for r in prints]
    print_metrics = [np.array([metric(v) for v in labs]) for labs in print_labs]
    rng = np.random.default_rng(5)
    white, seen = np.ones((1, W.size)), []
    for camera in cameras(12, 3):
        for light in lights():
            balance = np.exp(rng.normal(0, 0.08, 2))
            render = lambda r: cr.linear_light(r, light, camera, balance)[0]
            level = np.maximum(render(white), 1e-3)
            c = population_fit(np.maximum(render(pieces), 0) / level, truth, metrics)
            for reflectances, labs, m in zip(prints, print_labs, print_metrics):
                u = np.maximum(render(reflectances), 0) / level
                seen.append(np.einsum("nij,nj->ni", m, lab(corrected(u, c, designs(u))) - labs))
    # Greys: the dyes' greys are off by what a neutral balance takes out again.
    expected, spread = np.mean(seen, axis=0), np.std(seen, axis=0)
    grey = np.array([name.startswith("grey") for name in names])
    expected[grey], spread[grey] = 0, 0
    header = [
        "How the correction that is right for pigmented surfaces is expected to be off on a printed patch:",
        "mean and standard deviation along lightness, chroma and hue, dE00 (see src/colour/prints.rs).",
        "Made by tests/reference/colour_prints.py with colour-science 0.4.7 (BSD-3-Clause); pigments from memory.",
    ]
    columns = ["name", "L", "a", "b", "mean_l", "mean_c", "mean_h", "sd_l", "sd_c", "sd_h"]
    rows = [
        [name, *(f"{v:.2f}" for v in (*nominal[i], *expected[i], *spread[i]))]
        for i, name in enumerate(names)
    ]
    cr.write(cr.ROOT / "calibration/prints.csv", header, columns, rows)


if __name__ == "__main__":
    main()
