"""Marking a whole class: strangers' notebooks read as data, run in a jail, judged, recorded, shown.

One submission goes through a row of stages, each a module of that name with a function of that
name. `pipeline` shows the row from top to bottom.

========= ======================================= ========================================
stage     takes                                   gives
========= ======================================= ========================================
collect   a folder or zip                         `Collected`: a `File` each, and problems
place     `Collected`, the `Roster`               `Placed`: a `Submission` each, and strays
run       `Submission`                            `Answers`, out of the jail
judge     `Answers`                               `Entry`: scores, sentences, flags
record    `Entry`                                 a row of `results.sqlite`
report    `Record`                                tables and pages
========= ======================================= ========================================

Beside the row stand what a teacher gives (`plan`, `corrections`, `correct`, `anonymous`), what runs
a notebook in the jail whatever its cells do (`jail`, `protocol`, `attempts`, `driver`, `cell`), and
what shares the work out (`task`, `workers`, `forks`, `cluster`).

A *submission* is all that one learner handed in for one lesson; an *entry* is a submission that was
marked. Workers and clusters carry a `Task`, the submissions of one learner, and bring `Done`.
"""
