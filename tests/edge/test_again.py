"""A kept job concluded again under another rule: new verdicts beside the old, and an audit that knows both."""

import json

from edge.bench import run


def again(database, *words):
    done = run("evaluate", "--job", "kitchen-oven", "--json", "--db", str(database), *words, check=False)
    return done.returncode, [json.loads(line) for line in done.stdout.splitlines()]


def test_a_job_comes_to_the_same_under_its_own_rules(played):
    assert again(played[0]) == (0, [])


def test_a_looser_rule_decides_what_the_guard_band_leaves_open(copy):
    code, rows = again(copy, "--rule", "simple-acceptance", "--reason", "the owner agreed to simple acceptance")
    changed = {row["step"]: (row["before"], row["now"]) for row in rows if row["before"] != row["now"]}
    assert (code, changed) == (1, {"protective-conductor": ("undecided", "pass")})
    shown = run("verdict", "show", "33", "--json", "--db", str(copy), check=False)
    assert json.loads(shown.stdout)["outcome"] == "undecided"
    assert run("audit", "--db", str(copy)).stderr.endswith("findings: none\n")
    again_rows = json.loads(run("job", "show", "kitchen-oven", "--json", "--db", str(copy)).stdout.splitlines()[-1])
    assert again_rows["step"] == "heating-run"


def test_an_unknown_rule_or_job_is_refused(played):
    done = run("evaluate", "--job", "nobodys", "--db", str(played[0]), check=False)
    assert (done.returncode, done.stderr) == (3, "there is no job 'nobodys'\n  list them with: meterlog job list\n")
