"""Label wordings of the trade → limits, in six languages; and the rules that every language file keeps."""

import itertools

import pytest
from cogledger.extract.labels import (
    LANGUAGES,
    Role,
    analyse,
    find_label_hits,
    find_role,
    fold,
    page_languages,
    split_unit,
)
from cogledger.extract.labels.meanings import limit_patterns
from cogledger.extract.labels.words import load_lexicon, read_language, unit_words
from cogledger.schema.limits import LIMITS, PartKind, Unit
from hypothesis import given
from hypothesis import strategies as st

WORDINGS = {
    "total_capacity": (
        "total capacity|chain wrap capacity|Gesamtkapazität|Kapazität (gesamt)|capacité totale|"
        "capacità totale|capacidad total|totale capaciteit"
    ),
    "largest_cog": (
        "largest cog|max. sprocket|max. cog|größtes Ritzel|max. Ritzel|größter Zahnkranz|plus grand pignon|"
        "pignon max.|pignone massimo|pignone più grande|piñón mayor|piñón máx.|grootste tandwiel|"
        "max. tandkrans"
    ),
    "smallest_cog": (
        "smallest cog|min. sprocket|kleinstes Ritzel|min. Ritzel|plus petit pignon|pignon min.|"
        "pignone minimo|pignone più piccolo|piñón menor|piñón mín.|kleinste tandwiel"
    ),
    "front_difference": (
        "max. front difference|chainring difference|max. Differenz vorne|Kapazität vorne|"
        "Kettenblattdifferenz|différence max. avant|différence de plateaux|differenza max. anteriore|"
        "differenza tra le corone|diferencia máx. delantera|diferencia de platos|max. verschil voor|"
        "verschil kettingbladen"
    ),
    "big_ring": (
        "outer chainring|big ring|großes Kettenblatt|äußeres Kettenblatt|grand plateau|plateau extérieur|"
        "corona grande|plato grande|plato exterior|grootste kettingblad|buitenblad"
    ),
    "small_ring": (
        "inner chainring|small ring|kleines Kettenblatt|inneres Kettenblatt|petit plateau|plateau intérieur|"
        "corona piccola|plato pequeño|plato interior|kleinste kettingblad|binnenblad"
    ),
    "ring_step": (
        "min. difference top-middle|différence min. grand–moyen|differenza min. esterna–centrale|"
        "diferencia mín. grande–mediano|min. verschil groot–midden"
    ),
    "ring_count": (
        "number of chainrings|Anzahl Kettenblätter|nombre de plateaux|numero di corone|número de platos|"
        "aantal kettingbladen"
    ),
    "rear_speeds": (
        "rear speeds|Gänge hinten|vitesses arrière|velocità posteriori|velocidades traseras|"
        "versnellingen achter"
    ),
    "cage_pulley_spacing": (
        "pulley spacing|Abstand der Schaltrollen|entraxe des galets|interasse pulegge|"
        "distancia entre roldanas|afstand derailleurwieltjes"
    ),
    "chainline": "chain line|chainline|Kettenlinie|ligne de chaîne|linea catena|línea de cadena|kettinglijn",
    "chainstay_angle": (
        "chainstay angle|Kettenstrebenwinkel|angle des bases|angolo fodero orizzontale|ángulo de vaina|"
        "liggende-achtervorkhoek"
    ),
    "clamp_diameter": (
        "clamp diameter|Schellendurchmesser|Klemmmaß|diamètre du collier|diametro fascetta|"
        "diámetro de abrazadera|klemdiameter"
    ),
    "cogs": "cogs|sprocket sizes|Abstufung|étagement|pignons|dentature|scala pignoni|piñones|tandwielcombinatie",
    "rings": "chainrings|Kettenblätter|plateaux|corone|platos|kettingbladen",
    "bolt_circle": (
        "bolt circle diameter|BCD|PCD|Lochkreis|Lochkreisdurchmesser|diamètre de perçage|girobulloni|"
        "diámetro de pernos|steekcirkel"
    ),
    "bolt_count": (
        "number of arms|number of bolts|Lochzahl|Armzahl|nombre de branches|numero di razze|número de brazos|"
        "aantal gaten|aantal armen"
    ),
    "crank_length": (
        "crank length|crank arm length|Kurbellänge|longueur de manivelle|lunghezza pedivelle|"
        "longitud de biela|cranklengte"
    ),
    "pin_length": (
        "pin length|outer width|Nietlänge|Bolzenlänge|Außenbreite|longueur des axes|largeur extérieure|"
        "lunghezza perno|larghezza esterna|longitud del pasador|ancho exterior|penlengte|buitenbreedte"
    ),
    "inner_width": (
        "inner width|internal width|Innenbreite|lichte Weite|largeur intérieure|larghezza interna|"
        "ancho interior|binnenbreedte"
    ),
    "link_count": (
        "number of links|links|Gliederzahl|Glieder|nombre de maillons|numero di maglie|número de eslabones|"
        "aantal schakels"
    ),
    "weight": "weight|average weight|Gewicht|poids|peso|gewicht",
    "actuation": "actuation|Ansteuerung|Betätigung",
    "shift_family": (
        "compatible with|series|kompatibel mit|Baureihe|compatible avec|série|compatibile con|serie|"
        "compatible con|compatibel met"
    ),
    "mount": "mount|Befestigung|Montage|fixation|montage",
    "freehub_fit": "freehub body|Freilaufkörper|corps de roue libre|corpo ruota libera|núcleo|cassettebody",
    "firmware_min": (
        "min. firmware|Mindest-Firmware|micrologiciel minimum|firmware minimo|firmware mínimo|min. firmware"
    ),
    "replaces": "replaces|supersedes|ersetzt|Nachfolger von|remplace|sostituisce|sustituye a|vervangt",
    "largest_cog_gain": "largest cog gain",
    "capacity_change": "capacity change",
}  # fmt: skip
CASES = [(wording, limit) for limit, wordings in WORDINGS.items() for wording in wordings.split("|")]


