"""The journal's form as the docs describe it is the form that runs write."""

import json
import re
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest

from firmware_host.errors import RunStoppedError
from firmware_host.station.journal.events import EVENTS, Event, JournalEvent
from tests.support.crashes import SEEKS_BACKWARD
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import StationBench, quick_disk, small_setup

PAGES = Path(__file__).resolve().parents[3] / "docs" / "pages"
SCHEMA_FILE = PAGES / "journal.schema.json"
ROW = re.compile(r"^\| `([a-z-]+)` \|([^|]*)\| [^|]+ \|$", re.MULTILINE)
KINDS: dict[str, type[Event]] = {
    kind.model_fields["kind"].default: kind for kind in get_args(get_args(JournalEvent)[0])
}


def keys_of(kind: type[Event]) -> list[str]:
    return [field.alias or name for name, field in kind.model_fields.items()]


OF_EVERY_LINE = keys_of(Event)


def line_schema() -> dict[str, Any]:
    """JSON Schema of a line: that of the events as they are written, each with its checksum."""
    document = EVENTS.json_schema(mode="serialization")
    for event in document["$defs"].values():
        if "properties" in event:
            event["properties"]["sum"] = {"pattern": "^[0-9a-f]{8}$", "type": "string"}
            event["required"].append("sum")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **document}


def test_the_published_schema_is_that_of_the_events() -> None:
    """To publish it anew: write `as_text()` into the file."""
    assert SCHEMA_FILE.read_text("utf-8") == as_text()


def as_text() -> str:
    return json.dumps(line_schema(), indent=1) + "\n"


def test_the_page_names_every_kind_of_event_with_its_keys() -> None:
    section = (PAGES / "runs.md").read_text("utf-8").partition("### The journal, line by line")[2].partition("\n## ")[0]
    told = {kind: re.findall(r"`(\w+)`", keys) for kind, keys in ROW.findall(section)}
    assert told == {name: [key for key in keys_of(kind) if key not in OF_EVERY_LINE] for name, kind in KINDS.items()}


@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft"])
def test_every_line_that_a_run_writes_fits_the_published_schema(
    job: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    bench = StationBench(tmp_path, small_setup(job), **(SEEKS_BACKWARD if job == "heavy-shaft" else {}))
    bench.at("gate-open", lambda: bench.stop.ask("a test"))
    with pytest.raises(RunStoppedError, match="a test"):
        bench.run()
    assert bench.resume().outcome == "done"
    check = jsonschema.Draft202012Validator(json.loads(SCHEMA_FILE.read_text("utf-8")))
    lines = journal_lines(bench.folder.journal)
    assert len(lines) > 30
    assert [list(check.iter_errors(line)) for line in lines] == [[]] * len(lines)
    for line in lines:
        assert list(line) == [*keys_of(KINDS[line["event"]]), "sum"]
        assert list(check.iter_errors({key: value for key, value in line.items() if key != "event"}))
