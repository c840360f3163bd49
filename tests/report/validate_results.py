#!/usr/bin/env python3
"""Validates results files against the schema: validate_results.py SCHEMA RESULTS.json...

Exit codes: 0 all valid, 1 some not, 77 no jsonschema module here (package python3-jsonschema).
"""

import json
import sys

try:
    from jsonschema import Draft202012Validator
except ImportError:
    print("skipped: no Python module jsonschema here (package python3-jsonschema)")
    sys.exit(77)


def open_objects(schema, path="schema"):
    """Object schemas that would let an unknown key through."""
    if isinstance(schema, dict):
        if "properties" in schema and schema.get("additionalProperties") is not False:
            yield path
        for key, value in schema.items():
            yield from open_objects(value, f"{path}/{key}")
    elif isinstance(schema, list):
        for index, value in enumerate(schema):
            yield from open_objects(value, f"{path}/{index}")


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        schema = json.load(file)
    Draft202012Validator.check_schema(schema)
    faults = [f"{path} allows unknown keys" for path in open_objects(schema)]
    validator = Draft202012Validator(schema)
    for name in sys.argv[2:]:
        with open(name, encoding="utf-8") as file:
            results = json.load(file)
        for error in validator.iter_errors(results):
            faults.append(f"{name}: {error.json_path}: {error.message[:300]}")
    print("\n".join(faults) or f"{len(sys.argv) - 2} file(s) valid")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
