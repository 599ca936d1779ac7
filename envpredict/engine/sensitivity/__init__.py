"""What the verdicts hang on: uncertain inputs sampled together, and the share of the doubt that each of them makes."""
