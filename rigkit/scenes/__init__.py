"""Pictures and panels of the lessons, one module a lesson.

Each is a plain function of a puppet.
"""
