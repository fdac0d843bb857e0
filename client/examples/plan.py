#!/usr/bin/env python3
"""Ask a Linepace server for a plan and print what each drive is to be given.

usage: plan.py [REQUEST.json [URL]]

It needs Python 3 and nothing else. Exit codes: 0 the plan is runnable, 1 it is not,
2 the request was refused or cannot be read, 3 the server cannot be reached or fails.
"""

import http.client
import json
import os
import sys
import urllib.error
import urllib.request

SERVER = "http://127.0.0.1:8071"
REQUEST = os.path.join(os.path.dirname(os.path.abspath(__file__)), "plan.json")
SECONDS = 30  # without a limit a lost network would hold the script for ever

# The fields of a setpoint that a controller takes: one of them, or none.
OUTPUTS = (("count", "counts"), ("milliamps", "mA"), ("volts", "V"))


def ask(url, body):
    """Post a plan request and return the answer."""
    request = urllib.request.Request(
        url + "/v1/changeovers:plan", data=body, headers={"Content-Type": "application/json"})
    with urllib.request.urlopen(request, timeout=SECONDS) as response:
        return json.load(response)


def output(setpoint):
    """Return what the drive is to be given, as text."""
    if setpoint["action"] == "LEAVE":
        return "leave as is"
    for field, unit in OUTPUTS:
        if field in setpoint:  # what does not exist is absent, not zero
            return "{:.10g} {}".format(setpoint[field], unit)
    return "nothing"


def gives(setpoint):
    """Return what the drive then does, as text."""
    achieved = setpoint.get("achieved")
    return "{:.6g} {}".format(achieved["value"], achieved["unit"]) if achieved else ""


def print_plan(plan):
    print(plan["verdict"])
    for s in plan["setpoints"]:
        print("{:<14}{:>18}  {:<20}{}".format(s["driveId"], output(s), s["tag"], gives(s)).rstrip())
    for check in plan["checks"]:
        print("{}: {}: {}".format(check["severity"], check["driveId"], check["message"]))


def print_refusal(error):
    """Print why a request was refused: each wrong field by its path."""
    try:
        status = json.load(error)
    except ValueError:
        status = {"message": "HTTP status {}".format(error.code)}
    violations = [v for detail in status.get("details", []) for v in detail.get("fieldViolations", [])]
    for v in violations:
        field = v.get("field") or "the request"  # absent where no single field is wrong
        print("refused: {}: {}".format(field, v["description"]), file=sys.stderr)
    if not violations:
        print("refused: {}".format(status["message"]), file=sys.stderr)


def main(request=REQUEST, url=SERVER):
    try:
        with open(request, "rb") as file:
            body = file.read()
    except OSError as error:
        print(error, file=sys.stderr)
        return 2
    try:
        plan = ask(url, body)
    except urllib.error.HTTPError as error:  # the server answered, and not with a plan
        print_refusal(error)
        return 2 if error.code < 500 else 3
    except (OSError, http.client.HTTPException) as error:
        print("no answer from {}: {}".format(url, error), file=sys.stderr)
        return 3
    print_plan(plan)
    return 1 if plan["verdict"] == "NOT_RUNNABLE" else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
