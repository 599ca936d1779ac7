"""The names of inputs, once: every argument of a published equation is one of these, with this unit and meaning."""

from __future__ import annotations

from dataclasses import dataclass

from envpredict.core.registry import Registry


@dataclass(frozen=True, slots=True)
class Input:
    """One input of an equation."""

    name: str
    unit: str
    meaning: str


INPUTS: Registry[Input] = Registry("input")


def _declare(name: str, unit: str, meaning: str) -> None:
    INPUTS.add(name, Input(name, unit, meaning))


_declare("distance_m", "m", "distance from the source to the receptor; plan or slope as the equation declares")
_declare("reference_distance_m", "m", "distance at which the source level is stated")
_declare("depth_m", "m", "depth of the pile's toe below the ground surface")
_declare("energy_j", "J", "nominal energy per blow, or per cycle of a vibrator")
_declare("reference_energy_j", "J", "energy at which the source level is stated")
_declare("frequency_hz", "Hz", "frequency of the vibration or of the sound")
_declare("ppv_mm_s", "mm/s", "peak particle velocity")
_declare("velocity_rms_mm_s", "mm/s", "root mean square velocity")
_declare("reference_ppv_mm_s", "mm/s", "peak particle velocity at the reference distance")
_declare("reference_level_db", "dB", "level at the reference distance")
_declare("exponent", "1", "exponent of the power law, positive")
_declare("coefficient", "1", "factor of the law")
_declare("damping_per_m", "1/m", "material damping of the ground per metre")
_declare("damping_ratio", "1", "fraction of critical damping")
_declare("crest_factor", "1", "ratio of peak to root mean square")
_declare("duration_s", "s", "time for which the vibration lasts")
_declare("count", "1", "number of events")
_declare("shear_wave_speed_m_s", "m/s", "speed of shear waves in the ground")
_declare("spt_n", "blows per 300 mm", "standard penetration test resistance")
_declare("temperature_c", "degC", "air temperature")
_declare("humidity_percent", "%", "relative humidity")
_declare("pressure_kpa", "kPa", "air pressure")
_declare("sound_power_db", "dB re 1 pW", "sound power level; octave bands on the last axis where it has bands")
_declare("source_height_m", "m", "height of the sound source above ground")
_declare("receptor_height_m", "m", "height of the receptor point above ground")
_declare("source_porosity", "1", "ground factor near the source, 0 hard to 1 porous")
_declare("receptor_porosity", "1", "ground factor near the receptor, 0 hard to 1 porous")
_declare("middle_porosity", "1", "ground factor between the end regions, 0 hard to 1 porous")
_declare("porosity", "1", "ground factor, 0 hard to 1 porous")
_declare("level_db", "dB", "sound or vibration level")
_declare("on_time_s", "s", "time for which the source works")
_declare("period_s", "s", "length of the averaging period")
_declare("usage", "1", "fraction of the time at full power")
_declare("log_constant", "1", "constant term of a law that is a polynomial in logarithms to base 10")
_declare("log_slope", "1", "factor of the first power of the logarithm in such a law")
_declare("log_curvature", "1", "factor of the second power of the logarithm in such a law")
_declare("storey", "1", "floors above the ground floor, 0 for the ground floor")
_declare("kb_fmax", "1", "largest frequency-weighted vibration strength")
_declare("vdv_m_s175", "m/s^1.75", "vibration dose value")
_declare("shear_strain", "1", "peak shear strain of the ground")
_declare("mean_path_height_m", "m", "mean height of the sight line above the ground")
_declare("source_edge_m", "m", "distance from the source to the first diffracting edge")
_declare("receptor_edge_m", "m", "distance from the last diffracting edge to the receptor")
_declare("edge_separation_m", "m", "length of the path between the first and the last diffracting edge")
_declare("path_difference_m", "m", "path over the edges less the straight path; negative where the sight line is clear")
_declare("fresnel_number", "1", "twice the path difference over the wavelength")
_declare("ground_attenuation_db", "dB", "ground effect without the obstacle; octave bands on the last axis")
_declare("absorption_db_m", "dB/m", "absorption by the air per metre; octave bands on the last axis")
_declare("weather_constant_db", "dB", "constant C0 of a place's wind statistics, 0 to 5")
_declare("soft_fraction", "1", "share of the plan distance that lies over soft ground, 0 to 1")
_declare("passes_per_hour", "1/h", "passes of mobile plant per hour")
_declare("speed_km_h", "km/h", "mean speed of mobile plant")
_declare("view_angle_deg", "deg", "angle under which the receptor sees the plant's route")
_declare("traverse_m", "m", "length of the route on which plant moves to and fro")
_declare("ground_coefficient", "1", "factor G of the soft-ground term of a hand method, 0 hard")
_declare("sel_db", "dB", "sound exposure level of one event")
_declare("blow_rate_per_min", "1/min", "blows per minute")
_declare("decay_s", "s", "time in which the sound of one blow falls by 60 dB")
_declare("built_fraction", "1", "built area over total area in plan, 0 to 1")
_declare("built_path_m", "m", "length of the path that passes through the built region")
_declare("row_percent", "%", "share of a row's length that facades take up")
_declare("wall_loss_db", "dB", "insertion loss of a closed wall as high as the row of houses")
