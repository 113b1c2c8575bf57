"""The list of what is not used: every row, with what stood there, safe for a spreadsheet."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.ingest.set_aside import safe
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def downloaded(client: TestClient, slug: str, number: int) -> list[dict[str, str]]:
    answer = client.get(f"/api/sites/{slug}/uploads/{number}/set-aside.csv")
    assert answer.status_code == 200, answer.text
    assert "attachment" in answer.headers["content-disposition"]
    return list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))


def test_every_row_is_listed_with_file_line_column_value_and_reason(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    lines = tidy_log(hours=24 * 12).splitlines()
    cells = lines[1].split(",")
    lines[1] = ",".join([cells[0], "8O.5", *cells[2:]])
    for number in range(200, 1700):  # more than a report lists
        lines[number] = "=SUM(A1)" + lines[number][lines[number].index(",") :]
    number = back.hand_in(slug, "\n".join(lines), "log.csv")
    back.worker().work_all()
    rows = downloaded(client, slug, number)
    assert len(rows) == 1501
    by_line = {int(row["line"]): row for row in rows}
    assert set(by_line) == {2, *range(201, 1701)}
    assert by_line[2]["column"] == "t_collector_c"
    assert by_line[2]["value"] == "8O.5"
    assert by_line[2]["file"] == "log.csv"
    assert by_line[900]["value"] == "'=SUM(A1)"
    assert all(row["reason"] for row in rows)
    page = client.get(f"/sites/{slug}/logs").text
    assert page.count("cannot be read") == 1, "a reader gets one line for all of them"
    assert "lines 201 to 1700, column time</strong>: 1,500 times" in page


def test_a_file_without_problems_gives_heads_only(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = back.hand_in(slug, tidy_log(hours=24))
    back.worker().work_all()
    assert downloaded(client, slug, number) == []


def test_a_refused_file_gives_its_reason(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = back.hand_in(slug, b"", "empty.csv")
    back.worker().work_all()
    (row,) = downloaded(client, slug, number)
    assert "empty" in row["reason"]


def test_strangers_get_no_list(back: BackEnd, client: TestClient) -> None:
    slug, other = back.add_site(), back.add_site("Other")
    number = back.hand_in(slug, tidy_log(hours=24))
    assert client.get(f"/api/sites/{other}/uploads/{number}/set-aside.csv").status_code == 404


@pytest.mark.parametrize(
    ("cell", "given"),
    [
        ("=1+1", "'=1+1"),
        ("@x", "'@x"),
        ("\t=1", "'\t=1"),
        ("-cmd", "'-cmd"),
        ("-5.3", "-5.3"),
        ("+1,5", "+1,5"),
        ("S1 roof", "S1 roof"),
    ],
)
def test_no_cell_is_a_formula(cell: str, given: str) -> None:
    assert safe(cell) == given
