"""Both rims seen from above: where the seven stations lie. x in mm towards the patient's left, y forward of the hinge.

88 mm is the height of the equilateral triangle of 4 in (101.6 mm) sides between the condyles and the lower incisors
(Bonwill; common practice, no source). It lies in the triangle's own plane, tipped to the occlusal plane; that changes
corrections by about 0.1 mm and is ignored. The other places are an average arch, for spreading a correction; they are
no measurement of the patient.
"""

HINGE = 88.0

# Along the arch, from the patient's right to the left: the order in which a technician names them.
STATIONS = ["molar_right", "premolar_right", "canine_right", "front", "canine_left", "premolar_left", "molar_left"]
MOLARS = ["molar_right", "molar_left"]
CANINES = ["canine_right", "canine_left"]
SIDES = ["right", "left"]

X = {
    "front": 0.0,
    "canine_right": -17.0,
    "canine_left": 17.0,
    "premolar_right": -22.0,
    "premolar_left": 22.0,
    "molar_right": -26.0,
    "molar_left": 26.0,
}
Y = {
    "front": HINGE,
    "canine_right": 80.0,
    "canine_left": 80.0,
    "premolar_right": 70.0,
    "premolar_left": 70.0,
    "molar_right": 52.0,
    "molar_left": 52.0,
}
# Along the rim, forward; in front towards the patient's left.
TANGENT = {
    "front": (1.0, 0.0),
    "canine_right": (0.774, 0.633),
    "canine_left": (-0.774, 0.633),
    "premolar_right": (0.306, 0.952),
    "premolar_left": (-0.306, 0.952),
    "molar_right": (0.217, 0.976),
    "molar_left": (-0.217, 0.976),
}
CANINE_X = 17.0
CANINE_Y = 80.0
MOLAR_X = 26.0


def side_of(station: str) -> str:
    """ "right", "left" or "front"."""
    return station.split("_")[-1]


def along_arch(stations: list[str]) -> list[str]:
    """The stations in the order of the arch, each once."""
    return [station for station in STATIONS if station in stations]


def area(a: str, b: str, c: str) -> float:
    """The area in mm2 of the triangle between three stations."""
    return abs((X[b] - X[a]) * (Y[c] - Y[a]) - (X[c] - X[a]) * (Y[b] - Y[a])) / 2
