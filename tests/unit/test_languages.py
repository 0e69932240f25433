"""Registers in six languages, and the table of words that reads them."""

import datetime as dt
from collections import defaultdict

import numpy as np
import pandas as pd
import pytest

from saltreach.intake import cells, read_register
from saltreach.intake.headers import column_of, resolve_headers
from saltreach.intake.read import Register
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import TABLES, TIDES, WINDOWS, WORDS
from saltreach.intake.values import parse_choices, parse_column
from saltreach.vocabulary import synonyms
from saltreach.vocabulary.columns import REGISTER_BY_NAME, columns_of
from saltreach.vocabulary.metals import STAINLESS
from saltreach.vocabulary.rocks import lithology_of
from saltreach.vocabulary.words import UNKNOWN, WEEKDAYS

TODAY = dt.date(2026, 6, 15)
TABLE_NAMES = tuple(table.name for table in TABLES if table is not WORDS)
LANGUAGES = synonyms.LANGUAGES
PLAIN = """anchor_id;1;2;3;4
crag;Rote Bucht;Rote Bucht;Rote Bucht;Rote Bucht
sector;Links;Links;Links;Links
lon;-4.95;-4.951;-4.952;-4.953
lat;43.44;43.441;43.442;43.443
route;Ost;West;Nord;Süd
diameter_mm;12;10;16;8
embedment_mm;100;60;150;50
installed_on;2014-06-12;2009;2020-05;1998
last_inspected_on;2025-06-12;2024;2025-05;2020
height_above_sea_m;12;30;8;5
face_azimuth_deg;270;180;90;0
face_slope_deg;90;80;100;70
rebound_number;45;30;40;20
crack_distance_mm;300;200;250;400
edge_distance_mm;350;220;150;90
visits_per_year;1000;200;300;40
salted_road_m;5000;60;900;700
notes;a;b;c;d
interval_set_months;12;24;36;48
so2_ug_m3;5;6;7;8
coast_distance_m;10;400;20;30
sea_salinity_g_kg;35;34;33;32
elevation_m;15;40;10;6
proof_tested_on;2014-06-13;2010;2020-06;2001
proof_load_kn;6;5;8;7.5
closed_on;2025-06-13;2024;2025-06;2021
"""
"""Cells that know no language: a column and its four anchors."""
WORDED = {
    "en": """Bolt no.
Cliff
Sector name
Longitude
Latitude
Route name
Bolt diameter
Depth
Date installed
Last checked
Height above the sea
Aspect
Slope
Rebound value
Distance to nearest crack
Distance to edge
Climbers per year
Distance to salted road
Remarks
Prescribed interval
Sulphur dioxide
Distance to the sea
Salinity of the sea
Altitude
Proof test date
Proof load
Closed since
Place on route;belay;runner;lower-off;intermediate
Bolt type;glue-in;wedge anchor;double leg;concrete screw
Metal;A4;zinc plated;titanium grade 2;brass
Hanger metal;316L;galvanised;titanium;aluminum
Grade of steel;1.4404;;Ti Gr. 2;
Resin;epoxy resin;unknown;vinyl ester;unknown
Shaft;threaded;unknown;rebar;unknown
State of the hole;clean;unknown;wet;unknown
Bolt condition;good;bad;marked;worn
Washed by rain;yes;no;washed;sheltered
Lithology;limestone;sandstone;granite;slate
Hammer tap;clear;dull;mixed;drummy
Rock strength;strong;weak;very strong;medium strong
Weathering;fresh;moderately weathered;slightly weathered;highly weathered
In a salted tunnel;no;yes;no;n/a
Fumaroles;no;n/a;yes;no
Seeping water;dry;wet;sulfate;none
Crust;no;yes;n;y
Plants;false;true;0;1
Seacliff;yes;no;yes;no
Found;loose;rust streaks;hollow;bent
Doubts about the placing;hole too shallow;cure time unknown;adhesive expired;hole not cleaned
""",
    "de": """Haken-Nr.
Klettergebiet
Sektor
Längengrad
Breitengrad
Routenname
Durchmesser
Setztiefe
Einbaudatum
Letzte Prüfung
Höhe über dem Meer
Ausrichtung
Wandneigung
Rückprallwert
Rissabstand
Randabstand
Besuche pro Jahr
Abstand zur gestreuten Straße
Bemerkungen
Vorgegebenes Prüfintervall
Schwefeldioxid
Abstand zum Meer
Salzgehalt
Meereshöhe
Probebelastet am
Probelast
Gesperrt seit
Lage;Standplatz;Zwischenhaken;Umlenker;Zwischensicherung
Hakentyp;Klebehaken;Bolzenanker;zweischenklig;Betonschraube
Werkstoff;V4A;galvanisch verzinkt;Titan Grad 2;Messing
Laschenmaterial;Edelstahl 316L;feuerverzinkt;Titan;Aluminium
Werkstoff-Nr.;1.4404;;Titan Grad 2;
Klebstoff;Epoxidharz;unbekannt;Vinylester;unbekannt
Schaft;Gewinde;k.A.;gerippt;nicht bekannt
Bohrlochzustand;sauber und trocken;unbekannt;feucht;unbekannt
Zustand;gut;schlecht;Spuren;abgenutzt
Beregnet;ja;nein;beregnet;geschützt
Gestein;Kalkstein;Sandstein;Granit;Tonschiefer
Klopfprobe;hell;dumpf;gemischt;hohl
Gesteinsfestigkeit;fest;schwach;sehr fest;mittelfest
Verwitterungsgrad;frisch;mäßig verwittert;schwach verwittert;stark verwittert
Salztunnel;nein;ja;nein;unbekannt
Vulkangas;nein;unbekannt;ja;nein
Sickerwasser;trocken;nass;Sulfat;keine
Salzkruste;nein;ja;n;j
Bewuchs;FALSCH;WAHR;0;1
Meeresklippe;ja;nein;ja;nein
Befund;locker;rostfahnen;hohl;verbogen
Zweifel am setzen;loch zu flach;aushärtezeit unbekannt;harz abgelaufen;loch nicht gereinigt
""",
    "es": """Nº de anclaje
Escuela
Sector
Longitud
Latitud
Vía
Diámetro
Profundidad
Fecha de instalación
Última revisión
Altura sobre el mar
Orientación
Inclinación
Índice de rebote
Distancia a la fisura
Distancia al borde
Visitas al año
Distancia a la carretera con sal
Observaciones
Intervalo impuesto
Dióxido de azufre
Distancia al mar
Salinidad
Altitud
Fecha de la prueba de carga
Carga de prueba
Cerrado desde
Posición;reunión;seguro;descuelgue;intermedio
Tipo de anclaje;químico;anclaje de expansión;doble pata;tornillo de hormigón
Material;acero inoxidable A4;zincado;titanio grado 2;latón
Material de la chapa;inox 316L;galvanizado en caliente;titanio;aluminio
Grado del acero;1.4404;;titanio grado 2;
Resina;epoxi;desconocida;viniléster;desconocido
Varilla;roscada;desconocida;corrugada;no se sabe
Estado del taladro;limpio y seco;desconocido;húmedo;sin datos
Estado;bueno;malo;con marcas;desgastado
Lavado por la lluvia;sí;no;lavado;protegido
Tipo de roca;caliza;arenisca;granito;pizarra
Sonido;nítido;apagado;mixto;hueco
Resistencia de la roca;resistente;blanda;muy resistente;moderadamente resistente
Meteorización;sana;moderadamente meteorizada;ligeramente meteorizada;muy meteorizada
Túnel con sal;no;sí;no;desconocido
Gas volcánico;no;desconocido;si;no
Filtraciones;seca;agua;sulfato;ninguna
Costra de sal;no;sí;n;s
Vegetación;FALSO;VERDADERO;0;1
Acantilado marino;sí;no;sí;no
Hallazgos;suelto;regueros de óxido;hueco;doblado
Dudas de colocación;agujero corto;tiempo de curado desconocido;resina caducada;agujero sin limpiar
""",
    "fr": """N° d'ancrage
Falaise
Secteur
Longitude
Latitude
Voie
Diamètre
Profondeur d'ancrage
Date de pose
Dernière inspection
Hauteur au-dessus de la mer
Exposition
Inclinaison
Indice de rebond
Distance à la fissure
Distance au bord
Passages par an
Distance à la route salée
Remarques
Intervalle imposé
Dioxyde de soufre
Distance à la mer
Salinité
Altitude
Date de l'essai de charge
Charge d'essai
Fermé depuis
Position;relais;point;moulinette;point intermédiaire
Type d'ancrage;scellement;goujon à expansion;deux branches;vis à béton
Matériau;inox A4;acier zingué;titane grade 2;laiton
Matériau de la plaquette;acier inox 316L;galvanisé à chaud;titane;aluminium
Nuance d'acier;1.4404;;titane grade 2;
Colle;résine époxy;inconnue;vinylester;inconnu
Tige;filetée;inconnue;crantée;non renseigné
État du trou;propre et sec;inconnu;humide;non connu
État;bon;mauvais;marqué;usé
Lavé par la pluie;oui;non;lavé;abrité
Type de roche;calcaire;grès;granite;ardoise
Son;clair;sourd;mixte;creux
Résistance de la roche;résistante;faible;très résistante;moyennement résistante
Altération;saine;modérément altérée;peu altérée;très altérée
Tunnel salé;non;oui;non;inconnu
Gaz volcanique;non;inconnu;oui;non
Suintement;sec;mouillé;sulfate;aucun
Croûte de sel;non;oui;n;o
Végétation;FAUX;VRAI;0;1
Falaise marine;oui;non;oui;non
Constats;desserré;coulures de rouille;creux;plié
Doutes sur la pose;trou trop court;temps de prise inconnu;résine périmée;trou non nettoyé
""",
    "it": """N° ancoraggio
Falesia
Settore
Longitudine
Latitudine
Nome via
Diametro
Profondità di posa
Data di posa
Ultimo controllo
Altezza sul mare
Esposizione
Pendenza
Indice di rimbalzo
Distanza dalla fessura
Distanza dal bordo
Passaggi all'anno
Distanza dalla strada con sale
Note
Intervallo prescritto
Anidride solforosa
Distanza dal mare
Salinità
Quota
Data della prova di carico
Carico di prova
Chiuso dal
Posizione;sosta;protezione;calata;punto intermedio
Tipo di ancoraggio;resinato;tassello ad espansione;a doppia gamba;vite per calcestruzzo
Materiale;acciaio inossidabile A4;acciaio zincato;titanio grado 2;ottone
Materiale piastrina;inox 316L;zincato a caldo;titanio;alluminio
Qualità acciaio;1.4404;;titanio grado 2;
Resina;epossidica;sconosciuta;vinilestere;n.d.
Barra;filettata;sconosciuta;nervata;ignota
Stato del foro;pulito e asciutto;non noto;umido;sconosciuto
Stato;buono;cattivo;segnato;usurato
Dilavato dalla pioggia;sì;no;lavato;riparato
Tipo di roccia;calcare;arenaria;granito;ardesia
Suono;chiaro;sordo;misto;vuoto
Resistenza della roccia;resistente;debole;molto resistente;mediamente resistente
Alterazione;inalterata;moderatamente alterata;leggermente alterata;molto alterata
Galleria con sale;no;sì;no;sconosciuto
Gas vulcanico;no;sconosciuto;si;no
Infiltrazioni;asciutta;acqua;solfato;nessuna
Crosta di sale;no;sì;n;s
Vegetazione;FALSO;VERO;0;1
Falesia marina;sì;no;sì;no
Riscontri;allentato;colature di ruggine;vuoto;piegato
Dubbi sulla posa;foro troppo corto;tempo di presa sconosciuto;resina scaduta;foro non pulito
""",
    "pt": """Nº da ancoragem
Falésia
Setor
Longitude
Latitude
Nome da via
Diâmetro
Profundidade
Data de instalação
Última inspeção
Altura acima do mar
Orientação
Inclinação
Índice de ressalto
Distância à fissura
Distância à borda
Visitas por ano
Distância à estrada com sal
Observações
Intervalo imposto
Dióxido de enxofre
Distância ao mar
Salinidade
Cota
Data do ensaio de carga
Carga de ensaio
Fechado desde
Posição;reunião;proteção;ponto de descida;intermédio
Tipo de ancoragem;ancoragem química;ancoragem de expansão;duas pernas;parafuso de betão
Material;aço inoxidável A4;aço zincado;titânio grau 2;latão
Material da chapeleta;inox 316L;galvanizado a quente;titânio;alumínio
Grau do aço;1.4404;;titânio grau 2;
Cola;resina epóxi;desconhecida;viniléster;desconhecido
Haste;roscada;desconhecida;nervurada;sem dados
Estado do furo;limpo e seco;desconhecido;húmido;não se sabe
Estado;bom;mau;com marcas;gasto
Lavado pela chuva;sim;não;lavado;abrigado
Tipo de rocha;calcário;arenito;granito;ardósia
Som;claro;surdo;misto;oco
Resistência da rocha;resistente;branda;muito resistente;medianamente resistente
Meteorização;sã;moderadamente alterada;ligeiramente alterada;muito alterada
Túnel com sal;não;sim;não;desconhecido
Gás vulcânico;não;desconhecido;sim;não
Infiltrações;seca;água;sulfato;nenhuma
Crosta de sal;não;sim;n;s
Vegetação;FALSO;VERDADEIRO;0;1
Falésia marítima;sim;não;sim;não
Achados;solto;escorrimentos de ferrugem;oco;dobrado
Dúvidas da colocação;furo curto;tempo de cura desconhecido;resina vencida;furo não limpo
""",
}
"""The other columns in each language, and how volunteers write their headers and cells."""
TRUTH = """position;belay;runner;lower-off;runner
kind;bonded;expansion;bonded twin-leg;screw
material;316;zinc-plated steel;titanium;brass
hanger_material;316;galvanised steel;titanium;aluminium
grade;1.4404;;titanium grade 2;
adhesive;epoxy;unknown;vinylester;unknown
rod_shape;threaded;unknown;ribbed;unknown
hole_condition;clean and dry;unknown;damp;unknown
condition;0;3;1;2
rain_washed;yes;no;yes;no
rock_type;limestone;sandstone;granite;slate
tap_response;ringing;dull;mixed;hollow
strength_grade;R4;R2;R5;R3
weathering_grade;W1;W3;W2;W4
salted_tunnel;no;yes;no;unknown
volcanic_gas;no;unknown;yes;no
seepage;none;water;sulphate;none
salt_crust;no;yes;no;yes
vegetation;no;yes;no;yes
sea_cliff;yes;no;yes;no
findings;loose;rust streaks;hollow;bent
placement_doubts;hole too shallow;cure time unknown;adhesive expired;hole not cleaned
"""


