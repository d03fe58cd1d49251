"""Every sentence for the engine's codes, in English; another language is another file like this one.

What stands in braces is a value of the warning, told by ``reader``: speeds and angles come with their unit
and frame (``:bare`` is the number alone, where those stand in the sentence already), loads as numbers in
``{load_unit}``, chances and names as words.
"""

from curves.engine.codes import Code

_LIGHT_CAUTION = (
    "Approach from the retarded side and listen for detonation; more advance than needed gains nothing."
)
_TOTAL_CAUTION = (
    "Too much advance can destroy an engine by detonation: approach from the retarded side and listen, and "
    "go by the maker's data."
)

SENTENCES = {
    # a calibration
    Code.READING_MISTYPED: (
        "{run}: the reading of {typed_shaft_deg} at {typed_shaft_rpm} does not fit the others, which say "
        "{others_shaft_deg}. Mistyped? It was left out."
    ),
    Code.RUN_CONTRADICTS: (
        "{run} contradicts the others: {misfit_count} of its {reading_count} readings do not fit."
    ),
    Code.WEIGHTS_SNAP: (
        "{run}: the weights snap from {span_shaft_deg} at {speed_shaft_rpm} and rest nowhere between."
    ),
    Code.SPRING_UNLIKE_LABEL: "The {quantity} of the {position} {spring} is far from its label.",
    Code.SPRING_TWO_LABELS: "Spring {spring} came with two different labels: taken as two springs.",
    Code.SEARCH_NOT_SETTLED: "The search did not settle: take the result with care.",
    Code.HEAD_AT_FEW_SPEEDS: (
        "Readings at only {speed_count} speed(s): the head is known by its measurements alone."
    ),
    Code.NOTHING_READ_MOVING: (
        "No sound reading lies between rest and stop, where springs and weights show: read at speeds "
        "between the begin of advance and the stop."
    ),
    # proposals and the spring to buy
    Code.EVERY_PAIR_TRIED: (
        "Every pair in the drawer was tried at these bends: allow the posts to be bent further, or buy "
        "springs."
    ),
    Code.NO_PAIR_BUT_WORTH_A_RUN: (
        "The best has {greatest_chance}; the first is worth a run all the same: its posts trimmed after it, "
        "it has {prospect_chance}."
    ),
    Code.NO_PAIR_UNBENT: ("The best has {greatest_chance}: let the posts be bent, or see what to buy below."),
    Code.NO_PAIR: (
        "The best has {greatest_chance}: let the posts be bent further, or see what to buy below."
    ),
    Code.NO_WANTED_SPRING: (
        "No spring here has a fair chance, this one included. Look at the target and at the other spring."
    ),
    Code.WANTED_AT_EDGE: (
        "The best lies at the edge of what was looked at (rates up to {rate_times:g} times those known and "
        "down to 1/{rate_times:g}, lengths within {length_mm:g} mm of the gap): a spring beyond may do "
        "better."
    ),
    Code.NO_USUAL_WIRE: "No usual wire and coil makes this spring in the room there is.",
    # a spring of wire, and one on the tester
    Code.STRESS_OVER_LIMIT: (
        "The stress, {stress_n_per_mm2:.0f} N/mm², is over the limit of {limit_n_per_mm2:.0f}: the spring "
        "will take a set or break."
    ),
    Code.COIL_INDEX_UNUSUAL: (
        "The coil is {coil_times:.1f} times the wire; {least_times:.0f} to {most_times:.0f} winds well."
    ),
    Code.LOADED_ONCE: "One load only: the initial tension was taken as 0; weigh it at a second length.",
    Code.FREE_LENGTH_UNMEASURED: (
        "The free length was not measured: the initial tension was taken as 0. Measure the unloaded spring."
    ),
    Code.PULL_STARTS_LATE: (
        "The pull starts only at {pull_mm:.2f} mm, beyond the measured {free_mm:.2f}: the loops have slack "
        "or the free length was misread; {pull_mm:.2f} mm was used."
    ),
    Code.LOAD_MISFITS: (
        "The load of {load_n:g} {load_unit} at {length_mm:g} mm does not fit the others. Mistyped? Weigh it "
        "again."
    ),
    Code.LOADS_BEND: (
        "The loads bend away from a straight line: look for loops that open, coils that were stretched, or "
        "a reading taken before the coils opened."
    ),
    Code.LOADS_SCATTER: (
        "The loads scatter {scatter_n:.2g} {load_unit} about a straight line, far more than the "
        "{expected_n:.2g} {load_unit} expected: weigh the spring again."
    ),
    Code.RATE_UNKNOWN: (
        "The rate is not known: {rate_n_per_mm:.2g} N/mm with an error of {error_n_per_mm:.2g}. Weigh the "
        "spring again, at lengths further apart."
    ),
    Code.LOADED_AT_ONE_LENGTH: (
        "It takes loads at two different lengths, or one and the free length (a load of 0)."
    ),
    Code.LOADED_BELOW_FREE_LENGTH: (
        "A spring pulls at {length_mm:g} mm, below its free length of {free_mm:g} mm: look for pairs that "
        "were mixed up, or measure the free length again."
    ),
    Code.LOAD_DOES_NOT_RISE: "The load does not rise with the length: look for pairs that were mixed up.",
    Code.LOAD_RISES_TOO_FAST: (
        "The load rises by {rate_n_per_mm:.4g} N/mm, and no spring by more than {most_n_per_mm:g}: look at "
        "the lengths and at the unit of the loads."
    ),
    Code.NO_FREE_LENGTH_LEFT: (
        "These pairs would leave a free length of {free_mm:.4g} mm: look for one that was mistyped."
    ),
    # straight pieces
    Code.READ_AT_ONE_SPEED: (
        "All readings are at one speed: that says nothing about a slope; read at other speeds."
    ),
    Code.READ_AT_FEW_SPEEDS: (
        "Readings at only {speed_count} speeds: one straight line is all they can show; read at more speeds "
        "to see begin, knee and stop."
    ),
    Code.NO_ADVANCE: "No advance: nothing above the floor beyond the scatter.",
    Code.READINGS_SCATTER: (
        "The readings scatter {rms_shaft_deg} about the straight pieces, more than the {expected_shaft_deg} "
        "expected: look for sticking weights, a loose spring or rising and falling sweeps in one table."
    ),
    Code.STRAY_KEPT: (
        "The reading at {speed_shaft_rpm}, {advance_shaft_deg}, lies {offset_shaft_deg} from the others and "
        "was kept: look at it again."
    ),
    Code.STRAY_LEFT_ASIDE: (
        "The reading at {speed_shaft_rpm}, {advance_shaft_deg}, lies {offset_shaft_deg} from the others and "
        "was left aside: look at it again."
    ),
    Code.SLOPE_ABOVE_FLOOR: (
        "The first slope does not come down to the floor above 0 rpm: the readings may include the initial "
        "timing; then fit the floor too."
    ),
    Code.BEGIN_NOT_READ: (
        "The begin is drawn on from higher readings, the lowest is at {lowest_shaft_rpm}: read below "
        "{begin_shaft_rpm}."
    ),
    Code.STOP_NOT_READ: "Still rising at the highest reading, {highest_shaft_rpm}: the stop was not seen.",
    Code.CORNER_NOT_PLACED: (
        "The readings near {near_shaft_rpm} are too few to place the {corner}: read there again."
    ),
    Code.ADVANCE_GOES_BACK: (
        "The advance goes back as speed rises on one slope: look for mixed-up readings or a slipping stop."
    ),
    Code.ADVANCE_UNUSUALLY_MUCH: "{advance_shaft_deg} is unusually much: was it read in the other frame?",
    # the band
    Code.TARGET_NOT_REACHED: (
        "The curve has no reading that reaches the target at {speeds_shaft_rpm}: read there."
    ),
    # timing on the engine
    Code.LIGHT_READ_ONCE: "One reading: nothing to compare it with; read at two more speeds.",
    Code.VACUUM_SUSPECTED: (
        "The readings at {speeds_crank_rpm} lie {above_crank_deg} above the others: the vacuum line seems "
        "to have been on. Take it off, plug it and read again."
    ),
    Code.VACUUM_THROUGHOUT: (
        "Every reading had the vacuum line on: the initial timing includes what the capsule adds."
    ),
    Code.LIGHT_STRAYS: (
        "The reading at {speed_crank_rpm} gives {initial_crank_deg}, far from the others; it was left "
        "aside: look at it again."
    ),
    Code.INITIAL_RISES: (
        "The initial timing seems to rise {drift_crank_deg_per_1000rpm:.1f} crank degrees per 1000 rpm: "
        "wear, or not this distributor's curve. At {lowest_crank_rpm} it is {initial_crank_deg}."
    ),
    Code.INITIAL_FALLS: (
        "The initial timing seems to fall {drift_crank_deg_per_1000rpm:.1f} crank degrees per 1000 rpm: "
        "wear, or not this distributor's curve. At {lowest_crank_rpm} it is {initial_crank_deg}."
    ),
    Code.LIGHT_SCATTERS_AT_SPEED: (
        "The readings scatter more at high speed than at low: look for wear in bushes, cam or weights."
    ),
    Code.LIGHT_DISAGREES: (
        "The readings disagree, {span_crank_deg}: see that the vacuum line is off and plugged, and read at "
        "more speeds."
    ),
    Code.LIGHT_ABOVE_CURVE: (
        "The curve was still rising at its highest point, {highest_crank_rpm}; readings above that give too "
        "high an initial timing."
    ),
    Code.CURVE_WITHOUT_ADVANCE: "The curve has no advance at all.",
    Code.BEGIN_BELOW_IDLE: (
        "Advance begins at {begin_crank_rpm}, below idle at {idle_crank_rpm:bare}: there the light reads "
        "{advance_crank_deg} more than the initial timing, and moves {slope_crank_deg_per_100rpm:.1f} with "
        "every 100 rpm. Idle will hunt: set by the true initial timing, not by the idle reading."
    ),
    Code.BEGIN_NEAR_IDLE: (
        "Advance begins at {begin_crank_rpm}, {margin_crank_rpm:bare} above idle at {idle_crank_rpm:bare}: "
        "less than the {wanted_crank_rpm:bare} wanted. Idle may hunt."
    ),
    Code.ADVANCED_AT_LOWEST_SPEED: (
        "The curve starts at {lowest_crank_rpm} with advance already in: read it down to idle."
    ),
    Code.TARGET_NOT_COVERED: (
        "The curve reaches from {span_shaft_rpm} only; the target beyond that is not judged."
    ),
    Code.MORE_INITIAL_SUITS: "{by_shaft_deg} more initial timing than allowed suit better.",
    Code.LESS_INITIAL_SUITS: "{by_shaft_deg} less initial timing than allowed suit better.",
    Code.NO_INITIAL_SUITS: (
        "No initial timing brings this curve into the band: its shape is wrong, not the setting."
    ),
    Code.CARD_ABOVE_CURVE: (
        "The curve was not read above {highest_crank_rpm}: the card says nothing of {asked_crank_rpm}."
    ),
    Code.TOTAL_OVER_LIMIT: (
        "Total timing reaches {total_crank_deg} at {at_crank_rpm}, {over_crank_deg:bare} over the limit of "
        "{limit_crank_deg:bare}. " + _TOTAL_CAUTION
    ),
    Code.TOTAL_ABOVE_CURVE: (
        "The curve was still rising at {highest_crank_rpm}, its highest point: the total may be higher."
    ),
    # timing against pull or time
    Code.TRIED_TOO_FEW: "Readings at one timing show no best: try three or more, five are good.",
    Code.TRIED_TWO: (
        "Readings at two timings show no best: try three or more, five are good. Of the two, {better_deg:g} "
        "was better."
    ),
    Code.TRIED_ONCE_EACH: "Three readings fit a parabola exactly: repeat them to see how sure the best is.",
    Code.MORE_IS_BETTER: (
        "It still gets better at {most_deg:g} degrees, the most tried: the best was not reached. "
        + _LIGHT_CAUTION
    ),
    Code.LESS_IS_BETTER: "It gets better down to {least_deg:g} degrees, the least tried: try less advance.",
    Code.BEST_BEYOND_TRIES: (
        "The best, about {best_deg:.1f}, lies beyond the {least_deg:g} to {most_deg:g} tried. "
        + _LIGHT_CAUTION
    ),
    Code.BEST_NOT_TOLD: (
        "The readings can't tell a best advance: repeat them, further apart and several times."
    ),
    Code.BEST_MAY_LIE_BEYOND: "The best may lie beyond the readings: try timings further out, or repeat.",
    # the vacuum capsule
    Code.READ_AT_ONE_VACUUM: "Readings at one vacuum only: read at three or more.",
    Code.READ_AT_FEW_VACUUMS: (
        "Few readings: begin and slope are those of one straight line; read at more vacuums."
    ),
    Code.CAPSULE_STUCK: (
        "The capsule moves nothing: look for a torn diaphragm, a stuck plate or a hose that is off."
    ),
    Code.CAPSULE_RETARDS: (
        "The capsule retards: was the advance read with the sign turned, or is it a retard side?"
    ),
    Code.CAPSULE_STOP_NOT_READ: (
        "Still moving at {highest_kpa:.1f} kPa, the highest vacuum read: its stop was not seen."
    ),
    Code.CAPSULE_ABOVE_ZERO: (
        "The slope does not come down to 0 above 0 kPa: the readings may include the initial timing or the "
        "centrifugal advance; take that off."
    ),
    Code.CAPSULE_BEGIN_NOT_READ: (
        "The begin is drawn on from higher readings: read below {begin_kpa:.1f} kPa."
    ),
    Code.CAPSULE_SLOPE_NOT_READ: (
        "Fewer than two readings lie on the slope: read there to place begin and end."
    ),
    Code.CAPSULE_STRAY: (
        "The reading at {vacuum_kpa:.1f} kPa lies far off the line of the others: look at it again."
    ),
    Code.CAPSULE_LEAKS: (
        "The capsule loses {lost_share:.0%} in {within_s:.0f} s: look for a torn diaphragm, then for a "
        "leaking hose or pump."
    ),
    Code.LEAK_NEAR_LIMIT: "Too close to the limit to be sure: time it for longer.",
    Code.VACUUM_ROSE: "The vacuum rises between readings: was it pumped again?",
    # the trigger
    Code.ONE_TURN: "One turn only: that shows no scatter from turn to turn; take ten or more.",
    Code.SPARKS_MISSED: "Sparks were missed at {cylinders} in firing order: look at gap, lead and trigger.",
    Code.SPARKS_OFF_STEADILY: (
        "Off most, by more than the limit: {cylinders} in firing order; mostly the same every turn: cam, "
        "reluctor or a bent shaft."
    ),
    Code.SPARKS_OFF_UNSTEADILY: (
        "Off most, by more than the limit: {cylinders} in firing order; mostly different every turn: bush, "
        "drive backlash or points bounce."
    ),
    Code.SPACING_MOVES: (
        "The spacing of {cylinders} in firing order moves with speed: look for shaft side play."
    ),
    Code.DWELL_MOVES: (
        "Dwell moves by more than the limit: look for a worn bush, a loose plate or a weak spring."
    ),
    # what is alike
    Code.ATTRIBUTES_UNKNOWN: "Some of these engines lack attributes; they were compared by what is known.",
}

UNITS = {"deg": "degrees", "rpm": "rpm"}

TERMS = {
    "primary": "primary",
    "secondary": "secondary",
    "rate": "rate",
    "free_length": "free length",
    "initial_tension": "initial tension",
    "begin": "begin",
    "knee": "knee",
    "stop": "stop",
}


def run(number):
    """A run by its place, where its name isn't known."""
    return f"Run {number}"


def cylinders(places):
    """Places in firing order: cylinder 3; cylinders 2, 3 and 4."""
    *others, last = map(str, places)
    return f"cylinders {', '.join(others)} and {last}" if others else f"cylinder {last}"


def in_percent(chance):
    """A chance as people say it; never none and never certain."""
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{chance * 100:.0f} %"
