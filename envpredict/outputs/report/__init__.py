"""The permit report: its content is built once and written as a Word file and as a page."""

from envpredict.outputs.report.build import build

__all__ = ["build"]
