"""What is wrong with the demo's units, in the words of who brings them in and who takes them apart."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One typical fault: what the customer says, what is found, what is done, and how often."""

    key: str  # as ``bench.tired`` knows it; "seized" never turns on the bench
    share: float
    complaints: tuple[str, ...]
    findings: tuple[str, ...]
    parts: tuple[tuple[str, str], ...]  # text, price


FAULTS = [
    Fault(
        "stretched", 0.2,
        ("Idle timing wanders, the mark won't stand still under the light. Pinks on a light throttle uphill.",
         "Set to the book at idle and it pinks at 2000. Somebody has been turning the body to cure it.",
         "Hunts at idle since last summer. Timing reads different every time the speed is touched.",
         "Runs on when switched off, rough tickover, better when the timing is pulled right back."),
        ("Light spring stretched: its loop hangs loose at rest and the cam turns a good two degrees by hand.",
         "Primary spring pulled out of shape by a previous repair, loop opened with pliers.",
         "Advance begins well below idle: it moves as soon as the bench turns.",
         "Primary post bent inward to hide a tired spring."),
        (("Primary spring from the drawer", "6.50"), ("Post straightened and set", "12.00")),
    ),
    Fault(
        "sticking", 0.17,
        ("Slow to pick up, then races. Idle stays high for a while after a run.",
         "Flat spot off idle, and the timing won't come back when the throttle shuts.",
         "Lay in a barn for eleven years. Starts, but no life in it.",
         "Timing stays advanced after a blip and drops a minute later."),
        ("Weight pivots dry and brown with old varnish; one weight stays out when it is pushed.",
         "Rust on both pivot pins, the weights drag on the base plate.",
         "Cam bush gummed up: it turns on the spindle like a tap that wants a washer.",
         "Falling sweep lies three degrees above the rising one until the pivots are freed."),
        (("Weight pivots polished and oiled", "24.00"), ("Pair of weight washers", "4.20")),
    ),
    Fault(
        "stiff", 0.12,
        ("Gutless at the top end since a rebuild elsewhere. Plugs look sooty.",
         "Runs hot and flat, nothing above 3000.",
         "New springs were fitted out of a packet, never right since.",
         "Uses too much fuel, won't pull in top gear."),
        ("Both springs are heavier than any in the drawer for this head; made for something else.",
         "Primary is a shortened spring, two coils cut off and a new loop bent.",
         "Full advance isn't reached before the speed this engine is governed to.",
         "Springs painted over; under the paint they are two different makes."),
        (("Primary spring from the drawer", "6.50"), ("Secondary spring from the drawer", "7.50")),
    ),
    Fault(
        "stop worn", 0.12,
        ("Pinks flat out in summer, worse on the motorway than on the hill.",
         "Holed a piston last year; wants to be sure of the timing this time.",
         "Total reads far over what the tuner set, initial is right.",
         "Detonates at full throttle with good fuel."),
        ("Stop sleeve worn through: measured travel is two degrees over the stamping.",
         "Somebody filed the slot of the cam foot; travel measured, not read off the stamping.",
         "Rubber on the stop pin has perished and gone, metal stands on metal.",
         "Travel stamped and travel measured disagree; stop built up and dressed back."),
        (("Stop sleeve turned and pressed on", "28.00"),),
    ),
    Fault(
        "secondary lost", 0.08,
        ("Went bang through the carburettor on the way home. Runs, but knocks.",
         "All the advance comes in at once, then nothing more.",
         "Rattles in the distributor. Pinks as soon as it is off idle."),
        ("Secondary spring gone: its broken loop lay in the bottom of the body.",
         "One spring only in the head; the empty post is polished, so it has run like that for long.",
         "Secondary loop broken at the bend, rust in the fracture."),
        (("Secondary spring from the drawer", "7.50"), ("Body flushed, swarf removed", "9.00")),
    ),
    Fault(
        "weak", 0.16,
        ("Pinks under load with today's petrol. Everything else has been through.",
         "Wants it right for unleaded before the season starts.",
         "Timing fine at idle, too much in the middle. Three people have set it, each otherwise.",
         "Feels harsh between 2000 and 3000."),
        ("Both springs tired: a fifth below their rate on the tester.",
         "Springs are the originals and have lost their temper; coils no longer close.",
         "Curve lies four crank degrees above the band in the middle, right at both ends.",
         "Secondary comes in late, its loop is worn half through by the post."),
        (("Primary spring from the drawer", "6.50"), ("Secondary spring from the drawer", "7.50")),
    ),
    Fault(
        "sound", 0.1,
        ("Going through the whole engine, do the distributor while it is out.",
         "Misfires above 4000 when hot.",
         "Points close up every few hundred miles.",
         "Cuts out over bumps, restarts at once."),
        ("Advance free and near its curve; the trouble is the shaft, 0.16 mm loose in its bush.",
         "Lead to the points worn bare where it passes the base plate.",
         "Firing uneven round the shaft, it spreads by nearly four degrees.",
         "Breaker plate pivot worn, the gap changes as the capsule pulls."),
        (("Bush pressed in and reamed", "38.00"), ("Breaker plate lead, made up", "7.80")),
    ),
    Fault(
        "seized", 0.05,
        ("Seized. Stood in a boatyard with the cap off.",
         "Won't turn. Had to be driven out of the block with a mallet.",
         "Found on a shelf, wanted for an engine that has none."),
        ("Shaft rusted fast in the bush; soaked for three days before it moved.",
         "No run as received: the shaft doesn't turn.",
         "Cam and spindle one lump of rust, weights free after an hour in the bath."),
        (("Bush pressed in and reamed", "38.00"), ("Shaft ground and polished", "46.00")),
    ),
]  # fmt: skip

