"""What is said over one connection: first the claim, and what stands of our room is found; then,
while the name is ours, what the room shows."""

from __future__ import annotations

from monitor.neighbours.board import EMPTY, MOST_IN_FLIGHT, Board
from monitor.neighbours.claims import Claims, Place
from monitor.neighbours.line import Answered, Came, Down, Event, Granted, Line, Up
from monitor.neighbours.topics import Part, Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import to_json

#: So long a broker may take to answer the first time [s of life].
ANSWER_LIMIT_S = 10.0
#: What is answered after so many intervals or not at all shows a dead connection.
_INTERVALS = 3.0
#: A broker hands out what it keeps in one go: it has told all once it is quiet for so long.
QUIET_S = 0.3
#: Left free for claims, of what a broker takes at once.
_SPARED = 2
_GOODBYE_S, _GOODBYE_EVENTS = 1.0, 20


class CutOffError(Exception):
    """The line is of no more use: why, and whether waiting helps."""

    def __init__(self, detail: str, refused: bool = False) -> None:
        self.detail = detail
        self.refused = refused
        super().__init__(detail)


class Talk:
    """Turned by its owner's thread, with the time on a steady clock [s of life]."""

    def __init__(
        self, line: Line, topics: Topics, claims: Claims, board: Board, now_s: float
    ) -> None:
        self._line = line
        self._topics = topics
        self._claims = claims
        self._board = board
        self._room = claims.own.room
        self._began_s = now_s
        self._subscribed = False
        self._finding = False
        self._refusals: dict[str, str] = {}
        self._most = 1
        self._claim_number: int | None = None
        self._out: dict[int, float] = {}  # number: when it was sent
        board.seek()

    @property
    def settled(self) -> bool:
        """Whether it is known whose the name is."""
        return self._subscribed and self._claims.place is not Place.LISTENING

    def problem(self, now_s: float) -> str:
        """What is wrong although the connection stands; empty where nothing is."""
        where, allow = self._line.where, f"let this login read and write {self._topics.prefix}/#"
        for topic, why in (self._refusals | self._board.refused).items():
            return f"{where} refuses {topic}: {why}; {allow}"
        if self._subscribed and self._claims.deaf(now_s):
            return f"{where} does not give back our claim to {self._room}; {allow}"
        return ""

    def turn(self, event: Event | None, now_s: float) -> None:
        """Take what happened, say what is due. Raises CutOffError."""
        self._take(event, now_s)
        self._look_for_death(now_s)
        if not self._subscribed:
            return
        self._find(now_s)
        place = self._claims.look(now_s)
        if place is Place.LISTENING and not self._finding:  # the one before us is gone
            self._began_s = now_s
            self._seek()
        elif place is not Place.LISTENING and self._finding:
            self._found()
        self._say_claims(now_s)
        if place is Place.HOLDING:
            self._show(now_s)

    def _show(self, now_s: float) -> None:
        """Send of what the room shows as much as the broker takes at once."""
        while len(self._out) < self._most and (post := self._board.next()) is not None:
            self._board.sent(self._send(post.topic, post.payload, post.keep, now_s), post)

    def goodbye(self, now_s: float) -> None:
        """Take our claim away and leave."""
        if not self._subscribed or self._claims.place is Place.ASIDE:
            self._line.leave()
            return
        topic = self._topics.claim(self._room, self._claims.own.instance)
        number = self._send(topic, EMPTY, True, now_s)
        for _ in range(_GOODBYE_EVENTS):
            event = self._line.next(_GOODBYE_S / _GOODBYE_EVENTS)
            if isinstance(event, Down) or (isinstance(event, Answered) and event.number == number):
                break
        self._line.leave()

    def _take(self, event: Event | None, now_s: float) -> None:
        match event:
            case Up(takes):
                self._began_s = now_s
                self._most = max(1, min(takes, MOST_IN_FLIGHT) - _SPARED)
                self._claims.begin(now_s)
                self._seek()
            case Granted(refusal):
                self._refused(f"to tell of {self._topics.prefix}", refusal)
                if not self._subscribed:
                    self._subscribed = True
                    self._claims.listen(now_s)
            case Came(topic, payload, kept):
                told = self._topics.parse(topic)
                if told is not None and told.part is Part.CLAIM:
                    self._claims.came(told.name, payload, kept, now_s)
            case Answered(number, refusal):
                self._out.pop(number, None)
                self._board.answered(number, refusal)
                if number == self._claim_number:
                    self._refused("our claim", refusal)
            case Down(detail, refused):
                raise CutOffError(detail, refused)

    def _refused(self, what: str, why: str) -> None:
        """Note a refusal, or that there is none any more."""
        self._refusals.pop(what, None)
        if why:
            self._refusals[what] = why

    def _look_for_death(self, now_s: float) -> None:
        where = self._line.where
        if self._line.overflowed:
            raise CutOffError(f"{where} sends more than can be read")
        if not self._subscribed and now_s - self._began_s > ANSWER_LIMIT_S:
            raise CutOffError(f"{where} does not answer")
        oldest_s = min(self._out.values(), default=now_s)
        if now_s - oldest_s > _INTERVALS * self._claims.own.keepalive_s:
            raise CutOffError(f"{where} has answered nothing for {now_s - oldest_s:.0f} s")

    def _filters(self) -> list[str]:
        """What stands on the broker of our room."""
        named = [self._topics.named_of(self._room, part) for part in (Part.ALARM, Part.BAG)]
        return [self._topics.summary(self._room), *named]

    def _seek(self) -> None:
        """Ask for all claims to our name, and for all that stands of our room."""
        self._board.seek()
        self._line.found.clear()
        self._finding = True
        kept = [(one, 0) for one in self._filters()]
        self._line.subscribe([(self._topics.named_of(self._room, Part.CLAIM), 1), *kept])

    def _find(self, now_s: float) -> None:
        """Take what was found; the broker is listened to until it is quiet."""
        while self._line.found:
            came = self._line.found.popleft()
            if self._finding:
                self._board.found(came.topic, came.payload)
                self._claims.hears(now_s, QUIET_S)

    def _found(self) -> None:
        self._finding = False
        self._line.unsubscribe(self._filters())
        if self._claims.place is Place.HOLDING:
            self._board.begin()
        else:
            self._board.seek()

    def _say_claims(self, now_s: float) -> None:
        own = self._claims.own
        if self._claims.tells(now_s):
            topic = self._topics.claim(self._room, own.instance)
            self._claim_number = self._send(topic, to_json(RoomClaim, own), True, now_s)
        for instance in self._claims.empties():
            self._send(self._topics.claim(self._room, instance), EMPTY, True, now_s)

    def _send(self, topic: str, payload: bytes, keep: bool, now_s: float) -> int:
        number = self._line.publish(topic, payload, keep)
        self._out[number] = now_s
        return number
