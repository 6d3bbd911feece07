"""Readings and acts come back as they went in, in the order in which they came."""

import pytest

from rig.errors import BadInput
from rig.job import Job, StoredEvent, StoredReading
from tests.job.conftest import begin, raws


def test_messages_replay_in_order_across_flushes_and_sessions(job: Job, path: str) -> None:
    first, second = begin(job), begin(job, "2")
    expected: dict[int, list[tuple[str, object]]] = {first: [], second: []}
    for n in range(60):
        session = second if n % 5 == 0 else first
        if n % 3 == 0:
            job.log_event(session, float(n), 1.7e9, "act", {"n": n})
            expected[session].append(("event", n))
        else:
            job.log_reading(session, float(n), 1.7e9, f"r{n}", n / 3, "valid", n)
            expected[session].append(("reading", f"r{n}"))
        if n % 7 == 0:
            job.flush()
    job.close()
    with Job.open(path) as reader:
        for session, messages in expected.items():
            got = [
                (m.what, m.raw if isinstance(m, StoredReading) else m.data["n"])
                for m in reader.stored_messages(session)
            ]
            assert got == messages


def test_a_reading_comes_back_to_the_bit(job: Job, session: int) -> None:
    raw = "\xff\x00\xa0 ° $U0HGT,1,,mm,N*12"
    value = 0.1 + 0.2
    reading = job.log_reading(session, 1 / 3, 1.7e9 + 1 / 3, raw, value, "valid", 65535)
    job.log_reading(session, 2.0, 1.7e9, "\xa0", None, "bad", None)
    first, second = job.stored_messages(session)
    assert first == StoredReading(
        "reading", 1 / 3, 1.7e9 + 1 / 3, raw, value, "valid", 65535, reading
    )
    assert isinstance(second, StoredReading)
    assert second.value_mm is None


def test_an_event_is_kept_as_it_was_when_logged(job: Job, session: int) -> None:
    data = {"label": "A1", "gap": [1.5, None]}
    job.log_event(session, 1.0, 1.7e9, "armed", data)
    data["label"] = "changed later"
    (event,) = job.stored_messages(session)
    assert event == StoredEvent(
        "event", 1.0, "armed", {"label": "A1", "gap": [1.5, None]}, 1.7e9, 1
    )


def test_ids_are_given_at_once_and_go_on_after_reopening(job: Job, path: str, session: int) -> None:
    assert [job.log_reading(session, 0.0, 1.7e9, "", None, "bad", None) for _ in "abc"] == [1, 2, 3]
    assert job.log_event(session, 0.0, 1.7e9, "act", {}) == 1
    job.close()
    with Job.open(path, write=True) as job:
        assert job.log_reading(session, 0.0, 1.7e9, "", None, "bad", None) == 4
        assert job.log_event(session, 0.0, 1.7e9, "act", {}) == 2


@pytest.mark.parametrize(
    ("time_s", "raw", "value_mm", "seq"),
    [
        (float("nan"), "x", 1.0, 1),
        (1.0, "x", float("inf"), 1),
        (1.0, "\ud800", 1.0, 1),
        (1.0, "x", 1.0, 2**63),
    ],
)
def test_what_cannot_be_kept_is_refused_before_it_spoils_the_rest(
    job: Job, session: int, time_s: float, raw: str, value_mm: float, seq: int
) -> None:
    job.log_reading(session, 1.0, 1.7e9, "good", 1.0, "valid", 1)
    with pytest.raises(BadInput):
        job.log_reading(session, time_s, 1.7e9, raw, value_mm, "valid", seq)
    with pytest.raises(BadInput):
        job.log_reading(99, 1.0, 1.7e9, "x", 1.0, "valid", 1)
    with pytest.raises(BadInput):
        job.log_event(session, 1.0, 1.7e9, "act", {"value": float("nan")})
    job.flush()
    assert raws(job.stored_messages(session)) == ["good"]


def test_a_device_that_talks_without_end_does_not_fill_the_memory(job: Job, session: int) -> None:
    for n in range(10_500):
        job.log_reading(session, n / 100, 1.7e9, "r", 1.0, "valid", None)
    assert len(job._log) <= 10_000
    assert sum(1 for _ in job.stored_messages(session)) == 10_500


def test_a_session_keeps_how_it_was_read(job: Job, path: str) -> None:
    capture = {"dwell_s": 1.0, "still_mm": 0.5, "points": [["A1", 1.0, 2.0]], "rock": False}
    job.start_session(
        "survey", "after lunch", "/dev/ttyUSB0", 'text = "rod"\n', capture, "b", 5.0, monotonic_s=7
    )
    assert job.last_setup() == "after lunch"
    job.close()
    with Job.open(path) as reader:
        (session,) = reader.sessions()
    assert (session.kind, session.setup, session.source) == (
        "survey",
        "after lunch",
        "/dev/ttyUSB0",
    )
    assert (session.profile_text, session.capture) == ('text = "rod"\n', capture)
    assert (session.boot_id, session.utc_s, session.monotonic_s) == ("b", 5.0, 7.0)


def test_setups_are_told_in_the_order_they_were_met(job: Job) -> None:
    assert job.setups() == []
    assert job.last_setup() is None
    for name in ("east", "west", "east"):
        begin(job, name)
    assert job.setups() == ["east", "west"]
    assert job.last_setup() == "east"
