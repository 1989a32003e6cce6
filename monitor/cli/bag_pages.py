"""What `bagwatt bag` shows of bags, and correcting one."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from monitor.book.codes import suggestion
from monitor.book.csvfiles import bag_header, bag_row
from monitor.book.desk import Desk
from monitor.book.moments import parse_moment
from monitor.book.places import parse_place
from monitor.book.records import LOT, STRAIN
from monitor.book.standing import Standing, lot_of, place_of, without_blanks
from monitor.book.walkround import along
from monitor.cli.booking import answer, local, none_here, open_desk, some, under
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json, table
from monitor.errors import BookError
from monitor.sources.folder import RowError, bag_of_row
from monitor.values import Bag


def listed(arguments: argparse.Namespace) -> Exit:
    """The bags in the room, by place."""
    with open_desk(arguments) as desk:
        standing = desk.look()
        bags = [
            bag
            for bag in standing.every_bag()
            if (arguments.all or not standing.gone(bag.bag))
            and arguments.batch in (None, bag.batch)
        ]
        bags.sort(key=along)
        if arguments.json:
            say_json([_plain(bag, standing) for bag in bags])
            return Exit.DONE
        rows = [
            (
                bag.bag, str(place_of(bag)), bag.strain, lot_of(bag) or "-",
                local(bag.inoculated_s, desk), standing.probe_on(bag.bag) or "-",
                (standing.standing_events(bag.bag) or [""])[-1],
            )
            for bag in bags
        ]  # fmt: skip
    head = ("BAG", "PLACE", "STRAIN", "SPAWN", "INOCULATED", "PROBE", "LAST")
    say(table(head, rows) if rows else none_here(standing, desk.settings))
    return Exit.DONE


def _plain(bag: Bag, standing: Standing) -> dict[str, Any]:
    return {
        "bag": bag.bag, "batch": bag.batch, "strain": bag.strain, "lot": lot_of(bag),
        "place": str(place_of(bag)), "probe": standing.probe_on(bag.bag),
        "inoculated_s": bag.inoculated_s, "mass_kg": bag.mass_kg, "session": bag.session,
        "sequence": bag.sequence, "load": bag.load,
        "load_position": bag.extra.get("load_position", ""), "recipe": bag.recipe,
        "kind": bag.bag_kind, "person": bag.person, "gone": standing.gone(bag.bag),
    }  # fmt: skip


def show(arguments: argparse.Namespace) -> Exit:
    """One bag: what it is, where it came from, where it stood, what happened to it, its sisters."""
    with open_desk(arguments) as desk:
        standing = desk.look()
        bag = standing.bag(standing.code(arguments.code))
        lineage = _lineage(standing, bag)
        places = _places(desk, bag.bag)
        sisters = [
            one.bag
            for one in standing.every_bag()
            if one.bag != bag.bag and bag.spawn_lot and one.spawn_lot == bag.spawn_lot
        ]
        near = [
            one.bag
            for one in standing.every_bag()
            if bag.sequence is not None
            and one.session == bag.session
            and one.sequence in (bag.sequence - 1, bag.sequence + 1)
        ]
        value = {
            **_plain(bag, standing),
            "lineage": [{"steps": n, "kind": kind, "name": name} for n, kind, name in lineage],
            "places": [{"at_s": at_s, "place": place, "by": by} for at_s, place, by in places],
            "events": [
                {
                    "at_s": one.entry.at_s, "event": one.entry.event, "detail": one.entry.detail,
                    "facts": dict(one.entry.facts), "by": one.act.by if one.act else "",
                    "struck": one.struck,
                }
                for one in standing.entries.get(bag.bag, ())
            ],
            "sisters": sisters,
            "inoculated_beside": near,
        }  # fmt: skip
        return answer(arguments, value, _told(desk, standing, bag, value))


def _told(desk: Desk, standing: Standing, bag: Bag, value: dict[str, Any]) -> list[str]:
    state = "left the room" if value["gone"] else f"stands at {value['place']}"
    lines = [
        f"{bag.bag}  {bag.strain}  {bag.mass_kg:g} kg  {state}",
        f"inoculated {local(bag.inoculated_s, desk)}, batch {bag.batch or '-'}, session "
        f"{bag.session or '-'}" + (f", number {bag.sequence}" if bag.sequence else ""),
        f"load {bag.load or '-'} {value['load_position']}".rstrip()
        + f", recipe {bag.recipe or '-'}, kind {bag.bag_kind or '-'}, by {bag.person or '-'}",
    ]
    from_what = [f"{'  ' * one['steps']}{one['kind']} {one['name']}" for one in value["lineage"]]
    lines += under("comes from", from_what)
    places = [
        f"  {local(one['at_s'], desk)}  {one['place']}  {one['by']}" for one in value["places"]
    ]
    lines += under("stood at", places)
    events = [
        f"  {local(one['at_s'], desk)}  {one['event']} {one['detail']}  {one['by']}"
        + "  (taken back)" * one["struck"]
        for one in value["events"]
    ]
    lines += under("what happened", events)
    if value["probe"]:
        lines += ["", f"probe {value['probe']}"]
    lines += ["", f"inoculated beside it: {', '.join(value['inoculated_beside']) or 'none known'}"]
    here = [code for code in value["sisters"] if not standing.gone(code)]
    lines.append(f"sisters of the lot: {len(value['sisters'])}, standing: {some(here)}")
    return lines


def _lineage(standing: Standing, bag: Bag) -> list[tuple[int, str, str]]:
    lot = lot_of(bag)
    found = [(1, LOT, lot)] if lot else []
    found += [(n + 1, kind, name) for n, kind, name in standing.forebears(LOT, lot)] if lot else []
    if not any(kind == STRAIN and name == bag.strain for _, kind, name in found):
        found.append((1, STRAIN, bag.strain))
        found += [(n + 1, kind, name) for n, kind, name in standing.forebears(STRAIN, bag.strain)]
    return found


def _places(desk: Desk, code: str) -> list[tuple[float, str, str]]:
    """(since, place, by whom) of every place the bag had."""
    found: list[tuple[float, str, str]] = []
    for version in desk.store.history("bag", code):
        if isinstance(version.now, Bag):
            place = str(place_of(version.now))
            if not found or found[-1][1] != place:
                by = version.act.by if version.act else "the room's folder"
                found.append((version.at_s, place, by))
    return found


def correct(arguments: argparse.Namespace) -> Exit:
    """Fields of one bag as they should have been written."""
    changes = dict(_change(word) for word in arguments.changes)
    with open_desk(arguments) as desk:
        standing = desk.look()
        bag = standing.bag(standing.code(arguments.code))
        new = _changed(bag, changes, desk.settings.room.timezone)
        done = desk.correct(
            [new],
            f"correct {bag.bag} {' '.join(arguments.changes)}",
            {bag.bag: standing.bags[bag.bag].id},
            sure=arguments.sure,
        )
    lines = [f"{bag.bag}: {' '.join(arguments.changes)}" if done else f"{bag.bag} was so already"]
    return answer(arguments, {"corrected": done}, lines)


def _change(word: str) -> tuple[str, str]:
    field, equals, value = word.partition("=")
    if not equals:
        raise BookError(word, "is no correction", "write FIELD=VALUE such as mass_kg=2.3")
    return field, value


def _changed(bag: Bag, changes: dict[str, str], zone: str) -> Bag:
    header = [*dict.fromkeys([*bag_header([bag]), "jar", "load_position"])]
    row = dict(zip(header, map(_text, bag_row(bag, header)), strict=True))
    for field, value in changes.items():
        if field == "place":
            place = parse_place(value)
            row |= {"rack": place.rack, "shelf": _text(place.shelf), "slot": _text(place.slot)}
            continue
        if field not in row or field == "bag":
            hint = suggestion(field, header) or f"fields are place, {', '.join(header[1:])}"
            raise BookError(f"{field}=", "no such field to correct", hint)
        if field == "inoculated":
            continue
        row[field] = value
    try:
        new = bag_of_row(row, any_mass=True)
    except RowError as error:
        raise BookError(bag.bag, str(error), "mend the value") from error
    at_s = parse_moment(changes["inoculated"], zone) if "inoculated" in changes else None
    return without_blanks(replace(new, inoculated_s=bag.inoculated_s if at_s is None else at_s))


def _text(value: object) -> str:
    return "" if value is None else str(value)
