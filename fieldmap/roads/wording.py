"""The words of a move: what is measured, who decides, and the cautions that come with it."""

from __future__ import annotations

#: What the finding on the way as a whole is about.
WHOLE_WAY = "the way"
OTHER_STATE = "another transport state"
#: What a check is called; the checks are in :mod:`fieldmap.roads.checks`.
WHAT = {
    "width": "road width",
    "width_limit": "width limit",
    "height": "clear height",
    "height_limit": "height limit",
    "mass": "mass limit",
    "axles": "axle loads",
    "length": "length limit",
    "access": "leave to pass",
    "water": "ford",
    "grade": "grade",
    "surface": "surface",
    "opening": "opening",
    "turn": "turn",
}
#: Unit of each check that has a figure.
UNITS = {
    "width": "m",
    "width_limit": "m",
    "height": "m",
    "height_limit": "m",
    "mass": "kg",
    "axles": "kg",
    "length": "m",
    "grade": "%",
    "opening": "m",
    "turn": "m",
}
MEASURE = {
    "width": "narrowest width between what stands at both sides",
    "width_limit": "width limit on the sign, and when it holds",
    "height": "clear height",
    "height_limit": "height limit on the sign, and when it holds",
    "mass": "mass limit: the sign, or ask the bridge's owner",
    "axles": "axle load limit: the sign, or ask the bridge's owner",
    "length": "length limit on the sign",
    "access": "who may pass: sign or owner",
    "water": "depth and bed of the ford",
    "grade": "whether the machine holds on the grade, driven once with the brakes tried",
    "surface": "whether the ground carries the machine, looked at on foot and after rain",
    "opening": "clear opening",
    "turn": "whether the machine gets round, on a trial drive with somebody watching",
}
LINE_MEASURE = "clear height: ask the line's owner, never measure it yourself"
MACHINE_MEASURE = {
    "width": "transport width of the machine",
    "width_limit": "transport width of the machine",
    "height": "transport height of the machine",
    "height_limit": "transport height of the machine",
    "mass": "mass of the whole train",
    "axles": "load on each axle and the distances between them",
    "length": "length of the whole train",
    "opening": "transport width of the machine",
}
CAUTION = {
    "width": "CAUTION: the road authority decides on wide loads, the police or permit office where "
    "the law asks for a notice or an escort.",
    "width_limit": "CAUTION: the sign on the ground wins over the map. The road authority or the "
    "permit office decides who may go over it.",
    "height": "WARNING: the road authority answers for bridges, the line's owner for lines. Keep "
    "away from lines whatever the figure.",
    "height_limit": "WARNING: the sign on the ground wins over the map; ice and new asphalt take "
    "from the clear height. The road authority decides.",
    "mass": "WARNING: the county engineer or the bridge's owner decides what a bridge carries.",
    "axles": "WARNING: the formula is a rule of one country for its main roads. Posted limits win; "
    "the county engineer or the bridge's owner decides, and your own law.",
    "length": "NOTICE: the road authority or permit office decides.",
    "access": "NOTICE: the owner or the road authority decides who may pass.",
    "water": "WARNING: look at a ford on the day; the owner or the road authority decides.",
    "grade": "WARNING: low gear before the slope, never in it. The machine's manual and the driver "
    "decide what its brakes hold.",
    "surface": "CAUTION: how long ago it rained is not known to the map. Walk soft ground before "
    "driving it; the owner decides about ruts.",
    "opening": "CAUTION: measure between the posts; the owner decides on moving them.",
    "turn": "CAUTION: reckoned at low speed with no slip. Have somebody watch a trial drive; the "
    "driver decides.",
    "hump": "CAUTION: slow down and watch what hangs low. The road authority decides on humps.",
    "crossing": "WARNING: long or low trains can ground on the rails. The railway decides: ask it "
    "before crossing with one.",
    "off": "CAUTION: ground off the mapped roads has not been looked at; the owner decides who may "
    "cross it.",
    "way": "WARNING: the map is volunteer data and signs on the ground win. This is no permit: the "
    "road authority, the police and your own law decide.",
}
