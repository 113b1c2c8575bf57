"""What the API's description shows: an example for each model and for each file.

One table, so that a reader finds all of them together; tests hold every example against its model.
"""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

_UPLOAD: dict[str, Any] = {
    "id": 12,
    "name": "june.csv",
    "state": "stored",
    "message": None,
    "sha256": "9f2c…",
    "size_bytes": 183402,
    "via": "api",
    "received_at": "2026-07-01T06:02:11Z",
    "settled_at": "2026-07-01T06:02:14Z",
    "first_s": 1780264800,
    "last_s": 1782856200,
    "rows": {"read": 4320, "kept": 4318, "duplicate": 2, "rejected": 0},
    "replaced": [],
    "problems": [],
    "files": [],
    "status_url": "/api/sites/mill-lane-4/uploads/12",
}
_WEATHER_FILE: dict[str, Any] = {
    "id": 3,
    "name": "weather-2025.csv",
    "sha256": "41d0…",
    "size_bytes": 412000,
    "via": "api",
    "state": "stored",
    "message": None,
    "hours": 8760,
    "covers": ["2025-01-01T00:00:00Z", "2026-01-01T00:00:00Z"],
    "received_at": "2026-01-05T09:00:00Z",
}
_SOURCE: dict[str, Any] = {
    "url": "https://weather.example/hours?lat={latitude}&lon={longitude}&from={from}&to={to}",
    "asked_at": "2026-01-05T09:00:00Z",
    "next_at": "2026-01-05T15:00:00Z",
    "problem": None,
}
_KEY: dict[str, Any] = {"id": 5, "label": "gateway", "created_at": "2026-03-01T08:00:00Z"}

# By the name of the model.
EXAMPLES: dict[str, Any] = {
    "SiteShown": {
        "slug": "mill-lane-4",
        "name": "Mill Lane 4",
        "timezone": "Europe/London",
        "version": 2,
        "problem": None,
        "pending": None,
    },
    "NewKey": {"label": "gateway"},
    "KeyShown": _KEY,
    "KeyMade": {**_KEY, "key": "gw_…"},
    "ReadingShown": {"at": "2026-06-02T14:00:00Z", "heat_register_kwh": 4211.5, "who": "A. Fitter"},
    "UploadShown": _UPLOAD,
    "UploadsShown": {"uploads": [_UPLOAD], "pending": "analysing"},
    "DropShown": {
        "states": {"stored": 11, "refused": 1},
        "rows_read": 52000,
        "rows_kept": 51990,
        "rows_duplicate": 10,
        "rows_rejected": 0,
        "wanting": [],
    },
    "GivenMap": {
        "columns": {"T1": {"channel": "collector", "unit": "°C"}},
        "timezone": "Europe/London",
    },
    "Pushed": {"accepted": 60, "new": 60, "changed": 0, "left_out": 0, "why": None},
    "Series": {
        "start_s": [1780264800, 1780265400],
        "columns": {"collector": [61.4, None]},
        "reduced": False,
    },
    "CaseShown": {
        "key": "lost_circulation-20250503T0810",
        "kind": "lost_circulation",
        "channel": None,
        "urgency": "visit",
        "start": "2025-05-03T08:10:00Z",
        "end": None,
        "summary": "The pump was told to run on 27 sunny days but no heat came down.",
        "state": "visit_planned",
        "until": None,
        "events": [
            {"at": "2025-06-01T09:00:00Z", "who": "office", "state": "visit_planned", "note": ""}
        ],
    },
    "PhotoShown": {
        "id": 4,
        "sha256": "77b1…",
        "size_bytes": 301442,
        "width_px": 1600,
        "height_px": 1200,
    },
    "WeatherFileShown": _WEATHER_FILE,
    "WeatherAddress": {"url": _SOURCE["url"]},
    "WeatherAddressShown": _SOURCE,
    "WeatherShown": {
        "files": [_WEATHER_FILE],
        "source": _SOURCE,
        "days_known": 365,
        "first_day": "2025-01-01",
        "last_day": "2025-12-31",
    },
}

# By method and path, for answers that are no model: media type and example.
ANSWERS: dict[str, tuple[str, Any]] = {
    "get /api/sites/{slug}/file": (
        "application/toml",
        'schema = 1\n\n[site]\nname = "Mill Lane 4"',
    ),
    "put /api/sites/{slug}/file": (
        "application/json",
        {**EXAMPLES["SiteShown"], "note": "every day is analysed again"},
    ),
    "delete /api/sites/{slug}": (
        "application/json",
        {"restore": "/api/sites/mill-lane-4/restore", "until": "2026-04-01T08:00:00Z"},
    ),
    "get /api/sites/{slug}/report": (
        "application/json",
        {"schema": 1, "site": "Mill Lane 4", "days": [], "findings": []},
    ),
    "get /api/sites/{slug}/uploads/{upload_id}/set-aside.csv": (
        "text/csv",
        "file,line,column,value,reason\njune.csv,17,T1,9999,no such temperature",
    ),
}


def describe(app: FastAPI) -> None:
    """Have the application's description show the examples."""

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _with_examples(
                get_openapi(title=app.title, version=app.version, routes=app.routes)
            )
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _with_examples(schema: dict[str, Any]) -> dict[str, Any]:
    models = schema["components"]["schemas"]
    for name, example in EXAMPLES.items():
        if name in models:
            models[name].setdefault("examples", [example])
    for key, (media_type, example) in ANSWERS.items():
        method, _, path = key.partition(" ")
        answer = schema["paths"][path][method]["responses"]["200"]
        given = answer.get("content", {}).get(media_type, {}).get("schema")
        # What is sent as it stands is text, whatever the framework takes it for.
        answer["content"] = {
            media_type: {"schema": given or {"type": "string"}, "example": example}
        }
    return schema
