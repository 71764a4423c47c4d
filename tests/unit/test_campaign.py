"""A small part of the campaign; ``python -m tests.campaign --pairs 30000`` is the long one."""

from __future__ import annotations

from random import Random

import pytest

from safeframe import _checks as checks
from safeframe.edit import MapText, propose
from tests.campaign.generate import PROFILES, connection
from tests.campaign.mutate import MUTATORS, mistakes
from tests.campaign.oracle import Said, agree, judge, truths
from tests.campaign.run import Tally, campaign, load, one, prepared, said
from tests.campaign.tiny import text

pytestmark = pytest.mark.no_cover

PAIRS, SEED = 90, 7


@pytest.fixture(scope="module")
def tally() -> Tally:
    return campaign(PAIRS, SEED)


class TestCampaign:
    """Of random mistakes every one MUST be told, and nothing that is told may be false."""

    def test_no_complaint(self, tally: Tally) -> None:
        assert tally.examples == {}

    def test_one_mistake_gives_one_finding(self, tally: Tally) -> None:
        assert tally.right_alone >= 0.98 * tally.pairs[1]

    def test_it_looked_at_something(self, tally: Tally) -> None:
        assert tally.remedies > PAIRS
        assert sum(tally.pairs.values()) == PAIRS

    @pytest.mark.parametrize("kind", sorted(MUTATORS))
    def test_every_mistake_is_made_and_told(self, kind: str) -> None:
        for seed in range(5):
            _, pair, made = prepared(seed, 1, kind)
            if [mistake.kind for mistake in made] == [kind]:
                break
        else:
            raise AssertionError(f"{kind} fits nowhere")
        told = [said(finding, pair) for finding in checks.check(load(pair)).findings]
        rules = {one.rule for found in told for one in (found, *found.below)}
        assert rules & made[0].rules, (kind, seed)

    @pytest.mark.parametrize("profile", PROFILES)
    def test_every_profile_is_clean_without_a_mistake(self, profile: str) -> None:
        for seed in range(20):
            pair = connection(Random(seed), profile)
            assert agree(pair)
            assert checks.check(load(pair)).findings == ()


class TestOracle:
    """The oracle MUST be able to complain."""

    def test_false_sentences(self) -> None:
        both = truths(connection(Random(1), "plain"))
        for message in (
            "a and b stand in each other's place: 0.1 and 0.2 at SC1, 0.2 and 0.1 at LX",
            "the data are 8 bits at SC1 and 16 at LX",
            "a (1 bit at 0.0) exists at SC1 only; LX has these bits reserved",
            "an unheard-of sentence",
        ):
            told = Said("swapped-signals", message, "", (), 0, ())
            assert len(judge(both[0], told)) == 1

    def test_a_signal_that_stands_right(self) -> None:
        truth = truths(connection(Random(1), "plain"))[0]
        name = min(truth.right)
        told = Said("moved-signal", "at one end only: ", "", (), 0, (("SC1", name),))
        assert f"names {name}, which stands right at both ends" in judge(truth, told)

    def test_a_mistake_is_seen(self) -> None:
        pair = connection(Random(3), "plain")
        assert list(mistakes(Random(3), pair, 1))
        assert not agree(pair)

    def test_a_second_mistake_elsewhere_is_no_consequence(self) -> None:
        # A run reserved twice is mended in passing by every edit around it, and yet told.
        for kind in ("moved", "shift", "swap"):
            random, pair, made = prepared(77, 1, kind)
            assert made[0].direction is not None
            while MUTATORS["reserve_twice"](random, pair) is None:
                pass
            rules = [finding.rule for finding in checks.check(load(pair)).findings]
            assert "overlap" in rules, kind

    def test_outcomes_repeat(self) -> None:
        assert one(11, 3) == one(11, 3)


class TestProposals:
    """An edit that is proposed MUST leave fewer findings, and none at another end or of another
    rule, but for a binding that it asks for."""

    @pytest.mark.parametrize("number", [1, 2, 3])
    def test_they_are_good(self, number: int) -> None:
        tried = 0
        for seed in range(40):
            random = Random(1000 * number + seed)
            pair = connection(random)
            list(mistakes(random, pair, number))
            made = load(pair)
            before = checks.check(made).findings
            files = [MapText(path=f"{end.name}.toml", text=text(end)) for end in pair.ends]
            for proposal in propose(made, (files[0], files[1]), before):
                after = proposal.edit.report.findings
                told = {finding.message for finding in before}
                bound = [
                    finding
                    for finding in after
                    if finding.rule == "unbound-signal" and finding.message not in told
                ]
                assert len(after) - len(bound) < len(before)
                assert bool(bound) == bool(proposal.unbound)
                assert {finding.rule for finding in after} <= {
                    "unbound-signal",
                    *(finding.rule for finding in before),
                }
                tried += 1
        assert tried > 3
