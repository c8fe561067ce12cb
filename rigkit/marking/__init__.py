"""Marking a whole class: read strangers' notebooks as data, run each in a jail, weigh what comes
out, report.

`submissions` and `roster` say whose what is; `jail` runs it; `marker` marks one; `run` marks all;
`record` keeps what was found; `tables`, `report`, `class_page` and `results` show it. What the
parts hand to each other is in `entry`.
"""
