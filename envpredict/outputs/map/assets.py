"""Scripts and styles that are written into the page, so that it asks the network for nothing."""

from __future__ import annotations

import base64
import re
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from envpredict.core.errors import OutputFailure

SCRIPTS: tuple[str, ...] = ("data.js", "view.js", "marks.js", "site.js", "rest.js", "layer.js", "list.js", "details.js",
                            "legend.js", "controls.js", "measure.js", "print.js", "main.js")
"""The page's own scripts, in the order in which they build on one another."""
STYLES: tuple[str, ...] = ("base.css", "panels.css", "onmap.css", "layouts.css")
HINT = "install the package again with its dependencies: pip install envpredict"


def _base(package: str) -> Path:
    """Return the folder of a package that carries web assets. Raises OutputFailure if it isn't installed."""
    try:
        if package == "leaflet":
            from xstatic.pkg import leaflet as carrier
        else:
            from xstatic.pkg import jquery as carrier
    except ImportError as error:
        raise OutputFailure(f"the package that carries {package} for the map isn't installed", HINT) from error
    return Path(carrier.BASE_DIR)


def _script(text: str) -> str:
    """Return a script that may stand inside a `<script>` element and names no further file."""
    without_map = re.sub(r"^//# sourceMappingURL=.*$", "", text, flags=re.MULTILINE)
    return re.sub(r"</(script)", r"<\\/\1", without_map, flags=re.IGNORECASE).strip()


@lru_cache(maxsize=1)
def leaflet_script() -> str:
    """Return Leaflet."""
    return _script((_base("leaflet") / "leaflet.js").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def jquery_script() -> str:
    """Return jQuery, which folium's popups call."""
    return _script((_base("jquery") / "jquery.js").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def leaflet_style() -> str:
    """Return Leaflet's style with its pictures written into it."""
    base = _base("leaflet")

    def embed(found: re.Match[str]) -> str:
        return f"url({_data_uri(base / found.group(1))})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", embed, (base / "leaflet.css").read_text(encoding="utf-8"))


def _data_uri(picture: Path) -> str:
    return "data:image/png;base64," + base64.b64encode(picture.read_bytes()).decode("ascii")


@lru_cache(maxsize=1)
def marker_pictures() -> dict[str, str]:
    """Return the pictures of Leaflet's own marker, for markers that a notebook adds to the map."""
    images = _base("leaflet") / "images"
    return {"iconUrl": _data_uri(images / "marker-icon.png"), "iconRetinaUrl": _data_uri(images / "marker-icon-2x.png"),
            "shadowUrl": _data_uri(images / "marker-shadow.png")}


def page_file(name: str) -> str:
    """Return one of the page's own files."""
    return (files("envpredict.outputs.map") / "page" / name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def page_script() -> str:
    """Return the page's own scripts as one."""
    return _script("\n".join(page_file(name) for name in SCRIPTS))


def page_style() -> str:
    """Return the page's own style."""
    return "\n".join(page_file(name) for name in STYLES)
