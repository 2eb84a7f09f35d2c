"""Elements of the tablet page that work with the network off: one .py (its props) and one .js (what it does).

Elements hold item ids and nothing else: what an item is, its unit, its band and its texts come from the sequence
document of the visit, which the tablet keeps beside the entries. Modules without a .py of their own are shared by them:

    tm_route.js     which screen: the address after the #
    tm_state.js     the visit on the table: its entries, what the judge says of it, who writes
    tm_actions.js   what a tap does: check, keep, sign
    tm_steps.js     questions about the sequence document: items, texts, what comes next
    tm_words.js     the page's own words, numbers and times
    tm_draft.js     what is typed and not yet kept
    tm_shapes.js    verdict shapes and small pictures
    tm_derived.js   what the judge works out from readings, beside the pad
    tm_photo.js      an angle on a photograph; tm_picture.js reads it, tm_photo_draw.js draws it, tm_angle.js reckons
    tm_rail.js, tm_foot.js   parts of the walk that every entry draws anew
    tm_install.js, tm_unsent.js   how the data is kept, and what only this tablet holds
    tm_history.js, tm_aloud.js, tm_kept_pictures.js   parts of a question
    tm_drawings.js   which drawing stands beside which question; tm_draw.js and tm_draw_*.js draw them
    tm_keypad.js, tm_rim_map.js, tm_station_values.js, tm_step_notes.js   parts of several elements
    tm_box_code.js  box codes, the twin of chairapp/box/code.py
"""