def turned(text: str) -> pd.DataFrame:
    """A table of columns out of lines that hold one each."""
    lines = [line.split(";") for line in text.splitlines()]
    return pd.DataFrame({name: cells for name, *cells in lines})


def sheet_in(language: str) -> pd.DataFrame:
    """The register in one language: its headers over the cells that know none, and its words."""
    lines = WORDED[language].splitlines()
    plain = turned(PLAIN)
    named = [line.split(";")[0] for line in lines[: plain.shape[1]]]
    return pd.concat(
        [plain.set_axis(named, axis=1), turned("\n".join(lines[plain.shape[1] :]))], axis=1
    )


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_a_sheet_in_each_language_is_read_whole(tmp_path, language, ending):
    sheet = sheet_in(language)
    file = tmp_path / f"anchors{ending}"
    if ending == ".csv":
        sheet.to_csv(file, sep=";", index=False)
    else:
        sheet.to_excel(file, index=False)
    register = read_register(file, today=TODAY)
    assert not len(register.rejected), register.rejected.to_string()
    truth = pd.concat([turned(PLAIN), turned(TRUTH)], axis=1)
    assert set(truth) == set(REGISTER_BY_NAME)
    assert register.unused == () and len(register.anchors) == 4
    for name, column in REGISTER_BY_NAME.items():
        found = register.anchors[name]
        if column.kind in ("number", "integer"):
            assert found.tolist() == truth[name].astype(float).tolist(), name
        elif name == "rock_type":
            assert lithology_of(found).tolist() == truth[name].tolist()
        else:
            assert found.fillna("").tolist() == truth[name].tolist(), name
    names = {synonyms.plain(name) for name in REGISTER_BY_NAME}
    own = {header for header in sheet if synonyms.plain(header) not in names}
    assert len(own) > 40 - 10 * (language != "de")
    assert set(register.renamed.values()) == own
    assert all(f"header {h!r} read as {n}" in register.notes for n, h in register.renamed.items())


