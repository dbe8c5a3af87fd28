"""The three machines of the round. Figures are invented and plausible; no maker's machine."""

from __future__ import annotations

from pathlib import Path

MACHINES = """\
# Invented demo data: plausible figures, no maker's machine. Lengths m, masses kg, speeds km/h.
# The first transport state is how the machine is usually moved.

[[machine]]
id = "rear-3"
name = "Three-metre rear mower"
kind = "rear-mounted"
working_width_m = 3.0
mass_kg = 4600
mower_mass_kg = 950
drive = "front_assist"
axles = [{ mass_kg = 1400, position_m = 0.0 }, { mass_kg = 3200, position_m = 2.4 }]
power_kw = 67
track_width_m = 1.65
cg_height_m = 0.92
wheelbase_m = 2.4
hitch_offset_m = 0.9
turning_radius_m = 4.6
road_speed_kmh = 32
field_speed_kmh = 13
skid_shoes = [{ name = "base", cut_height_m = 0.05 }, { name = "high", cut_height_m = 0.10 }]
knives = ["low_lift", "high_lift"]
fitted_shoe = "base"
fitted_knives = "low_lift"
conditioner = "none"
tyres = [
  { axle = 1, load_kg = 700, inflation_kpa = 150, speed_kmh = 40 },
  { axle = 2, load_kg = 1600, inflation_kpa = 120, speed_kmh = 40 },
]

[[machine.transport]]
name = "folded up"
width_m = 2.35
height_m = 3.4
length_m = 5.1

[[machine.transport]]
name = "in work"
width_m = 4.35
height_m = 2.7
length_m = 5.1

[[machine]]
id = "pull-39"
name = "Pull-type mower-conditioner, 3.9 m"
kind = "pull-type"
working_width_m = 3.9
mass_kg = 8500
mower_mass_kg = 2600
drive = "front_assist"
axles = [
  { mass_kg = 2300, position_m = 0.0 },
  { mass_kg = 4300, position_m = 2.75 },
  { mass_kg = 1900, position_m = 9.05 },
]
power_kw = 92
track_width_m = 2.6
cg_height_m = 1.0
wheelbase_m = 2.75
hitch_offset_m = 0.9
tongue_length_m = 5.4
turning_radius_m = 5.4
road_speed_kmh = 30
field_speed_kmh = 14
side_slope_limit_pct = 20
skid_shoes = [
  { name = "base", cut_height_m = 0.051 },
  { name = "middle", cut_height_m = 0.076 },
  { name = "high", cut_height_m = 0.102 },
]
knives = ["low_lift", "high_lift"]
knife_interval_ha = 40
knife_interval_strikes = 3
fitted_shoe = "middle"
fitted_knives = "high_lift"
conditioner = "rubber_rolls"
tyres = [
  { axle = 1, load_kg = 1150, inflation_kpa = 140, speed_kmh = 40 },
  { axle = 2, load_kg = 2150, inflation_kpa = 130, speed_kmh = 40 },
  { axle = 3, load_kg = 950, inflation_kpa = 210, speed_kmh = 30 },
]

[[machine.transport]]
name = "swung"
width_m = 3.0
height_m = 2.9
length_m = 11.2

[[machine.transport]]
name = "trailing straight"
width_m = 4.1
height_m = 2.9
length_m = 10.4

# The height of the centre of gravity is not known: side-slope answers stay unknown.
[[machine]]
id = "wide-87"
name = "Front-and-rear combination, 8.7 m"
kind = "front-and-rear"
working_width_m = 8.7
mass_kg = 13200
mower_mass_kg = 3300
drive = "front_assist"
axles = [{ mass_kg = 5700, position_m = 0.0 }, { mass_kg = 7500, position_m = 2.95 }]
power_kw = 175
track_width_m = 2.0
wheelbase_m = 2.95
hitch_offset_m = 1.1
turning_radius_m = 6.2
road_speed_kmh = 40
field_speed_kmh = 16
side_slope_limit_pct = 18
up_down_limit_pct = 30
skid_shoes = [{ name = "base", cut_height_m = 0.05 }, { name = "high", cut_height_m = 0.09 }]
knives = ["low_lift"]
conditioner = "tine"
tyres = [
  { axle = 1, load_kg = 2850, inflation_kpa = 160, speed_kmh = 50 },
  { axle = 2, load_kg = 3750, inflation_kpa = 160, speed_kmh = 50 },
]

[[machine.transport]]
name = "folded"
width_m = 3.3
height_m = 3.95
length_m = 8.4

[[machine.transport]]
name = "in work"
width_m = 8.9
height_m = 3.1
length_m = 8.4
"""


def write_machines(path: Path) -> None:
    path.write_text(MACHINES, encoding="utf-8", newline="\n")
