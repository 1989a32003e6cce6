"""The monitor's own numbers at `/metrics`, gathered anew for each who asks."""

from __future__ import annotations

import hmac
import threading
from collections import Counter
from collections.abc import Callable
from itertools import product

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from monitor import __version__
from monitor.clock import Clock
from monitor.errors import BagwattError
from monitor.page.exposition import MEDIA_TYPE, Family, Sample, exposition, one
from monitor.page.latest import Latest
from monitor.settings.schema import Settings
from monitor.settings.schema_metrics import MetricsSettings
from monitor.store import Reader, measures, mirrored, open_reader
from monitor.store.spare import outage
from monitor.values import AlarmKind, Urgency


class Metrics:
    """Answers who may ask. A question of the store that fails is an answer 503, never half."""

    def __init__(self, settings: Settings, clock: Clock, latest: Latest) -> None:
        self._settings = settings
        self._clock = clock
        self._latest = latest
        self._tally = Tally()
        self._one_at_a_time = threading.Lock()

    def routes(self, metrics: MetricsSettings) -> list[Route]:
        """The one address."""

        async def endpoint(request: Request) -> Response:
            if not _may_read(metrics, request.headers.get("authorization", "")):
                text = "Bring the token of page.metrics: `Authorization: Bearer TOKEN`.\n"
                return PlainTextResponse(text, 401, {"www-authenticate": "Bearer"})
            return await run_in_threadpool(self._answer)

        return [Route("/metrics", endpoint)]

    def _answer(self) -> Response:
        try:
            with self._one_at_a_time:
                return Response(exposition(self.families()), media_type=MEDIA_TYPE)
        except (BagwattError, OSError) as error:
            return PlainTextResponse(f"The store can't be read just now: {error}\n", 503)

    def families(self) -> list[Family]:
        """Every number, as of now."""
        path, now_s = self._settings.store.path, self._clock.wall_s()
        failing = outage(path, self._settings.store.spare)
        found = self._of_process(failing is not None)
        with open_reader(path if failing is None else failing.path) as store:
            found += _of_readings(store, self._settings, self._tally, now_s)
            found += _of_judge(store, self._settings, now_s)
            found += _of_messages(store, self._settings, now_s)
        found += _of_mirror(self._settings, now_s)
        return found

    def _of_process(self, failing: bool) -> list[Family]:
        latest, room = self._latest, self._settings.room.name
        commit, real_s = latest.commit, self._clock.real_s
        since_s = None if commit is None else self._clock.monotonic_s() - commit.at_s
        return [
            _gauge("bagwatt_info", "Always 1.", one(1, room=room, version=__version__)),
            _gauge(
                "bagwatt_queue_waiting",
                "Messages that wait to be stored.",
                one(latest.waiting()),
            ),
            _gauge(
                "bagwatt_queue_limit",
                "Messages that may wait to be stored.",
                one(latest.room_for),
            ),
            _gauge(
                "bagwatt_commit_age_seconds",
                "Since readings were committed last.",
                one(None if since_s is None else real_s(since_s)),
            ),
            _gauge(
                "bagwatt_commit_latency_seconds",
                "From the arrival of the oldest message of the last commit to its end.",
                one(None if commit is None else real_s(commit.latency_s)),
            ),
            _gauge(
                "bagwatt_store_failing",
                "1 while the store can't be written and a spare takes its place.",
                one(float(failing)),
            ),
        ]


class Tally:
    """Readings by source since the first question: only what is new is counted each time."""

    def __init__(self) -> None:
        self._last_id: int | None = None
        self._counts: Counter[str] = Counter()

    def look(self, store: Reader) -> Counter[str]:
        """The counts up to now. A store begun anew counts on from its own start."""
        last_id = store.last_reading_id()
        if self._last_id is None:
            self._last_id = last_id
        elif last_id < self._last_id:
            self._last_id = 0
        self._counts.update(measures.readings_by_source(store, self._last_id, last_id))
        self._last_id = last_id
        return self._counts


def _may_read(metrics: MetricsSettings, authorization: str) -> bool:
    if metrics.token is None:  # settings allow it on a page of this machine only
        return True
    kind, _, token = authorization.partition(" ")
    expected = metrics.token.reveal().encode("ascii")
    given = token.strip().encode("utf-8", "replace")
    return hmac.compare_digest(given, expected) and kind.lower() == "bearer"


def _gauge(name: str, text: str, samples: tuple[Sample, ...]) -> Family:
    return Family(name, "gauge", text, samples)