def meanings(pairs) -> dict[str, set[str]]:
    found = defaultdict(set)
    for word, meaning in pairs:
        found[word].add(meaning)
    return found


def test_no_word_means_two_columns_of_the_register():
    lists = ("header", "grid header", "weak header", "both header")
    pairs = [(w, e.column) for e in synonyms.ENTRIES if e.list in lists for w in e.spelt() if w]
    pairs += [(synonyms.plain(name), name) for name in REGISTER_BY_NAME]
    assert not {w: m for w, m in meanings(pairs).items() if len(m) > 1}
    assert {name for _, name in pairs} <= set(REGISTER_BY_NAME)
    taken = {w for w, _ in pairs} - set(synonyms.BOTH_HEADERS)
    assert not taken & set(synonyms.UNCLEAR_HEADERS)
    assert not {"x", "y", "e", "n"} & taken
    places = {synonyms.plain(w) for w in (*synonyms.PAIR_HEADERS, *synonyms.ZONE_HEADERS)}
    assert not places & taken


@pytest.mark.parametrize("table", TABLE_NAMES)
def test_no_word_means_two_columns_of_a_table(table):
    columns = columns_of(table)
    alike = {n for n, c in columns.items()
             if n in REGISTER_BY_NAME and REGISTER_BY_NAME[n].choices == c.choices}  # fmt: skip
    own = {synonyms.plain(name): name for name in columns}
    pairs = [
        (word, e.column)
        for e in synonyms.ENTRIES
        if (e.list == "header" and e.column in alike)
        or (
            e.list == "table header"
            and e.column in columns
            and e.column not in alike & synonyms.NAMESAKES
        )
        for word in e.spelt()
        if word not in own  # a column's own name comes before any other word
    ]
    pairs += list(own.items())
    found = meanings(pairs)
    assert not {w: m for w, m in found.items() if len(m) > 1}
    read = synonyms.table_header_words(columns)
    assert all(read[word] == name for word, (name,) in found.items())


