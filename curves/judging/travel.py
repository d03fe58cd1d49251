"""The travel measured against its stamping: the one place that says when the two lie apart, and why."""

from curves.rows import convert

APART_DEG = 3.0  # distributor degrees; common practice, no source
AGREES_DEG = 2.0  # a stamping is often off by a degree or two
_PLACES = 6  # no dust of a subtraction


def apart_on(build, measured_deg):
    """What is said of a travel measured on a build's head, against its stamping; empty while nothing is."""
    return apart(build.travel_stamped_deg, measured_deg, convert.drive_of(build))


def apart(stamped_deg, measured_deg, drive):
    """What is said of a travel off its stamping [both distributor degrees]; empty while nothing is."""
    if stamped_deg is None or measured_deg is None:
        return ""
    off = round(measured_deg - stamped_deg, _PLACES)
    if abs(off) < APART_DEG:
        return ""
    side = "more" if off > 0 else "less"
    return (
        f"Travel measured is {measured_deg:g} distributor degrees, {abs(off):g} {side} than the "
        f"{stamped_deg:g} stamped.{_asked(stamped_deg, measured_deg, off, drive)} "
        "The measured one counts."
    )


def _asked(stamped_deg, measured_deg, off, drive):
    """Whether the number would fit its stamping, had it been read at the crank."""
    turned = drive.to_shaft_deg(measured_deg)
    still_off = abs(turned - stamped_deg)
    if still_off > AGREES_DEG or still_off >= abs(off):
        return ""
    at_the_crank = f"{measured_deg:g} at the crank are {round(turned, 2):g} at the distributor"
    return f" Did you type crank degrees? {at_the_crank}."
