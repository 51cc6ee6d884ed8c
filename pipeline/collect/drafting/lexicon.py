"""Words of headers in ten languages and what they mean together (pure).

Only words of golf and physics that any dictionary has: English, German, French, Spanish, Italian, Dutch, Swedish,
Portuguese, Polish, Japanese.
"""

import re
from functools import cache
from typing import NamedTuple

from pipeline.collect.unit_words import folded, unit_named
from pipeline.tables.logs import LOG_COLUMNS

# Roots by what they mean, without capitals, and without accents but where a sign is another letter.
# A word may run several together, as German does.
_ROOTS = {
    "CLUB": "club clubs schlager palo canne bastone klubb klubba klubban driver taco kij kija クラブ 番手",
    "HEAD": "head kopf tete cabeza testa huvud kop cabeca głowki ヘッド hoofd",
    "SWING": "swing schwung sving",
    "BALL": "ball balls balle bola pelota palla boll bollen bal piłki piłka ボール",
    "SPEED": "speed velocity geschwindigkeit vitesse velocidad velocita hastighet fart snelheid velocidade "
    "predkosc spd vel スピード 初速",
    "TEMPO": "tempo",
    "LAUNCH": "launch abflug start lancement envol lanzamiento salida lancio partenza utgang utgangs lanceer "
    "lancamento saida startu wylotu 打ち出し 打出し 打出",
    "TAKEOFF": "depart decollage",
    "ANGLE": "angle winkel angulo angolo vinkel hoek kat 角 アングル",
    "UPRIGHT": "vertical vertikal vertikaler verticale verticaal vert",
    "LEVEL": "horizontal horizontaler horizontale orizzontale horisontell horizontaal horiz",
    "DIRECTION": "direction richtung direccion direzione riktning richting azimuth direcao kierunek 方向",
    "SPIN": "spin spinn drall drehzahl rotation rotacion rotazione spinrate rotacao rotacja rotatie スピン 回転",
    "BACK": "back ruck retro bak backward arriere wsteczna bakat バック",
    "TURNBACK": "backspin backspinn bakspinn retrospin retroceso",
    "RATE": "rate tasa tasso taux 量",
    "SIDE": "side seiten seite lateral lateral laterale sido zij boczna boczne sid サイド",
    "AXIS": "axis achse axe eje asse axel as eixo 軸",
    "CARRY": "carry flugweite portee vuelo volo portata barlangd flyglangd draagafstand vluchtafstand voo キャリー",
    "FLIGHT": "flight flug vol flyg vlucht lot lotu",
    "DISTANCE": "distance distanz weite distancia distanza avstand langd afstand lange dist dystans długosc",
    "TOTAL": "total gesamt totale totaal totalt totallangd gesamtweite totaal gesamtlange całkowity トータル 総飛距離",
    "ATTACK": "attack angriff angriffs treff eintreff attaque ataque attacco attack aanval aanvals anfalls ataku "
    "入射 アタック",
    "PATH": "path schwungbahn bahn trajectoire trayectoria traiettoria bana baan trajetoria pad パス 軌道",
    "FACE": "face schlagflache cara faccia blad slagvlak フェース",
    "PLANE": "plane ebene plan plano piano vlak",
    "LOFT": "loft",
    "DYNAMIC": "dynamic dynamischer dynamisk dynamique dinamico",
    "STATED": "stated nominal nomineller",
    "APEX": "apex scheitelhohe scheitelpunkt 最高到達点",
    "HEIGHT": "height hohe hauteur altura altezza hojd hoogte 高さ",
    "MOST": "max maximum maximal maximale maxima massima maxi peak hochste",
    "DESCENT": "descent abstieg landing lande einfall descente atterrissage descenso aterrizaje atterraggio "
    "landnings descida caida ladowania 落下",
    "OFFLINE": "offline seitenabweichung 左右ブレ",
    "DEVIATION": "deviation abweichung ecart desviacion deviazione avvikelse afwijking desvio odchylenie",
    "TEMPERATURE": "temperature temp temperatur temperatura temperatuur",
    "AIR": "air luft aire aria lucht",
    "PRESSURE": "pressure druck pression presion pressione tryck",
    "HUMIDITY": "humidity feuchte luftfeuchte luftfeuchtigkeit humidite humedad umidita fuktighet",
    "ALTITUDE": "altitude elevation meereshohe altitud altitudine",
    "WIND": "wind vent viento vento",
    "GOLFER": "golfer golfers player student pupil spieler schuler golfeur joueur eleve jugador alumno "
    "giocatore teilnehmer jogador aluno zawodnik gracz 選手 "
    "allievo spelare elev speler leerling",
    "MEMBER": "member mitglied membre socio medlem lid",
    "NAME": "name nom nombre nome namn naam 氏名 名前",
    "FIRST": "first given vorname prenom fornamn voornaam firstname imie 名",
    "LAST": "last family surname nachname familienname apellido apellidos apelido cognome efternamn "
    "achternaam lastname nazwisko 姓",
    "NUMBER": "number no nr num numero nummer id 番号",
    "TIME": "time zeit uhrzeit zeitpunkt zeitstempel heure horodatage hora ora tid tidpunkt tijd tijdstip "
    "timestamp godzina czas 時刻 時間 tiempo temps klockslag",
    "DATE": "date datum datetime fecha data dato tag 日付 日時 day jour giorno dzien",
    "SHOT": "shot shots stroke schlag drive coup golpe tiro colpo slag tacada 打撃",
    "STRUCK": "struck hit geschlagen",
    "TYPE": "type art typ tipo kind sort",
    "SITE": "site location ort platz place lieu sitio lugar luogo plats plaats bay",
    "DEVICE": "device gerat appareil dispositivo enhet apparaat",
    "GROUP": "group gruppe groupe grupo gruppo grupp groep class klasse",
    "COACH": "coach trainer entraineur entrenador allenatore tranare trener treinador コーチ",
    "RATIO": "ratio quotient verhaltnis rapport relacion cociente verhouding kvot razao stosunek 比率 rapporto",
    "TARGET": "target ziel cible objetivo obiettivo mal doel",
    "EXPORT": "export exported exportiert importiert uploaded imported created",
    "BIRTH": "birth geburts geburt naissance nacimiento nascita fodelse geboorte born dob",
    "REMARK": "remark remarks note notes bemerkung comment comments remarque nota note anmarkning opmerking uwagi 備考",
    "MAT": "mat matte",
    "SESSION": "session sitzung seance sesion sessione",
    "HANDICAP": "handicap hcp",
    "HANG": "hang 滞空",
    "AVERAGE": "average avg mean durchschnitt mittel moyenne promedio media gemiddelde medel snitt srednia 平均",
    "NORMAL": "normalized norm normiert normalizado normalizzato",
}
_FILLERS = frozenset(
    {
        *("of", "the", "in", "at", "and"),
        *("vom", "von", "der", "die", "das", "den", "und", "van", "het", "en", "i", "och", "et", "e", "y"),
        *(
            "de",
            "di",
            "du",
            "des",
            "d",
            "la",
            "le",
            "les",
            "l",
            "el",
            "il",
            "al",
            "alla",
            "del",
            "dell",
            "della",
            "dello",
            "da",
            "do",
            "dos",
        ),
    }
)

