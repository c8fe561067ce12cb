"""The bench: a leg rigged by hand in twelve steps, from bare skin to a signed-off file.

chain.py     which joints a leg has, in which order, what is asked of them
state.py     all that a learner decides, small and plain; as JSON
book.py      the learner's file: every state, undo and redo
build.py     the given skin, and from a state skeleton, rig, weights and a whole asset
measure.py   the numbers of each step, with their limits
steps.py     each step as a panel: what is dragged, what is chosen, what is drawn
showing.py   a leg's own page, of a state or of its file
sign_off.py  the last step: the file, its inspection, what is kept for a reason
shell.py     all of it in a notebook
your_leg.py  a step of it at a lesson's end, on the learner's own leg
marking.py   the file marked: built anew, held against its state, measured; wrong models by name in
             misconceptions.py
"""
