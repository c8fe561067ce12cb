"""What a lesson's guesses and quick checks say, for tests."""


def told(panel, **values):
    """What a panel's values tell of its guess: what is right, and the words; None if nothing."""
    found = panel.frame(**values)["found"]
    return found and (found["right"], found["words"])


def replies(panel):
    """The function that says what a quick check replies to an answer."""
    return panel.ask.reply