_LETTERS: dict[str, tuple[str, ...]] = {"v": ("UPRIGHT",), "h": ("LEVEL",)}  # as words of their own alone

# What words mean together. None: known, and no standard column.
_MEANINGS: dict[str, str | None] = {
    "CLUB SPEED": "club_speed_mph", "HEAD SPEED": "club_speed_mph", "CLUB HEAD SPEED": "club_speed_mph",
    "SWING SPEED": "club_speed_mph", "CLUB TEMPO": "club_speed_mph", "CLUB HEAD TEMPO": "club_speed_mph",
    "BALL SPEED": "ball_speed_mph", "BALL TEMPO": "ball_speed_mph",
    "SPEED": "(speed)",
    "LAUNCH": "launch_deg", "LAUNCH ANGLE": "launch_deg", "LAUNCH UPRIGHT": "launch_deg",
    "LAUNCH ANGLE UPRIGHT": "launch_deg", "TAKEOFF ANGLE": "launch_deg", "BALL LAUNCH ANGLE": "launch_deg",
    "LAUNCH SIDE": "launch_side_deg", "LAUNCH DIRECTION": "launch_side_deg", "LAUNCH LEVEL": "launch_side_deg",
    "LAUNCH ANGLE LEVEL": "launch_side_deg", "LAUNCH ANGLE SIDE": "launch_side_deg",
    "SPIN": "spin_rpm", "SPIN RATE": "spin_rpm", "BACK SPIN": "spin_rpm", "TURNBACK": "spin_rpm",
    "TURNBACK RATE": "spin_rpm", "BACK SPIN RATE": "spin_rpm", "SPIN TOTAL": "(total spin)", "BALL SPIN": "spin_rpm",
    "SPIN SPEED": "spin_rpm", "SIDE SPIN": None, "SPIN LOFT": None,
    "SPIN AXIS": "spin_axis_deg", "SPIN AXIS ANGLE": "spin_axis_deg",
    "CARRY": "carry_yd", "FLIGHT": "carry_yd", "CARRY DISTANCE": "carry_yd", "FLIGHT DISTANCE": "carry_yd",
    "BALL FLIGHT DISTANCE": "carry_yd",
    "TOTAL": "total_yd", "TOTAL DISTANCE": "total_yd",
    "DISTANCE": "(distance)", "TARGET DISTANCE": None,
    "ATTACK": "attack_deg", "ATTACK ANGLE": "attack_deg",
    "PATH": "path_deg", "CLUB PATH": "path_deg", "SWING PATH": "path_deg", "CLUB PATH ANGLE": "path_deg",
    "FACE": "face_deg", "FACE ANGLE": "face_deg", "CLUB FACE": "face_deg", "CLUB FACE ANGLE": "face_deg",
    "SWING PLANE": "plane_deg", "SWING PLANE ANGLE": "plane_deg",
    "STATED LOFT": "loft_deg", "LOFT": "(loft)", "CLUB LOFT": "(loft)", "DYNAMIC LOFT": None,
    "APEX": "apex_yd", "APEX HEIGHT": "apex_yd", "MOST HEIGHT": "apex_yd",
    "DESCENT": "descent_deg", "DESCENT ANGLE": "descent_deg",
    "OFFLINE": "offline_yd", "OFFLINE DISTANCE": "offline_yd", "SIDE DEVIATION": "offline_yd",
    "SIDE DISTANCE": "offline_yd",
    "TEMPERATURE": "temp_c", "AIR TEMPERATURE": "temp_c",
    "PRESSURE": "pressure_hpa", "AIR PRESSURE": "pressure_hpa",
    "HUMIDITY": "humidity", "AIR HUMIDITY": "humidity", "ALTITUDE": "altitude_m",
    "GOLFER": "golfer", "GOLFER NAME": "golfer", "NAME": "golfer", "MEMBER": "golfer", "MEMBER NAME": "golfer",
    "GOLFER NUMBER": "(number)", "MEMBER NUMBER": "(number)",
    "FIRST": "(first)", "FIRST NAME": "(first)", "LAST": "(last)", "LAST NAME": "(last)",
    "TIME": "struck_at", "DATE": "struck_at", "DATE TIME": "struck_at", "SHOT TIME": "struck_at",
    "SHOT DATE": "struck_at", "STRUCK": "struck_at", "STRUCK TIME": "struck_at", "SHOT DATE TIME": "struck_at",
    "SESSION DATE": "struck_at", "EXPORT": None, "EXPORT DATE": None, "EXPORT TIME": None, "BIRTH DATE": None,
    "BIRTH": None,
    "CLUB": "(club)", "CLUB TYPE": "(club)", "CLUB NAME": "(club)",
    "SITE": "site", "DEVICE": "device", "BALL": "ball", "BALL TYPE": "ball", "GROUP": "group", "COACH": "(group)",
    "SHOT": None, "SHOT NUMBER": None, "NUMBER": None, "SESSION": None, "SESSION NUMBER": None, "RATIO": None,
    "SPEED RATIO": None, "REMARK": None, "MAT": None, "MAT NUMBER": None, "HANDICAP": None, "GOLFER HANDICAP": None,
    "FLIGHT TIME": None, "TARGET": None, "WIND": None, "WIND SPEED": None, "COACH NAME": "(group)",
    "BALL FLIGHT TIME": None, "CARRY TIME": None, "FIRST LAST": "golfer", "FIRST LAST NAME": "golfer",
    "LAUNCH TIME": "struck_at", "FLIGHT TEMPO": None, "CARRY TEMPO": None, "HANG TIME": None,
    "ANGLE UPRIGHT": "launch_deg",
}  # fmt: skip

