"""How the works are done: candidates, feasibility, programme, reductions."""
