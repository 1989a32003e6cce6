"""What the settings say anew at a start, as it stands in the store: offsets and thresholds."""

from __future__ import annotations

import json
from dataclasses import replace

from monitor.assemble import with_offsets
from monitor.settings.schema import Settings
from monitor.store import Reader
from monitor.values import Probe

#: The kind of a note on what thresholds hold.
THRESHOLDS_NOTE = "thresholds"


def probes_to_renew(store: Reader, settings: Settings) -> list[Probe]:
    """Probes that the book's commands hung up, with the offsets the settings give now."""
    entered = [
        version.now
        for version in store.current("probe").values()
        if version.act is not None and isinstance(version.now, Probe)
    ]
    bare = {one.probe: replace(one, offset_k=0.0, calibrated="") for one in entered}
    fresh = with_offsets(bare, settings.probes)
    return [fresh[one.probe] for one in entered if fresh[one.probe] != one]


def thresholds_to_note(store: Reader, settings: Settings) -> str:
    """What thresholds hold from now on, for who later asks what was called; empty if noted."""
    said = json.dumps(settings.strains.thresholds(), sort_keys=True)
    before = [one.detail for one in store.notes() if one.kind == THRESHOLDS_NOTE]
    return "" if before and before[-1] == said else said
