"""A frame of an account as one line of JSON, and back."""

from __future__ import annotations

import json
from dataclasses import asdict

from monitor.judge.probe_faults import ProbeFault
from monitor.review.account import FrameAccount
from monitor.store.codec import conditions_from_text, conditions_to_text, from_text, to_text
from monitor.values import AlarmCommand, Bag, Evidence, Quantity, Reason


def to_line(frame: FrameAccount) -> str:
    """One line; what is empty is left out."""
    plain = {
        "at": frame.end_s,
        "evidence": [to_text(one) for one in frame.evidence.values()],
        "core": frame.core_c,
        "warmth": frame.warmth_k,
        "bags": [to_text(bag) for bag in frame.bags.values()],
        "gone": frame.gone,
        "faults": [asdict(fault) for fault in frame.faults],
        "others": conditions_to_text(frame.others) if frame.others else "",
        "commands": [to_text(command) for command in frame.commands],
        "budgets": frame.budgets,
    }
    return json.dumps({key: part for key, part in plain.items() if part}, separators=(",", ":"))


def from_line(line: str) -> FrameAccount:
    """The frame again. Raises ValueError, KeyError, TypeError or StoreError on other lines."""
    plain = json.loads(line)
    evidence = [from_text(Evidence, text) for text in plain.get("evidence", ())]
    bags = [from_text(Bag, text) for text in plain.get("bags", ())]
    return FrameAccount(
        end_s=float(plain["at"]),
        evidence={one.bag: one for one in evidence},
        core_c=plain.get("core", {}),
        warmth_k=plain.get("warmth", {}),
        bags={bag.bag: bag for bag in bags},
        gone=tuple(plain.get("gone", ())),
        faults=tuple(
            ProbeFault(
                **{
                    **fault,
                    "reason": Reason(fault["reason"]),
                    "quantity": Quantity(fault["quantity"]),
                }
            )
            for fault in plain.get("faults", ())
        ),
        others=conditions_from_text(plain["others"]) if "others" in plain else (),
        commands=tuple(from_text(AlarmCommand, text) for text in plain.get("commands", ())),
        budgets=plain.get("budgets", {}),
    )