def choice_columns():
    tables = ("register", *TABLE_NAMES)
    return [(t, c) for t in tables for c in columns_of(t).values() if c.kind == "choice"]


@pytest.mark.parametrize(("table", "column"), choice_columns(), ids=lambda v: getattr(v, "name", v))
def test_no_word_means_two_values_and_none_means_unknown(table, column):
    family = synonyms.SAME_WORDS.get(column.name, column.name)
    every = [""] if "yes" in column.choices else []
    pairs = [
        (word, e.value)
        for e in synonyms.ENTRIES
        if e.list == "choice" and e.column in (family, *every) and e.value in column.choices
        for word in e.spelt()
    ]
    own = [(synonyms.plain(value), value) for value in column.choices]
    found = meanings(pairs + own)
    assert not {w: m for w, m in found.items() if len(m) > 1}
    unknown = {synonyms.plain(w) for w in synonyms.UNKNOWN_WORDS} - {w for w, _ in own}
    assert not unknown & set(found)
    # and each is read so
    text = pd.Series(list(found), dtype="str")
    parsed, _ = parse_choices(text, column)
    assert parsed.values.tolist() == [next(iter(found[word])) for word in text]


def test_every_entry_is_of_a_column_a_value_and_a_list():
    columns = defaultdict(list)
    for table in ("register", *TABLE_NAMES):
        for column in columns_of(table).values():
            columns[column.name].append(column)
    for e in synonyms.ENTRIES:
        assert e.language in ("", *LANGUAGES)
        spelt = [synonyms.spelt(word) for word in e.words]
        assert len(set(spelt)) == len(spelt) or e.list == "unknown", e
        if e.list == "choice" and e.column:
            assert any(e.value in c.choices for c in columns[e.column]), e
        elif e.list == "choice":
            assert e.value in ("yes", "no")
        elif e.list not in (
            "unknown",
            "remark",
            "beside",
            "position header",
            "level",
            "weekday",
            "idle header",
        ):
            assert e.column in columns and not e.value, e


