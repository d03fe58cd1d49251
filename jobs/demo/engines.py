"""The demo's invented engines, each with the unit that its maker fitted and the pair that made its curve."""

from dataclasses import dataclass

ROAD, TOWING, COMPETITION = "road", "towing", "competition"
TRACTOR, MARINE, STATIONARY = "tractor", "marine", "stationary"
ONE, SEVERAL, INJECTED, CHARGED = "one_carb", "several_carbs", "injection", "charged"


@dataclass(frozen=True)
class Kind:
    """An engine and its unit. Speeds and timing are at the crank."""

    vehicle: str
    make: str
    model: str
    years: tuple[int, int]
    cylinders: int
    displacement_cc: int
    compression: float
    camshaft: str
    induction: str
    fuel_octane: int
    use: str
    idle_crank_rpm: int
    top_crank_rpm: int
    initial_crank_deg: tuple[int, int]
    unit_maker: str
    unit_number: str
    trigger: str
    rotation: str
    capsule: str
    head: str
    springs: tuple[str, str]


KINDS = [
    Kind("Tarnwick Sedge saloon", "Tarnwick", "TS 1100", (1958, 1966),
         4, 1098, 8.1, "standard", ONE, 91, ROAD, 700, 5400, (4, 8),
         "Quenby", "QD4-118", "points", "ccw", "QV 7", "light four", ("P01", "S01")),
    Kind("Tarnwick Sedge estate", "Tarnwick", "TS 1300", (1963, 1971),
         4, 1296, 8.8, "standard", ONE, 95, ROAD, 650, 5600, (5, 9),
         "Quenby", "QD4-131", "points", "ccw", "QV 7", "light four", ("P02", "S02")),
    Kind("Ollerby Cloister", "Ollerby", "Cloister 1.5", (1955, 1962),
         4, 1489, 7.4, "standard", ONE, 88, ROAD, 650, 4600, (3, 7),
         "Quenby", "QD4-96", "points", "cw", "", "four", ("P03", "S04")),
    Kind("Ollerby Cloister de luxe", "Ollerby", "Cloister 1.6", (1961, 1968),
         4, 1622, 8.3, "standard", SEVERAL, 95, ROAD, 700, 5000, (4, 8),
         "Tolldane", "412/07", "points", "cw", "T-9", "four", ("P05", "S05")),
    Kind("Vossmar 2000 coupé", "Vossmar", "V4-20", (1968, 1977),
         4, 1998, 9.0, "280° road", SEVERAL, 98, ROAD, 700, 6000, (8, 12),
         "Orrisford", "OF 614-044", "magnetic", "cw", "VC 12", "light four", ("P01", "S03")),
    Kind("Vossmar 2000 saloon", "Vossmar", "V4-20 E", (1974, 1982),
         4, 1998, 9.3, "standard", INJECTED, 95, ROAD, 650, 5800, (8, 12),
         "Orrisford", "OF 617-110", "hall", "cw", "VC 14", "light four", ("P02", "S02")),
    Kind("Calderpike Six", "Calderpike", "C6-2.4", (1959, 1967),
         6, 2412, 8.5, "standard", SEVERAL, 95, ROAD, 600, 5200, (5, 9),
         "Quenby", "QD6-204", "points", "ccw", "QV 11", "six", ("P06", "S06")),
    Kind("Calderpike Six GT", "Calderpike", "C6-2.8", (1966, 1974),
         6, 2793, 9.2, "GT profile", SEVERAL, 98, ROAD, 650, 5800, (8, 12),
         "Tolldane", "618/22", "points", "ccw", "T-14", "six", ("P07", "S08")),
    Kind("Brackenmoor Hayrick pick-up", "Brackenmoor", "B8-52", (1964, 1975),
         8, 5240, 8.6, "towing grind", ONE, 91, TOWING, 600, 4400, (6, 10),
         "Orrisford", "OF 880-009", "points", "cw", "VC 16", "eight", ("P08", "S09")),
    Kind("Brackenmoor Almoner", "Brackenmoor", "B8-41", (1967, 1979),
         8, 4098, 9.0, "standard", SEVERAL, 95, ROAD, 600, 5200, (6, 10),
         "Orrisford", "OF 885-031", "magnetic", "cw", "VC 16", "eight", ("P09", "S10")),
    Kind("Vossmar rally coupé", "Vossmar", "V4-20 R", (1970, 1976),
         4, 2048, 11.2, "316° rally", SEVERAL, 100, COMPETITION, 950, 7600, (10, 14),
         "Tolldane", "440/R", "magnetic", "cw", "", "quick", ("P11", "S11")),
    Kind("Tarnwick club racer", "Tarnwick", "TS 1300 C", (1965, 1970),
         4, 1340, 11.6, "race, 320°", SEVERAL, 100, COMPETITION, 900, 8000, (10, 15),
         "Quenby", "QD4-131C", "points", "ccw", "", "quick", ("P12", "S12")),
    Kind("Hethercott 37 tractor", "Hethercott", "H4-37", (1952, 1961),
         4, 2187, 6.2, "standard", ONE, 80, TRACTOR, 450, 2300, (0, 4),
         "Quenby", "QT4-37", "points", "cw", "", "tractor", ("P13", "S14")),
    Kind("Hethercott 26 tractor", "Hethercott", "H4-26", (1949, 1957),
         4, 1830, 5.9, "standard", ONE, 78, TRACTOR, 400, 2100, (0, 4),
         "Quenby", "QT4-26", "points", "cw", "", "tractor", ("P14", "S15")),
    Kind("Pellgrove launch", "Pellgrove", "Sea Four", (1960, 1973),
         4, 1950, 8.0, "marine", ONE, 91, MARINE, 650, 4200, (4, 8),
         "Tolldane", "M 415", "points", "ccw", "", "marine", ("P16", "S16")),
    Kind("Pellgrove cruiser, port engine", "Pellgrove", "Sea Six", (1966, 1980),
         6, 3308, 8.2, "marine", SEVERAL, 91, MARINE, 600, 4400, (4, 8),
         "Tolldane", "M 622", "magnetic", "ccw", "", "marine", ("P17", "S17")),
    Kind("Ollerby pumping set", "Ollerby", "P2", (1948, 1959),
         2, 1060, 5.8, "standard", ONE, 78, STATIONARY, 400, 1800, (0, 5),
         "Tolldane", "S 208", "points", "cw", "", "slow", ("P18", "S19")),
    Kind("Hethercott generator", "Hethercott", "H4-G", (1956, 1968),
         4, 2187, 6.6, "governed", ONE, 85, STATIONARY, 360, 1800, (2, 6),
         "Quenby", "QS4-11", "points", "cw", "", "slow", ("P19", "S20")),
]  # fmt: skip