def _counter(name: str, text: str, samples: tuple[Sample, ...]) -> Family:
    return Family(name, "counter", text, samples)


def _of_readings(store: Reader, settings: Settings, tally: Tally, now_s: float) -> list[Family]:
    counts = tally.look(store)
    names = sorted({one.name for one in settings.sources} | set(counts))
    refused = measures.refusals(store)
    heard_s = measures.last_received_s(store)
    return [
        _counter(
            "bagwatt_readings_total",
            "Readings stored since the first question after the start, repeats left out.",
            tuple(Sample(counts[name], {"source": name}) for name in names),
        ),
        _gauge(
            "bagwatt_reading_age_seconds",
            "Since the newest reading came.",
            one(None if heard_s is None else now_s - heard_s),
        ),
        _counter(
            "bagwatt_refused_total",
            "Messages that did not become readings, since the store began.",
            tuple(
                Sample(count, {"source": source, "reason": reason})
                for (source, reason), count in sorted(refused.items())
            ),
        ),
        _gauge("bagwatt_store_bytes", "The store's size.", one(measures.file_bytes(store))),
    ]


def _of_judge(store: Reader, settings: Settings, now_s: float) -> list[Family]:
    last = store.last_frame()
    standing = Counter((one.latest.kind, one.latest.urgency) for one in store.standing())
    house = {one.subject for one in (last.house if last else ()) if one.kind is AlarmKind.HOUSE}
    return [
        _gauge(
            "bagwatt_frame_age_seconds",
            "Since the end of the last frame that was judged.",
            one(None if last is None else now_s - last.end_s),
        ),
        _gauge(
            "bagwatt_frame_lag_seconds",
            "From the end of the last frame to its being judged, grace included.",
            one(None if last is None else last.closed_s - last.end_s),
        ),
        _gauge(
            "bagwatt_source_well",
            "0 where the last frame had something against a source: away, refused, silent.",
            tuple(
                Sample(float(f"source {source.name}" not in house), {"source": source.name})
                for source in settings.sources
            ),
        ),
        _gauge(
            "bagwatt_alarms_standing",
            "Alarms that have not returned to normal.",
            tuple(
                Sample(standing[kind, urgency], {"kind": kind.value, "urgency": urgency.value})
                for kind, urgency in product(AlarmKind, Urgency)
            ),
        ),
    ]


def _of_messages(store: Reader, settings: Settings, now_s: float) -> list[Family]:
    waiting = measures.messages_waiting(store, now_s)
    people = sorted({one.name for one in settings.recipients} | set(waiting))
    nothing = measures.Waiting(0, None)

    def samples(value: Callable[[measures.Waiting], float]) -> tuple[Sample, ...]:
        return tuple(
            Sample(value(waiting.get(name, nothing)), {"recipient": name}) for name in people
        )

    return [
        _gauge(
            "bagwatt_messages_waiting",
            "Messages not delivered yet, those for a later hour too.",
            samples(lambda one: one.count),
        ),
        _gauge(
            "bagwatt_messages_overdue_seconds",
            "Since the oldest undelivered message is due; 0 where none is.",
            samples(lambda one: 0.0 if one.due_since_s is None else now_s - one.due_since_s),
        ),
    ]


def _of_mirror(settings: Settings, now_s: float) -> list[Family]:
    if settings.mirror is None:
        return []
    with open_reader(settings.store.path) as store:
        standing = mirrored.standing(store, settings.mirror.target) or mirrored.Standing(
            mirrored.Place()
        )
        readings, events, since_s = mirrored.behind(store, standing.place)
    waiting = (("readings", readings), ("events", events))
    return [
        _gauge(
            "bagwatt_mirror_waiting",
            "Rows of the store that the mirror's server lacks.",
            tuple(Sample(count, {"of": what}) for what, count in waiting),
        ),
        _gauge(
            "bagwatt_mirror_lag_seconds",
            "Since the oldest reading came that the server lacks; 0 where it has all.",
            one(0.0 if since_s is None else now_s - since_s),
        ),
        _gauge(
            "bagwatt_mirror_failing",
            "1 while nothing moves to the mirror's server.",
            one(float(standing.failing_s is not None)),
        ),
        _counter("bagwatt_mirror_sent_total", "Points the server took.", one(standing.sent)),
        _counter(
            "bagwatt_mirror_refused_total", "Points the server refused.", one(standing.refused)
        ),
        _counter(
            "bagwatt_mirror_lost_total",
            "Readings thrown away before they were copied.",
            one(standing.lost),
        ),
    ]
