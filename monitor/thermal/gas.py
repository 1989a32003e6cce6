"""Heat from gas: what oxygen used and CO2 given say of the heat behind them, and back."""

from __future__ import annotations

#: Heat per mole of oxygen used [J/mol]; Thornton 1917's rule from memory (455 to 460 kJ).
OXYCALORIC_J_PER_MOL = 460e3
#: 440: Birou, Marison and von Stockar 1987, aerobic cultures in a calorimeter; 520: Cooney,
#: Wang and Mateles 1969 from memory. Anything outside is a slip of units.
OXYCALORIC_BAND_J_PER_MOL = (420e3, 520e3)
CO2_KG_PER_MOL = 44.0095e-3
O2_KG_PER_MOL = 31.998e-3


def _checked(oxycaloric_j_per_mol: float, rq: float) -> None:
    low, high = OXYCALORIC_BAND_J_PER_MOL
    if not low <= oxycaloric_j_per_mol <= high:
        raise ValueError(
            f"{oxycaloric_j_per_mol:g} J per mol O2 is outside {low:g} to {high:g}: check the unit"
        )
    if not 0.5 <= rq <= 1.3:
        raise ValueError(
            f"a respiratory quotient of {rq:g} is outside 0.5 to 1.3: CO2 without oxygen "
            "(yeast, bacteria) can't be turned into heat this way"
        )


def heat_w_from_o2(o2_kg_per_s: float, oxycaloric_j_per_mol: float = OXYCALORIC_J_PER_MOL) -> float:
    """Heat of using oxygen at a rate [W].

    Source  Thornton's rule; Birou, Marison and von Stockar 1987 measured 440 kJ/mol
    Raises  ValueError for a heat per mole outside 420 to 520 kJ
    """
    _checked(oxycaloric_j_per_mol, 1.0)
    return o2_kg_per_s / O2_KG_PER_MOL * oxycaloric_j_per_mol


def heat_w_from_co2(
    co2_kg_per_s: float, rq: float = 1.0, oxycaloric_j_per_mol: float = OXYCALORIC_J_PER_MOL
) -> float:
    """Heat behind a CO2 rate [W]; `rq` is mol of CO2 given per mol of O2 taken.

    rq      1.0 for carbohydrate burnt to the end; 0.77 fitted for oyster on bean waste
            (Pineda-Insuasti 2014). It alone is worth about 30 %: state a band.
    Valid   aerobic bags only
    Check   90 mg/h (a kilogram of compost), 460 kJ/mol, RQ 1: 0.2613 W
    Raises  ValueError for RQ outside 0.5 to 1.3 or a heat per mole outside 420 to 520 kJ
    """
    _checked(oxycaloric_j_per_mol, rq)
    return co2_kg_per_s / CO2_KG_PER_MOL * oxycaloric_j_per_mol / rq


def co2_kg_per_s_from_heat(
    heat_w: float, rq: float = 1.0, oxycaloric_j_per_mol: float = OXYCALORIC_J_PER_MOL
) -> float:
    """CO2 rate behind a heat [kg/s]; the inverse of `heat_w_from_co2`.

    Check   1 W at 460 kJ/mol, RQ 1: 344.4 mg/h
    """
    _checked(oxycaloric_j_per_mol, rq)
    return heat_w / oxycaloric_j_per_mol * rq * CO2_KG_PER_MOL
