"""The words of a move: what is measured, who decides, and the cautions that come with it."""

from __future__ import annotations

WHAT = {
    "width": "road width",
    "height": "clear height",
    "mass": "mass limit",
    "length": "length limit",
    "access": "leave to pass",
    "water": "ford",
    "opening": "opening",
}
#: Unit of each check that has a figure.
UNITS = {"width": "m", "height": "m", "mass": "kg", "length": "m", "opening": "m"}
MEASURE = {
    "width": "width between what stands at both sides",
    "height": "clear height",
    "mass": "mass limit: the sign, or ask the bridge's owner",
    "length": "length limit on the sign",
    "access": "who may pass: sign or owner",
    "water": "depth and bed of the ford",
    "opening": "clear opening",
}
LINE_MEASURE = "clear height: ask the line's owner, never measure it yourself"
MACHINE_MEASURE = {
    "width": "transport width of the machine",
    "height": "transport height of the machine",
    "mass": "mass of the whole train",
    "opening": "transport width of the machine",
}
_MAP = "The map is volunteer data; signs on the ground win."
CAUTION = {
    "width": f"{_MAP} The road authority decides on wide loads, the police or permit office "
    "where the law asks for a notice or an escort.",
    "height": f"{_MAP} The road authority answers for bridges, the line's owner for lines; "
    "keep away from lines whatever the figure.",
    "mass": f"{_MAP} The county engineer or the bridge's owner decides what a bridge carries.",
    "length": f"{_MAP} The road authority or permit office decides.",
    "access": f"{_MAP} The owner or the road authority decides who may pass.",
    "water": "Look at a ford on the day; the owner or the road authority decides.",
    "opening": f"{_MAP} Measure between the posts; the owner decides on moving them.",
    "crossing": "Long or low trains can ground on the rails; the railway decides, ask it "
    "before crossing with one.",
    "off": "Ground off the mapped roads has not been looked at; the owner decides who may "
    "cross it.",
    "way": f"{_MAP} This is no permit: the road authority, the police and your own law decide.",
}