# What is found on a unit of any fault.
GENERAL_FINDINGS = (
    "Cap tracked between two posts, carbon brush half worn.",
    "Rotor burnt at the tip, arcing to the screw.",
    "Felt under the rotor bone dry.",
    "Condenser breaks down when warm.",
    "Rod of the vacuum capsule bent, straightened.",
    "Vacuum capsule packed out with a washer under its bracket, taken out again.",
    "Clamp cracked at the bolt.",
    "O-ring hard and flat.",
    "Drive dog has a burr, dressed with a stone.",
    "Shim missing under the dog, end float 0.7 mm.",
    "Number stamped over an older one; the head is not the one the number says.",
    "Grease packed where oil belongs.",
    "Pin through the dog is a cut-off nail.",
    "Base plate screw stripped, thread cleaned and a longer screw found.",
    "Oiler blocked with paint.",
    "Wasp's nest in the vacuum pipe.",
)
ELECTRONIC_FINDINGS = (
    "No compound under the module, its foot is blue from heat.",
    "Pick-up lead hard, insulation cracks when bent.",
    "Connector pins green, cleaned and tightened.",
)

# Part or work, price each; several for each job.
GENERAL_PARTS = (
    ("Cap", "18.40"),
    ("Rotor", "9.60"),
    ("Felt and oiler", "3.20"),
    ("O-ring", "1.40"),
    ("Shim set", "4.80"),
    ("Drive pin", "2.10"),
    ("Clamp bolt and washer", "1.90"),
)
POINTS_PARTS = (("Contact set", "11.50"), ("Condenser", "7.40"), ("Base plate lead", "4.90"))
ELECTRONIC_PARTS = (("Heat-sink compound", "0.80"), ("Pick-up lead, made up", "14.00"))
FROM_THE_DRAWER = " from the drawer"
LEFT_OFF = (
    ("Module", "plug depends on the vehicle's loom: owner fits the one that came with it"),
    ("Vacuum pipe", "owner has a new one at home"),
    ("Condenser", "owner wants a capacitor-discharge box, fits none"),
)
LOOSE = (
    ("Spare rotor", "asked for a spare in the tool roll"),
    ("Leads", "to be cut to length on the engine"),
    ("Clamp", "goes on with the block in sight"),
)

CAME_WITH = (
    "Cap, rotor and clips.",
    "Cap and leads, no rotor.",
    "Bare unit, no clamp.",
    "Unit in a biscuit tin with spare points and a handwritten note of the old timing.",
    "Complete with coil and bracket.",
    "Unit, capsule loose in a bag, two springs of unknown make.",
    "Cap, rotor, vacuum pipe with its elbow.",
)
CAPTIONS = (
    "As it came in",
    "Weights and springs before cleaning",
    "Stamping on the cam foot",
    "Wear on the primary post",
    "Cap, inside",
)
# How it was said, what part of the amount asked was agreed, and what else was said.
ANSWERS = (
    ("telephone", 1, "Go ahead."),
    ("email", 1, "Yes to all."),
    ("telephone", 0.9, "Go ahead, but not above that."),
    ("in_person", 1, ""),
)
SETTING_NOTES = (
    "Vacuum line off and plugged. Set {initial} degrees at idle, then check at 3000.",
    "Set {initial} degrees with the engine hot and the line plugged. Listen on the first long hill.",
    "Start from {initial} degrees; come up a degree at a time, never past the total on the sheet.",
)
ROAD_REPORTS = (
    "Pinks lightly at 3000 uphill in top; pulled back 2 degrees and it is gone.",
    "Ran 800 miles, idle steady, no pinking. Very pleased.",
    "A shade lazy below 2000, otherwise right.",
)
STOCK_COMPLAINTS = (
    "Exchange unit for the shelf, core from the pile.",
    "Bought in at an autojumble. Rebuild for stock.",
)
WHY_BACK = "Curve moved after the first road test: one post not tight."
WHY_ON = "Customer fits his own cap; the rest is done."