def without_words(name: str, value: str, language: str) -> bool:
    """Values that are signs, numbers or the same word everywhere."""
    signs = name == "grade" and not value.startswith("titanium")
    metals = value in ("430", "303", "304", "316", "unknown", STAINLESS)
    return signs or metals or (language == "en")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_column_and_value_has_words_in_each_language(language):
    has = {(e.list, e.column, e.value) for e in synonyms.ENTRIES if e.language == language}
    headers = {c for which, c, _ in has if which in ("header", "table header")}
    for table in ("register", *TABLE_NAMES):
        for name, column in columns_of(table).items():
            # `rqd` is the same everywhere
            assert name in headers or name == "rqd_pct", (table, name)
            family = synonyms.SAME_WORDS.get(name, name)
            for value in column.choices:
                if value in ("yes", "no") or without_words(name, value, language):
                    continue
                assert ("choice", family, value) in has, (name, value)
    assert {("choice", "", "yes"), ("choice", "", "no"), ("unknown", "", "")} <= has
    assert {("level", "condition", str(n)) for n in range(5)} <= has
    assert {("weekday", "days_free", day) for day in WEEKDAYS} <= has


def condition(*given):
    return parse_column(pd.Series(given, dtype="str"), REGISTER_BY_NAME["condition"])


def test_words_for_the_condition_are_read_and_said():
    parsed, notes = condition("gut", "gut", "Worn", "4 - broken", "3", np.nan, "Buono", "Mauvais")
    assert parsed.values.fillna(-1).tolist() == [0, 0, 2, 4, 3, -1, 0, 3]
    assert notes[:3] == [
        "condition: '4 - broken' (1 row) read as 4 failed",
        "condition: 'Buono' (1 row) read as 0 sound",
        "condition: 'Mauvais' (1 row) read as 3 poor",
    ]
    assert notes[-1] == "condition: 'gut' (2 rows) read as 0 sound"


