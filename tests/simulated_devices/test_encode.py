import pytest

from simulated_devices import Refused
from simulated_devices.encode import digits_for, encoder, xor_checksum
from simulated_devices.rod import Sample


def test_checksum_agrees_with_the_published_nmea_example() -> None:
    # Widely published NMEA 0183 example sentence, checksum 47.
    body = "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    assert xor_checksum(body) == "47"


def test_sentences_as_the_contract_has_them() -> None:
    write = encoder("sentence")
    assert write(Sample(0.0, 7, 57.2, "V")).startswith(b"$U0HGT,7,57.2,mm,V*")
    assert write(Sample(0.0, 65535, None, "N")).startswith(b"$U0HGT,65535,,mm,N*")
    assert write(Sample(0.0, 7, None, "B")).startswith(b"$U0HGT,7,,mm,B*")
    line = write(Sample(0.0, 1, 57.0, "L"))
    assert line.endswith(b"*%s\r\n" % xor_checksum("U0HGT,1,57.0,mm,L").encode())
    inches = encoder("sentence", unit="in", resolution_mm=0.254)
    assert inches(Sample(0.0, 1, 57.15, "V")).startswith(b"$U0HGT,1,2.25,in,V*")


def test_bare_numbers_and_offsets() -> None:
    assert encoder("decimal-mm")(Sample(0.0, 1, 57.0)) == b"57.0\r\n"
    assert encoder("decimal-in", resolution_mm=25.4 / 16)(Sample(0.0, 1, 57.15)) == b"2.2500\r\n"
    offset = encoder("offset-mm", clamp_mm=60.0)
    assert offset(Sample(0.0, 1, 57.0)) == b"-3.0\r\n"
    assert offset(Sample(0.0, 1, 60.0)) == b"+0.0\r\n"
    assert offset(Sample(0.0, 1, 61.5)) == b"+1.5\r\n"
    for profile in ("decimal-mm", "decimal-in", "offset-mm"):
        assert encoder(profile)(Sample(0.0, 1, None, "N")) == b"---\r\n"


def test_as_many_digits_as_a_step_needs() -> None:
    assert [digits_for(step, "mm") for step in (1.0, 0.5, 0.1, 0.01, 1.5875)] == [0, 1, 1, 2, 4]
    assert [digits_for(step, "in") for step in (25.4 / 16, 0.254, 0.127)] == [4, 2, 3]


def test_an_unknown_profile_is_refused() -> None:
    with pytest.raises(Refused, match="sentence"):
        encoder("morse")
