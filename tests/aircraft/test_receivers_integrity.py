"""What receivers say of foreign signals holds only as long as they go on saying it (GNSS_INTEGRITY)."""

from __future__ import annotations

from watchkeeper.aircraft.receivers import MOST_RECEIVERS, Receivers

S = 1_000_000
OK, DETECTED = 1, 3


def test_one_that_fell_silent_speaks_no_longer() -> None:
    receivers = Receivers()
    assert receivers.take_integrity(1, DETECTED, OK, 0) == (DETECTED, OK)
    assert receivers.take_integrity(0, OK, OK, 10 * S) == (DETECTED, OK)
    assert receivers.take_integrity(0, OK, OK, 40 * S) == (OK, OK)


def test_made_up_ones_do_not_keep_a_real_one_out_for_ever() -> None:
    receivers = Receivers()
    for number in range(10, 10 + 3 * MOST_RECEIVERS):
        receivers.take_integrity(number, OK, OK, 0)
    assert receivers.take_integrity(0, DETECTED, OK, 40 * S) == (DETECTED, OK)
