"""Findings and plans in words: one sentence of what it means, one of what to do, and where that is known from.

Texts come from the document's own catalogue, so a translation or a school's own words are data. English stands in for a
missing key. Runs on the server and in the browser: plain functions over dicts, lists, numbers and strings.

**Codes.** Every code the judge can give has the texts `finding.CODE` and `advice.CODE`, and may have `source.CODE`. A
`variant` among the finding's params picks `finding.CODE.VARIANT` (and advice, source) where there is one. Every text may use
`{label}` (the item's), `{value}`, `{unit}`, `{low}`, `{high}` (the band's limits) and `{answer}` (a choice in words),
and the params named here:

    any step     disagree (unsure; value = max - min of the latest three; band [0, spread])     eye (note; value null)
                 capped (unsure; by: item id, answer: its value)     lapsed (note; an acceptance that no longer holds)
    seating      seating.reclined, seating.glasses_on, seating.rocks, seating.sore (unsure)     seating.tragus_upper (note)
    existing     existing.ovd_rise (note; in step vertical; value = mm over the old dentures)
    bench        bench.below, bench.above (note; any reading beside its band)     bench.lower_inclination (note)
                 bench.wax_on_fitting_surface, bench.gaps (off)     bench.upper_too_far, bench.lower_too_far (unsure)
    lip          lip.collapsed, lip.strained (off)     lip.angle_open, lip.angle_closed (note; value = mean)
                 lip.angle_ovd (note; a closed angle while vertical does not fit: in place of angle_closed)
    display      display.too_short, display.too_long (off)     display.fv_short, display.fv_past (unsure; display in band)
                 display.contradiction (unsure; variant short_past, long_short: display against F/V)
    plane        plane.tilted (off), plane.slight (unsure): value = mean; side: right | left | front | back, the lower
                 side; mm: over the rim's span, without sign     plane.photo_differs (note; value = photo - pad)
    lower        lower.too_high, lower.too_low (off; from the commissure)     lower.mm_disagrees (note; value = mm)
                 lower.pad_above, lower.pad_below (off), lower.pad_upper_third, lower.pad_lower_third (unsure)
    contact      contact.wanders (unsure)     contact.apart (unsure)     contact.tilted (off; where: list of sides)
                 contact.rocking (off; where: [side], stations: those that touch)     contact.local (off; stations: open ones)
    vertical     vertical.few (unsure; rest, occlusal: readings still wanted of each)     vertical.disagree (unsure, per item)
                 vertical.out (off; value = distance; variant small | large)
                 vertical.close (unsure; value = distance; more: further readings of each; variant none when none will do)
                 vertical.contradiction (unsure, per item; variant touch | wide | strained | open | space_small | space_large)
                 vertical.rims_too_high (note)     vertical.face_collapsed, vertical.face_strained (note)
    overjet      overjet.short, overjet.crossbite (off), overjet.long (unsure): value = the worst; stations
    bases        bases.closing, bases.forward (off; variant right | left | both)
    marks        marks.few (off; value = how many)     marks.misfit (off; value = the worst; stations)
                 marks.slides, marks.rocks (off)     marks.unmatched (unsure; stations: a misfit without a mark or the reverse)
                 marks.spread, marks.not_pinned, marks.turn (deg), marks.left_over (unsure)
    record       record.none (off), record.few (note): value = count     record.apart (off; agreement)
                 record.midline, record.canines (off)     record.midline_shift (note; value = mm; side: right | left)
    packing      packing.not_disinfected (note)
"""
