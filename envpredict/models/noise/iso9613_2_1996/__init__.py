"""ISO 9613-2:1996, general method, as clarified by ISO/TR 17534-3:2015: attenuation of sound outdoors.

The second edition (2024) changes the ground and the screening terms; it isn't implemented and nothing here claims it.
"""

from envpredict.models.noise.iso9613_2_1996.ground import alternative_ground_db, ground_effect_db, ground_parts_db
from envpredict.models.noise.iso9613_2_1996.path import air_attenuation_db, divergence_db, flat_attenuation
from envpredict.models.noise.iso9613_2_1996.sources import EDITION, NOT_CLAIMED

__all__ = ["EDITION", "NOT_CLAIMED", "air_attenuation_db", "alternative_ground_db", "divergence_db", "flat_attenuation",
           "ground_effect_db", "ground_parts_db"]
