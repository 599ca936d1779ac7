"""One job done five ways: the A-weighted level at every receptor from all piles, over open ground (ISO 9613-2:1996).

The library's own way, a bare compiled loop, clear numpy, a loop over receptors in pandas, and a spreadsheet program.
"""

from __future__ import annotations

import math
import subprocess
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import numba
import numpy as np
import pandas as pd
import xlsxwriter
from numpy.typing import NDArray

from envpredict.models.noise.iso9613_1_1993 import octave_absorption_db_m
from envpredict.models.noise.iso9613_2_1996 import flat_attenuation
from envpredict.models.noise.weighting import A_WEIGHTING_DB

Floats = NDArray[np.float64]
LW_DB = np.array([110.0, 112, 113, 114, 112, 109, 104, 97])
"""An invented source: sound power per octave band, 63 Hz to 8 kHz."""
HS, HR, GS, GR, GM = 6.0, 4.5, 0.2, 0.6, 0.5
ALPHA = octave_absorption_db_m()
CHUNK = 1_000_000
CALC_ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"><item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item></oor:items>"""
"""A profile of the spreadsheet program that computes every formula when a file is opened."""


def places(receptors: int, piles: int, seed: int = 1) -> Floats:
    """Return (R, P): plan distances in m between receptors and piles thrown over a site."""
    rng = np.random.default_rng(seed)
    at = rng.uniform((0.0, 10.0), (600.0, 400.0), (receptors, 2))
    return np.asarray(np.hypot(at[:, :1] - np.linspace(0.0, 600.0, piles), at[:, 1:]))