def best_for(label, limit):
    """The best limits of a label for every kind of part that has ``limit``."""
    return [find_label_hits(label, kind) for kind in LIMITS[limit].kinds]


def test_every_limit_has_wordings_here():
    assert set(WORDINGS) == set(LIMITS)


@pytest.mark.parametrize(("wording", "limit"), CASES)
def test_a_wording_names_its_limit(wording, limit):
    """Generic terms of the trade; names of parts after ISO 8090 where it has them, the rest common practice."""
    found = best_for(wording, limit)
    assert any(hits and hits[0].limit == limit for hits in found), found


@pytest.mark.parametrize(("wording", "limit"), CASES)
def test_case_colons_and_lost_accents_do_not_matter(wording, limit):
    plain = fold(wording)
    for shown in (wording.upper().replace("SS", "ß") if "ß" in wording else wording.upper(), f"{wording}:", plain):
        kinds = LIMITS[limit].kinds
        assert any([h.limit for h in find_label_hits(shown, k)][:1] == [limit] for k in kinds), shown


def test_a_word_that_another_language_shuns_still_counts():
    assert find_label_hits("min. Differenz groß–mittel", PartKind.FRONT_DERAILLEUR)[0].limit == "ring_step"


OTHERS = ["Tightening torque", "Anzugsmoment (Nm)", "Retail price", "Preis EUR", "Colour", "Farbe", "Material",
          "Carton qty",
          "Warranty", "Lieferzeit", "EAN", "Bestellnummer", "Hex key size", "Battery life", "Q-factor", "Tyre size",
          "Page", "Date", "Service interval", "Temperature"]  # fmt: skip