@pytest.mark.parametrize(
    "word", ["ok", "OK", "fine", "bien", "in Ordnung", "medium", "mittel", "regular", "rusty",
             "so so", "0 poor", "5 poor", "3/4", "good/bad"],
)  # fmt: skip
def test_words_that_name_no_one_condition_are_refused(word):
    parsed, notes = condition(word)
    assert parsed.values.isna().all() and parsed.reason.notna().all() and not notes
    assert "0 sound, 1 marked, 2 worn, 3 poor, 4 failed" in parsed.fix[0] or word == "3/4"


def test_a_slip_of_a_word_for_the_condition_is_answered_with_the_nearest():
    parsed, _ = condition("abgenuzt", "greenish")
    assert parsed.fix.tolist() == [
        "write one of: 0 sound, 1 marked, 2 worn, 3 poor, 4 failed, or leave it empty; "
        "nearest: 2 worn",
        "write one of: 0 sound, 1 marked, 2 worn, 3 poor, 4 failed, or leave it empty",
    ]
    assert parsed.reason.tolist() == ["not one of the words of condition"] * 2


def test_each_word_for_a_level_names_one():
    pairs = [(w, e.value) for e in synonyms.ENTRIES if e.list == "level" for w in e.spelt()]
    assert not {w: m for w, m in meanings(pairs).items() if len(m) > 1}
    parsed, _ = condition(*(word for word, _ in pairs))
    assert parsed.values.tolist() == [float(value) for _, value in pairs]


def test_the_nearest_word_for_a_value_comes_from_all_languages():
    parsed, _ = parse_choices(pd.Series(["klebehacken"]), REGISTER_BY_NAME["kind"])
    assert parsed.fix[0].endswith("nearest: bonded")


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("Samstag; Sonntag", ("SA", "SU")), ("sábados y", None), ("sáb, dom", ("SA", "SU")),
        ("mercredi", ("WE",)), ("2. Samstag", None), ("2.Samstag", ("2SA",)),
        ("1sabato -1dom", ("1SA", "-1SU")), ("quinta-feira", ("TH",)), ("MARTES", ("TU",)),
        ("SAT SUN", ("SA", "SU")), ("di", None), ("do", None), ("moxyz", None),
        ("Sa, So", ("SA", "SU")),
        ("Mittwoch.", ("WE",)),
    ],
)  # fmt: skip
def test_weekdays_by_their_names(text, days):
    """`di` is Tuesday in German and Sunday in French, `do` Thursday and Sunday."""
    if days is None:
        with pytest.raises(cells.Refused, match="not a weekday"):
            cells.weekdays(text)
    else:
        assert cells.weekdays(text) == days


def test_no_weekday_has_two_meanings():
    pairs = [(w, e.value) for e in synonyms.ENTRIES if e.list == "weekday" for w in e.spelt()]
    pairs += [(day.casefold(), day) for day in WEEKDAYS]
    assert not {w: m for w, m in meanings(pairs).items() if len(m) > 1}


def test_ticks_are_yes_and_said():
    given = pd.Series(["x", "X", "✓", "✔️", "✗", "-", ""], dtype="str")
    parsed, notes = parse_column(given.where(given != ""), REGISTER_BY_NAME["vegetation"])
    assert parsed.values.tolist() == ["yes", "yes", "yes", "yes", "no", "unknown", "unknown"]
    assert "vegetation 'x' (1 row): a tick, read as yes" in notes
    assert "vegetation '✗' (1 row): crossed out, read as no" in notes
    parsed, _ = parse_column(pd.Series(["☹", "!"]), REGISTER_BY_NAME["vegetation"])
    assert parsed.reason.notna().all()


def test_umlauts_may_be_two_letters():
    assert column_of("Laengengrad", grid=False) == "lon"
    assert column_of("Letzte Pruefung", grid=False) == "last_inspected_on"
    assert column_of("Kuestenabstand", grid=False) == "coast_distance_m"
    parsed, _ = parse_choices(pd.Series(["geschuetzt"]), REGISTER_BY_NAME["rain_washed"])
    assert parsed.values.tolist() == ["no"]


