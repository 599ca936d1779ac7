"""What every other part stands on: quantities, citations, ranges, registries, errors. Imports numpy alone."""
