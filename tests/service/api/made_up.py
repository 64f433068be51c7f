"""Makes up requests from the API's own description, right and wrong, one by one and in sequences that use each
other's answers; and sends some that no description could think of.

Each is asked of a service over HTTP, in a thread of this process, and its answer is held against what is promised.
"""

import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import reduce
from itertools import count
from typing import Any

import httpx
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from hypothesis.stateful import RuleBasedStateMachine, rule, run_state_machine_as_test
from odd_texts import ODD_TEXTS
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

PROMISED = [not_a_server_error, content_type_conformance, response_schema_conformance, allow_header_conformance]
MEANINGLESS = {"GET /api/jobs/{job_id}/events"}
"""What lasts as long as a job does."""
CHANGES_WHAT_ALL_USE = {"DELETE", "PATCH"}
WAIT_SECONDS = 30

ODD_NUMBERS = (0, -1, 2**63, 10**400, 1e308, -1e308, 5e-324, float("nan"), float("inf"), True, None)
KINDS = st.sampled_from((
    "application/json", "application/json; charset=utf-16", "text/plain", "application/x-www-form-urlencoded",
    "multipart/form-data", "multipart/form-data; boundary=b", "multipart/form-data; boundary=" + "b" * 300,
    "multipart/form-data; boundary=b; charset=undefined", "application/octet-stream", "", "/", "multipart/",
))  # fmt: skip
HEADERS = {
    "Accept": ("*/*", "text/html", "", ",;q=x"),
    "Accept-Encoding": ("gzip", "", "br;q=2", "\xff"),
    "If-None-Match": ("*", '""', 'W/"x"', ",,,", "\xff"),
    "Origin": ("null", "http://[evil", "http://evil.example", "\xff"),
    "Sec-Fetch-Site": ("same-origin", "cross-site", ""),
    "Host": ("localhost", "[evil", "localhost/static/?", "\xff", ""),
    "Cookie": ("units=metric", "units=\xff", "pithline=x", ";;;=", "a=" + "b" * 4000),
    "Range": ("bytes=0-1", "bytes=9-1"),
    "X-Forwarded-For": ("x", "[", "\xff"),
}  # fmt: skip

ODD_HEADERS = st.dictionaries(st.sampled_from(sorted(HEADERS)), st.integers(0, 4), max_size=2).map(
    lambda picked: {name: HEADERS[name][at % len(HEADERS[name])] for name, at in picked.items()}
)
ODD_IDS = st.sampled_from(("0" * 32, "x", "%00", "%ff", "%ed%a0%80", "9" * 400))
QUERIES = st.sampled_from(("", "?limit=" + "9" * 400, "?offset=-1", "?name=%ed%a0%80&name=%00", "?%00", "?=&=&"))

Answered = Callable[[str, int], None]


def hypothesis_settings(examples: int, *, steps: int = 8) -> settings:
    """Return how many to make up; the same ones each time."""
    return settings(
        max_examples=examples, phases=[Phase.generate], deadline=None, database=None, derandomize=True,
        suppress_health_check=list(HealthCheck), stateful_step_count=steps,
    )  # fmt: skip


def description(client: httpx.Client) -> dict[str, Any]:
    described: dict[str, Any] = client.get("/api/openapi.json").json()
    return described


def operations(client: httpx.Client) -> list[Any]:
    """Return all operations that can be asked for."""
    found = schemathesis.openapi.from_dict(description(client)).get_all_operations()
    return [operation for operation in (one.ok() for one in found) if operation.label not in MEANINGLESS]


def ask_each(
    client: httpx.Client, ids: Mapping[str, str], examples: int, answered: Answered, mode: GenerationMode
) -> None:
    """Ask for every operation with what its description allows, or does not; half of them of what there is.

    Raises an error that holds every failed check.
    """
    for operation in operations(client):
        _ask_made_up(client, ids, operation, examples, answered, mode)


