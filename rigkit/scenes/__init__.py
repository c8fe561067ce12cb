"""What the lessons show: pictures and panels, one module a lesson; each is a plain function of a
puppet."""
