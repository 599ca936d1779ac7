"""The facts that a class map may ask for: what they mean, which words answer them, and where the answer is given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from envpredict.core.registry import Registry

AskedOf = Literal["receptor", "site", "engine"]
"""Who answers: a column of the receptors' layer, the scenario as a whole, or the engine from geometry and ground."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: `words` maps every allowed answer to its meaning; empty means that the sets define the words."""

    name: str
    meaning: str
    asked_of: AskedOf
    words: dict[str, str]


FACTS: Registry[Fact] = Registry("fact")
UNANSWERED = ("", "unknown")
"""Answers that are none: the fact counts as missing."""


def _declare(name: str, meaning: str, asked_of: AskedOf, **words: str) -> None:
    FACTS.add(name, Fact(name, meaning, asked_of, words))


YES_NO = {"yes": "yes", "no": "no"}

_declare(
    "use", "what the receptor is used for", "receptor",
    dwelling="people live and sleep there", hospital="hospital, clinic, nursing home",
    school="school, nursery, college", office="office or shop",
    worship="place of worship", workshop="workshop, factory, warehouse",
    laboratory="laboratory or other room with sensitive equipment", heritage="listed or protected structure",
    railway="railway track or its structures", bridge="bridge, quay or similar engineering structure",
    buried_pipe="buried pipe, sewer, cable or other service", habitat="place where protected animals live or rest",
    open_space="park, garden, street: nobody lives or works indoors",
)
_declare(
    "structure", "what the load-bearing structure is made of", "receptor",
    concrete="reinforced concrete", steel="steel frame", masonry="brick, block or stone walls", timber="timber frame",
    historic="old structure that is worth preserving and sensitive", none="no structure",
)
_declare("condition", "state of the structure", "receptor", sound="no notable cracks or decay",
         cracked="cracked, dilapidated or weakened")
_declare(
    "foundation", "what the building stands on", "receptor", spread="footings or a raft",
    shaft_bearing_piles="piles that carry mainly by friction", toe_bearing_piles="piles that carry mainly at the toe",
)
_declare("age", "age of the building", "receptor", new="built to modern rules", old="older building")
_declare("finish", "what walls and ceilings are lined with", "receptor", plaster="plaster on lath or on masonry",
         board="gypsum board", bare="no plaster or board")
_declare("engineered", "designed by an engineer, as opposed to built by custom", "receptor", **YES_NO)
_declare(
    "wall_material", "material of masonry walls", "receptor", brick="brick, plain concrete, hollow block",
    light_block="light concrete block, plaster", limestone="limestone or sand-lime brick",
)
_declare(
    "area", "kind of the area by its actual or planned use", "receptor",
    industrial="industry and trade only", commercial="mainly trade", mixed="trade and housing, neither prevails",
    mainly_residential="mainly housing", residential="housing only", special="spa, hospital or nursing-home area",
)
_declare("zone", "planning or noise zone as the set names it", "receptor")
_declare("windows", "how the facade opens", "receptor", openable="windows that open, no central cooling",
         cooled="central air-conditioning", sealed="no openings")
_declare(
    "pipe_material", "material of the pipe", "receptor", steel="welded steel", metal="cast iron or other metal",
    concrete="concrete or reinforced concrete", clay="vitrified clay", masonry="brick or stone", plastic="plastic",
)
_declare(
    "asset", "kind of engineering asset", "receptor",
    water_main="water main", sewer="sewer or drain", gas_pipe="gas pipeline", cable="cable or duct",
    tunnel="railway, road or service tunnel", track="railway on the surface", bridge="bridge or quay",
    slender_wall="slender masonry retaining wall", massive_wall="propped, tied or gravity retaining wall",
    concrete_work="concrete that is still hardening", water_structure="water-retaining structure",
    hydraulic_tunnel="water tunnel",
)
_declare("lining", "lining of a tunnel or cavity", "receptor", reinforced="reinforced concrete, shotcrete, segments",
         plain="plain concrete or stone", masonry="masonry")
_declare("wall_point", "point of a retaining wall that is judged", "receptor", toe="at its toe", crest="at its crest")
_declare(
    "concrete_age", "age of young concrete", "receptor",
    h0_3="up to 3 hours", h3_10="3 to 10 hours", h10_11="10 to 11 hours", h11_24="11 to 24 hours",
    h24_48="24 to 48 hours", d2_3="2 to 3 days", d3_7="3 to 7 days", d7_28="7 to 28 days", over_d28="above 28 days",
)
_declare(
    "equipment", "most sensitive equipment in the room, or the generic curve that its maker asks for", "receptor",
    none="none", microscope_20x="microscope to 20x", microscope_100x="microscope to 100x",
    microscope_400x="microscope to 400x, balances", microscope_1000x="microscope to 1000x, lithography to 3 um",
    lithography_1um="lithography to 1 um", electron_microscope="electron microscope",
    most_demanding="most demanding systems", operating_theatre="operating theatre",
    studio="concert hall, recording or television studio", auditorium="auditorium or theatre",
    vc_a="generic curve VC-A", vc_b="generic curve VC-B", vc_c="generic curve VC-C",
    vc_d="generic curve VC-D", vc_e="generic curve VC-E", vc_f="generic curve VC-F", vc_g="generic curve VC-G",
    office_curve="generic office curve", workshop_curve="generic workshop curve",
)
_declare(
    "species", "animals that the habitat is protected for", "receptor",
    songbird="songbirds", waterbird="wintering or roosting waterbirds, shorebirds", murrelet="marbled murrelet",
    bird="other birds", fish_small="fish lighter than 2 g", fish_large="fish of 2 g or more",
    sea_mammal="whales, dolphins, seals", bat="bats",
)
_declare("owner", "whether the structure belongs to the party that works", "receptor", own="the party's own",
         other="somebody else's")
_declare("main_road", "lies in an urban area near main roads or heavy industry", "receptor", **YES_NO)
_declare("setting", "land around the receptor", "receptor", urban="town or suburb", rural="open country")
_declare("site_within_150_m", "the site lies less than 150 m away", "engine", **YES_NO)
_declare("piling_ground", "ground in which the work is done", "site", soil="clay, silt, sand or gravel", till="till",
         rock="rock")
