"""What gusset writes for machines, read by libraries that share no code with it.

    outputs.py JUNIT.xml RESULT.json RESULT_SCHEMA.json FITTING_SCHEMA.json PACKAGE.tar.gz FITTING.yaml...

JUnit against the public schema in the package, and parsed by another library with the counts of the record; the record
against gusset's own schema; fitting files against theirs, which must refuse a typo in every key. Exit 1 on any fault.
"""

import copy
import io
import json
import sys
import tarfile

import jsonschema
import junitparser
import xmlschema
import yaml

SCHEMA_IN_PACKAGE = "/testing/example_scripts/junit-10.xsd"
# How the verdict of a pose is told to a build server.
KINDS = {"fail": junitparser.Failure, "could_not_run": junitparser.Error, "not_applicable": junitparser.Skipped}


def junit_schema(package):
    with tarfile.open(package) as archive:
        name = next(name for name in archive.getnames() if name.endswith(SCHEMA_IN_PACKAGE))
        return xmlschema.XMLSchema(io.BytesIO(archive.extractfile(name).read()))


def check_junit(path, schema, record):
    schema.validate(path)
    text = open(path, encoding="utf-8").read()
    broken = text.replace("<testcase name=", "<testcase nome=", 1)
    assert schema.is_valid(text) and broken != text
    assert not schema.is_valid(broken), "the schema accepts a case without a name"
    suites = list(junitparser.JUnitXml.fromfile(path))
    assert len(suites) == len(record["fittings"]), "a suite per fitting"
    for suite, fitting in zip(suites, record["fittings"]):
        cases = list(suite)
        assert [case.name for case in cases] == ["rig"] + [pose["pose"].replace("_", " ") for pose in fitting["poses"]]
        for case, pose in zip(cases[1:], fitting["poses"]):
            kinds = [type(result) for result in case.result]
            wanted = KINDS.get(pose["verdict"])
            assert kinds == ([wanted] if wanted else []), (suite.name, case.name, kinds, pose["verdict"])
        count = lambda kind: sum(isinstance(result, kind) for case in cases for result in case.result)
        assert (suite.failures, suite.errors) == (count(junitparser.Failure), count(junitparser.Error)), suite.name
    return sum(len(list(suite)) for suite in suites)


def keys_of(value, place=()):
    """Every key of a document that is a word of the format, by the way to it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            # Below these stand names of the user's own.
            if place[-1:] not in (("morphs",), ("joints",)):
                yield place + (key,)
            yield from keys_of(inner, place + (key,))
    elif isinstance(value, list):
        for at, inner in enumerate(value):
            yield from keys_of(inner, place + (at,))


def with_typo(document, place):
    document = copy.deepcopy(document)
    inner = document
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1] + "x"] = inner.pop(place[-1])
    return document


def as_json(value):
    """YAML reads 2027-01-31 as a date; the fitting file means the words."""
    if isinstance(value, dict):
        return {key: as_json(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_json(inner) for inner in value]
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)


def check_fitting(path, validator):
    document = as_json(yaml.safe_load(open(path, encoding="utf-8")))
    validator.validate(document)
    places = list(keys_of(document))
    for place in places:
        assert not validator.is_valid(with_typo(document, place)), f"{path}: a typo in {place} is accepted"
    return len(places)


def main():
    junit, result, result_schema, fitting_schema, package, *fittings = sys.argv[1:]
    record = json.load(open(result, encoding="utf-8"))
    schema = json.load(open(result_schema, encoding="utf-8"))
    kind = jsonschema.validators.validator_for(schema)
    kind.check_schema(schema)
    kind(schema).validate(record)
    assert not kind(schema).is_valid({**record, "verdict": "fine"}), "the schema accepts a verdict that there is none of"
    cases = check_junit(junit, junit_schema(package), record)
    of_fitting = json.load(open(fitting_schema, encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(of_fitting)
    keys = sum(check_fitting(path, jsonschema.Draft202012Validator(of_fitting)) for path in fittings)
    print(f"{cases} cases, {len(record['fittings'])} fittings, {keys} keys of fitting files, each misspelt once: as they should be")


main()
