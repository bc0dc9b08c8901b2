"""The pages of the documentation are correct: commands work as written, and links and file names exist."""

import itertools
import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path

import flask
import pytest
import yaml
from click.testing import CliRunner

from service.cli import main
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, SCRIPTS, loaded_demo, run_command
from tests.support.pages import ROOT, Block, Page, pages
from tests.support.typed import Desk

PAGES = pages()
WIDEST = 120
NOT_RUN = {
    "scripts/start": "they set up and start everything: CI runs each, on a clean checkout",
    "scripts/test": "the same",
    "pugmill serve": "it runs until it is stopped: tests/serving starts it",
    "cd /srv/pugmill": "it changes the machine",
    "systemctl": "it changes the machine",
    "podman": "there need be no podman: tests/project/test_deployment.py reads the container file",
    "pg_dump": "it needs PostgreSQL: tests/store/test_backups_under_load.py runs both programs",
}
"""The beginnings of blocks that are not run here, and why."""
NEEDED_DAY = "2026-11-23"
"""Exchange rates of this day are valid on the dates used in the pages, whatever today's date is."""
NAMED_BY_ITS_FILE = re.compile(r"[\w./*-]+\.(py|md|po|toml|lock|yaml)(::\w+)?")

any_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)


def is_run(block: Block) -> bool:
    return not block.text.startswith(tuple(NOT_RUN))


def shell_blocks(page: Page) -> list[Block]:
    return [block for block in page.blocks if block.language == "sh"]


@pytest.fixture
def demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop in the state after scripts/start."""
    client = loaded_demo(app, contract)
    described = yaml.safe_load((DEMO / "workshop.yaml").read_text())
    assert client.put(f"exchange-rates/{NEEDED_DAY}", described["exchange-rates"]["today"]).status_code in (200, 201)
    run_command(client, "reprice")
    return client


def furnish(directory: Path, page: Page, key: str) -> None:
    """Fill a directory like the root of the project after scripts/start, with the files that the page shows."""
    (directory / "scripts").symlink_to(SCRIPTS)
    (directory / "var").mkdir()
    (directory / "var" / "demo.key").write_text(key)
    for block in page.blocks:
        if block.language == "csv":
            name = "rates.csv" if block.text.startswith("resource,") else "materials.csv"
            (directory / name).write_text(block.text)
        elif block.language == "yaml" and (named := re.match(r"# ([\w.]+\.yaml)\n", block.text)):
            (directory / named[1]).write_text(block.text)


@pytest.mark.parametrize("page", [page for page in PAGES if shell_blocks(page)], ids=lambda page: page.name)
def test_the_commands_of_a_page_work_one_after_the_other_as_they_are_written(
    page: Page, demo: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnish(tmp_path, page, demo.key)
    monkeypatch.chdir(tmp_path)
    script = "\n".join(block.text for block in shell_blocks(page) if is_run(block))

    done = Desk(client=demo, directory=tmp_path).run(script)

    assert done.returncode == 0, done.stderr[-3000:]


class TestBlocksThatAreNotRun:
    def test_each_occurs_in_a_page(self) -> None:
        begun = [block.text for page in PAGES for block in shell_blocks(page) if not is_run(block)]

        assert [begin for begin in NOT_RUN if not any(text.startswith(begin) for text in begun)] == []

    def test_are_valid_shell(self) -> None:
        for block in [block for page in PAGES for block in shell_blocks(page) if not is_run(block)]:
            read = subprocess.run(["bash", "-n"], input=block.text, text=True, capture_output=True, check=False)
            assert read.returncode == 0, read.stderr


def command_lines(text: str) -> Iterator[list[str]]:
    """The words after `pugmill` in every line that runs it, including placeholders."""
    joined = text.replace("\\\n", " ")
    for found in re.finditer(r"(?:^|(?<!-u)[ /(])pugmill ((?!pugmill)[a-z].*)", joined, re.MULTILINE):
        words = shlex.split(found[1].replace("[", "").replace("]", ""), comments=True)
        yield list(itertools.takewhile(lambda word: word not in ("&&", "|", ">", ">/dev/null", "…"), words))


@any_page
def test_every_command_of_pugmill_that_is_named_is_one(page: Page) -> None:
    texts = [block.text for block in page.blocks if block.language in ("sh", "cron", "ini")] + page.spans
    refused = {}
    for words in itertools.chain.from_iterable(map(command_lines, texts)):
        result = CliRunner().invoke(main, [*words, "--help"])
        if result.exit_code:
            refused[" ".join(words)] = result.output

    assert refused == {}


class TestLinks:
    @any_page
    def test_every_link_leads_somewhere(self, page: Page) -> None:
        lost = []
        for target in re.findall(r"\]\(([^)]+)\)", page.prose):
            name, _, heading = target.partition("#")
            linked = (page.path.parent / name).resolve() if name else page.path
            is_there = linked.exists()
            if is_there and heading:
                is_there = heading in Page(linked.relative_to(ROOT).as_posix()).headings
            if not is_there and "://" not in target:
                lost.append(target)

        assert lost == []

    @any_page
    def test_every_file_that_is_named_is_there(self, page: Page) -> None:
        folders = {path.name for path in ROOT.iterdir() if path.is_dir()}
        lost = []
        for span in page.spans:
            name = span.partition("::")[0]
            is_a_path = name.partition("/")[0] in folders - {"var"} and " " not in name
            if is_a_path or NAMED_BY_ITS_FILE.fullmatch(span):
                found = [each for place in (ROOT, page.path.parent) for each in place.glob(name.rstrip("/"))]
                if not found:
                    lost.append(span)

        assert lost == []


@any_page
def test_lines_of_prose_are_no_longer_than_a_line_of_code(page: Page) -> None:
    long = [line for line in page.prose.splitlines() if len(line) > WIDEST and not line.startswith("|")]

    assert long == []


@pytest.mark.parametrize(("name", "most"), [("README.md", 220), ("DEVELOPERS.md", 260)])
def test_the_first_pages_stay_short(name: str, most: int) -> None:
    assert len(Page(name).text.splitlines()) <= most
