"""Measured records: our own plain tables, read from CSV or Parquet, checked row by row, never altered or filled."""
