"""Charts of a run, drawn once and used by the report and as files; readable in grey print."""

from envpredict.outputs.charts.draw import Chart, charts

__all__ = ["Chart", "charts"]
