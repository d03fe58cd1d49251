"""What a result of the engine warns of."""


def codes(result):
    """The codes of its warnings, in their order."""
    return [one.code for one in result.warnings]


def values(result, code):
    """The values of its one warning of a code."""
    [found] = [one.values for one in result.warnings if one.code == code]
    return found
