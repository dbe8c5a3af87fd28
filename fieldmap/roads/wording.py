"""The words of a move: what is measured, who decides, and the cautions that come with it."""

from __future__ import annotations

#: What the finding on the way as a whole is about.
WHOLE_WAY = "the way"
OTHER_STATE = "another transport state"
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
    "width": "narrowest width between what stands at both sides",
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
CAUTION = {
    "width": "CAUTION: the road authority decides on wide loads, the police or permit office where "
    "the law asks for a notice or an escort.",
    "height": "WARNING: the road authority answers for bridges, the line's owner for lines. Keep "
    "away from lines whatever the figure.",
    "mass": "WARNING: the county engineer or the bridge's owner decides what a bridge carries.",
    "length": "NOTICE: the road authority or permit office decides.",
    "access": "NOTICE: the owner or the road authority decides who may pass.",
    "water": "WARNING: look at a ford on the day; the owner or the road authority decides.",
    "opening": "CAUTION: measure between the posts; the owner decides on moving them.",
    "crossing": "WARNING: long or low trains can ground on the rails. The railway decides: ask it "
    "before crossing with one.",
    "off": "CAUTION: ground off the mapped roads has not been looked at; the owner decides who may "
    "cross it.",
    "way": "WARNING: the map is volunteer data and signs on the ground win. This is no permit: the "
    "road authority, the police and your own law decide.",
}
