"""The words that stand on every output: what the numbers are not, and when work stops."""

from __future__ import annotations

SCREENING = (
    "Screening prediction: empirical published laws with scatter. It is neither a guarantee nor a design."
)
LOCAL_RULES = "Local codes, the authority's consent and a licensed engineer's judgement decide."
BEFORE = (
    "Before work starts: a condition survey of the structures within the zone of influence, and trial piles with "
    "measurements."
)
STOP_WORK = (
    "Stop work when a measured level reaches the agreed stop level, when a crack, tilt or settlement appears or grows, "
    "when a pile refuses or hits an obstruction, or when a monitor is out of order; restart only when a named "
    "competent person has found the cause and agreed."
)
NOT_A_SAFETY_SYSTEM = "This tool is no safety system and must never be the only reason to go on or to stop."
INVENTED = "Invented demonstration: site, neighbours, ground and plant do not exist."
DRAFT = "DRAFT, NOT FOR SUBMISSION: an adopted limit is recalled from memory and nobody has confirmed it."

CAUTIONS: tuple[str, ...] = (SCREENING, LOCAL_RULES, BEFORE, STOP_WORK, NOT_A_SAFETY_SYSTEM)