# Whatever a header with one of these speaks of, it is no reading of a drive and no time of one.
_NO_READING = frozenset({"AVERAGE", "NORMAL", "TARGET", "EXPORT", "BIRTH"})

_IN_BRACKETS = re.compile(r"[(\[{]\s*([^)\]}]*?)\s*[)\]}]")


class Header(NamedTuple):
    """What a header says."""

    meaning: str | None
    """A standard column, a kind of column in brackets such as (speed), or None: no standard column."""
    whole: bool
    """Whether every word was understood."""
    unit: str | None
    """The unit that it names, as `pipeline.units` writes units; % for percent."""


def read_header(text: str) -> Header:
    """Read a header; its words, and the unit in brackets or at its end."""
    unit, bare = _unit_apart(text.strip())
    roots, whole = _roots_of(bare)
    meaning = _meanings().get(roots) if roots else None
    if text.strip() in LOG_COLUMNS:
        return Header(text.strip(), True, unit)
    if roots & _NO_READING:
        return Header(None, True, unit)
    return Header(meaning, whole and roots in _meanings(), unit)


def _unit_apart(text: str) -> tuple[str | None, str]:
    for found in _IN_BRACKETS.finditer(text):
        if (unit := unit_named(found[1])) is not None:
            return unit, text[: found.start()] + " " + text[found.end() :]
    # The longest end that is a unit, set off by a space, a comma or an underscore.
    for found in re.finditer(r"[\s_,;:]+(?:in\s+)?", text):
        if found.start() and (unit := unit_named(text[found.end() :])) is not None:
            return unit, text[: found.start()]
    joined = re.fullmatch(r"(.*?[a-z])(Mph|Kmh|Mps|Rpm|Deg|Yd|Yds)", text)
    return (unit_named(joined[2]), joined[1]) if joined else (None, text)


