"""The page itself: a folium map that stands in a page of our own and needs no network."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from typing import TYPE_CHECKING, Any

import folium
from branca.element import Element, Figure
from folium.template import Template
from markupsafe import Markup, escape

from envpredict.core.cautions import DRAFT, INVENTED
from envpredict.outputs.map import assets
from envpredict.outputs.map.pack import script_json
from envpredict.outputs.map.payload import Payload, collect

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

DEEPEST_ZOOM = 22
NOTEBOOK_HEIGHT = "760px"


class Page(Figure):
    """The HTML document around the map."""

    _template = Template(assets.page_file("document.html"))

    def __init__(self, title: str) -> None:
        super().__init__(height=NOTEBOOK_HEIGHT, title=escape(title))


class RiskMap(folium.Map):
    """A folium map that shows an assessment; layers may be added to it like to any other.

    Element ids are numbered in order of appearance and nothing is fetched, so the same assessment gives the same bytes.
    """

    _template = Template(assets.page_file("map.html"))

    def __init__(self, payload: Payload) -> None:
        super().__init__(location=list(payload.centre), zoom_start=16, tiles=None, zoom_control=False,
                         attribution_control=False, max_zoom=DEEPEST_ZOOM, zoom_snap=0.25, zoom_delta=0.5)
        self.options["maxZoom"] = DEEPEST_ZOOM
        self.default_js: list[tuple[str, str]] = []
        self.default_css: list[tuple[str, str]] = []
        self.head = payload.head
        self.data = Markup(script_json(payload.head))
        self.block = payload.block
        self.draft, self.invented = DRAFT, INVENTED
        title = f"Risk map: {payload.head['title']}"
        self.style = assets.leaflet_style() + "\n" + assets.page_style()
        self.scripts = [assets.leaflet_script(), assets.page_script()]
        Page(title).add_child(self)

    def render(self, **kwargs: Any) -> Any:
        """Render the map into its page."""
        number_ids(self.get_root())
        if self._children:    # only folium's own popups and markers need these
            pictures = f"L.Icon.Default.mergeOptions({script_json(assets.marker_pictures())});"
            forget = "delete L.Icon.Default.prototype._getIconUrl;"
            self.scripts = [assets.jquery_script(), assets.leaflet_script(), forget + pictures, assets.page_script()]
        render: Callable[..., Any] = super().render
        return render(**kwargs)


def number_ids(root: Element) -> None:
    """Give every element below `root` the next number as its id, in place of folium's random one."""
    numbers = count(1)
    waiting = [root]
    while waiting:
        element = waiting.pop(0)
        element._id = str(next(numbers))
        waiting = list(element._children.values()) + waiting


def explore(assessment: Assessment, *, private_names: bool = True, show_protected: bool = False) -> RiskMap:
    """Return the risk map as a folium map, which a notebook shows by itself.

    With `private_names` the names of homes and workplaces stay out; places and names of protected habitats stay out
    unless `show_protected`.
    """
    return RiskMap(collect(assessment, private_names=private_names, show_protected=show_protected))


def render_map(assessment: Assessment, *, private_names: bool = True, show_protected: bool = False) -> str:
    """Return the risk map as one self-contained HTML page; the same assessment gives the same bytes."""
    page = explore(assessment, private_names=private_names, show_protected=show_protected)
    return str(page.get_root().render())
