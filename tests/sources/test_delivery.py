"""Acknowledgement order, the backlog after a connection, and keys of deliveries."""

from __future__ import annotations

from monitor.sources.delivery import LULL_S, AckWindow, Backlog, delivery_key


def test_acknowledgements_go_out_in_order_of_arrival() -> None:
    window = AckWindow()
    for mid in (7, 8, 9):
        window.received(mid)
    assert window.done(9) == []
    assert window.done(7) == [7]
    assert window.done(8) == [8, 9]
    assert len(window) == 0


def test_an_unknown_acknowledgement_frees_nothing() -> None:
    window = AckWindow()
    window.received(1)
    assert window.done(5) == []
    assert window.done(1) == [1]


def test_messages_are_late_until_the_own_pulse_is_back() -> None:
    backlog = Backlog(session_present=True, pulse=b"now", now_s=0.0)
    assert backlog.message_came(0, 0.1)
    backlog.pulse_came(b"of an earlier connection")
    assert backlog.message_came(0, 0.2)
    backlog.pulse_came(b"now")
    assert not backlog.message_came(0, 0.3)


def test_messages_are_not_late_when_the_broker_kept_no_session() -> None:
    assert not Backlog(session_present=False, pulse=b"now", now_s=0.0).message_came(0, 0.0)


def test_a_lull_ends_the_backlog_only_when_nothing_waits_to_be_acknowledged() -> None:
    backlog = Backlog(session_present=True, pulse=b"now", now_s=0.0)
    assert backlog.message_came(1, LULL_S + 1)  # we were slow, not the broker empty
    backlog.acknowledged(LULL_S + 2)
    assert backlog.message_came(0, LULL_S + 2.1)
    assert not backlog.message_came(0, 2 * LULL_S + 3)


def test_a_pulse_is_overdue_only_while_it_is_out() -> None:
    backlog = Backlog(session_present=True, pulse=b"now", now_s=0.0)
    assert not backlog.pulse_overdue(89.0, 90.0)
    assert backlog.pulse_overdue(91.0, 90.0)
    backlog.pulse_came(b"now")
    assert not backlog.pulse_overdue(91.0, 90.0)


def test_a_key_tells_a_repeat_from_an_equal_reading() -> None:
    key = delivery_key("s1", 5, "barn/p1", b"21.5")
    assert key == delivery_key("s1", 5, "barn/p1", b"21.5")
    others = {
        delivery_key("s1", 6, "barn/p1", b"21.5"),
        delivery_key("s2", 5, "barn/p1", b"21.5"),
        delivery_key("s1", 5, "barn/p2", b"21.5"),
        delivery_key("s1", 5, "barn/p1", b"21.6"),
        delivery_key("s1", 5, "barn/p12", b"1.5"),
    }
    assert key not in others
    assert len(others) == 5
