"""The parts of scripts/test: every test belongs to one, and the outcome of each part is reported."""

from pathlib import Path

import pytest

from scripts.checks import PARTS, ROOT, Run, UnknownPartError, chosen, files_of, main, part_of, reported_in


def test_every_file_of_tests_belongs_to_a_part() -> None:
    files = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "tests").rglob("test_*.py"))

    assert [path for path in files if part_of(path) is None] == []
    assert sorted(files_of(PARTS)) == files


@pytest.mark.parametrize("part", [part for part in PARTS if part.tests], ids=lambda part: part.name)
def test_every_pattern_of_a_part_finds_a_file(part: object) -> None:
    patterns = part.tests  # type: ignore[attr-defined]

    assert [pattern for pattern in patterns if not any(ROOT.glob(pattern))] == []


def test_a_browser_test_belongs_to_the_browsers_part_wherever_its_file_is() -> None:
    assert {part.name for path in files_of(chosen(["browser"])) if (part := part_of(path))} == {"browser"}
    assert len(files_of(chosen(["browser"]))) >= 3


def test_parts_run_in_the_order_of_the_table_whatever_the_order_of_their_names() -> None:
    assert [part.name for part in chosen(["api", "style"])] == ["style", "api"]
    assert chosen([]) == list(PARTS)


def test_a_part_that_does_not_exist_is_refused_with_the_nearest_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["style", "strore"]) == 2

    assert "no part is called 'strore'; the nearest is 'store'" in capsys.readouterr().err
    with pytest.raises(UnknownPartError):
        chosen(["--verbose"])


def test_the_list_has_a_sentence_for_each_part(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--list"]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == [part.name for part in PARTS]
    assert all(line.endswith(".") for line in lines)


def test_a_check_that_fails_makes_the_run_fail_and_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    run = Run(parts=chosen(["style"]), arguments=[])
    run._check("style", ("ruff check --select=ALL scripts/checks.py",))

    run._tell(1)

    assert not run.outcomes["style"].is_passed
    assert capsys.readouterr().out.splitlines()[-1] == "==> FAILED: style, in 1 s"


def test_coverage_is_not_measured_if_only_some_of_the_core_is_tested() -> None:
    assert Run(parts=chosen([]), arguments=[]).is_measured
    assert Run(parts=chosen(["domain", "workflows"]), arguments=[]).is_measured
    assert not Run(parts=chosen(["domain", "published"]), arguments=[]).is_measured
    assert not Run(parts=chosen([]), arguments=["-x"]).is_measured


@pytest.mark.parametrize(
    ("written", "status", "outcomes"),
    [
        ("def test_one(): pass", 0, {"domain": (1, True)}),
        ("def test_one(): pass\ndef test_two(): assert False", 1, {"domain": (2, False)}),
        ("", 5, {"pytest, which ended with 5": (0, False)}),
        ("import nothing_of_that_name", 2, {"domain": (1, False)}),
    ],
    ids=["passed", "failed", "no test", "not to be imported"],
)
def test_the_outcome_of_pytest_is_reported_by_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, status: int, outcomes: dict[str, tuple[int, bool]]
) -> None:
    """Run in a separate project with a single test file."""
    file = tmp_path / "tests" / "domain" / "test_it.py"
    file.parent.mkdir(parents=True)
    file.write_text(written)
    monkeypatch.setattr("scripts.checks.ROOT", tmp_path)
    monkeypatch.delenv("PYTEST_ADDOPTS", raising=False)
    run = Run(parts=chosen(["domain"]), arguments=["-p", "no:cacheprovider", "--numprocesses=0"])

    assert run() == (status == 0)

    assert {name: (each.tests, each.is_passed) for name, each in run.outcomes.items()} == outcomes


def test_a_report_that_was_never_written_holds_no_test(tmp_path: Path) -> None:
    assert reported_in(tmp_path / "nothing.xml") == []
