"""The plant that is shipped, as sources of sound: sound power over hard ground, its range, its spectrum.

LWA is A-weighted, in dB re 1 pW; the octaves are unweighted sound power levels.
"""

from __future__ import annotations

from envpredict.engine.catalogue import load_catalogue
from envpredict.methods.schema import Plant
from envpredict.outputs.reference.markdown import facts, marked, sections, table

TITLE = "Plant"
OCTAVES = ("63", "125", "250", "500", "1k", "2k", "4k", "8k")


def _section(plant: Plant) -> str:
    height = "at the pile's head" if plant.height == "pile_head" else f"{plant.height:g} m"
    sel = "" if plant.sel_10m_db is None else (f"{plant.sel_10m_db:.1f} dB at 10 m, one blow, at "
                                               f"{plant.sel_blow_rate_per_min:g} per minute; {plant.sel_citation}")
    peak = "" if plant.max_minus_mean_db is None else f"{plant.max_minus_mean_db:g} dB; {plant.max_minus_mean_citation}"
    return sections([
        f"## {plant.id}",
        f"{plant.title}.",
        facts([
            ("LWA", f"{plant.lwa_db:.1f} dB ({plant.lwa_low_db:.1f} to {plant.lwa_high_db:.1f}), {plant.level_type}; "
                    f"{plant.citation}"),
            ("standard uncertainty", f"{plant.u_db:g} dB; {plant.u_citation}"),
            ("maximum above the mean", peak),
            ("sound exposure", sel),
            ("height", f"{height} ({plant.height_low_m:g} to {plant.height_high_m:g} m); {plant.height_citation}"),
            ("spectrum", plant.spectrum_citation),
            ("note", plant.note),
        ]),
        table(OCTAVES, [[f"{level:.1f}" for level in plant.octaves_db]]),
    ])


def body() -> str:
    """Return the list of plant, and one section on each item."""
    plant = load_catalogue().plant
    rows = [(f"[{item.id}](#{item.id})", item.title, f"{item.lwa_db:.1f}",
             f"{item.lwa_low_db:.1f} to {item.lwa_high_db:.1f}", marked(item.basis)) for item in plant.values()]
    return sections([table(["plant", "title", "LWA, dB", "range, dB", "basis"], rows),
                     *(_section(item) for item in plant.values())])
