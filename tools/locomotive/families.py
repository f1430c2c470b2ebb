"""What may be drawn for each family: the studio's vocabulary of shapes.

A rule is a (low, high) tuple (uniform), a dict of option to weight, a float (the
probability of True) or a constant. Lengths are metres of a full-size engine of
1.435 m gauge unless a comment says otherwise; ranges are chosen by eye from common
practice, no source. `COMMON` covers what a family does not say itself.
"""

from __future__ import annotations

from tools.locomotive.paint import LIVERIES

COMMON: dict[str, object] = {
    "gauge": {0.0165: 1, 0.032: 4, 0.045: 3, 0.0635: 1, 0.089: 1},
    "arrangement": {"4-6-2": 1},
    "has_tender": True,
    "driver_d": (1.3, 1.9),
    "driver_gap": (0.05, 0.3),  # between rims, in driver diameters
    "lead_d": (0.42, 0.62),  # in driver diameters
    "trail_d": (0.45, 0.7),
    "truck_spread": (1.15, 1.9),  # axle distance in wheel diameters
    "half_width": (1.55, 2.0),  # of the running board, in half gauges
    "boiler_r": (0.5, 0.8),  # in half widths
    "boiler_taper": {0.0: 5, 0.08: 2, 0.16: 2, 0.24: 1},
    "boiler_pitch": (0.55, 1.15),  # centre above the board, in boiler radii
    "board_height": (0.85, 1.2),  # in driver diameters
    "board_profile": {
        "flat": 4,
        "step_mid": 2,
        "drop_front": 2,
        "drop_both": 1,
        "ramp": 1,
        "short": 1,
        "step_cab": 1,
        "humped": 1,
    },
    "board_edge_h": (0.006, 0.018),  # in engine lengths
    "stripe_part": {0.34: 2, 0.5: 3, 0.7: 2, 1.0: 3},  # of the edge's height
    "stripe_place": {"top": 2, "middle": 3, "bottom": 1},
    "overhang_front": (0.15, 0.8),
    "overhang_rear": (0.25, 0.9),
    "smokebox_set": (0.15, 1.4),  # behind the front beam
    "smokebox_len": (0.12, 0.26),  # in boiler lengths
    "smokebox_r": (0.97, 1.08),
    "smokebox_door": {"dished": 4, "flat": 2, "riveted": 2, "split": 1},
    "firebox": {"none": 3, "round": 3, "belpaire": 3, "wide": 1},
    "casing": "none",
    "skirt": (0.0, 0.5),
    "chimney": {"capped": 4, "stovepipe": 3, "flared": 3, "short": 1, "double": 0.5},
    "chimney_h": (0.45, 0.9),  # in boiler radii
    "chimney_r": (0.2, 0.34),
    "domes": {1: 3, 2: 3, 3: 0.6, 0: 0.5},
    "dome_style": {"round": 4, "tall": 2, "flat": 2, "ringed": 2, "square_base": 1},
    "dome_h": (0.32, 0.62),
    "dome_r": (0.3, 0.58),
    "dome_shift": (-0.07, 0.07),
    "sand_box": {"none": 3, "round": 2, "saddle": 1},
    "bands": {0: 1, 3: 2, 4: 2, 5: 2, 6: 1},
    "band_color": {"body": 4, "brass": 2, "steel": 1, "bright": 1},
    "top_feed": 0.25,
    "whistle": {"none": 2, "single": 5, "pair": 2, "tall": 0.5},
    "whistle_at": (0.7, 0.97),
    "bell": {"none": 4, "frame": 2, "yoke": 1},
    "bell_at": (0.1, 0.5),
    "valves": {"none": 1, "columns": 3, "pops": 3, "bonnet": 1, "quad": 1},
    "valves_at": (0.72, 0.93),
    "generator": 0.2,
    "number_boards": 0.12,
    "knobs_top": 0.2,
    "handrail": {"none": 1, "full": 4, "low": 1, "front": 1},
    "deflectors": {"none": 8, "tall": 1, "small": 1},
    "air_pump": 0.25,
    "side_tank": {"none": 6, "air": 2, "box": 1},
    "feed_pipe": 0.4,
    "running_pipe": 0.35,
    "cab": {"closed": 3, "half": 4, "cut": 3, "slanted": 1, "open": 1},
    "cab_len": (1.3, 2.3),
    "cab_h": (0.9, 1.35),  # roof edge above boiler centre, in boiler radii
    "cab_windows": {0: 1, 1: 3, 2: 3, 3: 0.5},
    "window_shape": {"rect": 3, "round": 1, "arched": 1, "rounded": 2},
    "cab_glazed": 0.3,
    "roof": {"arched": 4, "flat": 1, "barrel": 2, "peaked": 1},
    "roof_overhang": (0.03, 0.25),
    "roof_vent": 0.4,
    "tank": "none",
    "tank_len": (0.5, 0.95),
    "tank_h": (0.75, 1.15),
    "bunker_len": (0.5, 1.3),
    "cylinders": {"outside": 4, "inside": 1},
    "cyl_d": (0.42, 0.66),  # over the cladding
    "cyl_tilt": {0.0: 4, 0.06: 1, 0.13: 1},
    "valve_chest": {"piston": 3, "box": 2, "none": 1},
    "crank": (0.24, 0.32),  # in driver diameters
    "crank_phase": (0.0, 6.283),
    "main_driver": {1: 3, 2: 2, 0: 1},
    "rod_h": (0.065, 0.14),  # in driver diameters
    "rod_style": {"plain": 3, "fluted": 2, "round": 1, "fish": 2, "stamped": 1},
    "rod_finish": {"steel": 5, "nickel": 2, "black": 1, "brass": 0.5},
    "linkage_style": {"radius": 4, "crank_gear": 2, "single": 2, "double": 1, "stamped": 1},
    "linkage_rods": {2: 1, 3: 2, 4: 2, 5: 2},
    "linkage_w": (0.5, 0.95),  # of the rods' height
    "linkage_finish": {"rods": 6, "black": 1, "nickel": 2, "brass": 1},
    "outside_frame": False,
    "wheel_style": {"spoked": 6, "disc": 1, "holes": 1},
    "truck_style": {"spoked": 4, "disc": 3, "holes": 1},
    "spokes": {9: 1, 10: 1, 12: 2, 14: 2, 16: 1},
    "wheel_width": (0.12, 0.19),
    "tyre": {"bright": 5, "wheel": 3, "white": 0.5},
    "balance": {"none": 1, "crescent": 3, "block": 1},
    "splashers": 0.7,
    "splasher_open": 0.2,
    "front_end": {"buffers": 4, "cowcatcher": 1, "plain": 1, "coupler": 1},
    "cow_style": {"bars": 3, "slats": 1, "plate": 1},
    "rear_end": {"buffers": 3, "plain": 2, "coupler": 1},
    "headlamp": {"none": 2, "box": 1, "drum": 2, "pair": 1, "center": 1},
    "steps": 0.6,
    "sand_pipes": 0.5,
    "brakes": 0.55,
    "front_rail": 0.2,
    "rivet_rows": 0.35,
    "tender_axles": {3: 3, 4: 3, 6: 2},
    "tender_trucks": {"rigid": 3, "trucks": 3},
    "tender_style": {"flared": 3, "flat": 3, "high": 1, "drum": 1, "slope": 1, "curved": 1},
    "tender_len": (0.45, 0.8),  # in engine lengths
    "tender_h": (1.1, 1.7),
    "tender_wheel_d": (0.45, 0.65),
    "tender_frame": {"plate": 3, "cut": 2, "bar": 2, "cast": 1},
    "tender_lamps": {0: 3, 1: 2, 2: 2},
    "tender_rails": 0.35,
    "coal": {"coal": 5, "heaped": 2, "wood": 0.6, "empty": 1, "oil": 1},
    "livery": {k: v.weight for k, v in LIVERIES.items()},
    "paint_tint": (0.75, 1.25),
    "frame_color": {"black": 5, "red": 2, "body": 2, "grey": 0.6},
    "wheel_color": {"black": 4, "red": 3, "body": 2, "grey": 1, "green": 0.3},
    "smokebox_color": {"black": 5, "graphite": 2, "body": 1.5},
    "roof_color": {"black": 4, "body": 3, "grey": 2, "red": 0.5, "white": 0.5},
    "beam_color": {"red": 5, "black": 2, "body": 2},
    "chimney_color": {"black": 5, "body": 1, "copper": 1, "brass": 0.4},
    "dome_color": {"body": 4, "brass": 2, "copper": 0.5, "black": 1},
    "edge_color": {"body": 2, "black": 3},
    "gloss": (0.0, 1.0),
    "clearcoat": {0.0: 3, 0.4: 1, 1.0: 2},
    "wear": {0.0: 3, 0.15: 3, 0.4: 3, 0.8: 1},
    "dust": {0.0: 3, 0.1: 3, 0.25: 2, 0.5: 1},
    "lining": {"none": 4, "cab": 2, "cab_tender": 2, "boiler": 1},
    "lining_color": {"cream": 2, "red": 2, "gold": 2, "white": 1, "black": 1},
    "number_style": {"paint": 4, "plate": 3, "outlined": 1},
    "number_font": {"sans": 3, "serif": 2, "plain": 2, "italic": 0.5},
    "number_h": (0.18, 0.5),
    "number_color": {"gold": 3, "white": 3, "cream": 2, "red": 0.5},
    "letters": {"none": 2, "road": 3, "initials": 3},
    "letter_h": (0.2, 0.42),
    "lever_style": {"straight": 3, "bent": 2, "knob": 2, "blade": 2, "tapered": 1},
    "lever_finish": {"nickel": 4, "brass": 2, "black": 2},
    "lever_h": (0.02, 0.05),  # in engine lengths
    "lever_w": (0.0038, 0.0088),
    "lever_tilt": (-0.7, 0.7),
    "lever_at": (0.08, 0.9),  # between chimney and cab
    "lever_offset": {0.0: 4, 0.15: 1, -0.15: 1, 0.3: 1, -0.3: 1},
    "lever_turn": 0.0,  # of its broad face, round the upright
    "lever_lean": 0.0,  # sideways
    "lever_mount": "none",
    "mount_finish": "nickel",
    "lever_slot": 0.45,
    "lever_stub": 0.15,
    "key_hole": 0.08,
    "mountings": {(): 1},  # of `profiles.MOUNTING_HALF`
    "boiler_form": "cone",
    "boiler_sides": "round",
    "seam": False,
    "saddle_form": "round",
    "tank_slope": 0.0,
    "slide_bars": {"plain": 4, "one": 2, "broad": 2, "four": 1, "frame": 2},
    # The same for all but the families of `families_more`, which draw others by `MOTION`.
    "linkage_phase": {1.9: 1},  # of the return crank to the pin, radians
    "linkage_reach": {0.42: 1},  # its end from the axle, in crank radii
    "linkage_t": {1.0: 1},
    "linkage_off": {0.0: 1},
    "linkage_rod": "plain",
    "link_shape": "curved",
    "link_hanger": "bracket",
    "coupling": "pairs",
    "main_rod": "same",
    "rod_boss": "round",
    "crosshead": "block",
    "cylinder_style": "lagged",
    "tail_rod": False,
    "frame_shape": "horns",
    "valance": "none",
    "undergear": "none",
}