UNITS = [
    ("Durchmesser (mm)", "diameter_mm", "mm"), ("Ø [mm]", "diameter_mm", "mm"),
    ("embedment cm", "embedment_mm", "cm"), ("Tiefe in cm", "embedment_mm", "cm"),
    ("profondeur en cm", "embedment_mm", "cm"), ("Profundidade em cm", "embedment_mm", "cm"),
    ("profondità, cm", "embedment_mm", "cm"), ("Randabstand / cm", "edge_distance_mm", "cm"),
    ('Durchmesser "', "diameter_mm", '"'), ('Diameter (")', "diameter_mm", '"'),
    ("Diameter (inches)", "diameter_mm", "inches"), ("Neigung (°)", "face_slope_deg", "°"),
    ("Salzgehalt ‰", "sea_salinity_g_kg", "‰"), ("Quota (m)", "elevation_m", "m"),
    ("Abstand zum Meer (km)", "coast_distance_m", "km"),
    ("Vorgegebenes Intervall (Jahre)", "interval_set_months", "Jahre"),
    ("Höhe ü. NN", "elevation_m", None), ("Höhe (m ü. M.)", "elevation_m", None),
    ("lat (WGS84)", "lat", None), ("Latitude (°)", "lat", None), ("Longitude (E)", "lon", None),
    ("Material*", "material", None), ("Zustand:", "condition", None),
    ("Zustand ?", "condition", None),
    ("Zustand (0-4)", "condition", None), ("Einbaudatum (Jahr)", "installed_on", None),
    ("Material (Lasche)", "hanger_material", None), ("Kind (Pflichtfeld)", "kind", None),
    ("Letzte\nPrüfung", "last_inspected_on", None),
]  # fmt: skip


def resolved(*headers, **more):
    return resolve_headers(
        ["anchor_id", "crag", "sector", *headers], None, where="f.csv", grid=False,
        have_geometry=True, **more,
    )  # fmt: skip


@pytest.mark.parametrize(("header", "name", "unit"), UNITS)
def test_units_and_remarks_in_headers(header, name, unit):
    assert column_of(header, grid=False) == name
    found = resolved(header)
    assert found.ours[name] == 3
    assert found.units == ({} if unit is None else {name: unit})


@pytest.mark.parametrize(
    ("header", "name", "order"),
    [
        ("Einbaudatum (TT.MM.JJJJ)", "installed_on", "day-first"),
        ("Installed (dd/mm/yyyy)", "installed_on", "day-first"),
        ("Installed [MM/DD/YYYY]", "installed_on", "month-first"),
        ("Date de pose (jj/mm/aaaa)", "installed_on", "day-first"),
        ("Ultimo controllo gg/mm/aaaa", "last_inspected_on", "day-first"),
        ("Fecha de instalación (dd-mm-aaaa)", "installed_on", "day-first"),
        ("Última inspeção (dd/mm/aa)", "last_inspected_on", "day-first"),
        ("Letzte Prüfung (TT.MM.JJ)", "last_inspected_on", "day-first"),
        ("Installed (YYYY-MM-DD)", "installed_on", None),
        ("Einbaudatum (MM.JJJJ)", "installed_on", None),
    ],
)
def test_the_order_of_dates_in_headers(header, name, order):
    found = resolved(header)
    assert found.ours[name] == 3
    assert found.date_orders == ({} if order is None else {name: order})


@pytest.mark.parametrize(
    ("header", "note"),
    [
        ("Durchmesser (kN)", "'kN' is no unit of diameter_mm (write mm); mend the header"),
        ("SO2 (%)", "'%' is no unit of so2_ug_m3 (write µg/m³); mend the header"),
        ("Grade (mm)", "'mm' is no unit of grade (it has none); mend the header"),
        ("Longitud (mm)", "'mm' is no unit of lon (write degrees); mend the header"),
        ("Condition (1-5)", "what '1-5' says of condition is not known; mend the header"),
        ("Longitude (W)", "what 'W' says of lon is not known; mend the header"),
        ("Tiefe (Loch)", "what 'Loch' says of embedment_mm is not known; mend the header"),
        ("Installed (dd/yyyy/mm)", "what 'dd/yyyy/mm' says of installed_on is not known; mend "
         "the header"),
        ("conditon", "did you mean condition? rename it or --column condition=conditon"),
        ("diametr", "did you mean diameter_mm? rename it or --column diameter_mm=diametr"),
        ("Regen", "it may mean rain_washed; rename it or --column rain_washed=Regen"),
        ("Höhe [m]", "it may mean height_above_sea_m or elevation_m; say which, for example "
         "--column elevation_m=Höhe [m]"),
        ("Data", "it may mean installed_on or last_inspected_on; say which, for example "
         "--column last_inspected_on=Data"),
        ("Festigkeitsklasse", "it may mean grade or strength_grade; say which, for example "
         "--column strength_grade=Festigkeitsklasse"),
        ("Länge", "it may mean lon or embedment_mm; say which, for example "
         "--column embedment_mm=Länge"),
    ],
)  # fmt: skip
def test_a_header_that_is_not_used_is_told_with_what_it_may_mean(header, note):
    found = resolved(header)
    assert set(found.ours) == {"anchor_id", "crag", "sector"}
    assert found.extras == {header: 3} and found.unused == (header,)
    assert found.notes == (f"column {header!r} is not used; {note}",)


