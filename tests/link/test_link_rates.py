"""The agreement on a rate: the two machines together on a line that loses, garbles and delays; and each alone."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.link.events import RateGivenUp, RateHolds
from readoff.link.frames import build_message, limit_of, parse_message
from readoff.link.framing import Deframer, Frame, frame
from readoff.link.rates import (
    LADDER,
    PATTERN,
    START,
    TRIALS,
    HostRate,
    RateSeeker,
    divisor_of,
    rate_of,
    slower,
    start_for,
)
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Verdict
from support.simulated_line import Desk, Faults, Line, check_invariant, spool_of

SILENT = limit_of("rate_silent") / 1000
FASTER = [divisor for divisor in LADDER if divisor < START]


def talk(fastest=1, host_fastest=1, faults=None, seed=1, sizes=(20_000, 700), fixed=False):
    spool, desk, receiver = spool_of(sizes), Desk(), Receiver(HostRate(host_fastest))
    line = Line(faults or Faults(), seed)
    line.fixed = fixed
    sender = Sender(7, 8, spool, fastest=fastest)
    events = line.run(sender, receiver, desk)
    check_invariant(sender, spool, desk)
    return sender, receiver, line, events


def test_rates_of_divisors_as_the_handbooks_of_the_uart_have_them():
    """1.8432 MHz / 16 / divisor: manuals of the PC16550D and its like print this table."""
    table = {115200: 1, 57600: 2, 38400: 3, 19200: 6, 9600: 12, 4800: 24, 2400: 48, 1200: 96, 300: 384}
    assert {rate_of(divisor): divisor for divisor in LADDER} == table
    assert all(divisor_of(rate) == divisor for rate, divisor in table.items())
    assert rate_of(START) == 9600


def test_a_good_line_goes_to_the_fastest_that_both_allow():
    for agent, host, expected in [(1, 1, 1), (3, 1, 3), (1, 2, 2), (12, 1, 12), (1, 12, 12), (6, 3, 6)]:
        sender, receiver, _, events = talk(agent, host)
        assert set(sender.verdicts.values()) == {Verdict.KEPT}
        holds = [event.rate for event in events if isinstance(event, RateHolds)]
        assert holds == ([] if expected == START else [rate_of(expected)])
        assert sender.divisor == expected
        assert receiver.divisor == START  # after bye


@pytest.mark.parametrize("count", range(1, 5))
def test_rates_that_garble_everything_are_passed_over(count):
    sender, _, line, _ = talk(faults=Faults(garbles=frozenset(FASTER[:count])))
    assert set(sender.verdicts.values()) == {Verdict.KEPT}
    assert sender.divisor == [*FASTER, START][count]
    sending = 21_500 / (11_520 / sender.divisor)
    assert line.now < sending + 2.0 * count + 1  # each failure costs less than two seconds


def test_a_host_whose_port_keeps_its_rate_is_served_at_the_start_rate():
    sender, _, line, _ = talk(fixed=True)
    assert set(sender.verdicts.values()) == {Verdict.KEPT}
    assert (sender.divisor, line.divisors["host"]) == (START, START)


@pytest.mark.parametrize("after", [0.5, 0.9, 1.5, 2.5])
def test_a_rate_that_goes_bad_in_mid_record_is_left(after):
    """Falls back by itself, step by step; the record goes on where it was."""
    sender, _, line, _ = talk(faults=Faults(goes_bad=after), sizes=(40_000,))
    assert set(sender.verdicts.values()) == {Verdict.KEPT}
    assert sender.divisor == START
    assert line.now < 60 + 4 * (2 * SILENT)


def test_a_line_that_garbles_one_bit_in_a_thousand_is_slowed_down():
    sender, *_ = talk(faults=Faults(flip=1e-3), sizes=(4000,))
    assert sender.divisor > 1


def test_a_line_that_garbles_one_bit_in_a_hundred_thousand_is_not():
    sender, *_ = talk(faults=Faults(flip=1e-5), sizes=(60_000,))
    assert sender.divisor == 1


rates = st.sampled_from(LADDER[:5])


ends = st.tuples(rates, rates)
bad_lines = st.builds(
    Faults,
    lose=st.sampled_from([0.0, 0.02, 0.1, 0.3]),
    flip=st.sampled_from([0.0, 1e-5, 1e-4, 1e-3]),
    delay=st.sampled_from([0.0, 0.016, 0.1]),
    garbles=st.frozensets(st.sampled_from(FASTER)),
    goes_bad=st.sampled_from([float("inf"), 0.4, 1.0, 3.0]),
)


@settings(max_examples=200, deadline=None)
@given(ends, bad_lines, st.booleans(), st.integers(0, 2**32))
def test_no_side_is_ever_left_alone(fastest, faults, fixed, seed):
    """Whatever the line does: it ends, nothing told kept is lost, and after silence both are at the start rate; then,
    once frames come through, all records do.
    """
    agent, host = fastest
    spool, desk, receiver = spool_of([3000, 200]), Desk(), Receiver(HostRate(host))
    line = Line(faults, seed)
    line.fixed = fixed
    sender = Sender(7, 8, spool, fastest=agent)
    line.run(sender, receiver, desk)
    check_invariant(sender, spool, desk)
    receiver.passed(line.now + SILENT)
    assert receiver.divisor == start_for(host)
    again = Sender(7, 8, [each for each in spool if sender.verdicts[each.id] is not Verdict.KEPT])
    healed = Line(Faults(garbles=faults.garbles, delay=faults.delay), seed)
    healed.fixed = fixed
    healed.now = line.now + SILENT
    healed.run(again, receiver, desk, longest=healed.now + 10_000)
    assert set(again.verdicts.values()) <= {Verdict.KEPT}


@settings(max_examples=200, deadline=None)
@given(
    st.integers(1, 12),
    st.lists(
        st.tuples(st.integers(0, 65535), st.sampled_from("rate trial offer noise pass".split())), max_size=30
    ),
    st.floats(0, 2),
)
def test_a_host_that_hears_nothing_goes_back_whatever_came_before(fastest, happened, step):
    host, now = HostRate(fastest), 0.0
    for divisor, what in happened:
        now += step
        host.passed(now)
        if what == "rate":
            answer = host.asked(divisor, now)
            assert host.fastest <= answer <= host.start
        elif what == "noise":
            host.noise()
        elif what != "pass":
            host.sound(what, now)
        assert host.fastest <= host.divisor <= host.start
    host.passed(now + SILENT)
    assert host.divisor == host.start


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(LADDER), st.integers(0, 2**32))
def test_an_agent_without_answers_settles_at_the_start_rate(fastest, seed):
    """Every sequence of calls in which the host says nothing but a welcome ends, at the start rate, by itself."""
    seeker, now, sent = RateSeeker(fastest), 0.0, 0
    for _ in range(60):
        if seeker.state == "greeting":
            seeker.welcomed(now)
        sent += bool(seeker.to_send(now))
        now += 0.2 + seed % 7 / 10
    assert seeker.settled
    assert seeker.divisor == start_for(fastest)
    assert sent <= 5


def test_agreed_but_unheard_costs_one_step_each():
    seeker, now, tried = RateSeeker(1), 0.0, []
    while not seeker.settled:
        if seeker.state == "greeting":
            seeker.welcomed(now)
        payload = seeker.to_send(now)
        if payload and parse_message(payload).kind == "rate":
            divisor = parse_message(payload).values["divisor"]
            tried.append(divisor)
            seeker.hear(parse_message(build_message("agreed", divisor=divisor)), now)
        now += 0.05
    assert tried == FASTER
    assert seeker.divisor == START


@pytest.mark.parametrize(
    ("fastest", "expected"), [(1, ["offer", "data", "data", "data"]), (START, ["offer"])]
)
def test_at_a_fast_rate_pieces_follow_the_offer_unasked(fastest, expected):
    """At the start rate they wait for the answer: a piece in vain would cost a second there."""
    sender, receiver = Sender(7, 8, spool_of([3000]), fastest=fastest), Receiver(HostRate(1))
    now, kinds = 0.0, []
    while "offer" not in kinds:
        now += 0.2
        kinds = kinds_at(sender, receiver, now)
        sender.receive(receiver.to_send(), now)
    assert kinds == expected


def kinds_at(sender, receiver, now):
    """The kinds of the frames that go out at once."""
    kinds = []
    for octets in iter(lambda: sender.to_send(now), b""):
        receiver.receive(octets, now)
        kinds += [parse_message(item.payload).kind for item in Deframer(1100).feed(octets)]
    return kinds


def test_an_answer_that_is_no_answer_is_not_taken():
    seeker = RateSeeker(3)
    seeker.welcomed(0.0)
    seeker.to_send(0.0)
    seeker.hear(parse_message(build_message("agreed", divisor=1)), 0.0)  # faster than was asked for
    assert seeker.settled and seeker.divisor == START
    seeker = RateSeeker(3)
    seeker.welcomed(0.0)
    seeker.to_send(0.0)
    seeker.hear(parse_message(build_message("agreed", divisor=3)), 0.0)
    for number in range(1, TRIALS + 1):
        assert seeker.to_send(number * 1.0)
        seeker.hear(parse_message(build_message("heard", number=number, octets=PATTERN[:-1] + b"!")), 0.0)
        seeker.hear(parse_message(build_message("heard", number=number + 1, octets=PATTERN)), 0.0)
    assert seeker.to_send(99.0) == b""
    assert (seeker.state, seeker.fastest) == ("greeting", slower(3))


def test_what_the_host_says_to_the_frames():
    receiver = Receiver(HostRate(2))
    receiver.receive(frame(build_message("rate", divisor=1)), 1.0)
    (answer,) = [item for item in Deframer(1100).feed(receiver.to_send()) if isinstance(item, Frame)]
    assert parse_message(answer.payload).values == {"divisor": 2}
    assert receiver.divisor == 2
    receiver.receive(frame(build_message("trial", number=9, octets=PATTERN * 3)), 1.2)
    (answer,) = [item for item in Deframer(1100).feed(receiver.to_send()) if isinstance(item, Frame)]
    assert parse_message(answer.payload).values == {"number": 9, "octets": PATTERN}
    assert receiver.passed(2.1) == []
    assert receiver.passed(2.3) == [RateGivenUp(57600)]
    assert receiver.divisor == START
    receiver.rate.stay()
    receiver.receive(frame(build_message("rate", divisor=1)), 3.0)
    assert receiver.divisor == START
