"""Words and signs of units, folded, in six languages."""

from __future__ import annotations

from ..schema.limits import Unit

UNIT_WORDS: dict[str, Unit] = {
    **dict.fromkeys(("t", "z", "d", "teeth", "tooth", "zahne", "zahn", "zahnen", "dents", "dent", "denti", "dente",
                     "dientes", "diente", "tanden", "tand"), Unit.TEETH),
    **dict.fromkeys(("mm", "millimeter", "millimetre", "millimetres"), Unit.MILLIMETRE),
    **dict.fromkeys(("°", "deg", "degrees", "grad", "gradi", "grados", "degres", "graden", "º"), Unit.DEGREE),
    **dict.fromkeys(("g", "gr", "gram", "grams", "gramm", "grammes", "grammi", "gramos", "gramo"), Unit.GRAM),
    **dict.fromkeys(("links", "link", "l", "glieder", "maillons", "maglie", "eslabones", "schakels", "pcs"),
                    Unit.LINKS),
}  # fmt: skip
SPEED_WORDS = frozenset(
    "speed speeds spd s fach gange gang vitesses vitesse v velocita velocidades velocidad versnellingen "
    "fold marchas rapporti sp".split()
)
