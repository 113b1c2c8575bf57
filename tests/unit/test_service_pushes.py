"""A gateway's batch: what is taken, and refusals that name row, field and reason."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InvalidError
from service.ingest.pushes import parse_push

NOW_S = 1_750_420_800  # 2025-06-20T12:00:00Z
TIME = "2025-06-20T11:00:00Z"


def parse(content: object) -> object:
    return parse_push(json.dumps(content).encode(), now_s=NOW_S)


def test_rows_and_columns_mean_the_same() -> None:
    rows = parse({"rows": [{"time": TIME, "t_collector_c": 61.2, "flow_l_min": None}]})
    columns = parse({"columns": {"time": [TIME], "t_collector_c": [61.2], "flow_l_min": [None]}})
    for block in (rows, columns):
        assert block.stamp_s.tolist() == [1_750_417_200]
        assert block.columns["collector"].tolist() == [61.2]
        assert np.isnan(block.columns["flow"]).all()


def test_rows_out_of_order_are_sorted_and_the_later_of_two_wins() -> None:
    block = parse(
        {
            "rows": [
                {"time": "2025-06-20T11:01:00Z", "flow_l_min": 3},
                {"time": TIME, "flow_l_min": 1, "pressure_bar": 2.0},
                {"time": "2025-06-20T13:00:00+02:00", "flow_l_min": 2},
            ]
        }
    )
    assert block.stamp_s.tolist() == [1_750_417_200, 1_750_417_260]
    assert block.columns["flow"].tolist() == [2.0, 3.0]
    assert block.columns["pressure"][0] == 2.0


@pytest.mark.parametrize(
    ("values", "percent"),
    [
        ([0, 1], [0.0, 100.0]),
        ([0, 55.0], [0.0, 55.0]),
        (["on", "off"], [100.0, 0.0]),
        ([True, False], [100.0, 0.0]),
    ],
)
def test_pump_is_read_as_switch_or_percent(values: list[object], percent: list[float]) -> None:
    times = [TIME, "2025-06-20T11:01:00Z"]
    block = parse({"columns": {"time": times, "pump_percent": values}})
    assert block.columns["pump"].tolist() == percent


@pytest.mark.parametrize(
    ("content", "words", "place"),
    [
        ([], "must be", {}),
        ({"rows": []}, "at least one row", {"field": "rows"}),
        ({"rows": [{"time": TIME}]}, "at least one field", {}),
        ({"rows": [{"flow_l_min": 1}]}, "needs its time", {"field": "time"}),
        ({"rows": [{"time": TIME, "flow": 1}]}, "flow is not a field", {"field": "flow"}),
        (
            {"rows": [{"time": TIME, "flow_l_min": 1}, {"time": "noon", "flow_l_min": 1}]},
            'Row 2: the time is "noon"',
            {"row": 2, "field": "time"},
        ),
        (
            {"rows": [{"time": "2025-06-20T11:00:00", "flow_l_min": 1}]},
            "offset",
            {"row": 1, "field": "time"},
        ),
        (
            {"rows": [{"time": "2025-06-22T11:00:00Z", "flow_l_min": 1}]},
            "set the gateway's clock",
            {"row": 1, "field": "time"},
        ),
        (
            {"rows": [{"time": "1970-01-01T00:00:00Z", "flow_l_min": 1}]},
            "set the gateway's clock",
            {"row": 1, "field": "time"},
        ),
        (
            {"rows": [{"time": TIME, "flow_l_min": "1,5"}]},
            "Row 1: flow_l_min is",
            {"row": 1, "field": "flow_l_min"},
        ),
        (
            {"rows": [{"time": TIME, "flow_l_min": True}]},
            "finite number",
            {"row": 1, "field": "flow_l_min"},
        ),
        (
            {"columns": {"time": [TIME], "flow_l_min": [1, 2]}},
            "differ in length: flow_l_min 2, time 1",
            {},
        ),
        (
            {"rows": [{"time": TIME, "flow_l_min": 1, "FLOW_L_MIN": 2}]},
            "stands twice",
            {"field": "FLOW_L_MIN"},
        ),
    ],
)
def test_a_refusal_names_row_field_and_reason(
    content: object, words: str, place: dict[str, object]
) -> None:
    with pytest.raises(InvalidError) as caught:
        parse(content)
    assert words in caught.value.detail
    assert caught.value.extra == place


def test_numbers_without_end_are_refused() -> None:
    for literal in ("NaN", "Infinity", "1e999", "1" + "0" * 400):
        body = f'{{"rows": [{{"time": "{TIME}", "flow_l_min": {literal}}}]}}'
        with pytest.raises(InvalidError, match="finite number"):
            parse_push(body.encode(), now_s=NOW_S)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text() | st.integers(),
    lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["rows", "time", "x"]), inner),
)


@given(st.binary() | json_values.map(lambda value: json.dumps(value).encode()))
def test_any_bytes_are_rows_or_a_refusal(data: bytes) -> None:
    try:
        rows = len(parse_push(data, now_s=NOW_S))
    except InvalidError:
        rows = 1
    assert rows > 0
