"""`rigkit.panels` inside the jail: sliders and panels that are made and do nothing."""


class Slider:
    """Takes what the real one takes, and shows nothing."""

    def __init__(self, *parts, **named):
        pass


class Choice(Slider):
    """As `Slider`."""


class Panel(Slider):
    """As `Slider`."""

    def after(self, *parts, **named):
        return self


class Grip(Slider):
    """As `Slider`."""


def quick_check(*parts, **named):
    """Takes what the real one takes, and shows nothing."""
