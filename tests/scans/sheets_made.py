"""Invented log sheets."""

from dataclasses import replace

import numpy as np

from scans.tape.log_from_sheet import LogSheet, TapedLimb, TapedSection


def round_section(at_m, diameter_m):
    return TapedSection(at_m, girth_m=np.pi * diameter_m)


def straight(length_m=3.0, butt_m=0.6, top_m=0.6, **changes):
    sections = (round_section(0.0, butt_m), round_section(length_m, top_m))
    return replace(LogSheet("invented", length_m, True, sections), **changes)


def forked(**changes):
    """An invented log: two limbs alike, 25 deg out to the right and to the left."""
    limb = TapedLimb(2.0, 25.0, 90.0, (round_section(1.2, 0.4),))
    sections = (round_section(0.0, 0.6), round_section(2.0, 0.6))
    return replace(LogSheet("invented", None, True, sections, None, (limb, replace(limb, toward_deg=270.0))), **changes)
