"""The risk map: one page that works without a network, and the same map for a notebook."""

from __future__ import annotations

from envpredict.outputs.map.page import explore, render_map

__all__ = ["explore", "render_map"]