def test_columns_without_a_guess_share_a_note_and_a_taken_column_is_no_guess():
    found = resolved("Farbe", "Condition", "conditon", "Owner")
    assert found.notes == ("columns kept but not used: Farbe, conditon, Owner",)


def test_a_unit_behind_a_header_that_the_user_mapped_counts():
    headers = ["anchor_id", "crag", "sector", "Loch [cm]", "Gesetzt wann (MM/DD/YYYY)"]
    found = resolve_headers(
        headers, {"embedment_mm": headers[3], "installed_on": headers[4]}, where="f",
        grid=False, have_geometry=True,
    )  # fmt: skip
    assert found.units == {"embedment_mm": "cm"}
    assert found.date_orders == {"installed_on": "month-first"}


def places(*headers, grid=False):
    found = resolve_headers(headers, None, where="f", grid=grid, have_geometry=True)
    return {name: headers[i] for name, i in found.ours.items()}


@pytest.mark.parametrize(
    "header", ["Nr", "Nr.", "No", "No.", "#", "N°", "Nº", "Numéro", "numero", "Lfd. Nr."]
)
def test_numbers_are_weak_headers(header):
    assert places(header, "crag", "sector")["anchor_id"] == header
    assert places(header, "crag", "sector", "Anker-ID")["anchor_id"] == "Anker-ID"
    assert places(header, "crag", "sector", "ID")["anchor_id"] == "ID"


def test_a_weak_header_for_the_crag_gives_way():
    assert places("id", "Fels", "Sektor")["crag"] == "Fels"
    assert places("id", "Klettergebiet", "Fels", "Sektor")["crag"] == "Klettergebiet"


def test_length_and_breadth_are_a_position_only_together():
    assert places("id", "crag", "sector", "Breite (N)", "Länge (E)") == {
        "anchor_id": "id", "crag": "crag", "sector": "sector", "lon": "Länge (E)",
        "lat": "Breite (N)",
    }  # fmt: skip
    assert "lon" not in places("id", "crag", "sector", "Länge")
    assert "lat" not in places("id", "crag", "sector", "lon", "Breite", "Länge")


def test_eastings_take_metres_and_nothing_else():
    with_grid = places("id", "crag", "sector", "Easting (m)", "Northing in m", grid=True)
    assert with_grid["lon"] == "Easting (m)" and with_grid["lat"] == "Northing in m"
    assert "lon" not in places("id", "crag", "sector", "Easting (km)", grid=True)


def test_a_second_column_of_notes_is_kept(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("id;crag;sector;lon;lat;Bemerkung;Kommentar\n1;A;B;-4.9;43.4;rost;neu\n")
    row = read_register(file).anchors.iloc[0]
    assert (row["notes"], row["Kommentar"]) == ("rost", "neu")


def test_headers_of_the_tables_beside_the_register_in_each_language(tmp_path):
    for head in (
        "crag;sector;access;from;until;reason", "Gebiet;Sektor;Zugang;Von;Bis;Grund",
        "Escuela;Sector;Acceso;Desde;Hasta;Motivo", "Falaise;Secteur;Accès;Du;Au;Raison",
        "Falesia;Settore;Accesso;Dal;Al;Motivo", "Falésia;Setor;Acesso;De;Até;Motivo",
    ):  # fmt: skip
        file = tmp_path / "windows.csv"
        closed = {"Zugang": "gesperrt", "Acceso": "cerrado", "Accès": "fermé", "Accesso": "chiuso",
                  "Acesso": "fechado"}.get(head.split(";")[2], "closed")  # fmt: skip
        file.write_text(f"{head}\nA;B;{closed};02-01;07-31;nest\n", encoding="utf-8")
        (row,) = read_table(file, WINDOWS).rows
        assert list(row.values())[:6] == ["A", "B", "closed", "02-01", "07-31", "nest"]
    file = tmp_path / "tides.csv"
    file.write_text("Falesia;Settore;Data;Da;A\nX;Y;2027-05-01;08:00;10:00\n", encoding="utf-8")
    (row,) = read_table(file, TIDES).rows
    assert (str(row["date"]), row["from"], row["until"]) == ("2027-05-01", 480, 600)
    (note,) = read_table(file, TIDES).notes
    assert note.endswith("'Data' as date, 'Da' as from, 'A' as until")


def test_the_register_says_what_it_is_made_of():
    assert {"renamed", "unused"} <= set(Register.__dataclass_fields__)
    assert UNKNOWN in synonyms.UNKNOWN_WORDS
