"""Airborne sound: published equations for propagation, screening, hand methods, impulses and uncertainty.

Octave bands 63 Hz to 8 kHz are always the last axis (8). Levels are incident: no reflection from the receptor's own
facade is in them.
"""
