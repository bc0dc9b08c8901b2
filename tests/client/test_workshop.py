"""The command that sets what the workshop's papers say of it."""

from base64 import b64decode
from pathlib import Path

import pytest

from tests.conftest import Client
from tests.support.builders import LOGO
from tests.support.demo import end_of

SET = "workshop set"
IBAN = "IE10 PLNK 9999 0000 0012 34"


def test_changes_what_is_named_and_leaves_the_rest(
    client: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    logo, terms = tmp_path / "logo.svg", tmp_path / "terms.txt"
    logo.write_bytes(b64decode(LOGO))
    terms.write_bytes(b"\xef\xbb\xbfGoods stay ours\r\nuntil they are paid for.\r\n")
    end_of(client, capsys, SET, "--street", "1 Kiln Lane\\nThe yard", "--country", "AT", "--iban", IBAN)

    ended = end_of(client, capsys, SET, "--logo", str(logo), "--terms", str(terms), "--bic", "PLNKIE2D")

    found = client.get("workshop").json
    assert ended.status == 0
    assert (found["name"], found["logo"]) == (client.workshop.name, LOGO)
    assert found["address"] == {**found["address"], "street": "1 Kiln Lane\nThe yard", "country": "AT"}
    assert found["account"] == {"iban": IBAN, "bic": "PLNKIE2D", "holder": ""}
    assert found["terms"] == "Goods stay ours\nuntil they are paid for."
    assert f"iban            {IBAN}" in ended.out
    assert f"logo            a picture of {len(b64decode(LOGO))} bytes" in ended.out


def test_takes_off_what_is_empty_and_without_options_only_shows(
    client: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    end_of(client, capsys, SET, "--country", "AT", "--iban", IBAN, "--telephone", "+43 1 555 01")

    end_of(client, capsys, SET, "--country", "", "--iban", "", "--telephone", "", "--logo", "")
    shown = end_of(client, capsys, SET)

    found = client.get("workshop").json
    assert (found["address"]["country"], found["account"], found["telephone"]) == (None, None, "")
    assert [line.split()[0] for line in shown.out.splitlines()] == ["name", "street", "Marrow", "locale", "time"]


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--iban", "IE11 PLNK 9999 0000 0012 34"), "/account/iban: is no IBAN"),
        (("--logo", "{there}"), "/logo: must be a PNG, or an SVG in UTF-8"),
        (("--logo", "{there}.no"), "cannot be read: No such file"),
        (("--logo", "{there}.long"), "is longer than 100,000 bytes; make the picture smaller"),
        (("--terms", "{there}"), "is not a text in UTF-8"),
    ],
)
def test_says_what_is_wrong_and_changes_nothing(
    client: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, options: tuple[str, str], told: str
) -> None:
    there = tmp_path / "there"
    there.write_bytes(b"\xff")
    there.with_suffix(".long").write_bytes(b"\xff" * 100_001)

    ended = end_of(client, capsys, SET, *(each.format(there=there) for each in options))

    assert ended.status == 1
    assert told in ended.err
    assert client.get("workshop").headers["ETag"].endswith('-0"')