@pytest.mark.parametrize("label", OTHERS)
def test_what_is_no_limit_gives_none(label):
    assert not any(hit.score >= 0.7 for hit in find_label_hits(label))


@pytest.mark.parametrize(
    ("label", "kind", "limit", "bound"),
    [
        # at the rear low is the largest cog and top the smallest; at the front top is the big ring: common practice
        ("Low (max.)", PartKind.REAR_DERAILLEUR, "largest_cog", "high"),
        ("Low (min.)", PartKind.REAR_DERAILLEUR, "largest_cog", "low"),
        ("Top (min.)", PartKind.REAR_DERAILLEUR, "smallest_cog", "low"),
        ("Top gear teeth", PartKind.FRONT_DERAILLEUR, "big_ring", None),
        ("Max. cog", PartKind.REAR_DERAILLEUR, "largest_cog", "high"),
        ("Largest cog min.", PartKind.REAR_DERAILLEUR, "largest_cog", "low"),
        ("Smallest cog max.", PartKind.REAR_DERAILLEUR, "smallest_cog", "high"),
    ],
)
def test_low_and_top_are_gears(label, kind, limit, bound):
    hit = find_label_hits(label, kind)[0]
    assert (hit.limit, hit.bound) == (limit, bound)


@pytest.mark.parametrize(
    ("label", "bare", "unit"),
    [("Weight (g)", "Weight", Unit.GRAM), ("Chainline [mm]", "Chainline", Unit.MILLIMETRE),
     ("Kettenlinie in mm", "Kettenlinie", Unit.MILLIMETRE), ("Total capacity, T", "Total capacity", Unit.TEETH),
     ("Angle (°)", "Angle", Unit.DEGREE), ("Weight", "Weight", None)],
)  # fmt: skip
def test_units_are_split_from_labels(label, bare, unit):
    assert split_unit(label) == (bare, unit)


@pytest.mark.parametrize(("header", "role"), [("Model", Role.MODEL), ("Modell", Role.MODEL), ("Modèle", Role.MODEL),
                                              ("Codice", Role.MODEL), ("Cage", Role.VARIANT),
                                              ("Version", Role.VARIANT),
                                              ("Category", Role.KIND), ("Ausführung", Role.VARIANT)])  # fmt: skip
def test_roles_of_columns(header, role):
    assert role in find_role(header)


def test_a_misread_letter_still_finds_the_limit_with_less_trust():
    clean, misread = (
        find_label_hits(text, PartKind.REAR_DERAILLEUR)[0] for text in ("Total capacity", "Total capac1ty")
    )
    assert misread.limit == clean.limit == "total_capacity" and misread.score < clean.score


@given(st.text(max_size=40))
def test_fold_gives_plain_small_letters_and_is_stable(text):
    folded = fold(text)
    assert fold(folded) == folded and folded == folded.strip() and "  " not in folded


@pytest.mark.parametrize(
    ("text", "folded"),
    [("Größtes Ritzel (max.)", "grosstes ritzel max"), ("Capacité TOTALE", "capacite totale"), ("piñón", "pinon"),
     ("l'axe", "l axe"), ("⌀ 31,8", "ø 31 8")],
)  # fmt: skip
def test_fold(text, folded):
    assert fold(text) == folded


SAMPLES = {
    "en": "Rear derailleur total capacity largest cog weight chainrings",
    "de": "Schaltwerk Gesamtkapazität größtes Ritzel Gewicht",
    "fr": "Dérailleur arrière capacité totale plus grand pignon poids plateaux",
    "it": "Cambio capacità totale pignone più grande corone peso",
    "es": "Cambio trasero capacidad total piñón mayor platos",
    "nl": "Achterderailleur totale capaciteit grootste tandwiel gewicht kettingbladen",
}  # fmt: skip


@pytest.mark.parametrize(("language", "text"), SAMPLES.items())
def test_the_language_of_a_page(language, text):
    assert language in page_languages(text.split())