def ours(distance_m: Floats) -> Floats:
    """Return the levels (R) by the library's public function."""
    out = np.empty(len(distance_m))
    step = max(CHUNK // distance_m.shape[1], 1)
    for start in range(0, len(distance_m), step):
        a = flat_attenuation(distance_m[start:start + step], HS, HR, source_porosity=GS, receptor_porosity=GR,
                             middle_porosity=GM)
        out[start:start + step] = 10.0 * np.log10((10.0 ** (0.1 * (LW_DB + A_WEIGHTING_DB - a))).sum(axis=(1, 2)))
    return out


@numba.njit
def _bare(dp, lw, alpha, hs, hr, gs, gr, gm, out):  # type: ignore[no-untyped-def]
    for r in range(dp.shape[0]):
        total = 0.0
        for p in range(dp.shape[1]):
            x = dp[r, p]
            near, far = 1.0 - math.exp(-x / 50.0), 1.0 - math.exp(-2.8e-6 * x * x)
            d2 = x * x + (hs - hr) ** 2
            d, spread = math.sqrt(d2), 10.0 * math.log10(d2) + 11.0
            q = max(0.0, 1.0 - 30.0 * (hs + hr) / x)
            for band in range(8):
                agr = -3.0 * q * (1.0 if band == 0 else 1.0 - gm)
                for side in range(2):
                    h, g = (hs, gs) if side == 0 else (hr, gr)
                    if band == 0:
                        agr -= 1.5
                    elif band == 1:
                        agr += -1.5 + g * (1.5 + 3.0 * math.exp(-0.12 * (h - 5.0) ** 2) * near
                                           + 5.7 * math.exp(-0.09 * h * h) * far)
                    elif band == 2:
                        agr += -1.5 + g * (1.5 + 8.6 * math.exp(-0.09 * h * h) * near)
                    elif band == 3:
                        agr += -1.5 + g * (1.5 + 14.0 * math.exp(-0.46 * h * h) * near)
                    elif band == 4:
                        agr += -1.5 + g * (1.5 + 5.0 * math.exp(-0.9 * h * h) * near)
                    else:
                        agr -= 1.5 * (1.0 - g)
                total += 10.0 ** (0.1 * (lw[band] - spread - alpha[band] * d - agr))
        out[r] = 10.0 * math.log10(total)


def bare(distance_m: Floats) -> Floats:
    """Return the levels (R) by one compiled loop: no checks, nothing kept."""
    out = np.empty(len(distance_m))
    _bare(distance_m, LW_DB + A_WEIGHTING_DB, ALPHA, HS, HR, GS, GR, GM, out)
    return out


def _end(h: float, g: float, x: Floats) -> list[Floats | float]:
    near, far = 1.0 - np.exp(-x / 50.0), 1.0 - np.exp(-2.8e-6 * x**2)
    return [-1.5,
            -1.5 + g * (1.5 + 3.0 * np.exp(-0.12 * (h - 5.0) ** 2) * near + 5.7 * np.exp(-0.09 * h**2) * far),
            -1.5 + g * (1.5 + 8.6 * np.exp(-0.09 * h**2) * near), -1.5 + g * (1.5 + 14.0 * np.exp(-0.46 * h**2) * near),
            -1.5 + g * (1.5 + 5.0 * np.exp(-0.9 * h**2) * near), *[-1.5 * (1.0 - g)] * 3]


def clear(x: Floats) -> Floats:
    """Return the levels (R) by numpy as one would write it down, band by band."""
    d = np.sqrt(x**2 + (HS - HR) ** 2)
    q = np.maximum(0.0, 1.0 - 30.0 * (HS + HR) / x)
    source, receptor = _end(HS, GS, x), _end(HR, GR, x)
    energy = np.zeros_like(x)
    for band in range(8):
        ground = source[band] + receptor[band] - 3.0 * q * (1.0 if band == 0 else 1.0 - GM)
        attenuation = 20.0 * np.log10(d) + 11.0 + ALPHA[band] * d + ground
        energy += 10.0 ** (0.1 * (LW_DB[band] + A_WEIGHTING_DB[band] - attenuation))
    return np.asarray(10.0 * np.log10(energy.sum(axis=1)))


def by_receptor(distance_m: Floats) -> Floats:
    """Return the levels (R) by a frame of pairs, grouped by receptor and worked on one receptor after another."""
    rows, piles = distance_m.shape
    pairs = pd.DataFrame({"receptor": np.repeat(np.arange(rows), piles), "x": distance_m.ravel()})
    pairs["level"] = pairs.apply(lambda pair: clear(np.array([[pair["x"]]]))[0], axis=1)
    return np.asarray([10.0 * math.log10((10.0 ** (0.1 * mine["level"])).sum())
                       for _, mine in pairs.groupby("receptor")])


def sheet(distance_m: Floats, path: Path) -> None:
    """Write the same sums as formulas: a row per pair with its eight bands, and a row per receptor with its level."""
    rows, piles = distance_m.shape
    with xlsxwriter.Workbook(path) as book:
        pairs, levels = book.add_worksheet("pairs"), book.add_worksheet("levels")
        for n, x in enumerate(distance_m.ravel()):
            pairs.write_number(n, 0, n // piles)
            pairs.write_number(n, 1, float(x))
            at = f"B{n + 1}"
            pairs.write_formula(n, 2, f"=SQRT({at}^2+{(HS - HR) ** 2!r})")
            for band in range(8):
                pairs.write_formula(n, 3 + band, f"=10^(0.1*({float(LW_DB[band] + A_WEIGHTING_DB[band])!r}"
                                                 f"-20*LOG10(C{n + 1})-11-{float(ALPHA[band])!r}*C{n + 1}"
                                                 f"-({_ground(band, at)})))")
            pairs.write_formula(n, 11, f"=SUM(D{n + 1}:K{n + 1})")
        for r in range(rows):
            levels.write_number(r, 0, r)
            first = r * piles + 1
            levels.write_formula(r, 1, f"=10*LOG10(SUM(pairs!L{first}:L{first + piles - 1}))")


def _ground(band: int, x: str) -> str:
    near, far = f"(1-EXP(-{x}/50))", f"(1-EXP(-0.0000028*{x}^2))"
    ends = []
    for h, g in ((HS, GS), (HR, GR)):
        one, square = f"EXP(-0.09*{h}^2)", f"{h}^2"
        ends.append(["-1.5", f"-1.5+{g}*(1.5+3*EXP(-0.12*({h}-5)^2)*{near}+5.7*{one}*{far})",
                     f"-1.5+{g}*(1.5+8.6*{one}*{near})", f"-1.5+{g}*(1.5+14*EXP(-0.46*{square})*{near})",
                     f"-1.5+{g}*(1.5+5*EXP(-0.9*{square})*{near})", *[f"-1.5*(1-{g})"] * 3][band])
    middle = f"-3*MAX(0,1-{30.0 * (HS + HR)}/{x})*{1.0 if band == 0 else 1.0 - GM}"
    return f"{ends[0]}+{ends[1]}{middle}"


def recalculated(soffice: str, path: Path) -> Path:
    """Have the spreadsheet program open a file, compute every formula and store the result; return its file."""
    profile = path.parent / "profile"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(CALC_ALWAYS, encoding="utf-8")
    out = path.parent / "computed"
    subprocess.run([soffice, "--headless", f"-env:UserInstallation={profile.as_uri()}", "--convert-to", "xlsx",
                    "--outdir", str(out), str(path)], check=True, capture_output=True, timeout=600)
    return out / path.name


def levels_of(path: Path) -> Floats:
    """Return the column of levels (R) that a computed file holds."""
    with zipfile.ZipFile(path) as file:
        root = ElementTree.fromstring(file.read("xl/worksheets/sheet2.xml"))
    space = {"x": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
    return np.array([float(cell.findtext("x:v", "nan", space)) for cell in root.iterfind(".//x:c", space)
                     if str(cell.get("r", "")).startswith("B")])
