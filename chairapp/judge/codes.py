"""Every code the judge can emit, with the names of its params. Texts are `finding.CODE` in the catalogue of a sequence.

A finding is {"code", "item", "level", "value", "unit", "band", "params"}: `item` the item it is about, `level` one of
"note", "unsure", "off", `value` the judged value (number, choice or null), `unit` "mm", "deg" or null, `band` the
[lowest, highest] it was held against or null. A param is a number, a text, null, or a list of texts; `where` is a list
of stations or sides, `side` is "right", "left" or "both", `author` a staff id, `at` an RFC 3339 time.
"""

# Any step.
CODES = {
    # the step is lowered by an answer elsewhere (unsure); item and value are that answer
    "capped": (),
    # readings of one item too far apart (unsure); value = spread of the latest three
    "disagree": ("limit", "latest"),
    # fewer readings than wanted (unsure); value = how many there are. vertical has its own params in "few"
    "few_readings": ("needed", "more"),
    # notes: why a required item is stale. by wax, by a changed answer, or read without knowing of the change
    "stale_wax": ("author", "at", "rim", "surface"),
    "stale_answer": ("author", "at", "cause"),
    "stale_unaware": ("author", "at", "rim", "surface"),
    # note: an acceptance that no longer holds; value = its reason
    "lapsed": ("author", "at"),
    # an answer outside its list, or a number outside its band, with no code of its own
    "choice": ("choice",),
    "outside": (),
    # 1 seating
    "reclined": (),
    "glasses_on": (),
    "base_rocks": (),
    "base_sore": (),
    "tragus_upper": (),
    # 2 existing (notes)
    "ovd_raised": ("limit",),
    "existing_collapsed": (),
    "existing_strained": (),
    # 3 bench
    "not_sealed": (),
    "seal_gaps": (),
    "heel_upper": (),
    "heel_lower": (),
    # 4 lip
    "lip_collapsed": (),
    "lip_strained": (),
    "angle_open": (),
    "angle_closed": (),
    "angle_closed_height": (),
    # 5 display
    "display_short": ("fv",),
    "display_long": ("fv",),
    "display_again": ("fv", "display"),
    "fv_short": (),
    "fv_past": (),
    # 6 plane; lower = which end is lower: "right", "left", "back", "front"
    "tilt_front": ("lower", "mm_over_rim"),
    "tilt_right": ("lower", "mm_over_rim"),
    "tilt_left": ("lower", "mm_over_rim"),
    "by_eye": (),
    "photo_differs": ("photo", "pad"),
    # 7 lower; mm may be null
    "commissure_above": ("mm",),
    "commissure_below": ("mm",),
    "commissure_mm_differs": ("stands",),
    "pad_above": ("side",),
    "pad_upper_third": ("side",),
    "pad_lower_third": ("side",),
    "pad_below": ("side",),
    # 8 contact; value = widest gap
    "position_wanders": (),
    "contact_apart": ("where",),
    "contact_tilted": ("where",),
    "contact_rocking": ("where",),
    "contact_local": ("where",),
    # 9 vertical; low, high the 95 % interval, low90, high90 the one judged; more = further readings of each or null
    "few": ("rest_more", "occlusal_more"),
    "distance_small": ("low", "high"),
    "distance_large": ("low", "high"),
    "close": ("low", "high", "low90", "high90", "more"),
    "contradiction": ("signs",),
    "rest_unreadable": (),
    "s_touch": (),
    "s_wide": (),
    "s_space_small": (),
    "s_space_large": (),
    "m_strained": (),
    "m_open": (),
    "face_collapsed": (),
    "face_strained": (),
    # 10 overjet; value = the worst
    "overjet_short": ("where",),
    "crossbite": ("where",),
    "overjet_wide": ("where",),
    # 11 bases
    "heels_closing": ("side",),
    "heels_forward": ("side",),
    # 12 marks
    "marks_few": (),
    "marks_misfit": ("where",),
    "position_slides": (),
    "position_rocks": (),
    "marks_unmatched": ("where",),
    "marks_close": (),
    "marks_not_pinned": (),
    "marks_turn": (),
    "marks_left_over": (),
    # 13 record
    "record_none": (),
    "record_few": ("advised",),
    "record_disagree": (),
    "midline_not_marked": (),
    "canines_not_marked": (),
    "midline_shift": ("side",),
    "front_teeth_width": (),
    "incisor_bizygomatic": ("measured",),
    "incisor_inner_canthal": ("measured",),
    # 15 packing
    "not_disinfected": (),
    # the wax plan, in plan["why"], plan["notes"] and plan["conflicts"]
    "plan_measure_first": ("items",),
    "plan_upper_only": ("items",),
    "plan_two_rounds": ("rim", "where"),
    "plan_overjet": (),
    "plan_conflict": ("stands", "side"),
}