def test_a_page_without_known_words_keeps_the_languages_before_it():
    assert page_languages(["4711", "0815"], ("fr",)) == ("fr",)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_language_names_every_limit_or_says_which_it_does_not(language):
    """A limit can be named when the words for one of its combinations of concepts are there."""
    data = read_language(language)
    concepts = {name for name, words in data["concepts"].items() if words}
    unnamed = {p.limit for p in limit_patterns() if not any(needs <= concepts for needs in p.needs)}
    assert unnamed == set(data.get("untranslated", ()))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_files_of_all_languages_have_the_same_tables(language):
    own, english = read_language(language), read_language("en")
    assert set(own["concepts"]) == set(english["concepts"])
    assert set(own["parts"]) == {str(k) for k in PartKind}
    assert set(own["variants"]) == {"S", "M", "L"}
    assert set(own["units"]) == {"speed"} | {str(unit) for unit in Unit if unit is not Unit.COUNT}
    for limit, choices in english["answers"].items():
        assert set(own["answers"][limit]) == set(choices)
        if LIMITS[limit].choices:
            assert set(choices) == set(LIMITS[limit].choices)


def test_no_word_behind_a_number_stands_for_two_units():
    """In no language, since a number does not say its own; letters such as Z and D for teeth are common practice."""
    seen: dict[str, Unit] = {}
    for unit in Unit:
        for word in unit_words(unit):
            assert seen.setdefault(word, unit) is unit, word
    assert {"t", "z", "d"} <= {word for word, unit in seen.items() if unit is Unit.TEETH}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_words_for_units_of_every_language_are_split_from_labels(language):
    for unit in Unit:
        for word in read_language(language)["units"].get(unit, ()):
            if len(word) >= 3:
                assert split_unit(f"Max. ({word})") == ("Max.", unit), word


def test_the_table_of_meanings_speaks_only_of_known_concepts():
    known = set(read_language("en")["concepts"])
    for pattern in limit_patterns():
        assert set().union(*pattern.needs, pattern.takes, pattern.never) <= known, pattern.limit


def _overlap(a, b):
    """Whether a number can be plausible for both limits, so that the label alone has to tell them apart."""
    one, other = LIMITS[a], LIMITS[b]
    if not (one.plausible and other.plausible) or one.unit != other.unit:
        return one.unit == other.unit
    return max(one.plausible[0], other.plausible[0]) <= min(one.plausible[1], other.plausible[1])


@pytest.mark.parametrize("kind", PartKind)
def test_no_wording_means_two_limits_of_one_kind_alike(kind):
    """Wordings of another limit of the same kind may be near, but never as near."""
    clashes = []
    for wording, _ in CASES:
        hits = find_label_hits(wording, kind)
        clashes += [(wording, a.limit, b.limit) for a, b in itertools.pairwise(hits[:2])
                    if a.score == b.score and a.needs == b.needs and _overlap(a.limit, b.limit)]  # fmt: skip
    assert clashes == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_word_of_one_table_means_two_things(language):
    """A word beside a number cannot say maximum and minimum, a part cannot be two kinds, a cage not two sizes."""
    for group, rows in (("bounds", True), ("parts", False), ("variants", False)):
        table = read_language(language)[group]
        seen: dict[str, str] = {}
        for name, words in table.items():
            side = name.split("_")[0] if group == "bounds" else name
            for word in words:
                if rows and name.endswith("_after"):
                    continue
                assert seen.setdefault(fold(word), side) == side or group == "parts", (language, word, side)
    assert load_lexicon((language,)).longest >= 2


def test_terms_cover_the_words_in_order_without_overlap():
    analysis = analyse("max. bolt circle diameter of the chainring")
    spans = [(t.start, t.end) for t in analysis.terms]
    assert spans == sorted(spans) and all(a[1] <= b[0] for a, b in itertools.pairwise(spans))
    assert "bolt_circle" in analysis.names("concept")
