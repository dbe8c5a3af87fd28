"""The frame of a page: Leaflet and the data inlined, a policy that lets nothing else in.

A page is one file that asks nobody for anything. Its scripts and styles stand in it and are
named by their hash in the page's own content security policy; its data stand in a JSON
block that is no script; the words of people pass the templates' escaping or reach the
screen as text nodes, never as markup.
"""

from __future__ import annotations

import base64
import functools
import hashlib
import json
import re
from importlib import metadata, resources
from typing import Any

import folium
from branca.element import MacroElement
from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape
from markupsafe import Markup

from fieldmap.errors import Fault, StoreError

LEAFLET_PACKAGE = "XStatic-Leaflet"
_OWN_SCRIPTS = ("draw.js", "lie.js", "page.js")
_NO_MAP_SCRIPTS = ("draw.js", "page.js")
_OWN_STYLES = ("page.css", "parts.css", "lie.css", "bars.css", "set_up.css", "print.css")
# What would end a script or change its meaning inside HTML, written so that JSON still reads it.
_ESCAPES = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}


class GroundMap(folium.Map):
    """folium's map without its tiles, links and random names: the same map every time."""

    def __init__(self, *, many: bool) -> None:
        super().__init__(
            tiles=None,
            prefer_canvas=many,
            attribution_control=False,
            zoom_control="bottomleft",
            scroll_wheel_zoom=False,
            zoom_snap=0.25,
            zoom_delta=0.5,
        )
        self._id = "ground"
        self.default_js: list[tuple[str, str]] = []
        self.default_css: list[tuple[str, str]] = []


class Features(MacroElement):
    """Draws what the page's JSON block holds; folium's own layers would write HTML strings."""

    _template = Template(
        "{% macro script(this, kwargs) %}fieldmapDraw({{ this._parent.get_name() }});{% endmacro %}"
    )

    def __init__(self) -> None:
        super().__init__()
        self._name = "features"
        self._id = "ground"


@functools.cache
def map_parts(*, many: bool) -> tuple[str, str]:
    """Folium's share of a page: the element that holds the map, and the script that makes it.

    Parameters
    ----------
    many : bool
        True when there are too many outlines for one element each; the map then paints
        them on a canvas.

    Examples
    --------
    >>> element, script = map_parts(many=False)
    >>> print(element)
    <div class="folium-map" id="map_ground" ></div>
    >>> "L.map" in script
    True
    """
    ground = GroundMap(many=many)
    Features().add_to(ground)
    figure: Any = ground.get_root()
    whole: Any = ground
    whole.render()
    return figure.html.render().strip(), _tidy(figure.script.render())


def json_block(data: Any) -> Markup:
    r"""Data as JSON that cannot end the script element it stands in.

    Raises
    ------
    ValueError
        A NaN or an infinity, which JSON does not have.

    Examples
    --------
    >>> print(json_block({"note": "</script>"}))
    {"note":"\u003c/script\u003e"}
    >>> print(json_block({}))
    {}
    """
    text = json.dumps(
        data, ensure_ascii=False, allow_nan=False, separators=(",", ":"), sort_keys=True
    )
    # A lone half of a surrogate pair cannot be written as UTF-8; JSON can name it.
    text = re.sub("[\ud800-\udfff]", lambda half: f"\\u{ord(half[0]):04x}", text)
    return Markup(text.translate(_ESCAPES))  # noqa: S704


@functools.cache
def policy_hash(text: str) -> str:
    """The content security policy's name for an inline script or style.

    Examples
    --------
    The digest of nothing (FIPS 180-4's empty message, in base 64):

    >>> policy_hash("")
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
    """
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def policy(scripts: tuple[str, ...], styles: tuple[str, ...]) -> str:
    """A policy that runs these scripts and styles, shows inlined images, and nothing else."""
    return "; ".join(
        (
            "default-src 'none'",
            "img-src data:",
            *((f"script-src {' '.join(map(policy_hash, scripts))}",) if scripts else ()),
            f"style-src {' '.join(map(policy_hash, styles))}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def render(
    template: str,
    page: dict[str, Any],
    data: dict[str, Any],
    *,
    many: bool = False,
    mapped: bool = True,
    more: tuple[str, ...] = (),
) -> str:
    """One whole page.

    Parameters
    ----------
    template : str
        File in ``templates``.
    page : dict
        What the template reads; its text is escaped.
    data : dict
        What the map draws, JSON types only.
    many : bool
        As in :func:`map_parts`.
    mapped : bool
        False for a page of tables alone: it carries no map library.
    more : tuple of str
        Styles and scripts of this kind of page alone, files in ``assets``.

    Returns
    -------
    str
        What UTF-8 cannot write (half of a surrogate pair) stands as a question mark.
    """
    element, map_script = map_parts(many=many) if mapped else ("", "")
    own = tuple(name for name in more if name.endswith(".js"))
    scripts: tuple[str, ...] = (_joined((*_NO_MAP_SCRIPTS, *own)),)
    styles: tuple[str, ...] = (
        _joined((*_OWN_STYLES, *(name for name in more if name.endswith(".css")))),
    )
    if mapped:
        scripts = (_leaflet_script(), _joined((*_OWN_SCRIPTS, *own)), map_script)
        styles = (_leaflet_style(), *styles)
    text = (
        _templates()
        .get_template(template)
        .render(
            page={**page, "map": Markup(element)},  # noqa: S704
            data=json_block(data),
            policy=policy(scripts, styles),
            scripts=[Markup(text) for text in scripts],  # noqa: S704
            styles=[Markup(text) for text in styles],  # noqa: S704
        )
    )
    return text.encode("utf-8", "replace").decode("utf-8")


def render_still(template: str, page: dict[str, Any], styles: tuple[str, ...]) -> str:
    """One whole page without any script: what it shows stands in it.

    Parameters
    ----------
    template : str
        File in ``templates``.
    page : dict
        What the template reads; its text is escaped.
    styles : tuple of str
        Files in ``assets``.
    """
    style = _joined(styles)
    text = (
        _templates()
        .get_template(template)
        .render(
            page=page,
            policy=policy((), (style,)),
            styles=[Markup(style)],  # noqa: S704
        )
    )
    return text.encode("utf-8", "replace").decode("utf-8")


@functools.cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("fieldmap.write", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@functools.cache
def _joined(names: tuple[str, ...]) -> str:
    folder = resources.files("fieldmap.write") / "assets"
    return _tidy("\n".join((folder / name).read_text(encoding="utf-8") for name in names))


@functools.cache
def _leaflet_script() -> str:
    licence = _joined(("leaflet_licence.txt",))
    script = re.sub(r"//# sourceMappingURL=\S+", "", _leaflet("leaflet.js"))
    return _tidy(f"/*\n{licence}*/\n{script}")


@functools.cache
def _leaflet_style() -> str:
    """Leaflet's styles without the pictures they would fetch."""
    return _tidy(re.sub(r"[\w-]+:\s*url\([^)]*\);?", "", _leaflet("leaflet.css")))


def _leaflet(name: str) -> str:
    for path in metadata.files(LEAFLET_PACKAGE) or ():
        if path.name == name and path.parent.name == "data":
            return path.read_text(encoding="utf-8")
    raise StoreError(
        Fault(
            f"{name} is missing",
            LEAFLET_PACKAGE,
            "a page without it has no map",
            "install fieldmap again, with what it depends on",
        )
    )


def _tidy(text: str) -> str:
    """Line ends as a browser reads them, so that the hash is of what it reads."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip() + "\n"
