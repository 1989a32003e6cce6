"""What is said of a lot over rooms, and of a room, in sentences a grower can act on."""

from __future__ import annotations

from monitor.farm.lot_nouns import FarmLot, LotReason, LotShare, Side
from monitor.words import difference
from monitor.words.naming import clean, listing

_WARMER = {Side.WARM: "warmer", Side.COLD: "colder"}
_CLAIMS = {
    LotReason.CALLED: "is {warmer} than the other lots in {rooms}",
    LotReason.APART: "stands apart in {rooms}",
    LotReason.ONE_ROOM: "is {warmer} than the other lots in {first} only",
    LotReason.LIKE_OTHERS: "has no more bags called than chance explains",
    LotReason.TOO_FEW: "has too few bags called to tell it from chance",
    LotReason.NO_OTHERS: "has no other lot of its strain to compare with",
    LotReason.TOO_MANY: "can't be told from others: too many bags are called on the farm",
}
_DO = {
    Side.WARM: "Hold the lot: use no more of its spawn until you have looked at its bags, the"
    " called ones first.",
    Side.COLD: "Hold the lot: use no more of its spawn until you have looked whether its bags"
    " grow, the called ones first.",
}
_APART_DO = "Hold the lot, and go along its bags in each of these rooms."
#: A chance below this is told as such: more figures would claim too much.
_LEAST_TOLD = 0.001


def lot_name(lot: FarmLot) -> str:
    """The lot as a noun: "lot L-7 of GO-12"."""
    strain = clean(lot.strain)
    return f"lot {clean(lot.spawn_lot)}" + (f" of {strain}" if strain else "")


def lot_claim(lot: FarmLot) -> str:
    """What is said of it, without a full stop."""
    where = [clean(one.room) for one in lot.where]
    said = _CLAIMS[lot.reason].format(
        warmer=_WARMER[lot.side], rooms=f"{len(where)} rooms", first=where[0] if where else ""
    )
    return f"{lot_name(lot)} {said}"


def lot_evidence(lot: FarmLot, units: str) -> str:
    """All findings in one text."""
    return " ".join(lot_findings(lot, units))


def lot_findings(lot: FarmLot, units: str) -> list[str]:
    """Counts by room and what the others have, how likely chance is, how warm it is: sentences."""
    parts = []
    if apart := [one.room for one in lot.shares if one.apart]:
        parts.append(f"`lot apart` stands in {listing(apart)}")
    counted = [one for one in (lot.where if lot.bad else lot.shares) if one.of]
    if counted and (lot.reason is not LotReason.APART or lot.loud):
        counts = ", ".join(_count(one, lot) for one in counted)
        beside = " in the same rooms" if lot.by_room else ""
        parts.append(f"{counts}; {lot.others_called} of {lot.others} bags of other lots{beside}")
    if lot.reason is LotReason.CALLED and lot.adjusted is not None:
        parts.append(_chance(lot.adjusted))
    if lot.mean_excess_k is not None:
        parts.append(_excess(lot.mean_excess_k, units))
    return [f"{one}." for one in parts]


def lot_caution(lot: FarmLot) -> str:
    """What the counts can't tell, empty where nothing holds them back."""
    told = []
    if lot.reason is LotReason.CALLED and not lot.by_room:
        told.append("No room holds other lots of the strain beside it: it may be the rooms.")
    if unheard := [one.room for one in lot.shares if not one.heard]:
        told.append(f"As last heard: {listing(unheard)}.")
    return " ".join(told)


def lot_do(lot: FarmLot) -> str:
    """What to do, empty where there is nothing."""
    if lot.reason is LotReason.APART:
        return _APART_DO
    return _DO[lot.side] if lot.bad else ""


def _count(share: LotShare, lot: FarmLot) -> str:
    called = share.called(lot.side)
    return f"{called} of {share.of} {'bag' if share.of == 1 else 'bags'} in {clean(share.room)}"


def _chance(adjusted: float) -> str:
    if adjusted < _LEAST_TOLD:
        return "Chance alone would give this less than once in 1,000 farms"
    return f"Chance alone would give this once in {round(1 / adjusted):,} farms"


def _excess(mean_k: float, units: str) -> str:
    way = "above" if mean_k >= 0 else "below"
    return f"Its bags are {difference(abs(mean_k), units)} {way} their cohorts on average"
