"""Where the invented business stands: twenty-two floors around a sound that is on no map, and who owns them."""

from datetime import time
from typing import NamedTuple

SUMMER = (0.5, 0.5, 0.7, 0.9, 1.1, 1.5, 2.0, 2.0, 1.2, 0.8, 0.5, 0.5)  # January to December
SHOPS = (0.8, 0.8, 0.9, 0.9, 1.0, 1.0, 1.1, 1.1, 1.0, 1.0, 1.2, 1.7)
INDOORS = (1.2, 1.2, 1.1, 1.0, 0.9, 0.8, 0.8, 0.8, 0.9, 1.1, 1.2, 1.3)
EVEN = (0.9, 0.9, 1.0, 1.0, 1.0, 1.1, 1.1, 1.1, 1.0, 1.0, 1.0, 1.1)


class Crowd(NamedTuple):
    """Who comes when: factors by month and by weekday (Monday first), and in school holidays; opening hours."""

    season: tuple[float, ...]
    week: tuple[float, ...]
    holidays: float
    opens: time
    closes: time
    closed_on: tuple[int, ...] = ()


CROWDS = {
    "seaside": Crowd(SUMMER, (0.7, 0.7, 0.8, 0.8, 1.1, 1.6, 1.5), 1.5, time(9), time(20)),
    "shops": Crowd(SHOPS, (0.8, 0.8, 0.9, 0.9, 1.2, 1.7, 0.8), 1.2, time(9), time(19)),
    "play": Crowd(INDOORS, (0.5, 0.6, 0.7, 0.8, 1.4, 1.8, 1.4), 1.4, time(10), time(22), (0,)),
    "food": Crowd(EVEN, (0.8, 0.8, 0.9, 0.9, 1.3, 1.4, 1.1), 1.1, time(10), time(21)),
    "errands": Crowd(EVEN, (1.1, 1.0, 1.0, 1.0, 1.0, 1.2, 0.7), 1.0, time(8), time(20)),
}

ROUNDS = {"harbour": 7, "shore": 10, "inland": 14, "isle": 19}  # days between two rounds, more or less


class Site(NamedTuple):
    """A location. `share` in hundredths of a percent; `pull` is how busy it is against others."""

    name: str
    host: str
    contact: tuple[str, str, str]
    crowd: str
    round: str
    pull: float
    share: int
    settled: str
    paid: str
    cabinets: tuple[str, ...]
    address: str
    at: tuple[float, float]
    access: str