def _roots_of(text: str) -> tuple[frozenset[str], bool]:
    """Give what the words of a text mean, and whether all were understood."""
    spaced = re.sub(r"(?<=[a-z\u00e0-\u00ff])(?=[A-Z])", " ", text)
    found: set[str] = set()
    whole = True
    for word in re.findall(r"[^\W_]+", folded(spaced)):
        if word in _FILLERS:
            continue
        parts = _LETTERS.get(word) or _parts_of(word)
        whole &= parts is not None
        found.update(parts or ())
    return frozenset(found), whole


@cache
def _parts_of(word: str) -> tuple[str, ...] | None:
    """Split a word into known roots, the longest first; None if it can't be. An s may join two."""
    if not word:
        return ()
    for end in range(len(word), 0, -1):
        meaning = _root_meanings().get(word[:end])
        letter = end == 1 and word[0].isascii()  # a sign of Japanese is a word as often as not
        if meaning is None or letter or (end == len(word) == 2 and word == "as"):
            continue
        for rest in (word[end:], word[end + 1 :] if word[end : end + 1] in ("s", "n") else word[end:]):
            parts = _parts_of(rest)
            if parts is not None:
                return (meaning, *parts)
    return None


@cache
def _root_meanings() -> dict[str, str]:
    return {folded(root): meaning for meaning, roots in _ROOTS.items() for root in roots.split()}


@cache
def _meanings() -> dict[frozenset[str], str | None]:
    return {frozenset(words.split()): meaning for words, meaning in _MEANINGS.items()}
