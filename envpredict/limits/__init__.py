"""Published limits as data: rules, curves, class maps, periods and day rules; `load_limit_sets` gives them all."""
