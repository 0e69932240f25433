"""Other words for our columns and for the values of choice columns.

Words are compared without case, accents, blanks, hyphens, dots and underscores. The lists are
ordinary words of English, Spanish, French and German, EN and ISO designations of steels, and
no brand or product of the climbing trade. Trade usage: common practice, no source.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping

from saltreach.vocabulary.columns import REGISTER_BY_NAME, Column
from saltreach.vocabulary.metals import FAMILIES

HEADERS: dict[str, tuple[str, ...]] = {
    "anchor_id": (
        "anchor number", "anchor no", "anchor code", "bolt id", "bolt number",
        "bolt no", "id anclaje", "código de anclaje", "id ancrage",
        "numéro d'ancrage", "anker id", "anker nr", "ankernummer", "haken id", "haken nr",
    ),
    "crag": ("crag name", "cliff", "climbing area", "escuela", "zona de escalada", "falaise",
             "site d'escalade", "klettergebiet", "gebiet", "fels"),
    "sector": ("sector name", "secteur", "sektor"),
    "lon": ("long", "lng", "longitude", "longitud", "längengrad", "lon wgs84",
            "longitude wgs84", "longitude deg", "lon deg"),
    "lat": ("latitude", "latitud", "breitengrad", "lat wgs84", "latitude wgs84",
            "latitude deg", "lat deg"),
    "route": ("route name", "vía", "nombre de la vía", "voie", "nom de la voie"),
    "position": ("position on route", "posición", "lage"),
    "kind": ("anchor type", "bolt type", "anchor kind", "tipo de anclaje", "type d'ancrage",
             "ankertyp", "ankerart", "hakentyp"),
    "material": ("anchor material", "bolt material", "metal", "metal grade", "steel grade",
                 "material del anclaje", "matériau", "métal", "werkstoff"),
    "hanger_material": ("hanger metal", "plate material", "material de la chapa",
                        "material de la placa", "matériau de la plaquette", "laschenmaterial",
                        "material der lasche"),
    "diameter_mm": ("diameter", "bolt diameter", "diámetro", "diamètre", "durchmesser"),
    "embedment_mm": ("embedment", "embedment depth", "length in rock", "profundidad",
                     "empotramiento", "profondeur", "profondeur d'ancrage", "setztiefe",
                     "verankerungstiefe", "einbindetiefe"),
    "installed_on": ("installed", "date installed", "installation date", "install date",
                     "year installed", "installation year", "placed on", "fecha de instalación",
                     "año de instalación", "date de pose", "date d'installation",
                     "année de pose", "einbaudatum", "einbaujahr", "gesetzt am"),
    "last_inspected_on": ("last inspected", "last inspection", "last inspection date",
                          "inspected on", "última inspección", "fecha de última inspección",
                          "última revisión", "dernière inspection", "date d'inspection",
                          "letzte prüfung", "letzte inspektion", "geprüft am"),
    "condition": ("estado", "état", "zustand"),
    "height_above_sea_m": ("height above sea", "altura sobre el mar",
                           "hauteur au dessus de la mer", "höhe über dem meer"),
    "elevation_m": ("elevation", "altitude", "altitude m", "elevación", "altitud", "élévation",
                    "meereshöhe", "höhe über nn"),
    "face_azimuth_deg": ("azimuth", "face azimuth", "aspect", "acimut", "orientación",
                         "orientation", "azimut", "exposition", "ausrichtung"),
    "face_slope_deg": ("slope", "face slope", "inclinación", "inclinaison", "pente", "neigung",
                       "wandneigung"),
    "rain_washed": ("washed by rain", "lavado por la lluvia", "lavé par la pluie",
                    "beregnet", "vom regen gewaschen"),
    "rock_type": ("rock", "lithology", "tipo de roca", "roca", "litología", "type de roche",
                  "roche", "lithologie", "gestein", "gesteinsart"),
    "tap_response": ("tap", "hammer tap", "sound", "sonido", "son", "klang", "klopfprobe"),
    "rebound_number": ("rebound", "rebound value", "índice de rebote", "rebote",
                       "indice de rebond", "rückprallwert"),
    "strength_grade": ("isrm grade", "hammer grade", "grado de resistencia", "grado isrm",
                       "grade isrm", "festigkeitsklasse"),
    "weathering_grade": ("weathering", "meteorización", "grado de meteorización", "altération",
                         "degré d'altération", "verwitterung", "verwitterungsgrad"),
    "crack_distance_mm": ("crack distance", "distance to crack", "distancia a fisura",
                          "distance à la fissure", "rissabstand"),
    "edge_distance_mm": ("edge distance", "distance to edge", "distancia al borde",
                         "distance au bord", "randabstand"),
    "visits_per_year": ("visits", "visits a year", "visitas por año", "visitas al año",
                        "visites par an", "besuche pro jahr"),
    "notes": ("note", "comment", "comments", "remarks", "notas", "comentario", "comentarios",
              "observaciones", "remarque", "remarques", "commentaire", "bemerkung",
              "bemerkungen", "anmerkung", "anmerkungen"),
    "grade": ("grade of metal", "güte", "stahlsorte", "nuance", "grado del metal"),
    "adhesive": ("resin", "glue", "mortar", "adhesivo", "resina", "colle", "résine", "kleber",
                 "mörtel", "verbundmörtel"),
    "rod_shape": ("shaft", "shaft shape", "thread", "schaft", "vástago", "tige"),
    "hole_condition": ("hole", "bohrloch", "agujero", "trou", "perçage"),
    "sea_cliff": ("seacliff", "acantilado", "falaise marine", "meeresklippe"),
    "salted_road_m": ("salted road", "distance to salted road", "abstand zur strasse",
                      "distancia a carretera", "distance à la route"),
    "sea_salinity_g_kg": ("salinity", "salinidad", "salinité", "salzgehalt"),
    "volcanic_gas": ("fumarole", "geothermal gas", "gas volcánico", "gaz volcanique",
                     "vulkangas"),
    "seepage": ("seep", "filtración", "suintement", "sickerwasser"),
    "salt_crust": ("crust", "costra", "croûte", "kruste"),
    "vegetation": ("plants", "vegetación", "végétation", "bewuchs"),
    "coast_distance_m": ("coast distance", "distance to coast", "distance to sea",
                         "distancia a la costa", "distancia al mar", "distance à la mer",
                         "distance à la côte", "küstenabstand", "abstand zum meer"),
    "so2_ug_m3": ("so2", "so2 concentration"),
}  # fmt: skip
"""Headers accepted for a column beside its own name. Bare x and y are never accepted: which of
them is east differs between programs."""

WEAK_HEADERS: dict[str, str] = {"id": "anchor_id"}
"""Taken only when no other header claims the column."""

GRID_HEADERS: dict[str, tuple[str, ...]] = {
    "lon": ("easting", "eastings", "este", "ostwert", "rechtswert"),
    "lat": ("northing", "northings", "norte", "nordwert", "hochwert"),
}
"""Accepted for lon and lat only when a CRS is given."""

TABLE_HEADERS: dict[str, tuple[str, ...]] = {
    "crag": ("escuela", "zona", "cliff"),
    "sector": ("area",),
    "joint_spacing_mm": ("joint spacing", "spacing", "spacing mm", "espaciado", "espaciado mm"),
    "persistence_m": ("persistence", "joint length", "persistencia", "continuidad"),
    "aperture_mm": ("aperture", "opening", "abertura", "apertura"),
    "roughness": ("joint roughness", "rugosidad"),
    "infilling": ("infill", "filling", "relleno"),
    "joint_weathering": ("weathering of joints", "wall weathering", "meteorizacion de juntas"),
    "water": ("groundwater", "agua"),
    "rqd_pct": ("rqd",),
    "favourability": ("orientation", "orientacion", "favorability"),
}
"""Headers accepted in the tables beside the register, besides those of `HEADERS`."""

NOT_KNOWN: tuple[str, ...] = (
    "unknown", "not known", "n/a", "na", "nan", "none", "null", "?", "??", "-", "--",
    "desconocido", "desconocida", "no se sabe", "inconnu", "inconnue", "unbekannt",
)  # fmt: skip
"""Words read as an empty cell in number, date and choice columns (never in text columns)."""

_LEAN = "a lean duplex of EN 1993-1-4 class III; read as 316, which has the same class"
_SUPER_DUPLEX = (
    "a super duplex; EN 1993-1-4 class V, but not for unwashed fixings, so read as duplex"
)
_904L = "904L is EN 1993-1-4 class IV, not a superaustenitic of class V; read as duplex (class IV)"
_317LMN = "class IV in EN 1993-1-4, but it cracks under chloride like its neighbours; read as 316"
_FERRITIC = "a ferritic stainless steel below 304; read as 430"
_STAINLESS_ONLY = "says stainless but not which grade; read as stainless, counted as 304"
_ZINC_ONLY = "says zinc but not how thick; read as zinc-plated steel, the thinner coat"
_MECHANICAL = "does not say expansion or screw; read as expansion, the usual one"

CHOICES: dict[str, dict[str, tuple[str, ...]]] = {
    "material": {name: family.spellings for name, family in FAMILIES.items()},
    "kind": {
        "bonded": ("glue in", "glue in bolt", "glued", "glued in", "resin", "resin bolt",
                   "resin bonded", "resin anchor", "epoxy", "adhesive", "chemical",
                   "chemical anchor", "químico", "anclaje químico", "resina", "pegado",
                   "scellement", "scellement chimique", "scellé", "collé", "chimique",
                   "résine", "klebehaken", "klebeanker", "verbundhaken", "verbundanker",
                   "verklebt", "geklebt"),
        "bonded twin-leg": ("twin leg", "twin-leg", "double leg", "u-bolt", "ubolt", "u bolt",
                            "staple", "doble pata", "deux branches", "zweischenklig"),
        "drive-in": ("drive in", "driven", "driven in", "spit driven", "hammered in", "carrot",
                     "machine bolt", "remachado", "schlaganker", "eingeschlagen"),
        "expansion": ("expansion bolt", "expansion anchor", "wedge", "wedge anchor",
                      "wedge bolt", "sleeve anchor", "stud anchor", "through bolt",
                      "expansión", "expansivo", "anclaje de expansión", "a expansion",
                      "goujon", "goujon à expansion", "cheville à expansion", "spreizanker",
                      "expansionsanker", "bolzenanker", "spreizdübel"),
        "screw": ("screw anchor", "concrete screw", "screw bolt", "tornillo",
                  "tornillo de hormigón", "vis", "vis à béton", "schraube", "schraubanker",
                  "betonschraube"),
        "other": ("piton", "peg", "clavo", "pitón", "normalhaken", "thread", "natural",
                  "otro", "otra", "autre", "andere", "anderer", "sonstige"),
    },
    "position": {
        "belay": ("stance", "belay anchor", "belay station", "reunión", "relais", "stand",
                  "standplatz"),
        "lower-off": ("loweroff", "lowering anchor", "top anchor", "descuelgue", "moulinette",
                      "relais de moulinette", "umlenker", "umlenkung"),
        "runner": ("protection", "protection bolt", "intermediate", "lead bolt", "seguro",
                   "seguro intermedio", "intermedio", "point", "point intermédiaire",
                   "intermédiaire", "zwischenhaken", "zwischensicherung"),
    },
    "tap_response": {
        "ringing": ("ring", "rings", "clear", "metálico", "nítido", "claro", "clair", "hell",
                    "klingend"),
        "mixed": ("mixto", "mixte", "gemischt"),
        "dull": ("apagado", "sordo", "sourd", "mat", "dumpf"),
        "hollow": ("drummy", "hueco", "creux", "hohl"),
    },
    "weathering_grade": {
        "W1": ("fresh", "i", "1", "grade i", "sana", "sano", "sain", "saine", "frisch"),
        "W2": ("slight", "slightly weathered", "ii", "2", "grade ii",
               "ligeramente meteorizada", "ligeramente meteorizado", "peu altéré",
               "schwach verwittert"),
        "W3": ("moderate", "moderately weathered", "iii", "3", "grade iii",
               "moderadamente meteorizada", "moderadamente meteorizado", "modérément altéré",
               "mässig verwittert", "mäßig verwittert"),
        "W4": ("high", "highly weathered", "iv", "4", "grade iv", "muy meteorizada",
               "muy meteorizado", "très altéré", "stark verwittert"),
        "W5": ("complete", "completely weathered", "v", "5", "grade v",
               "completamente meteorizada", "completamente meteorizado",
               "complètement altéré", "vollständig verwittert"),
        "W6": ("residual soil", "vi", "6", "grade vi", "suelo residual", "sol résiduel",
               "residualboden"),
    },
    "adhesive": {
        "epoxy": ("epoxi", "époxy", "epoxid", "pure epoxy", "epoxy acrylate free"),
        "hybrid": ("hybrid mortar", "híbrido", "hybride"),
        "vinylester": ("vinyl ester", "vinyl", "viniléster", "methacrylate", "epoxy acrylate"),
        "polyester": ("poliéster", "ester", "styrene polyester"),
        "cement": ("cement grout", "grout", "mortar cement", "cemento", "ciment", "zement"),
    },
    "rod_shape": {
        "threaded": ("thread", "roscado", "fileté", "gewinde"),
        "ribbed": ("notched", "twisted", "knurled", "rebar", "corrugado", "cranté", "gerippt"),
        "plain": ("smooth", "liso", "lisse", "glatt"),
    },
    "hole_condition": {
        "clean and dry": ("clean", "dry", "cleaned", "limpio", "propre", "sauber", "trocken"),
        "damp": ("wet", "húmedo", "humide", "feucht", "nass"),
        "water-filled": ("water filled", "full of water", "lleno de agua", "wassergefüllt"),
        "uncleaned": ("not cleaned", "dusty", "sin limpiar", "non nettoyé", "ungereinigt"),
        "cored": ("diamond cored", "diamond drilled", "core drilled"),
    },
    "seepage": {
        "none": ("no", "dry", "ninguna", "aucun", "keine"),
        "water": ("yes", "wet", "dripping", "agua", "eau", "wasser"),
        "sulphate": ("sulfate", "sulfato", "sulfat", "gypsum", "black streak"),
    },
    "rain_washed": {
        "yes": ("washed", "rain washed", "lavado", "lavée", "lavé"),
        "no": ("not washed", "unwashed", "sheltered", "protegido", "abrité", "geschützt"),
    },
}  # fmt: skip
"""Words accepted for each value of a choice column, beside the value itself. EN numbers by
EN 1993-1-4:2006+A1:2015 Table A.3 (from memory), A2 to A8 and D6 by
ISO 3506-1:2020 (from memory). `grade 2` or `grade 5` alone is refused: it is a titanium grade
and a strength grade of carbon steel bolts (SAE J429) as well."""

YES_NO: dict[str, tuple[str, ...]] = {
    "yes": ("y", "true", "1", "sí", "s", "oui", "o", "ja", "j"),
    "no": ("n", "false", "0", "non", "nein"),
}
"""Words for yes and no in every column that asks for them."""

WITH_NOTE: dict[str, dict[str, tuple[str, tuple[str, ...]]]] = {
    "material": {
        _904L: ("duplex", ("1.4539", "904l", "n08904")),
        _317LMN: ("316", ("1.4439", "317lmn", "1.4438", "317l")),
        _LEAN: ("316", ("1.4362", "1.4162", "1.4062", "1.4662", "2304", "2101", "2404",
                        "duplex 2304", "duplex 2101", "lean duplex", "d4", "s32304", "s32101")),
        "a lean duplex of EN 1993-1-4 class II; read as 304, which has the same class":
            ("304", ("1.4482", "d2")),
        _SUPER_DUPLEX: ("duplex", ("1.4410", "1.441", "1.4501", "1.4507", "2507", "duplex 2507",
                                   "super duplex", "d8", "s32750", "s32760")),
        _FERRITIC: ("430", ("1.4003", "1.4512")),
        _STAINLESS_ONLY: ("stainless", (
            "inox", "stainless", "stainless steel", "ss", "inoxidable", "acero inoxidable",
            "acero inox", "acier inox", "acier inoxydable", "inoxydable", "edelstahl",
            "rostfrei", "nichtrostender stahl", "rostfreier stahl")),
        _ZINC_ONLY: ("zinc-plated steel", ("zinc", "zn", "zinc coated", "zinc coated steel")),
    },
    "kind": {
        _MECHANICAL: ("expansion", ("mechanical", "mechanical anchor", "mecánico",
                                    "anclaje mecánico", "mécanique", "mechanisch")),
    },
}  # fmt: skip
"""Words whose reading the user must be told: column -> note -> (value, words). No mapping
raises a metal above its EN class; where the class and the stress-corrosion behaviour disagree
the weaker one names it. 904L (about 25 % nickel) keeps its class IV name: published drop
evaporation tests place it no lower than 1.4462 (from memory)."""

GRADE_WORDS: dict[str, tuple[str, ...]] = {
    "1.4301": ("1.4307", "1.4306", "304l", "a2-50", "s30400", "s30403"),
    "A2-70": ("a2 70",),
    "1.4404": ("1.4401", "1.4435", "1.4571", "316l", "316ti", "a4-50", "s31600", "s31603"),
    "A4-70": ("a4 70",),
    "A4-80": ("a4 80",),
    "1.4462": ("2205", "s31803", "s32205"),
    "1.4539": ("904l", "n08904"),
    "1.4410": ("2507", "s32750", "super duplex"),
    "1.4547": ("254 smo", "254smo", "s31254"),
    "1.4529": ("alloy 926", "n08926"),
    "1.4362": ("2304", "s32304"),
    "1.4439": ("317lmn",),
    "1.4016": ("430", "s43000"),
    "1.4305": ("303", "s30300"),
    "titanium grade 1": ("ti grade 1", "ti gr 1", "titanium gr 1", "grade 1 titanium"),
    "titanium grade 2": (
        "ti grade 2",
        "ti gr 2",
        "ti gr2",
        "titanium gr 2",
        "grade 2 titanium",
        "titanio grado 2",
        "titane grade 2",
        "titan grad 2",
        "3.7035",
    ),
    "titanium grade 5": (
        "ti grade 5",
        "ti gr 5",
        "titanium gr 5",
        "grade 5 titanium",
        "ti6al4v",
        "ti 6al 4v",
        "titanio grado 5",
        "3.7165",
    ),
}
"""Other words for a grade, in a column of its own or in the one for the metal."""

MATERIAL_NOISE: frozenset[str] = frozenset(
    ("aisi", "en", "astm", "uns", "type", "typ", "tipo", "stainless", "steel", "inox", "acero",
     "inoxidable", "acier", "inoxydable", "edelstahl", "stahl", "ss", "din", "wnr", "werkstoff")
)  # fmt: skip
"""Words that may stand beside a grade without changing it: `AISI 316L stainless steel`."""


def plain(text: str) -> str:
    """Return text without case, accents, blanks and punctuation, for comparing words.

    Examples
    --------
    >>> plain("Última  inspección"), plain("1.4404"), plain("glue-in")
    ('ultimainspeccion', '14404', 'gluein')
    """
    bare = unicodedata.normalize("NFKD", text)
    return "".join(c for c in bare.casefold() if c.isalnum())


def words(text: str) -> list[str]:
    """Return the words of a text, each in the form of `plain`."""
    spaced = "".join(c if c.isalnum() else " " for c in text)
    return [plain(word) for word in spaced.split()]


def header_words(*, grid: bool) -> dict[str, str]:
    """Return the table from plain header to column; with `grid` eastings are accepted too."""
    table = {plain(word): name for name, more in HEADERS.items() for word in more}
    if grid:
        table |= {plain(word): name for name, more in GRID_HEADERS.items() for word in more}
    return table


def table_header_words(columns: Mapping[str, Column]) -> dict[str, str]:
    """Return the table from plain header to column, for a table of these columns.

    A column that means what the register's of that name does is known by the same headers.
    """

    def of_register(name: str, column: Column) -> tuple[str, ...]:
        ours = REGISTER_BY_NAME.get(name)
        return HEADERS.get(name, ()) if ours and ours.choices == column.choices else ()

    return {
        plain(word): name
        for name, column in columns.items()
        for word in (*of_register(name, column), *TABLE_HEADERS.get(name, ()))
    } | {plain(name): name for name in columns}


def choice_words(column: str, choices: tuple[str, ...]) -> dict[str, tuple[str, str]]:
    """Return the table from plain word to (value, note) of a choice column."""
    family = "material" if column == "hanger_material" else column
    own = GRADE_WORDS if column == "grade" else CHOICES.get(family, {})
    both = YES_NO if "yes" in choices else {}
    table = {
        plain(word): (value, "")
        for words_of in (both, own)
        for value, more in words_of.items()
        for word in more
        if value in choices
    }
    for note, (value, more) in WITH_NOTE.get(family, {}).items():
        table |= {plain(word): (value, note) for word in more if value in choices}
    return table | {plain(value): (value, "") for value in choices}


UNKNOWN_WORDS: frozenset[str] = frozenset(word.casefold() for word in NOT_KNOWN)
