"""Where the parts meet: programme, levels, verdicts. No formula and no shipped number stands here."""
