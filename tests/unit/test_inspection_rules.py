import pytest

from rigkit import inspection
from tests.unit import rigs

RULES = [rule.id for rule in inspection.RULES]


def accused(report):
    return {finding.rule for finding in report.findings if finding.status == "finding"}


def test_every_rule_is_broken_by_one_rig():
    assert list(rigs.BROKEN) == RULES


@pytest.mark.parametrize("rule", rigs.BROKEN)
def test_a_rig_that_breaks_only_this_rule_is_caught(rule):
    report = inspection.inspect(rigs.BROKEN[rule]())
    assert accused(report) == {rule}
    assert not [finding for finding in report.findings if "made sense of" in finding.said]
