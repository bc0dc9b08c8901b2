"""pugmill register: what it says about what looks wrong."""

from pathlib import Path

import flask
import pytest

from tests.support.contract import Contract
from tests.support.demo import DEMO, end_of, new_demo

TAX = """
taxes:
  vat:
    facts: { name: VAT 21 % }
    rates:
      2026-01-01: { rate_share: 0.19 }
"""


def test_prints_a_warning_under_what_it_is_about(
    app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "workshop.yaml"
    path.write_text(TAX)

    ended = end_of(new_demo(app, contract), capsys, "register", str(path))

    assert ended.status == 0, ended.err
    warning, last = ended.out.splitlines()
    assert warning.startswith("taxes/vat/rates/2026-01-01: Warning: The tax 'VAT 21 %' is called by another percentage")
    assert last == f"{path} is registered: 2 entries, 2 of them new."


def test_finds_nothing_wrong_with_the_demo(
    app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str]
) -> None:
    ended = end_of(new_demo(app, contract), capsys, "register", str(DEMO / "workshop.yaml"))

    assert ended.status == 0, ended.err
    assert "Warning" not in ended.out