SITES = [
    Site("Ostrel ferry hall", "Sound Crossings", ("Marit Holloway", "duty desk", "555-0101"), "seaside", "harbour", 1.5,
         3500, "month", "transfer", ("lantern", "breakwater", "pebble"), "Pier 1, Ostrel", (38.6121, -69.3344),
         "Ring at the duty desk; cabinets are behind the timetable."),
    Site("Pellamar Lanes", "Ninefold Bowling", ("Oskar Dunnage", "manager", "555-0102"), "play", "harbour", 1.4,
         4000, "month", "transfer", ("lantern", "tideline", "dory"), "8 Foundry Street, Pellamar", (38.6402, -69.3010),
         "Side door after noon; ask for the shift lead."),
    Site("Quillhaven camp shop", "Quillhaven Camp", ("Jory Pennick", "warden", "555-0103"), "seaside", "shore", 1.2,
         3000, "visit", "cash", ("dory", "pebble"), "Camp road, Quillhaven", (38.5710, -69.4102),
         "Barrier code at reception. No signal behind the wash house."),
    Site("The Brass Turbot", "The Brass Turbot", ("Ines Tarrow", "owner", "555-0104"), "food", "shore", 0.9,
         3000, "visit", "cash", ("dory", "pebble"), "3 Net Lane, Tidemoor", (38.5893, -69.3811),
         "Not between noon and two."),
    Site("Varrow pier café", "Varrow Pier Trust", ("Della Crane", "café lead", "555-0105"), "seaside", "harbour", 1.3,
         3500, "visit", "cash", ("lantern", "gull"), "The pier, Varrow", (38.6233, -69.3602),
         "Hand truck only before ten, the planks are full later."),
    Site("Suds of Ostrel", "Suds of Ostrel", ("Samir Olt", "owner", "555-0106"), "errands", "inland", 0.8,
         2500, "quarter", "cheque", ("pebble", "kite"), "41 Ropewalk, Ostrel", (38.6158, -69.3290),
         "Open all day; key to the back room in the till."),
    Site("Lyric Two Screens", "Lyric Two Screens", ("Bea Wintle", "projection", "555-0107"), "play", "harbour", 1.2,
         4500, "month", "transfer", ("lantern", "tideline"), "Quay Square, Brindle Quay", (38.6017, -69.2871),
         "Count in the office, the foyer is full of people."),
    Site("Pellamar baths", "Pellamar Baths", ("Rufus Kettley", "front desk", "555-0108"), "play", "harbour", 1.1,
         4000, "month", "transfer", ("bollard", "dory"), "Baths Road, Pellamar", (38.6451, -69.3057),
         "Wet floor by the capsule tower; unplug nothing there."),
    Site("Wickerlane Morrowick", "Wickerlane Foods", ("Petra Lund", "store lead", "555-0109"), "shops", "inland", 1.1,
         3000, "month", "transfer", ("lantern", "pebble", "kite"), "Ring road, Morrowick", (38.6570, -69.2402),
         "Sign in at the service desk."),
    Site("Tidemoor fish bar", "Tidemoor Fish Bar", ("Gil Sprake", "owner", "555-0110"), "food", "shore", 1.0,
         2500, "visit", "cash", ("pebble",), "1 Strand, Tidemoor", (38.5881, -69.3862), "Closed in the afternoon."),
    Site("Quillhaven little golf", "Quillhaven Camp", ("Jory Pennick", "warden", "555-0103"), "seaside", "shore", 1.1,
         3000, "visit", "cash", ("dory", "pebble"), "Dune walk, Quillhaven", (38.5725, -69.4149),
         "Hut key with the warden."),
    Site("Marrowbed plants", "Marrowbed Plants", ("Asta Renn", "manager", "555-0111"), "shops", "inland", 0.8,
         2500, "quarter", "transfer", ("dory",), "Mill lane, Morrowick", (38.6612, -69.2333), "Through the tool shed."),
    Site("Pom and Peg Toys", "Pom and Peg Toys", ("Noor Castell", "owner", "555-0112"), "shops", "harbour", 1.0,
         3500, "month", "credit", ("bollard", "gull"), "12 Quay Square, Brindle Quay", (38.6022, -69.2859),
         "Step at the door: 9 cm."),
    Site("Kestrel Fork stop", "Kestrel Fork", ("Ivo Brandreth", "night lead", "555-0113"), "errands", "inland", 1.2,
         3000, "month", "transfer", ("lantern", "breakwater"), "Junction 4, Lower Ostrel", (38.6303, -69.2188),
         "Park at the scales, not at the pumps."),
    Site("Hallet ferry kiosk", "Sound Crossings", ("Marit Holloway", "duty desk", "555-0101"), "seaside", "isle", 1.0,
         3500, "month", "transfer", ("pebble",), "Landing, Hallet Isle", (38.5302, -69.2955), "First boat 8:10."),
    Site("Hallet holiday park", "Hallet Park", ("Wren Aldous", "arcade lead", "555-0114"), "seaside", "isle", 1.6,
         4500, "month", "transfer", ("lantern", "tideline"), "North track, Hallet Isle", (38.5366, -69.2902),
         "Trolley at the landing; last boat back 17:40."),
    Site("Chair and Comb", "Chair and Comb", ("Teo Vance", "owner", "555-0115"), "errands", "inland", 0.7,
         2000, "quarter", "cash", ("kite",), "6 Foundry Street, Pellamar", (38.6399, -69.3021), "Closed on Mondays."),
    Site("Varrow tide tanks", "Varrow Pier Trust", ("Milo Strand", "tank keeper", "555-0116"), "play", "harbour", 1.2,
         4000, "month", "transfer", ("bollard", "dory"), "The pier, Varrow", (38.6240, -69.3621),
         "Staff door left of the tanks."),
    Site("Slice of Morrowick", "Slice of Morrowick", ("Lena Roach", "owner", "555-0117"), "food", "inland", 0.9,
         3000, "visit", "cash", ("dory",), "19 High row, Morrowick", (38.6555, -69.2451), "Ask at the till."),
    Site("Skate and Mere rink", "Skate and Mere Rink", ("Hanne Oster", "manager", "555-0118"), "play", "inland", 1.1,
         4000, "month", "transfer", ("lantern",), "Mere road, Lower Ostrel", (38.6322, -69.2251), "Rubber mats slip."),
    Site("Tidemoor pumps", "Kestrel Fork", ("Cass Verrill", "shift lead", "555-0119"), "errands", "shore", 0.8,
         2500, "quarter", "transfer", ("pebble",), "Coast road, Tidemoor", (38.5844, -69.3790), "Beside the ice."),
    Site("Gooseacre farm shop", "Gooseacre Farm", ("Edie Sallow", "owner", "555-0120"), "shops", "inland", 0.7,
         2000, "visit", "cash", ("pebble",), "Gooseacre lane, Morrowick", (38.6699, -69.2214), "Mind the geese."),
]  # fmt: skip
