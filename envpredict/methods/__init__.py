"""The catalogue of installation methods, plant, reductions and pile types, and the rules for choosing among them."""