def _ask_made_up(
    client: httpx.Client, ids: Mapping[str, str], operation: Any, examples: int, answered: Answered,
    mode: GenerationMode,
) -> None:  # fmt: skip
    is_right = mode is GenerationMode.POSITIVE
    checks = [*PROMISED, status_code_conformance] if is_right else PROMISED
    turns = count()

    @hypothesis_settings(examples)
    @given(operation.as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        if is_right and case.method not in CHANGES_WHAT_ALL_USE and next(turns) % 2 == 0:
            case.path_parameters |= {name: ids[name] for name in ids.keys() & case.path_parameters.keys()}
        response = case.call_and_validate(base_url=str(client.base_url), checks=checks, timeout=WAIT_SECONDS)
        answered(operation.label, response.status_code)

    with suppress(Unsatisfiable):  # nothing wrong can be asked of what takes nothing
        ask()


NAMED = {
    "POST /api/mills": {"mill_id": ("id",)},
    "POST /api/price-books": {"prices_id": ("id",)},
    "POST /api/logs": {"log_id": ("log", "id"), "job_id": ("job", "id")},
    "POST /api/logs/sheet": {"log_id": ("log", "id"), "job_id": ("job", "id")},
    "POST /api/logs/sample": {"log_id": ("log", "id"), "job_id": ("job", "id")},
    "POST /api/logs/{log_id}/marks": {"mark_id": ("mark_id",)},
    "POST /api/logs/{log_id}/plans": {"job_id": ("id",)},
    "POST /api/logs/{log_id}/ways": {"job_id": ("id",)},
}
"""Where an answer says what it made."""


def walk(client: httpx.Client, ids: Mapping[str, str], examples: int, answered: Answered, steps: int = 12) -> None:
    """Ask in sequences: what one answer names, later requests ask for, change, remove, and ask for still."""
    every = operations(client)
    strategies = {operation.label: operation.as_strategy() for operation in every}

    class Walk(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.found = {name: [known] for name, known in ids.items()}

        @rule(data=st.data())
        def ask(self, data: st.DataObject) -> None:
            label = data.draw(st.sampled_from(sorted(strategies)))
            case = data.draw(strategies[label])
            for name in sorted(case.path_parameters.keys() & {"plan_id", "mark_id", *ids}):
                known = self.found.get(name, [])
                # What all sequences use stays as it is.
                case.path_parameters[name] = data.draw(
                    st.sampled_from(
                        [*(known[1:] if case.method in CHANGES_WHAT_ALL_USE and name in ids else known), "0" * 32]
                    )
                )
            response = case.call_and_validate(base_url=str(client.base_url), checks=PROMISED, timeout=WAIT_SECONDS)
            answered(label, response.status_code)
            if response.status_code < 300:
                for name, steps_to in NAMED.get(label, {}).items():
                    made = reduce(lambda part, step: part and part[step], steps_to, response.json())
                    self.found.setdefault(name, []).append(made or "0" * 32)

    run_state_machine_as_test(Walk, settings=hypothesis_settings(examples, steps=steps))


def _json_of(example: Any) -> st.SearchStrategy[Any]:
    """A document like an example, with odd values, fields and shapes put in."""
    odd = st.one_of(
        st.sampled_from((*ODD_TEXTS, *ODD_NUMBERS)), st.text(max_size=20),
        st.recursive(st.none(), lambda inside: st.lists(inside, max_size=2) | st.dictionaries(st.text(), inside)),
    )  # fmt: skip
    if isinstance(example, dict) and example:
        whole = st.fixed_dictionaries({key: st.just(value) for key, value in example.items()})
        changed = st.sampled_from(sorted(example)).flatmap(
            lambda key: _json_of(example[key]).map(lambda value: {**example, key: value})
        )
        added = st.tuples(st.sampled_from(ODD_TEXTS), odd).map(lambda pair: {**example, pair[0]: pair[1]})
        return whole | changed | added | odd
    if isinstance(example, list) and example:
        return odd | _json_of(example[0]).map(lambda value: [value, *example[1:]]) | st.just(example * 300)
    return odd


def ask_oddly(client: httpx.Client, ids: Mapping[str, str], examples: int, answered: Answered) -> None:
    """Send bodies that are nearly right and not at all, in every content type, with odd headers and addresses."""
    for path, methods in sorted(description(client)["paths"].items()):
        for method, operation in sorted(methods.items()):
            if f"{method.upper()} {path}" in MEANINGLESS:
                continue
            _ask_oddly(client, ids, method.upper(), path, operation, examples, answered)


def _ask_oddly(
    client: httpx.Client, ids: Mapping[str, str], method: str, path: str, operation: Any, examples: int,
    answered: Answered,
) -> None:  # fmt: skip
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    known = [example["value"] for example in content.get("examples", {}).values()] or [{}]
    texts = st.sampled_from(known).flatmap(_json_of).map(lambda body: json.dumps(body).encode())
    bodies = texts | st.binary(max_size=200) | st.sampled_from([b"[" * 5000, b'{"a":' + b"9" * 5000 + b"}"])

    @hypothesis_settings(examples)
    @given(bodies, KINDS, ODD_HEADERS, st.booleans(), ODD_IDS, QUERIES)
    def ask(body: bytes, kind: str, more: dict[str, str], known_id: bool, odd: str, query: str) -> None:
        is_known = known_id and method not in CHANGES_WHAT_ALL_USE
        values = {name: ids.get(name, "0" * 32) if is_known else odd for name in _names(path)}
        address = path.format(**{"ending": "glb"} | values) + query
        sent = {name: value.encode("latin-1") for name, value in ({"Content-Type": kind} | more).items()}
        answer = client.request(method, address, content=body, headers=sent)
        answered(f"{method} {path}", answer.status_code)
        assert answer.status_code < 500, (address, sent, body)

    ask()


def _names(path: str) -> list[str]:
    return [part.partition("}")[0] for part in path.split("{")[1:] if not part.startswith("ending")]
