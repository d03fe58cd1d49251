"""The demo's invented shop, its people and its customers."""

SHOP = {
    "name": "Wexcombe Ignition Works",
    "address": "Unit 4, Old Ropewalk\nSkerrow Quay\nNorth Haddle NH4 7QX",
    "phone": "01632 960 400",
    "email": "bench@wexcombe.example",
    "paper_note": "Bring this sheet with the unit when it comes back.",
}

# login, name, role
PEOPLE = [
    ("imogen", "Imogen Threlkeld", "owner"),
    ("davit", "Davit Okonjo", "technician"),
    ("pernille", "Pernille Askew", "technician"),
    ("rufus", "Rufus Candlish", "counter"),
]

# name, company, phone, place, note; numbers from the ranges kept free for fiction
CUSTOMERS = [
    ("Ottoline Brandreth", "", "01632 960 112", "3 Tanner's Row, Skerrow Quay", "Rings back after six."),
    ("Gethin Pomfrey", "Pomfrey & Daughter, Restorers", "01632 960 128", "Mill Barn, Upper Haddle", ""),
    ("Zofia Łęcka", "", "01632 960 133", "22 Chandler Street, Skerrow Quay", "Prefers email."),
    ("Bertil Sjöqvist", "", "01632 960 147", "The Old Smithy, Carrow", ""),
    (
        "Hamish Dunlavy",
        "Dunlavy Agricultural",
        "01632 960 151",
        "Carrow Road, Nether Haddle",
        "Pays monthly.",
    ),
    ("Ngozi Adair", "", "01632 960 166", "8 Lantern Close, North Haddle", ""),
    (
        "Lucienne Favre-Holt",
        "",
        "01632 960 174",
        "Quay House, Skerrow Quay",
        "Boat lies at the east pontoon.",
    ),
    ("Tobias Wren", "Wren Marine Services", "01632 960 182", "East Pontoon, Skerrow Quay", ""),
    ("Marguerite O'Dowd", "", "01632 960 195", "Five Ash Farm, Dunnet", "Collects on market day."),
    ("Casper Lindqvist-Rowe", "Rowe Rally Preparation", "01632 960 203", "Hangar 2, Dunnet Airfield", ""),
    ("Ines Caldeira", "", "01632 960 219", "14 Foundry Lane, North Haddle", ""),
    ("Archie Mottram", "Haddle Vale Steam & Engine Club", "01632 960 227", "The Yard, Haddle Halt", ""),
    ("Sunniva Hæreid", "", "01632 960 238", "Weir Cottage, Upper Haddle", "Own timing light, knows it well."),
    ("Percival Ashdown-Keyes", "", "01632 960 244", "The Grange, Dunnet", "Ask before any extra cost."),
    ("Mirela Stoicescu", "Stoicescu Vans", "01632 960 256", "Depot 3, Haddle Trading Estate", ""),
]
