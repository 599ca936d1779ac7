"""Strata, words of each scheme from strength, and stiffness from SPT N."""
