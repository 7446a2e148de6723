"""Let schemathesis try an open house against its own description, in the same way each time."""

from typing import Any

import schemathesis
from schemathesis import engine
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events

SEED = 8
EXAMPLES = 3  # of each operation and phase, right and wrong; more find the same in minutes


def conform(document: dict[str, Any], base: str, headers: dict[str, str]) -> tuple[int, list[str]]:
    """Return how many requests were tried, and what was wrong with the answers, a line each."""
    config = SchemathesisConfig.from_dict(
        {
            "seed": SEED,
            "base-url": base,
            "headers": headers,
            "generation": {"mode": "all", "max-examples": EXAMPLES, "database": "none", "deterministic": True},
            "phases": {"stateful": {"enabled": False}, "fuzzing": {"enabled": True}},
        }
    )
    schema = schemathesis.openapi.from_dict(document, config=config)
    tried, failures = 0, []
    for event in engine.from_schema(schema).execute():
        match event:
            case events.ScenarioFinished():
                for case, checks in event.recorder.checks.items():
                    tried += 1
                    for check in checks:
                        if check.failure_info is not None:
                            sent = event.recorder.cases[case].value
                            failures.append(
                                f"{sent.method} {sent.formatted_path} {sent.query} {sent.body!r}: {check.name}: "
                                f"{check.failure_info.failure}"
                            )
            case events.NonFatalError():
                failures.append(f"{event.label}: {event.info.format()}")
            case events.FatalError():
                failures.append(str(event.exception))
    return tried, failures
