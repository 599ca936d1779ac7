"""Compliance statistics of records: completeness, levels, exceedances, days, agreement with the prediction."""
